"""A plan that somebody wrote by hand, or wrote into, is kept by the command as it is."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from app.sheets.made_plan import REQUIRED
from tests.planning.files import a_crew, a_programme, written
from tests.planning.test_command import SIX, STARTS, crew, rows_of

Row = tuple[str, ...]


def posts_in(path: Path) -> Iterator[Row]:
    """Each post of a plan at each of its heats."""
    for row in rows_of(path):
        first, _, last = row["heat"].partition("-")
        for heat in range(int(first or 0), int(last or first or 0) + 1):
            yield tuple(str(heat) if name == "heat" else row[name] for name in REQUIRED)


def kept(folder: Path, rows: list[str], *more: str) -> list[Row]:
    """The posts of the plan that the command makes of one with these rows."""
    plan = written(folder / "kept.csv", ",".join(REQUIRED), rows)
    assert crew(folder, "--keep", str(plan), *more) == 0
    return [one for one in posts_in(folder / "plan.csv") if one[2] != "0"]


def test_heats_that_have_begun_are_written_as_the_plan_by_hand_has_them(tmp_path: Path) -> None:
    """One for each take-over of a 4x400, and somebody who learns beside the first of them."""
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, [*SIX, "Learner"])
    places = [(edge, take_over) for take_over in (1, 2, 3) for edge in ("start", "end")]
    rows = [
        f"Women 4x400,heats,1-4,{name},{take_over},{edge},1-4,inside"
        for name, (edge, take_over) in [*zip(SIX, places, strict=True), ("Learner", places[0])]
    ]
    after = kept(tmp_path, rows, "--drop", "Umpire 1", "--from", "10:10")
    before = [*posts_in(tmp_path / "kept.csv")]
    assert {one for one in after if one[2] in "12"} == {one for one in before if one[2] in "12"}
    assert {one[3] for one in after if one[2] in "34"} <= {*SIX[1:], "Learner"}
    assert {one[4] for one in after if one[2] in "34"} == {"1, 2, 3"}


def test_a_plan_that_needs_no_change_is_written_as_it_was(tmp_path: Path) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, SIX)
    rows = [
        'Women 4x400,heats,1-4,Umpire 1,"1, 2, 3",start,1-8,inside',
        'Women 4x400,heats,1-4,Umpire 2,"1, 2, 3",end,1-4,inside',
    ]
    after = kept(tmp_path, rows)
    assert {*after} == {*posts_in(tmp_path / "kept.csv")}


def test_it_says_where_heats_that_may_have_been_run_could_change(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    a_programme(tmp_path, STARTS)
    a_crew(tmp_path, [*SIX, "Bo Halyard"])
    rows = ['Women 4x400,heats,1-4,Umpire 1,"1, 2, 3",start,1-8,inside']
    could_change = "Every heat could change, the first ones too"
    kept(tmp_path, rows, "--drop", "Umpire 1")
    assert could_change in capfd.readouterr().out
    kept(tmp_path, rows, "--drop", "Umpire 1", "--from", "10:10")
    assert could_change not in capfd.readouterr().out
