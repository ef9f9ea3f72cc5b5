"""A team's first lane infringement is noted, the second disqualifies, over all rounds.

World Athletics since 1 November 2021 (federation notice of 31 October 2023, and press accounts:
counted per relay team over all rounds); the note L: CR25.4. NFHS knows no such tolerance (from
memory).
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.builders import Json, MeetAtHand, a_meet, a_problem, all_heats
from tests.rulings.test_forms import words_of
from tests.running import Service

ONE_STEP: Json = {
    "seen": "lane_infringement",
    "on_bend": "yes",
    "inner_line": "yes",
    "steps": 1,
    "distance_gained": "no",
    "other_team_impeded": "no",
}
RULING = ("umpire", "referee")


@pytest.fixture
def rounds(meet: MeetAtHand) -> MeetAtHand:
    """The two heats, and a final of the same teams as a third."""
    event = meet.heats[0]["event_name"]
    rows = ["event,round,heat,lane,team,affiliation,bib"]
    for lane in meet.heats[0]["lanes"]:
        place = 9 - lane["lane"]
        rows.append(f"{event},final,1,{place},{lane['name']},{lane['affiliation']},")
    assert meet.organiser.post("start-lists", content="\n".join(rows)).status_code == 200
    meet.heats = [heat for heat in all_heats(meet) if heat["event_name"] == event]
    return meet


def ruled(meet: MeetAtHand, **changes: Any) -> Json:
    report = {"observation": ONE_STEP, "lane": 4, **changes}
    ruling = meet.rule(meet.report(**report)["case"])
    assert ruling.status_code == 201, ruling.text
    return dict(ruling.json())


def test_the_first_is_noted_and_costs_no_place(rounds: MeetAtHand) -> None:
    told = ruled(rounds)
    assert (told["effect"], told["disqualification"]) == ("L", None)
    assert rounds.annotations(0) == {4: "L"}
    line = next(
        line
        for line in rounds.desk.get(f"heats/{rounds.heat()}/result").json()["lines"]
        if line["lane"] == 4
    )
    assert (line["place"], line["time"]) == (4, "42.40")


def test_the_second_disqualifies_in_a_later_round_wherever_the_team_runs(
    rounds: MeetAtHand,
) -> None:
    ruled(rounds, heat=0, lane=4)
    told = ruled(rounds, heat=2, lane=5)
    assert told["effect"].startswith("DQ TR17")
    assert rounds.annotations(0) == {4: "L"}
    assert rounds.annotations(2) == {5: told["effect"]}


def test_each_team_has_its_own_count(rounds: MeetAtHand) -> None:
    assert ruled(rounds, heat=0, lane=4)["effect"] == "L"
    assert ruled(rounds, heat=2, lane=4)["effect"] == "L"
    assert ruled(rounds, heat=1, lane=4)["effect"] == "L"


def test_the_second_in_the_same_heat_disqualifies_too(rounds: MeetAtHand) -> None:
    ruled(rounds)
    assert ruled(rounds)["effect"].startswith("DQ TR17")


@pytest.mark.parametrize("second", [{}, {"by": "second"}])
def test_two_reports_that_may_tell_of_two_ask_how_many(rounds: MeetAtHand, second: Json) -> None:
    # One umpire who writes twice, or two take-overs: one report tells of one infringement.
    case = rounds.report(observation=ONE_STEP, post=None, take_over=1)["case"]
    rounds.report(observation=ONE_STEP, post=None, take_over=2, **second)
    told = a_problem(rounds.rule(case), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/separate"
    ruling = rounds.rule(case, separate=2).json()
    assert ruling["effect"].startswith("DQ TR17")
    assert (ruling["separate"], ruling["rests_on"]) == (2, [])


def test_two_umpires_who_saw_the_same_step_tell_of_one(rounds: MeetAtHand) -> None:
    case = rounds.report(observation=ONE_STEP)["case"]
    rounds.report(observation=ONE_STEP, by="second")
    assert rounds.rule(case).json()["effect"] == "L"


def test_only_lane_infringements_are_counted(rounds: MeetAtHand) -> None:
    told = a_problem(rounds.rule(rounds.report()["case"], separate=2), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/separate"
    case = rounds.report(observation=ONE_STEP, lane=3)["case"]
    a_problem(rounds.rule(case, verdict="dismissed", separate=2), 422, "malformed")


def test_a_note_taken_back_shows_on_the_disqualification_that_rests_on_it(
    rounds: MeetAtHand,
) -> None:
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    assert (second["rests_on"], second["is_shaken"]) == ([first["id"]], False)
    back = rounds.rule(first["case"], verdict="dismissed", reconsiders=first["id"]).json()
    assert back["shakes"] == [second["id"]]
    seen = rounds.referee.get(f"rulings/{second['id']}").json()
    assert seen["is_shaken"] is True
    again = rounds.rule(second["case"], reconsiders=second["id"]).json()
    assert (again["effect"], again["is_shaken"]) == ("L", False)
    assert rounds.referee.get(f"rulings/{back['id']}").json()["shakes"] == []


def test_a_grave_one_rests_on_no_earlier_note(rounds: MeetAtHand) -> None:
    ruled(rounds)
    grave = ruled(rounds, heat=2, lane=5, observation=ONE_STEP | {"distance_gained": "yes"})
    assert (grave["effect"][:2], grave["rests_on"]) == ("DQ", [])


def test_a_note_that_was_taken_back_no_longer_counts(rounds: MeetAtHand) -> None:
    first = ruled(rounds)
    rounds.rule(first["case"], verdict="dismissed", reconsiders=first["id"])
    assert rounds.annotations(0) == {}
    assert ruled(rounds, heat=2, lane=5)["effect"] == "L"


def test_a_note_that_is_confirmed_again_is_still_the_first(rounds: MeetAtHand) -> None:
    first = ruled(rounds)
    again = rounds.rule(first["case"], reconsiders=first["id"]).json()
    assert again["effect"] == "L"


def test_the_finding_already_counts_what_was_noted(rounds: MeetAtHand) -> None:
    assert rounds.report(observation=ONE_STEP)["finding"]["consequence"] == "noted"
    ruled(rounds, heat=0, lane=3)
    again = rounds.report(observation=ONE_STEP, heat=2, lane=6)
    assert again["finding"]["consequence"] == "disqualification"


@pytest.mark.parametrize("graver", [{"steps": 2}, {"distance_gained": "yes"}])
def test_what_is_more_than_one_step_disqualifies_at_once(rounds: MeetAtHand, graver: Json) -> None:
    assert ruled(rounds, observation=ONE_STEP | graver)["effect"].startswith("DQ TR17")


def test_an_edition_without_that_tolerance_disqualifies_at_once(service: Service) -> None:
    hand = a_meet(service, roles=RULING, umpires=(), heats=1, edition="nfhs-2019")
    assert ruled(hand, observation=ONE_STEP | {"steps": 3})["effect"] == "DQ 5-5"


def test_the_form_says_how_lane_infringements_were_counted(rounds: MeetAtHand) -> None:
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    assert f"noted with L before, by ruling {first['id']}." in words_of(rounds, second["id"])
    assert "noted with L before" not in words_of(rounds, first["id"])


def test_the_form_says_how_many_separate_lane_infringements_are_confirmed(
    rounds: MeetAtHand,
) -> None:
    case = rounds.report(observation=ONE_STEP)["case"]
    rounds.report(observation=ONE_STEP, by="second")
    ruling = rounds.rule(case, separate=2).json()
    words = "2 separate lane infringements are confirmed."
    assert words in words_of(rounds, ruling["id"])
