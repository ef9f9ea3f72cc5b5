"""Exports that were spoilt, or made anew by somebody who has the key: the checker says where
something is wrong, never that all agrees of what was changed, and ends within bounds.
"""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st

from app.exporting.check_export import KNOWN_LATER, Report, lines_of
from app.record.canonical import canonical
from app.record.notes import NoteKey
from tests.exporting.conftest import SealedMeet
from tests.exporting.tampering import Files, checked, lines_in, read_files, rechain, remanifest
from tests.fuzz.bounds import within
from tests.fuzz.budget import tried
from tests.fuzz.documents import with_something_else
from tests.fuzz.mutating import mutated

SECONDS, MEBIBYTES = 20, 256


class Whole(Files):
    """The files of an export that agrees; what fails is told without all that is in them."""

    def __repr__(self) -> str:
        return f"<{len(self)} files>"


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return Whole(read_files(exported))


@pytest.fixture(scope="module")
def key(sealed: SealedMeet) -> NoteKey:
    return sealed.seal.notes


def check_calmly(files: Files) -> Report:
    """What is found, each with its place; openssl is taken to find everything good."""
    with within(SECONDS, MEBIBYTES):
        report = checked(files, credulous=True)
        told = list(lines_of(report))
    assert all(line.isprintable() for line in told)
    for one in (*report.mismatches, *report.to_explain, *report.unchecked):
        assert all(one.partition(": ")), one
    return report


def kinds_of(files: Files) -> list[str]:
    """One file of each kind that an export has."""
    return list({name.split("/")[0] + name.rpartition(".")[2]: name for name in files}.values())


@tried(60, data=st.data())
def test_a_spoilt_file_of_an_export_is_told(whole: Files, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(kinds_of(whole)))
    content = data.draw(mutated([whole[name]]))
    assert (check_calmly({**whole, name: content}).ends_with == 0) == (content == whole[name])


CHANCES = st.integers(0, 2**40)


@tried(60, number=CHANCES)
def test_a_document_of_an_export_that_says_something_else_is_told(
    key: NoteKey, whole: Files, number: int
) -> None:
    """Though the manifest is made and signed anew."""
    chance = random.Random(number)
    name = chance.choice([one for one in kinds_of(whole) if one.endswith(".json")])
    document = with_something_else(chance, json.loads(whole[name]))
    files = {**whole, name: canonical(document)}
    if name != "manifest.json":
        remanifest(files, key)
    if check_calmly(files).ends_with == 0:
        assert bound(document) == bound(json.loads(whole[name]))


def bound(document: Any) -> Any:
    """What a document says that the record binds; see `KNOWN_LATER` for what it does not."""
    if not isinstance(document, dict):
        return document
    return {name: said for name, said in document.items() if name not in KNOWN_LATER}


@tried(60, number=CHANCES)
def test_an_entry_that_says_something_else_is_told_though_the_record_is_chained_anew(
    key: NoteKey, whole: Files, number: int
) -> None:
    chance, files = random.Random(number), dict(whole)
    lines = lines_in(files)
    line = chance.choice(lines)
    if line.body and chance.random() < 0.8:
        line.body = with_something_else(chance, line.body)
    else:
        line.entry = with_something_else(chance, line.entry)
    rechain(files, lines)
    same = files["record.jsonl"] == whole["record.jsonl"]
    remanifest(files, key)
    assert (check_calmly(files).ends_with == 0) == same
