"""Entries that are added behind a record by whoever has the meet's own key: none takes the place of
what an earlier one fixed, and nothing is read in two ways.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from app.exporting import check_export
from app.exporting.check_export import Asked, Head, Report
from app.record.canonical import canonical
from app.record.merkle import leaf_hash, root_over
from app.record.notes import Checkpoint
from tests.exporting.conftest import SealedMeet
from tests.exporting.tampering import (
    Files,
    Json,
    Line,
    checked,
    head_in,
    lines_in,
    of_kind,
    read_files,
    rechain,
    remanifest,
)

WORDS_OF_ANOTHER = "The baton was inside of the zone."


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


def added(lines: list[Line], kind: str, subject: str, body: Json, actor: str) -> Line:
    last = lines[-1].entry
    entry = {"actor": actor, "at": last["at"], "commitment": "", "kind": kind, "seq": 0}
    line = Line({**entry, "meet": last["meet"], "subject": subject}, body)
    lines.append(line)
    return line


def grown(sealed: SealedMeet, files: Files, lines: list[Line]) -> Files:
    """The record with what was added behind it, whose new head the meet's key has signed."""
    key = sealed.seal.notes
    rechain(files, lines)
    root = root_over([leaf_hash(canonical(line.entry)) for line in lines])
    told = (f"time {lines[-1].entry['at']}",)
    head = Checkpoint(f"zone-docket/{lines[0].entry['meet']}", len(lines), root, told)
    files[f"checkpoints/{len(lines)}.note"] = key.sign_note(head.body).encode()
    return remanifest(files, key)


def after(
    sealed: SealedMeet, whole: Files, change: Callable[[Files, list[Line]], None]
) -> list[str]:
    """What a check finds after the change, by somebody who kept the head from before."""
    files, lines, head = dict(whole), lines_in(whole), head_in(whole)
    change(files, lines)
    asked = Asked(heads=((Head(head["size"], head["root"]), None),))
    return checked(grown(sealed, files, lines), asked).mismatches


def test_what_is_added_behind_a_record_agrees_where_it_takes_no_place(
    sealed: SealedMeet, whole: Files
) -> None:
    def change(files: Files, lines: list[Line]) -> None:
        added(lines, "official named", "x", {}, lines[-1].entry["actor"])

    assert after(sealed, whole, change) == []


def test_a_paper_cannot_be_replaced_by_one_whose_file_is_called_alike(
    sealed: SealedMeet, whole: Files
) -> None:
    def change(files: Files, lines: list[Line]) -> None:
        kept = of_kind(lines, "paper sealed")[-1]
        assert kept.body is not None
        name = check_export.paper_name(kept.body)
        first, _, rest = kept.body["subject"].partition("-")
        forged = sealed.seal.seal(files[name], "Seal3")
        body = {**kept.body, "kind": f"{kept.body['kind']}-{first}", "subject": rest}
        body["sha256"] = sha256(forged).hexdigest()
        assert check_export.paper_name(body) == name
        files[name] = forged
        added(lines, "paper sealed", "another", body, kept.entry["actor"])

    found = after(sealed, whole, change)
    assert any("has a file of the same name, papers/" in one for one in found)


def test_a_shown_picture_cannot_be_replaced_by_one_whose_file_is_called_alike(
    sealed: SealedMeet, whole: Files
) -> None:
    def change(files: Files, lines: list[Line]) -> None:
        kept = of_kind(lines, "picture added")[0]
        assert kept.body is not None
        other, forged = f"{kept.entry['subject']}-shown", b"\xff\xd8\xff another picture"
        files[f"pictures/{other}.jpg"] = files[f"pictures/{other}-shown.jpg"] = forged
        digest = sha256(forged).hexdigest()
        body = {**kept.body, "media_type": "image/jpeg"}
        body |= {"sha256": digest, "shown_sha256": digest}
        added(lines, "picture added", other, body, kept.entry["actor"])

    found = after(sealed, whole, change)
    assert any("has a file of the same name, pictures/" in one for one in found)


def test_a_paper_after_an_erasure_may_take_the_name_of_one_that_went() -> None:
    paper = {"kind": "form", "subject": "x", "sheet": "A4", "edition": 1}
    about = ("server", "2026-06-13T10:00:00.000000Z")
    entry = check_export.Entry
    record, report = check_export.Record(), Report()
    record.kept = {
        "paper sealed": [
            entry(1, "paper sealed", "first", *about, paper),
            entry(3, "paper sealed", "second", *about, paper),
        ],
        "erased": [entry(2, "erased", "", *about, {"papers": ["first"]})],
    }
    check_export.look_at_file_names(record, report)
    assert report.mismatches == []
    assert check_export.papers_by_name(record)["papers/form-x-A4-1.pdf"].subject == "second"
    record.kept["erased"] = []
    check_export.look_at_file_names(record, report)
    assert len(report.mismatches) == 1


def test_a_ruling_cannot_be_entered_a_second_time_with_another_verdict(
    sealed: SealedMeet, whole: Files
) -> None:
    def change(_files: Files, lines: list[Line]) -> None:
        kept = of_kind(lines, "ruling")[0]
        assert kept.body is not None
        statement = {**kept.body["statement"], "verdict": "dismissed"}
        del statement["form_sha256"]
        body = {
            "statement": statement,
            "statement_sha256": sha256(canonical(statement)).hexdigest(),
            "signature": kept.body["signature"],
        }
        added(lines, "ruling", kept.entry["subject"], body, kept.entry["actor"])

    found = after(sealed, whole, change)
    assert any("was the same ruling or decision: one of them is false" in one for one in found)


def with_two_bodies(line: bytes, change: Callable[[Json], Any]) -> bytes:
    """A line of the record that has another body in front, under the same name."""
    body = json.loads(json.loads(line)["body"])
    change(body)
    return b'{"body": ' + json.dumps(json.dumps(body)).encode() + b", " + line[1:]


def test_a_line_with_two_bodies_of_which_readers_take_either_does_not_agree(
    sealed: SealedMeet, whole: Files
) -> None:
    lines = whole["record.jsonl"].splitlines(keepends=True)
    number = next(at for at, one in enumerate(lines) if b'\\"kind\\":\\"ruling\\"' in one)
    lines[number] = with_two_bodies(lines[number], lambda body: body.update(reasons="others"))
    forged = remanifest({**whole, "record.jsonl": b"".join(lines)}, sealed.seal.notes)
    found = checked(forged).mismatches
    place = f"record.jsonl, line {number + 1}"
    assert f"{place}: a name that is given twice in one object" in found


def test_a_head_that_says_two_sizes_does_not_agree(sealed: SealedMeet, whole: Files) -> None:
    text = whole["record.jsonl"].replace(b'"size"', b'"size": 3, "size"')
    forged = remanifest({**whole, "record.jsonl": text}, sealed.seal.notes)
    assert any("a name that is given twice" in one for one in checked(forged).mismatches)
