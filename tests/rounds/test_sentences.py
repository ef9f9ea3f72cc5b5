"""What is said about a round beside where its teams stand."""

from __future__ import annotations

from typing import Any

import pytest

from app.ids import HeatId
from app.rounds.actions import order_re_run
from app.rules.qualifying import Letter
from tests.builders import MeetAtHand
from tests.rounds.builders import Event, a_decision, an_event, by_name, two_heats

RE_RUN = "heats, re-run 1"


def a_complete_round(meet: MeetAtHand, **changes: object) -> Event:
    """Tern and Plover by place, Gull and Curlew by time."""
    event = two_heats(meet)
    event.set(**changes)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    return event


def a_re_run(event: Event, name: str, **more: Any) -> HeatId:
    heat, teams = event.heat_out(), [event.team(name)]
    _id, run_heat = event.read(
        lambda unit: order_re_run(unit, heat, teams, Letter.BY_REFEREE, a_decision(), **more)
    )
    event.read_again()
    return run_heat


def test_of_a_draw_that_fits_nothing_is_said(meet: MeetAtHand) -> None:
    event = a_complete_round(meet)
    event.draw({"final 1": ("Tern", "Plover", "Gull", "Curlew")})
    assert event.now()["sentences"] == []


def test_who_is_drawn_without_having_qualified_is_named_and_who_was_left_out(
    meet: MeetAtHand,
) -> None:
    event = a_complete_round(meet)
    event.draw({"final 1": ("Tern", "Plover", "Heron", "Puffin")})
    assert event.now()["sentences"] == [
        "Drawn into the final without having qualified: Heron and Puffin.",
        "Qualified and not drawn into the final: Gull and Curlew.",
    ]


def test_everybody_is_told_nothing_of_the_draw(meet: MeetAtHand) -> None:
    event = a_complete_round(meet)
    event.draw({"final 1": ("Tern", "Plover", "Gull", "Heron")})
    assert len(event.now()["sentences"]) == 2
    assert event.public()["sentences"] == []


def test_before_the_round_is_complete_nobody_is_missing(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.draw({"final 1": ("Tern", "Heron")})
    assert event.now()["sentences"] == ["The result of heat 2 is awaited."]


def test_of_many_the_first_are_named_and_the_others_counted(meet: MeetAtHand) -> None:
    names = tuple(f"Crew {letter}" for letter in "ABCDEFG")
    event = an_event(meet, {"heats 1": names[:4], "heats 2": names[4:]})
    event.set(by_place=0, by_time=1, lanes=6)
    event.run("heats 1", "42.00", "42.10", "42.20", "42.30")
    event.run("heats 2", "42.40", "42.50", "42.60")
    event.draw({"final 1": names[1:]})
    assert event.now()["sentences"][0] == (
        "Drawn into the final without having qualified: Crew B, Crew C, Crew D, Crew E, Crew F "
        "and 1 more."
    )


def test_teams_without_times_leave_places_by_time_free_and_that_is_said(meet: MeetAtHand) -> None:
    """Watches failed in heat 2: its teams have places alone (common practice)."""
    event = two_heats(meet)
    event.set(by_time=4, lanes=6)
    event.run("heats 1", "42.10", "42.50", "43.00")
    lanes = [lane["lane"] for lane in event.heats["heats 2"]["lanes"]]
    content = "\n".join(["lane,place", *(f"{lane},{place}" for place, lane in enumerate(lanes, 1))])
    assert event.meet.desk.put(f"heats/{event.heat('heats 2')}/result", content=content).is_success
    assert event.announce("heats 2").status_code == 201
    told = [
        "Curlew and Puffin finished without times and cannot be ranked by time: 2 places stay free."
    ]
    assert event.now()["sentences"] == told
    assert event.public()["sentences"] == told


def test_where_the_promise_is_kept_all_the_same_nothing_is_said(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.50", "43.00")
    lanes = [lane["lane"] for lane in event.heats["heats 2"]["lanes"]]
    content = "\n".join(["lane,place", *(f"{lane},{place}" for place, lane in enumerate(lanes, 1))])
    assert event.meet.desk.put(f"heats/{event.heat('heats 2')}/result", content=content).is_success
    assert event.now()["sentences"] == []


@pytest.mark.parametrize("more", [{"time_to_beat": 42600}, {}, {"added_places": 1}])
def test_who_is_disqualified_in_a_re_run_is_out_of_the_round_and_of_its_heat(
    meet: MeetAtHand, more: dict[str, Any]
) -> None:
    """World Athletics TR7.1, from memory: what was performed in the same round does not count."""
    event = a_complete_round(meet)
    a_re_run(event, "Gull", **more)
    hand = event.hand(RE_RUN)
    case = hand.report(lane=event.lane("Gull", RE_RUN))["case"]
    event.load(RE_RUN, "42.40")
    shown = event.meet.referee.get(f"cases/{case}/consequences").json()["if_confirmed"]["moves"]
    assert {one["name"]: one["after"]["letter"] for one in shown}["Gull"] == ""
    assert hand.rule(case).status_code == 201
    words = "Gull is disqualified in its re-run: nothing that it ran in this round counts."
    assert words in event.now()["sentences"]
    stand = by_name(event.now())
    assert (stand["Gull"]["letter"], stand["Gull"]["place"]) == ("", None)
    assert (stand["Heron"]["letter"], stand["Heron"]["place"]) == ("q", 2)
    lines = event.meet.desk.get(f"heats/{event.heat()}/result").json()
    told = {line["team_name"]: line for line in lines["lines"]}
    assert told["Gull"]["annotation"] == "DQ TR24.7"
    assert told["Gull"]["reason"].endswith("in the re-run")
    assert told["Heron"]["place"] == 2
    assert not lines["announced"]["holds"]
    assert words not in event.public()["sentences"]
    assert event.announce(RE_RUN).status_code == 201
    assert words in event.public()["sentences"]
    assert event.announce("heats 1").status_code == 201
    public = by_name(event.public())
    assert (public["Gull"]["letter"], public["Heron"]["place"]) == ("", 2)
