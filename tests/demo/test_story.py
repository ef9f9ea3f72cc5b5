"""The invented meet's files hold together, and the story's clock and table keep their word."""

from __future__ import annotations

import csv
import json
from collections import Counter
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from app.refusals import Refusal
from app.roles import Role
from app.rules.cover import PostPlace, uncovered
from app.rules.relay import Edge
from app.sealing.key_store import KeyStore
from app.serving import bring_up_to_date
from app.sheets.finish_list import read_finish_list
from app.sheets.start_list import read_start_list
from seed_demo.deeds import do_step
from seed_demo.files import FOLDER, read_bytes, read_meet
from seed_demo.play import play
from seed_demo.story import Finish, Rule, Story, read_story
from seed_demo.story_clock import StoryClock, Timetable, ending_at
from seed_demo.telling import Happening, Told, cells, table_of, wrap
from tests.demo.conftest import DemoRun

NOON = datetime(2026, 6, 13, 12, tzinfo=UTC)
BY_PLACE, BY_TIME = 3, 2
START_LISTS = ("start-list.csv", "finals.csv", "men-final.csv")
INSTANTS = st.timedeltas(timedelta(0), timedelta(days=700)).map(lambda passed: NOON + passed)


def test_the_start_lists_have_no_problems_and_eight_lanes_in_every_heat() -> None:
    for name in START_LISTS:
        start_list, problems = read_start_list(read_bytes(name))
        assert problems == ()
        assert start_list.ignored_columns == ()
        assert all(len(heat.entries) == 8 for heat in start_list.heats)
    heats, _ = read_start_list(read_bytes("start-list.csv"))
    assert len({heat.event for heat in heats.heats}) >= 3


def test_the_finish_lists_have_no_problems() -> None:
    for path in (FOLDER / "finish").iterdir():
        rows, problems = read_finish_list(path.read_bytes())
        assert problems == ()
        assert len(rows) == 8


def test_eighteen_umpires_watch_every_edge_of_every_lane_once() -> None:
    """Six umpires a take-over, three inside and three outside (common practice).

    On each side one watches the start for four lanes and two the end for two lanes each.
    """
    files = read_meet()
    crew = files.crew
    umpires = {line.key for line in files.officials if Role.UMPIRE in line.roles}
    assert len(umpires) == 18
    assert {line.official for line in crew} == umpires
    assert set(Counter((line.take_over, line.side) for line in crew).values()) == {3}
    places = [PostPlace(p.official, p.take_over, p.edge, frozenset(p.lanes)) for p in crew]
    assert uncovered(places, range(1, 9)) == ()
    watched = Counter((p.take_over, p.edge, lane) for p in crew for lane in p.lanes)
    assert set(watched.values()) == {1}
    assert {len(p.lanes) for p in crew if p.edge is Edge.START} == {4}
    assert {len(p.lanes) for p in crew if p.edge is Edge.END} == {2}


def test_no_umpire_watches_the_lane_of_the_own_club() -> None:
    """Common practice: avoid a post whose lanes carry the umpire's own club."""
    files = read_meet()
    clubs = {line.key: line.affiliation for line in files.officials if line.affiliation}
    lanes = {line.official: line.lanes for line in files.crew}
    for name in START_LISTS:
        for heat in read_start_list(read_bytes(name))[0].heats:
            for entry in heat.entries:
                concerned = {key for key, club in clubs.items() if club == entry.affiliation}
                watching = {key for key in concerned if entry.lane in lanes.get(key, ())}
                assert not watching, (heat.event, heat.round, heat.heat, entry.lane)


@pytest.mark.parametrize(
    ("file", "event", "last_announcements"),
    [
        (
            "finals.csv",
            "Women 4x100 m",
            ("women-heat-1-announcement-1", "women-heat-2-announcement-1"),
        ),
        ("finals.csv", "Men 4x400 m", ("men-heat-1-announcement-1", "men-heat-2-announcement-2")),
        (
            "men-final.csv",
            "Men 4x400 m",
            ("men-heat-1-announcement-1", "men-heat-2-announcement-3"),
        ),
    ],
)
def test_the_finals_hold_the_first_three_of_each_heat_and_the_two_next_times(
    demo: DemoRun, file: str, event: str, last_announcements: tuple[str, str]
) -> None:
    """By place in each heat and then by time over all heats: IAAF Rule 167 (2010-11)."""
    qualified, rest = set(), []
    for name in last_announcements:
        text = (demo.out / "results" / f"{name}.json").read_text("utf-8")
        for line in json.loads(text)["lines"]:
            if line["place"] is not None and line["place"] <= BY_PLACE:
                qualified.add(line["team_name"])
            elif line["place"] is not None:
                rest.append((line["thousandths"], line["team_name"]))
    qualified |= {team for _, team in sorted(rest)[:BY_TIME]}
    finals, _ = read_start_list(read_bytes(file))
    final = next(heat for heat in finals.heats if heat.event == event)
    assert {entry.team for entry in final.entries} == qualified


def test_a_team_has_one_number_and_one_club_everywhere() -> None:
    seen: dict[str, set[tuple[str, str]]] = {}
    for name in START_LISTS:
        for row in csv.DictReader(read_bytes(name).decode("utf-8").splitlines()):
            seen.setdefault(row["team"], set()).add((row["affiliation"], row["bib"]))
    assert all(len(said) == 1 for said in seen.values())
    assert len({said.copy().pop()[1] for said in seen.values()}) == len(seen)


def test_a_misspelt_step_is_refused_with_its_place() -> None:
    step = {"do": "start", "at": time(14), "by": "casimir", "heet": "medley"}
    with pytest.raises(ValidationError, match="heet"):
        Story.model_validate({"heats": {}, "step": [step]})


def test_what_the_program_refuses_stops_the_story(tmp_path: Path) -> None:
    """Nothing of the story goes past the program's own guards: nobody rules twice on a case."""
    files, story = read_meet(), read_story()
    first_ruling = next(at for at, step in enumerate(story.step) if isinstance(step, Rule))
    shortened = story.model_copy(update={"step": story.step[: first_ruling + 1]})
    url = f"sqlite:///{tmp_path / 'demo.db'}"
    bring_up_to_date(url)
    timetable = Timetable(files.set_up_at.astimezone(UTC), files.set_up_at.time())
    with play(url, files, shortened, timetable, KeyStore()) as played, pytest.raises(Refusal):
        do_step(played.stage, story.step[first_ruling])


def test_every_finish_list_belongs_to_a_heat_of_the_story() -> None:
    story = read_story()
    loaded = {step.heat for step in story.step if isinstance(step, Finish)}
    assert loaded == {path.stem for path in (FOLDER / "finish").iterdir()}
    assert loaded <= story.heats.keys()


@given(INSTANTS)
def test_a_served_story_ends_within_the_last_minute(now: datetime) -> None:
    first, last = time(13), time(15, 40, 20)
    timetable = ending_at(now, first, last)
    assert timedelta(0) <= now - timetable.instant(last) < timedelta(minutes=1)
    assert timetable.instant(first).second == 0


@given(INSTANTS)
def test_the_programme_moves_with_the_story(now: datetime) -> None:
    timetable = ending_at(now, time(13), time(15, 40))
    moved = timetable.move_programme("Women 4x100 m,heats,1,14:00,1,Tern", "Etc/UTC")
    assert moved == f"Women 4x100 m,heats,1,{timetable.instant(time(14)):%H:%M},1,Tern"


def test_on_its_own_day_the_programme_stays_as_it_is_written() -> None:
    files = read_meet()
    timetable = Timetable(files.set_up_at.astimezone(UTC), files.set_up_at.time())
    text = read_bytes("start-list.csv").decode("utf-8")
    assert timetable.move_programme(text, files.time_zone) == text


def test_the_story_clock_never_goes_back() -> None:
    clock = StoryClock(NOON)
    clock.wait(5)
    assert clock.now() == NOON + timedelta(seconds=5)
    with pytest.raises(ValueError, match="put its steps in order"):
        clock.move_to(NOON)


@pytest.mark.parametrize(
    ("text", "width"),
    [("abc", 3), ("Přístav", 7), ("青港", 4), ("อ่าว", 3), ("e\u0301", 1), ("שלום", 4)],
)
def test_text_is_measured_in_cells_of_a_terminal(text: str, width: int) -> None:
    """Unicode Standard Annex 11: wide letters take two cells; combining marks take none."""
    assert cells(text) == width


def test_a_story_over_midnight_names_both_days() -> None:
    told = Told("", "Ada", "looks at the clock")
    night = datetime(2026, 6, 13, 21, 59, tzinfo=UTC)
    happenings = [Happening(night + timedelta(minutes=minutes), told) for minutes in (0, 1, 2)]
    lines = list(table_of(happenings, "Europe/Copenhagen"))[2:]
    assert [line if line[0] in "SM" else line[:8] for line in lines] == [
        "Saturday, 13 June 2026",
        "23:59:00",
        "Sunday, 14 June 2026",
        "00:00:00",
        "00:01:00",
    ]


@given(st.lists(st.text("abcčあ", min_size=1, max_size=10), max_size=30), st.integers(20, 60))
def test_wrapped_text_keeps_its_words_and_the_width(words: list[str], width: int) -> None:
    lines = wrap(" ".join(words), width)
    assert " ".join(lines).split() == words
    assert all(cells(line) <= width for line in lines)
