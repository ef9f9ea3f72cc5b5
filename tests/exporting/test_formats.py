"""DEVELOPERS.md tells what another checker takes: its tables are those that the checker holds."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from app.exporting import check_export as checker
from app.record.kinds import Kind

DEVELOPERS = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8")
FORMATS = DEVELOPERS.partition("#### Names and tables for another checker\n")[2].partition(
    "\n### "
)[0]


def table(head: str) -> list[list[str]]:
    """The rows below the head of a table that begins so, each cell without its code marks."""
    _, found, below = FORMATS.partition(f"| {head}")
    assert found, f"no table begins with {head}"
    rows = below.partition("\n\n")[0].strip().splitlines()[2:]
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows]


def bare(cell: str) -> str:
    return cell.strip("`")


def named(cell: str) -> list[str]:
    return re.findall(r"`(\w+)`", cell)


def test_all_signed_kinds_stand_there_with_their_act_and_what_it_is_about() -> None:
    told = {kind: (bare(act), bare(about)) for kind, act, about in table("signed kind of entry")}
    expected = dict(checker.STATEMENTS)
    expected["a ballot in “appeal decided”"] = expected.pop("ballot")
    assert told == expected


def test_all_signed_kinds_are_kinds_of_the_record() -> None:
    assert {*checker.STATEMENTS} - {"ballot"} <= {kind.value for kind in Kind}


@pytest.mark.parametrize(
    ("of", "names"),
    [
        ("in its statement", checker.NOT_IN_THE_FILE),
        ("in its file", checker.ONLY_IN_THE_FILE),
        ("in the body", checker.STORED_BESIDE),
        ("known since", checker.KNOWN_LATER),
        ("of what an erasure", ("heat", "number", "announced_at", "lines", "qualified")),
        ("of each of those `lines`", checker.RESULT_LINE),
        ("of each of those `qualified`", checker.QUALIFIED),
    ],
)
def test_all_names_that_an_announcement_is_held_by_stand_there(
    of: str, names: tuple[str, ...]
) -> None:
    (told,) = [cell for what, cell in table("of an announcement") if what.startswith(of)]
    assert named(told) == list(names)


def test_the_columns_of_an_announcements_table_stand_there_in_their_order() -> None:
    rows = table("column of its CSV")
    assert [bare(column) for column, _ in rows] == checker.COLUMNS
    of_lines = [named(source)[0] for _, source in rows if source.startswith("the line's")]
    assert of_lines == [*checker.OF_LINES, *checker.OF_LINES_TOO]


def test_the_letters_with_which_a_spreadsheet_calculates_stand_there() -> None:
    told = re.findall(r"U\+([0-9A-F]{4})", FORMATS)
    assert [chr(int(code, 16)) for code in told] == list(checker.FORMULAS)


def test_the_sentences_of_a_result_are_those_that_stand_there() -> None:
    """Which of the cells are numbers matters to none of them."""
    rows = table("place | team_name")
    names = ("place", "team_name", "lane", "time", "annotation", "reason")
    lines = [{**dict.fromkeys(names), **dict(zip(names, row, strict=False))} for row in rows]
    for line in lines:
        line["place"] = int(line["place"]) if line["place"] else None
        line |= {name: line[name] or None for name in ("time", "reason")}
    assert list(checker.read_aloud(lines)) == [row[-1] for row in rows]
    assert {word for row in rows for word in row[-1].split(", ")[:1]} >= {"First", "Place 10"}


def test_the_endings_of_pictures_stand_there() -> None:
    told = {bare(kind): bare(ending) for kind, ending in table("media type of a picture")}
    assert told.pop("any other") == "bin"
    assert told == checker.ENDINGS
