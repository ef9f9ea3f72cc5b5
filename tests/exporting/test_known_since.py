"""What a file of an announcement tells that became known since: the corrections of its time and the
end of the meet as their entries say them, and how it was signed.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from app.exporting.check_export import Entry, KnownSince, Unfit, insist_end, insist_known_since
from tests.exporting.conftest import SealedMeet
from tests.exporting.tampering import Files, read_files
from tests.exporting.test_announced import announced, told, written_anew

Json = dict[str, Any]


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


@pytest.fixture(scope="module")
def corrected(whole: Files) -> tuple[str, Json]:
    """The announcement of the played meet whose time was typed wrongly, and its document."""
    documents = ((name, json.loads(whole[name])) for name in announced(whole))
    (one,) = ((name, said) for name, said in documents if said["time_corrections"])
    return one


def test_a_correction_of_its_time_cannot_be_hidden(
    sealed: SealedMeet, whole: Files, corrected: tuple[str, Json]
) -> None:
    name, _ = corrected
    (found,) = told(sealed, written_anew(whole, name, time_corrections=[]))
    assert found == f"{name}: it tells of 0 corrections of its time, the record has 1"


@pytest.mark.parametrize(
    "changes",
    [
        {"becomes": "2026-06-13T09:00:00Z", "becomes_local": "2026-06-13 11:00:00 CEST (x)"},
        {"was": "2026-06-13T09:00:00Z", "was_local": "2026-06-13 11:00:00 CEST (x)"},
        {"becomes_local": "2026-06-13 15:40:00 CEST (Europe/Copenhagen)"},
        {"becomes_local": "2026-06-13 13:16:10 UTC (UTC)"},
        {"reasons": "Nobody knows."},
        {"remark": "It was read aloud."},
        {"id": "01890a5d-ac96-774b-bcce-b302099a8057"},
        {"corrected_by": "01890a5d-ac96-774b-bcce-b302099a8057"},
    ],
    ids="-".join,
)
def test_a_correction_of_its_time_is_told_as_it_was_entered(
    sealed: SealedMeet, whole: Files, corrected: tuple[str, Json], changes: Json
) -> None:
    name, document = corrected
    other = [{**document["time_corrections"][0], **changes}]
    (found,) = told(sealed, written_anew(whole, name, time_corrections=other))
    assert found.startswith(f"{name}: the correction of its time")


def test_a_correction_of_its_time_cannot_be_invented(
    sealed: SealedMeet, whole: Files, corrected: tuple[str, Json]
) -> None:
    name, document = corrected
    other = next(one for one in announced(whole) if one != name)
    forged = written_anew(whole, other, time_corrections=document["time_corrections"])
    (found,) = told(sealed, forged)
    assert found == f"{other}: it tells of 1 correction of its time, the record has 0"


def test_a_signature_is_not_told_to_be_stronger_than_it_was(
    sealed: SealedMeet, whole: Files
) -> None:
    name = announced(whole)[0]
    words = "passkey of a device; anybody can check it against the export"
    (found,) = told(sealed, written_anew(whole, name, signed_with=words))
    assert found.startswith(f"{name}: it says of its signature another thing than entry ")


def an_end(kind: str, **body: str) -> Entry:
    return Entry(9, kind, "m", "o", "2026-06-13T18:00:00.000000Z", dict(body))


def test_the_end_of_the_meet_is_told_as_it_was_entered_last() -> None:
    counts: list[Json] = [{"counts_from": None}, {"counts_from": "end of the meet"}]
    ended = an_end("meet ended", ended_at="2026-06-13T18:00:00.000000Z")
    moved = an_end("end of the meet corrected", becomes="2026-06-13T18:05:00.000000Z")

    def hold(at: str | None, *ends: Entry | None, windows: list[Json] = counts) -> None:
        insist_end({"meet_ended_at": at, "windows": windows}, list(ends))

    hold(None)
    hold("2026-06-13T18:00:00Z", ended)
    hold("2026-06-13T18:05:00Z", ended, moved)
    hold("2026-06-13T18:07:00Z", ended, None)  # whose body was erased
    hold(None, ended, windows=counts[:1])
    for at, ends in (
        ("2026-06-13T18:00:00Z", (ended, moved)),
        ("2026-06-13T18:05:00Z", (ended,)),
        ("2026-06-13T18:00:00Z", ()),
        (None, (ended,)),
    ):
        with pytest.raises(Unfit):
            hold(at, *ends)
    with pytest.raises(Unfit):
        hold("2026-06-13T18:00:00Z", ended, windows=counts[:1])


def test_an_end_that_was_told_of_no_window_is_no_finding_where_there_is_none() -> None:
    insist_known_since({"id": "x", "windows": [], "meet_ended_at": None}, KnownSince({}, []))
