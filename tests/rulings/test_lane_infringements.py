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
    return with_a_final(meet)


def with_a_final(meet: MeetAtHand) -> MeetAtHand:
    """The two heats, and a final of the same teams as a third, lane 4 in lane 5."""
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


def test_a_report_after_the_ruling_in_the_same_heat_asks_whether_it_is_another_one(
    rounds: MeetAtHand,
) -> None:
    first = ruled(rounds)
    case = rounds.report(observation=ONE_STEP, by="second")["case"]
    told = a_problem(rounds.rule(case), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/separate"
    assert "0 if it is the same one" in told["detail"]
    same = rounds.rule(case, separate=0).json()
    assert (same["effect"], same["separate"], same["is_shaken"]) == ("L", 0, False)
    assert ruled(rounds, heat=2, lane=5)["rests_on"] == [first["id"], same["id"]]


def test_the_second_in_the_same_heat_disqualifies_too(rounds: MeetAtHand) -> None:
    first = ruled(rounds)
    second = rounds.rule(rounds.report(observation=ONE_STEP)["case"], separate=1).json()
    assert second["effect"].startswith("DQ TR17")
    assert (second["noted_before"], second["rests_on"]) == (1, [first["id"]])


def test_the_same_one_needs_one_that_was_noted_in_this_heat(rounds: MeetAtHand) -> None:
    ruled(rounds, heat=0, lane=4)
    case = rounds.report(observation=ONE_STEP, heat=2, lane=5)["case"]
    a_problem(rounds.rule(case, separate=0), 422, "malformed")


def test_lane_infringements_count_in_the_order_of_racing(rounds: MeetAtHand) -> None:
    # The final is ruled on first; the heat ran before it.
    final = ruled(rounds, heat=2, lane=5)
    assert (final["effect"], final["is_shaken"]) == ("L", False)
    heat = ruled(rounds, heat=0, lane=4)
    assert (heat["effect"], heat["noted_before"]) == ("L", 0)
    assert heat["shakes"] == [final["id"]]
    again = rounds.rule(final["case"], reconsiders=final["id"]).json()
    assert again["effect"].startswith("DQ TR17")
    assert rounds.referee.get(f"rulings/{heat['id']}").json()["shakes"] == []


def test_a_note_confirmed_again_shakes_nothing(rounds: MeetAtHand) -> None:
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    again = rounds.rule(first["case"], reconsiders=first["id"], reasons="Seen on the video.")
    assert (again.json()["effect"], again.json()["shakes"]) == ("L", [])
    assert rounds.referee.get(f"rulings/{second['id']}").json()["is_shaken"] is False


def test_a_shaken_disqualification_needs_the_explicit_word(rounds: MeetAtHand) -> None:
    first = ruled(rounds)
    second = ruled(rounds, heat=2, lane=5)
    rounds.rule(first["case"], verdict="dismissed", reconsiders=first["id"])
    rounds.load_result(2)
    told = a_problem(rounds.announce(2), 409, "needs-word")
    assert told["shaken_rulings"] == [second["id"]]
    assert "1 ruling to reconsider" in told["detail"]


def test_a_withdrawn_report_asks_for_no_number(rounds: MeetAtHand) -> None:
    report = rounds.report(observation=ONE_STEP, post=None, take_over=1)
    rounds.report(observation=ONE_STEP, post=None, take_over=2)
    reason = {"reason": "It was lane 5."}
    back = rounds.umpire.post(f"reports/{report['id']}/withdraw", reason, etag='"v1"')
    assert back.status_code == 200
    assert rounds.rule(report["case"]).json()["effect"] == "L"


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


def test_what_is_no_lane_infringement_has_no_number(rounds: MeetAtHand) -> None:
    assert rounds.rule(rounds.report()["case"]).json()["separate"] is None
    assert (
        rounds.rule(rounds.report(lane=3)["case"], verdict="dismissed").json()["separate"] is None
    )
    assert ruled(rounds, lane=5)["separate"] == 1


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
    told = words_of(rounds, second["id"])
    assert "noted with L before, by the ruling of " in told
    assert f"by referee in {rounds.heats[0]['event_name']}, heats, heat 1 (confirmed, L)." in told
    assert "noted with L before" not in words_of(rounds, first["id"])


def test_the_form_names_every_ruling_by_which_the_team_was_noted_before(
    rounds: MeetAtHand,
) -> None:
    ruled(rounds)
    again = rounds.report(observation=ONE_STEP, by="second")["case"]
    assert rounds.rule(again, separate=0).status_code == 201
    told = words_of(rounds, ruled(rounds, heat=2, lane=5)["id"])
    _, _, noted = told.partition("The team was noted with L before, by ")
    noted, _, _ = noted.partition("). ")
    assert noted.count("the ruling of ") == 2
    assert " heat 1 (confirmed, L), and by the ruling of " in noted


def test_the_form_says_how_many_separate_lane_infringements_are_confirmed(
    rounds: MeetAtHand,
) -> None:
    case = rounds.report(observation=ONE_STEP)["case"]
    rounds.report(observation=ONE_STEP, by="second")
    ruling = rounds.rule(case, separate=2).json()
    words = "2 separate lane infringements are confirmed."
    assert words in words_of(rounds, ruling["id"])


def test_two_at_once_rest_on_no_earlier_note(rounds: MeetAtHand) -> None:
    ruled(rounds)
    case = rounds.report(observation=ONE_STEP, heat=2, lane=5)["case"]
    told = rounds.rule(case, separate=2).json()
    assert (told["effect"][:2], told["noted_before"], told["rests_on"]) == ("DQ", 1, [])
