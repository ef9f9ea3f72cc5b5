"""What the files of an announcement say is what was announced: the document held against its entry,
the table and what is read aloud against the document.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from app.clock import in_zone
from app.exporting.check_export import (
    COLUMNS,
    KNOWN_LATER,
    Unfit,
    cell,
    insist_table,
    insist_words,
    read_aloud,
)
from app.ids import CorrectionId, OfficialId
from app.results import announcement_wire as wire
from app.results.announcement_wire import AnnouncementOut
from app.results.correction_wire import TimeCorrectionOut
from app.results.printing import ABOUT_HEADER, LINE_HEADER, as_csv, as_text
from app.sheets.writing import guard_text
from tests.exporting.conftest import SealedMeet
from tests.exporting.tampering import Files, checked, lines_in, of_kind, read_files, remanifest

Json = dict[str, Any]
NOW = datetime(2026, 6, 13, 18, tzinfo=UTC)


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


def announced(files: Files, ending: str = ".json") -> list[str]:
    return sorted(
        name for name in files if name.startswith("announcements/") and name.endswith(ending)
    )


def told(sealed: SealedMeet, files: Files) -> list[str]:
    """What is found once the manifest fits and is signed with the meet's own key."""
    return checked(remanifest(files, sealed.seal.notes)).mismatches


# The document, against the record ----------------------------------------------------------------


def test_a_name_that_is_left_out_of_what_was_announced_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    name = announced(whole)[0]
    document = json.loads(whole[name])
    (entry,) = (
        one
        for one in of_kind(lines_in(whole), "announcement")
        if one.entry["subject"] == document["id"]
    )
    assert entry.body is not None
    signed = entry.body["statement"].keys() & document.keys()
    assert {"lines", "changes", "despite", "remark", "windows", "because", "qualified"} <= signed
    for one in sorted({*signed, "announced_at_local", "entered_at", "announced_by"}):
        less = {said: value for said, value in document.items() if said != one}
        found = told(sealed, {**whole, name: json.dumps(less).encode()})
        assert any(
            f"{name}: it leaves out “{one}”" in line or f"{name}: it names another" in line
            for line in found
        ), (one, found)


def test_what_nobody_announced_is_found_in_it(sealed: SealedMeet, whole: Files) -> None:
    name = announced(whole)[0]
    document = {**json.loads(whole[name]), "disqualified_too": ["Tern"]}
    (found,) = told(sealed, {**whole, name: json.dumps(document).encode()})
    assert found == f"{name}: nobody announced what it says as “disqualified_too”"


def test_a_name_that_a_later_program_adds_and_leaves_empty_is_no_finding(
    sealed: SealedMeet, whole: Files
) -> None:
    name = announced(whole)[0]
    document = {**json.loads(whole[name]), "weather": "", "wind": None, "heard": []}
    assert told(sealed, {**whole, name: json.dumps(document).encode()}) == []


def test_a_digest_that_is_not_that_of_what_was_signed_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    name = announced(whole)[0]
    document = {**json.loads(whole[name]), "statement_digest": "0" * 64}
    (found,) = told(sealed, {**whole, name: json.dumps(document).encode()})
    assert found == f"{name}: its digest is not that of what was signed"


def test_it_knows_all_that_is_told_of_an_announcement_since() -> None:
    assert set(KNOWN_LATER) == set(wire.KNOWN_LATER)


# Which one stands ---------------------------------------------------------------------------------


def of_heat_with_two(files: Files) -> tuple[str, str]:
    """Of a heat that was announced again, the first document and the last."""
    by_heat: dict[str, list[tuple[int, str]]] = {}
    for name in announced(files):
        document = json.loads(files[name])
        by_heat.setdefault(document["heat"], []).append((document["number"], name))
    ordered = sorted(next(some for some in by_heat.values() if len(some) > 1))
    return ordered[0][1], ordered[-1][1]


def written_anew(files: Files, name: str, **changes: object) -> Files:
    """A document with other words, and table and words that fit it."""
    out = AnnouncementOut.model_validate({**json.loads(files[name]), **changes})
    return {
        **files,
        name: out.model_dump_json().encode(),
        name.replace(".json", ".csv"): as_csv(out).encode(),
        name.replace(".json", ".txt"): as_text(out, NOW, ()).encode(),
    }


def test_a_result_that_no_longer_stands_is_not_given_out_as_one_that_does(
    sealed: SealedMeet, whole: Files
) -> None:
    first, last = of_heat_with_two(whole)
    stands = json.loads(whole[last])
    fits = {name: stands[name] for name in ("id", "number", "announced_at", "announced_at_local")}
    assert told(sealed, written_anew(whole, first, superseded_by=fits)) == []
    for name, later in ((first, None), (first, {**fits, "number": 9}), (last, fits)):
        (found,) = told(sealed, written_anew(whole, name, superseded_by=later))
        assert found == f"{name}: it says of another announcement, or of none, that it stands"


# The table, against the document -----------------------------------------------------------------


def rows_of(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode(), newline="")))


def written(rows: list[list[str]]) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    return out.getvalue().encode()


def swapped(rows: list[list[str]]) -> None:
    rows[1], rows[2] = rows[2], rows[1]


def with_a_time(rows: list[list[str]]) -> None:
    rows[1][5] = "41.99"


def with_a_disqualification(rows: list[list[str]]) -> None:
    rows[1][6:8] = ["DQ TR24.7", "Something"]


def of_another_announcement(rows: list[list[str]]) -> None:
    for row in rows[1:]:
        row[14] = "9"


def without_a_team(rows: list[list[str]]) -> None:
    rows.pop()


def with_a_further_team(rows: list[list[str]]) -> None:
    rows.append([*rows[-1][:3], "Auk", *rows[-1][4:]])


def under_another_header(rows: list[list[str]]) -> None:
    rows[0][0], rows[0][1] = rows[0][1], rows[0][0]


CHANGES = (
    swapped,
    with_a_time,
    with_a_disqualification,
    of_another_announcement,
    without_a_team,
    with_a_further_team,
    under_another_header,
)


@pytest.mark.parametrize("change", CHANGES)
def test_a_table_that_says_something_else_is_found(
    sealed: SealedMeet, whole: Files, change: Callable[[list[list[str]]], None]
) -> None:
    name = announced(whole, ".csv")[0]
    rows = rows_of(whole[name])
    change(rows)
    (found,) = told(sealed, {**whole, name: written(rows)})
    assert found.startswith(f"{name}: it")


@pytest.mark.parametrize("content", [b"", b'a,"b', b"\xff", b'"' + b"a" * 200_000 + b'"\r\n'])
def test_what_is_no_table_is_found(sealed: SealedMeet, whole: Files, content: bytes) -> None:
    name = announced(whole, ".csv")[0]
    (found,) = told(sealed, {**whole, name: content})
    assert found.startswith(name)


def test_it_knows_the_columns_and_guards_texts_as_the_program_does() -> None:
    assert tuple(COLUMNS) == (*LINE_HEADER, *ABOUT_HEADER)
    for text in ("=1", "+1", "-1", "@x", " =1", "\t=", "\uff1d1", "Tern", "'x", "", "1-2", "\x00"):
        assert cell(text) == guard_text(text)


# What is read aloud, against the document --------------------------------------------------------


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        ("First, ", "Second, "),
        ("Disqualified: ", "Warned: "),
        (", heat 1.", ", heat 2."),
        ("Announcement 1,", "Announcement 2,"),
        (" by rule ", " by no rule "),
    ],
)
def test_words_that_say_something_else_are_found(
    sealed: SealedMeet, whole: Files, was: str, becomes: str
) -> None:
    name = next(
        one
        for one in announced(whole, ".txt")
        if all(word in whole[one].decode() for word in ("Disqualified: ", ", heat 1.", was))
    )
    words = whole[name].decode().replace(was, becomes)
    found = told(sealed, {**whole, name: words.encode()})
    assert len(found) == 1
    assert found[0].startswith(f"{name}: it does not ")


def test_teams_that_are_read_in_another_order_or_left_out_are_found(
    sealed: SealedMeet, whole: Files
) -> None:
    name = announced(whole, ".txt")[0]
    lines = whole[name].decode().splitlines(keepends=True)
    at = next(number for number, line in enumerate(lines) if line.startswith("First, "))
    for changed in (
        [*lines[:at], lines[at + 1], lines[at], *lines[at + 2 :]],
        [*lines[:at], *lines[at + 1 :]],
    ):
        (found,) = told(sealed, {**whole, name: "".join(changed).encode()})
        assert found.endswith("it does not read the teams as the .json beside it has them")


def a_line(place: int | None, team: str, **changes: object) -> Json:
    return {
        "place": place,
        "lane": 3,
        "bib": "7",
        "team": "01890a5d-ac96-774b-bcce-b302099a8057",
        "team_name": team,
        "affiliation": "=Club",
        "status": "finished",
        "thousandths": None,
        "time": "" if place is None else "42.35",
        "annotation": "",
        "reason": "",
        **changes,
    }


LINES = [
    a_line(1, "Tern"),
    a_line(2, "Gull", points="6.5", qualification="Q"),
    a_line(2, "Auk", annotation="L", reason="Lane infringement"),
    a_line(10, "@Heron"),
    a_line(None, "Rail", annotation="DQ TR24.7", reason="Baton passed outside the zone"),
    a_line(None, "Knot", annotation="DNF, L", reason="Lane infringement"),
    a_line(None, "Smew", annotation="DNS"),
    a_line(None, "Crake"),
]


def test_it_reads_every_sort_of_line_as_the_program_writes_it(whole: Files) -> None:
    """Shared places, places beyond the ninth, whatever a team without a place is noted with."""
    document = {**json.loads(whole[announced(whole)[0]]), "lines": LINES}
    out = AnnouncementOut.model_validate(document)
    said = json.loads(out.model_dump_json())
    table, words = as_csv(out), as_text(out, NOW, ())
    insist_table(table, said)
    insist_words(words, said)
    assert "Place 10, @Heron, 42.35." in list(read_aloud(said["lines"]))
    for number in range(len(LINES)):
        less = {**said, "lines": [one for at, one in enumerate(said["lines"]) if at != number]}
        with pytest.raises(Unfit):
            insist_table(table, less)
    with pytest.raises(Unfit):
        insist_words(words, {**said, "lines": said["lines"][::-1]})


def test_a_time_that_was_corrected_stands_in_the_table_as_it_became(whole: Files) -> None:
    document = json.loads(whole[announced(whole)[0]])
    ident, at = "01890a5d-ac96-774b-bcce-b302099a8057", datetime(2026, 6, 13, 15, tzinfo=UTC)
    corrected = TimeCorrectionOut(
        id=CorrectionId(ident),
        reasons="Read a minute later.",
        corrected_by=OfficialId(ident),
        corrected_by_name="Olive Halyard",
        corrected_at=NOW,
        was=document["announced_at"],
        was_local=document["announced_at_local"],
        becomes=at,
        becomes_local=in_zone(at, document["time_zone"]),
    )
    out = AnnouncementOut.model_validate(document)
    out = out.model_copy(update={"time_corrections": [corrected]})
    said = json.loads(out.model_dump_json())
    insist_table(as_csv(out), said)
    with pytest.raises(Unfit):
        insist_table(as_csv(out), {**said, "time_corrections": []})
