"""Signatures by keys that were revoked, where what revoked them was erased."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from app.exporting.check_export import Report
from tests.exporting.conftest import SealedMeet
from tests.exporting.sealing import DeviceKey
from tests.exporting.tampering import Files, Line, read_files
from tests.exporting.test_acts import (
    RULING,
    a_statement,
    an_entry,
    changed_by_the_keeper,
    official,
    only,
)

BEFORE = "2026-06-01T10:00:00+02:00"
LATER = "2026-12-01T10:00:00Z"


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


@pytest.fixture
def key(sealed: SealedMeet) -> DeviceKey:
    return DeviceKey(official(sealed))


@pytest.fixture
def found(sealed: SealedMeet, whole: Files, key: DeviceKey) -> Callable[..., Report]:
    """What is found where a key signed before or after its revocation, whose body was erased by an
    entry that keeps so much of it.
    """

    def find(kept: list[dict[str, Any]], *, signed_after: bool = False) -> Report:
        def add(lines: list[Line]) -> None:
            an_entry(lines, "key registered", key.registered(), key.id)
            revoked = Line({**lines[-1].entry, "kind": "key revoked", "subject": key.id}, None)
            signed = Line(
                {**lines[-1].entry, "kind": "ruling", "subject": RULING},
                key.signed(a_statement(sealed)),
            )
            lines += [revoked, signed] if signed_after else [signed, revoked]
            number = lines.index(revoked) + 1
            gone = {"by": "the meet", "because": "a request", "entries": [number]}
            an_entry(lines, "erased", {**gone, "keys_revoked": kept}, sealed.meet)

        return changed_by_the_keeper(sealed, whole, add)

    return find


def test_what_a_key_signed_after_it_was_revoked_does_not_count_though_that_was_erased(
    found: Callable[..., Report],
) -> None:
    assert "had revoked" in only(found([], signed_after=True))


def test_that_nobody_can_say_from_when_on_a_key_was_revoked_is_told(
    found: Callable[..., Report],
) -> None:
    report = found([])
    assert (report.mismatches, report.ends_with) == ([], 3)
    (told,) = report.unchecked
    assert "revoked its key, and from when on was erased" in told


def test_an_erasure_keeps_from_when_on_a_key_was_revoked(
    key: DeviceKey, found: Callable[..., Report]
) -> None:
    assert found([key.revoked(LATER)]).ends_with == 0
    report = found([key.revoked(BEFORE)])
    assert (report.mismatches, report.unchecked, report.ends_with) == ([], [], 3)
    assert "revoked later, from 2026-06-01" in report.to_explain[0]


def test_of_two_revocations_that_were_erased_the_first_one_counts(
    sealed: SealedMeet, whole: Files, key: DeviceKey
) -> None:
    """What a key signs between the two, it signs after it was revoked."""

    def add(lines: list[Line]) -> None:
        an_entry(lines, "key registered", key.registered(), key.id)
        revoked = Line({**lines[-1].entry, "kind": "key revoked", "subject": key.id}, None)
        again = Line({**revoked.entry}, None)
        lines.append(revoked)
        an_entry(lines, "ruling", key.signed(a_statement(sealed)), RULING)
        lines.append(again)
        gone = {"by": "the meet", "because": "a request", "entries": [len(lines) - 2, len(lines)]}
        kept = [key.revoked(LATER), key.revoked(LATER)]
        an_entry(lines, "erased", {**gone, "keys_revoked": kept}, sealed.meet)

    assert "had revoked" in only(changed_by_the_keeper(sealed, whole, add))
