"""What people send for the crew planner is taken as they write it, or refused by row and column."""

from __future__ import annotations

import io
from datetime import timedelta

import pytest
from openpyxl import Workbook

from app.rules.relay import Edge, Side
from app.sheets.crew_list import read_crew_list
from app.sheets.crew_template import read_crew_template
from app.sheets.made_plan import read_made_plan
from app.sheets.people_list import Position, read_people_list
from app.sheets.problems import SheetRefused

PLAN = "event,round,heat,official,take_over,edge,lanes,side\n"
TEMPLATE = "people,edge,side,lanes\n"


def csv(*lines: str) -> bytes:
    return "\n".join(lines).encode()


def told(problems: tuple) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in problems]


def test_people_are_read_with_hours_roles_and_positions_they_may_not_take() -> None:
    header = "Name,Roles,Affiliation,Experience,From,Until,Not"
    row = 'Ada Weir,"zone umpire, jury",Harbour,3,9:00,12:30,"take-over 2, End outside"'
    (one,), ignored, problems = read_people_list(csv(header, row))
    assert (ignored, problems) == ((), ())
    assert (one.name, one.roles, one.affiliation) == ("Ada Weir", ("jury", "umpire"), "Harbour")
    assert (one.experience, one.begins, one.ends) == (3, "09:00", "12:30")
    assert one.barred == (Position(2, None, None), Position(None, Edge.END, Side.OUTSIDE))


def test_a_name_alone_is_an_umpire_of_little_experience_all_day() -> None:
    (one,), _, problems = read_people_list(csv("name,phone", "Ada Weir,1"))
    assert problems == ()
    assert (one.roles, one.experience, one.begins, one.ends) == (("umpire",), 1, None, None)


def test_a_workbook_of_people_is_taken_as_well() -> None:
    book = Workbook()
    book.active.append(["name", "experience"])
    book.active.append(["Ada Weir", 2])
    content = io.BytesIO()
    book.save(content)
    (one,), _, problems = read_people_list(content.getvalue())
    assert (problems, one.experience) == ((), 2)


@pytest.mark.parametrize(
    ("header", "rows", "place"),
    [
        ("name,from,until", ["U,10:00,10:00"], (2, "until")),
        ("name,from,until", ["U,2026-06-13 9:00,10:00"], (2, "until")),
        ("name,from", ["U,morning"], (2, "from")),
        ("name,experience", ["U,much"], (2, "experience")),
        ("name,roles", ["U,starter"], (2, "roles")),
        ("name,not", ["U,lane 4"], (2, "not")),
        ("name", ["U", "V", "u "], (4, "name")),
        ("name", [], (None, None)),
        ("who", ["U"], (None, None)),
    ],
)
def test_a_list_of_people_that_is_wrong_is_told_where(
    header: str, rows: list[str], place: tuple[int | None, str | None]
) -> None:
    try:
        _, _, problems = read_people_list(csv(header, *rows))
    except SheetRefused as refused:
        assert header == "who"
        problems = refused.problems
        place = (1, None)
    assert place in told(problems)


@pytest.mark.parametrize(
    ("until", "ends"),
    [
        ("24:00", "00:00"),
        ("0:00", "00:00"),
        ("2026-12-31 24:00", "2027-01-01T00:00"),
        ("2026-12-31 00:00", "2026-12-31T00:00"),
    ],
)
def test_a_day_ends_at_midnight(until: str, ends: str) -> None:
    """24:00 of a day is 00:00 of the next (ISO 8601-1:2019/Amd 1:2022, from memory); without a
    day both end it.
    """
    (one,), _, problems = read_people_list(csv("name,until", f"U,{until}"))
    assert (one.ends, problems) == (ends, ())


def test_a_day_ends_at_midnight_in_a_workbook_too() -> None:
    book = Workbook()
    book.active.append(["name", "until"])
    book.active.append(["U", timedelta(days=1)])
    content = io.BytesIO()
    book.save(content)
    (one,), _, problems = read_people_list(content.getvalue())
    assert (one.ends, problems) == ("00:00", ())


def test_more_people_than_a_plan_takes_are_refused() -> None:
    rows = [f"Umpire {number}" for number in range(501)]
    with pytest.raises(SheetRefused, match="501 people"):
        read_people_list(csv("name", *rows))


def test_a_template_is_read_post_by_post() -> None:
    content = (TEMPLATE + "2,start,inside,8\n2,End,Outside,8\n").encode()
    posts, _, problems = read_crew_template(content)
    assert problems == ()
    assert [(one.people, one.edge, one.side, one.lanes) for one in posts] == [
        (2, Edge.START, Side.INSIDE, 8),
        (2, Edge.END, Side.OUTSIDE, 8),
    ]


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ("2,start,inside,8\n", "For 2 people this template has 1 post. Give each of them one."),
        (
            "3,start,inside,8\n3,end,inside,8\n",
            "For 3 people this template has 2 posts. Give each of them one.",
        ),
        (
            "2,start,inside,0\n2,end,inside,8\n",
            "“0” is no number of lanes; it runs from 1 to 10. Correct it.",
        ),
        ("1,start,inside,8\n", "“1” is no number of people; it runs from 2 to 20. Correct it."),
    ],
)
def test_what_is_wrong_with_a_template_is_told_as_people_say_it(rows: str, sentence: str) -> None:
    _, _, problems = read_crew_template((TEMPLATE + rows).encode())
    assert sentence in {one.problem for one in problems}


@pytest.mark.parametrize(
    ("rows", "place"),
    [
        ("3,start,inside,8\n3,end,inside,8\n", (2, "people")),
        ("2,start,inside,8\n2,start,outside,8\n", (2, "edge")),
        ("2,start,above,8\n2,end,inside,8\n", (2, "side")),
        ("2,start,inside,11\n2,end,inside,8\n", (2, "lanes")),
        ("1,start,inside,8\n", (2, "people")),
        ("", (None, None)),
    ],
)
def test_a_template_that_is_wrong_is_told_where(
    rows: str, place: tuple[int | None, str | None]
) -> None:
    _, _, problems = read_crew_template((TEMPLATE + rows).encode())
    assert place in told(problems)


@pytest.mark.parametrize(
    ("row", "column"),
    [
        (",heats,1,U,1,end,1-4,inside", "event"),
        ("Women 4x400,heats,last,U,1,end,1-4,inside", "heat"),
        ("Women 4x400,heats,1-4,U,4,end,1-4,inside", "take_over"),
        ("Women 4x400,heats,1-4,U,1,middle,1-4,inside", "edge"),
        ("Women 4x400,heats,1-4,U,1,end,1-14,inside", "lanes"),
        ("Women 4x400,heats,1-4,U,,end,1-4,inside", "take_over"),
    ],
)
def test_a_plan_that_is_wrong_is_told_where(row: str, column: str) -> None:
    rows, _, problems = read_made_plan((PLAN + row).encode())
    assert rows == ()
    assert (2, column) in told(problems)


@pytest.mark.parametrize("word", ["no", "x", "perhaps"])
def test_a_row_that_does_not_tell_whether_somebody_dropped_out_is_told_where(word: str) -> None:
    """In a plan that is kept as in a crew list: neither a post nor somebody who is gone."""
    text = f"{PLAN.strip()},dropped_out\nWomen 4x400,heats,1-4,U,1,end,1-4,inside,{word}\n"
    for read in (read_made_plan, read_crew_list):
        rows, _, problems = read(text.encode())
        assert rows == ()
        assert (2, "dropped_out") in told(problems)


def test_a_crew_list_of_nobody_but_who_dropped_out_names_no_post() -> None:
    _, _, problems = read_crew_list(b"official,take_over,edge,lanes,dropped_out\nU,,,,yes\n")
    assert told(problems) == [(None, None)]
