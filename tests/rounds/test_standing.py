"""How a round stands: for the desk by all that is known, for everybody by what was announced."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from app.ids import HeatId
from app.refusals import StateConflict
from app.rounds.actions import (
    advance,
    call_off_re_run,
    order_re_run,
    recall_advancement,
)
from app.rules.placing import Finish, FinishStatus
from app.rules.qualifying import Letter, Ran
from tests.builders import MeetAtHand, a_problem
from tests.rounds.builders import Event, a_decision, an_event, by_name, two_heats

FINISHED = FinishStatus.FINISHED


def test_the_desk_sees_at_once_what_the_public_sees_when_it_is_announced(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.load("heats 1", "42.10", "42.30", "42.50")
    assert [team["name"] for team in event.now()["teams"]] == ["Tern", "Gull", "Heron"]
    assert event.public()["teams"] == []
    assert event.public()["sentences"] == [
        "The result of heat 1 is awaited.",
        "The result of heat 2 is awaited.",
    ]
    event.announce("heats 1")
    assert by_name(event.public())["Tern"]["letter"] == "Q"
    assert by_name(event.public())["Gull"]["letter"] is None


def test_letters_by_time_come_with_the_last_heat(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    told = event.public("heats 2")
    assert told["is_complete"]
    assert told["sentences"] == []
    letters = [(team["name"], team["letter"]) for team in told["teams"]]
    assert letters == [
        ("Tern", "Q"),
        ("Puffin", "Q"),
        ("Gull", "q"),
        ("Curlew", "q"),
        ("Heron", ""),
        ("Plover", ""),
    ]


def test_nothing_of_a_ruling_shows_to_the_public_before_it_is_announced(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    before = event.public()
    event.disqualify("Tern")
    event.load("heats 2", "42.00", "42.40", "42.20")
    assert event.public() == before
    assert by_name(event.now())["Tern"]["is_disqualified"]
    assert by_name(event.now())["Plover"]["letter"] == "Q"
    event.announce("heats 1")
    event.announce("heats 2")
    assert [team["letter"] for team in event.public()["teams"]] == [
        team["letter"] for team in event.now()["teams"]
    ]
    assert by_name(event.public())["Tern"]["is_disqualified"]


def test_thousandths_part_a_tie_at_the_cut_as_announced_too(meet: MeetAtHand) -> None:
    """IAAF Rule 167.2 as federations retell it: ties at the cut are looked at to 0.001 s."""
    event = two_heats(meet)
    event.set(by_time=1, lanes=3)
    event.run("heats 1", "42.100", "42.350", "42.500")
    event.run("heats 2", "43.000", "42.345", "42.200")
    letters = {name: team["letter"] for name, team in by_name(event.public()).items()}
    assert letters == {name: team["letter"] for name, team in by_name(event.now()).items()}
    assert (letters["Curlew"], letters["Gull"]) == ("q", "")


def test_a_heat_that_is_held_back_is_no_longer_in(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    event.hand("heats 1").hold_back()
    assert not event.public()["is_complete"]
    assert "Tern" not in by_name(event.public())
    assert "Tern" not in by_name(event.now())


def test_a_list_of_another_draw_does_not_count(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.load("heats 1", "42.10", "42.30", "42.50")
    event.draw({"heats 1": ("Gull", "Tern", "Heron")})
    assert event.now()["teams"] == []


def test_lanes_of_the_next_round_that_fall_free_go_to_who_comes_in(meet: MeetAtHand) -> None:
    event = a_drawn_final(meet)
    event.disqualify("Tern")
    now = by_name(event.now())
    assert now["Tern"]["seat"] is None
    assert now["Heron"]["seat"]["lane"] == event.lane("Tern", "final 1")
    # The draw itself is as it was: the public is told no lane that nobody has drawn.
    assert by_name(event.public())["Heron"]["seat"] is None
    assert by_name(event.public())["Tern"]["seat"]["lane"] == event.lane("Tern", "final 1")


def a_drawn_final(meet: MeetAtHand) -> Event:
    """Both heats announced, the final drawn: Tern and Puffin by place, Gull and Curlew by time."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    event.draw({"final 1": ("Tern", "Puffin", "Gull", "Curlew")})
    return event


def test_a_team_in_two_heats_of_a_round_is_told_and_breaks_no_result(meet: MeetAtHand) -> None:
    event = an_event(meet, {"heats 1": ("Tern", "Gull"), "heats 2": ("Tern", "Heron")})
    event.set(by_time=1, lanes=3)
    event.run("heats 1", "42.10", "42.30")
    event.run("heats 2", "42.20", "42.40")
    told = a_problem(meet.desk.get(f"heats/{event.heat()}/round/now"), 409, "conflict")
    assert "Tern stands in heat 1 and in heat 2. Correct the start lists." in told["detail"]
    assert event.letters() == {"Tern": None, "Gull": None}


def test_what_else_keeps_a_round_from_being_worked_out_is_said_as_it_is(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    at_hand = event.at_hand()
    first, second = at_hand.round.heats
    by_judges = Ran(event.team("Tern"), Finish(3, FINISHED, decided_place=1))
    no_place = Ran(event.team("Gull"), Finish(4, FINISHED, thousandths=42300))
    heats = (replace(first, ran=(by_judges, no_place), is_in=True), second)
    with pytest.raises(StateConflict, match="Lane 3 finished without a time") as refused:
        replace(at_hand, round=replace(at_hand.round, heats=heats)).stand()
    assert "two" not in refused.value.detail


def test_who_is_advanced_goes_on_until_that_is_taken_back(meet: MeetAtHand) -> None:
    event = a_drawn_final(meet)
    heron, referee = event.team("Heron"), Letter.BY_REFEREE
    at_hand = event.at_hand()
    event.read(lambda unit: advance(unit, at_hand, heron, referee, a_decision()))
    assert by_name(event.now())["Heron"]["letter"] == "qR"
    assert event.now()["unseated"] == [{"team": heron, "name": "Heron"}]
    assert event.now()["sentences"] == ["There is no lane left in the final for Heron."]
    event.read(lambda unit: recall_advancement(unit, at_hand, heron, a_decision()))
    assert by_name(event.now())["Heron"]["letter"] == ""


def test_a_re_run_is_a_heat_of_its_own_with_the_same_lane_and_runners(meet: MeetAtHand) -> None:
    """Rio 2016, women's 4x100 m: the same four in the same order and lane (press accounts)."""
    event = a_drawn_final(meet)
    order_again(event, "Heron", time_to_beat=42400)
    again = event.heats["heats, re-run 1"]
    first = next(lane for lane in event.heats["heats 1"]["lanes"] if lane["name"] == "Heron")
    assert again["lanes"] == [first]
    assert (again["state"], again["number"]) == ("to come", 1)
    assert "To run again: Heron (heats, re-run, heat 1)." in event.now()["sentences"]


def order_again(event: Event, *names: str, time_to_beat: int | None, added: int = 0) -> str:
    """The referee orders that teams of the first heat run again."""
    teams, heat = [event.team(name) for name in names], event.heat_out()
    more: dict[str, Any] = {"time_to_beat": time_to_beat, "added_places": added}
    re_run, _heat = event.read(
        lambda unit: order_re_run(unit, heat, teams, Letter.BY_REFEREE, a_decision(), **more)
    )
    event.read_again()
    return re_run


def test_a_lone_re_run_that_beats_the_last_qualifier_takes_its_place(meet: MeetAtHand) -> None:
    """Rio 2016, women's 4x100 m: had to beat 42.70, the time of the last qualifier, which then
    lost its place (press accounts).
    """
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.30", "DNF")
    event.run("heats 2", "43.00", "42.70", "42.20")
    order_again(event, "Heron", time_to_beat=42700)
    assert not event.now()["is_complete"]
    event.run("heats, re-run 1", "41.77")
    now = by_name(event.public("heats, re-run 1"))
    assert (now["Heron"]["letter"], now["Heron"]["time"]) == ("q", "41.77")
    assert now["Curlew"]["letter"] == ""
    assert event.letters("heats, re-run 1") == {"Heron": "q"}


def test_a_lone_re_run_that_is_too_slow_changes_nothing(meet: MeetAtHand) -> None:
    """Tokyo 2025, men's 4x100 m: needed 38.34 or faster and ran 38.64 (press accounts)."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "37.80", "38.10", "DNF")
    event.run("heats 2", "38.90", "38.35", "38.00")
    order_again(event, "Heron", time_to_beat=38350)
    event.run("heats, re-run 1", "38.64")
    assert event.now()["is_complete"]
    now = by_name(event.now())
    assert (now["Heron"]["letter"], now["Curlew"]["letter"]) == ("", "q")


def test_the_better_of_two_in_a_re_run_is_added(meet: MeetAtHand) -> None:
    """Tokyo 2025, men's 4x400 m: 2:58.58 against 3:00.39 for a ninth place (press accounts)."""
    event = two_heats(meet)
    event.set(by_time=1, lanes=3)
    event.run("heats 1", "2:57.00", "DNF", "3:01.00")
    event.run("heats 2", "3:02.00", "2:59.00", "2:58.00")
    order_again(event, "Gull", "Heron", time_to_beat=None, added=1)
    assert by_name(event.now())["Curlew"]["letter"] == "q"
    event.run("heats, re-run 1", "2:58.58", "3:00.39")
    assert event.letters("heats, re-run 1") == {"Gull": "qR", "Heron": ""}
    assert by_name(event.public())["Curlew"]["letter"] == "q"


def test_a_re_run_that_is_called_off_before_it_is_started_stays_without_lanes(
    meet: MeetAtHand,
) -> None:
    event = a_drawn_final(meet)
    order_again(event, "Heron", time_to_beat=42400)
    event.read_again()
    run_heat = HeatId(event.heat("heats, re-run 1"))
    event.read(lambda unit: call_off_re_run(unit, run_heat, a_decision()))
    event.read_again()
    assert event.heats["heats, re-run 1"]["lanes"] == []
    assert event.now()["sentences"] == []
    gone = meet.desk.get(f"heats/{event.heat('heats, re-run 1')}/round")
    a_problem(gone, 404, "not-found")
