"""What a decision of the jury found done already stays done while that decision stands.

It ordered nothing, since another decision of the jury had done it. That one is reopened on new
evidence and decided otherwise: what each decision says stands until it is itself decided anew. The
sources of TR8 say nothing of it; this is common practice.
"""

from __future__ import annotations

import pytest

from tests.appeals.desk import (
    a_panel,
    a_protest,
    an_announced_disqualification,
    announced,
    appeal,
    cast,
    decide,
    decided,
    jury_decides,
    lodge,
    set_aside,
    team,
)
from tests.appeals.test_last_instance import refused
from tests.appeals.test_reopening import (
    Orders,
    a_final_to_come,
    advanced,
    as_it_is,
    decide_again,
    in_lane,
    in_time,
    open_again,
    reopen,
    run_again,
    whole_heat,
)
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import Event

DONE = "The jury has ordered this on the first appeal."


def lodged_by_heron(event: Event, name: str = "Heron", **changes: object) -> Json:
    """An appeal on a protest that the referee rejected."""
    hand = event.hand("heats 1")
    protest = decided(hand, lodge(hand, a_protest(hand, team=event.team(name))))
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    return appeal(hand, protest, **changes)


def upheld(event: Event, lodged: Json, **decision: object) -> Json:
    """The jury upholds an appeal; gives it with the names of the panel."""
    hand = event.hand("heats 1")
    names = a_panel(hand, lodged)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    out = jury_decides(hand, lodged, names[0], **decision)
    assert out.status_code == 201, out.text
    event.read_again()
    return {**out.json(), "names": names}


def rejected_at_last(event: Event, heard: Json) -> Json:
    """An appeal is heard again and rejected; gives the decision."""
    out = decide_again(event, open_again(event, heard, "rejected"), "rejected")
    assert out.status_code == 201, out.text
    return dict(out.json()["decision"])


ALL = [advanced, in_lane(1), in_time("41.00"), run_again, whole_heat]


@pytest.mark.parametrize("is_said", [True, False])
@pytest.mark.parametrize("orders", ALL)
def test_what_a_second_decision_found_done_stays_when_the_first_is_rejected_at_last(
    meet: MeetAtHand, orders: Orders, *, is_said: bool
) -> None:
    event = a_final_to_come(meet)
    before = as_it_is(event)
    first, second = (
        lodged_by_heron(event, sought=orders(event) if is_said else []) for _ in range(2)
    )
    first = upheld(event, first, orders=orders(event))
    second = upheld(event, second, done_already=DONE)
    stood = as_it_is(event)
    told = rejected_at_last(event, first)
    assert as_it_is(event) == stood
    assert told["ordered"] == []
    assert told["consequences"]["moves"] == []
    assert len(told["consequences"]["too_late"]) == len(orders(event))
    for said in told["consequences"]["too_late"]:
        assert said.startswith("This stays as it was ordered before: ")
        assert f"on appeal {second['number']} stands and found this done already" in said
    # Once nothing rests on it any more, it is taken back.
    told = rejected_at_last(event, second)
    assert len(told["ordered"]) == len(orders(event))
    assert as_it_is(event)[:2] == before[:2]
    assert rejected_at_last(event, second)["ordered"] == []


def test_only_what_the_second_decision_wanted_stays(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    first = lodged_by_heron(event, sought=in_lane(1)(event))
    second = lodged_by_heron(event, sought=advanced(event))
    first = upheld(event, first, orders=in_lane(1)(event))
    upheld(event, second, done_already=DONE)
    told = rejected_at_last(event, first)
    assert told["ordered"] == ["Heron no longer has lane 1 of the final."]
    assert event.letters()["Heron"] == "qJ"


def test_what_was_wanted_stays_with_that_without_which_it_is_of_no_use(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    first = lodged_by_heron(event)
    second = lodged_by_heron(event, sought=in_lane(1)(event))
    first = upheld(event, first, orders=in_lane(1)(event))
    upheld(event, second, done_already=DONE)
    stood = as_it_is(event)
    assert len(rejected_at_last(event, first)["consequences"]["too_late"]) == 2
    assert as_it_is(event) == stood


def test_a_lane_is_exchanged_for_another_where_a_second_decision_wanted_one(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    first = upheld(event, lodged_by_heron(event), orders=in_lane(1)(event))
    upheld(event, lodged_by_heron(event), done_already=DONE)
    out = decide_again(event, open_again(event, first), orders=in_lane(2)(event))
    assert out.status_code == 201, out.text
    assert out.json()["decision"]["consequences"]["too_late"] == []
    final = {lane["lane"]: lane["name"] for lane in event.heats["final 1"]["lanes"]}
    assert (1 in final, final[2]) == (False, "Heron")


@pytest.mark.parametrize("contrary", ["undo", "recall"])
def test_a_second_decision_is_not_contradicted_before_it_is_heard_again_too(
    meet: MeetAtHand, contrary: str
) -> None:
    event = a_final_to_come(meet)
    first = upheld(event, lodged_by_heron(event), orders=advanced(event))
    second = upheld(event, lodged_by_heron(event), done_already=DONE)
    order = {
        "undo": {"order": "undo", "decision": first["decision"]["id"]},
        "recall": {"order": "recall", "team": event.team("Heron")},
    }[contrary]
    answer = decide_again(event, open_again(event, first), orders=[order])
    told = a_problem(answer, 409, "conflict")["detail"]
    assert f"on appeal {second['number']} stands and found this done already" in told
    assert event.letters()["Heron"] == "qJ"


def test_the_referee_does_not_change_what_stays_for_a_second_decision(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    first = upheld(event, lodged_by_heron(event), orders=advanced(event))
    upheld(event, lodged_by_heron(event), done_already=DONE)
    rejected_at_last(event, first)
    hand = event.hand("heats 1")
    for order in (
        {"order": "recall", "team": event.team("Heron")},
        {"order": "undo", "decision": first["decision"]["id"]},
    ):
        protest = lodge(hand, a_protest(hand, team=event.team("Gull")))
        refused(decide(hand, protest, "upheld", orders=[order]))


def test_each_of_two_decisions_that_found_it_done_keeps_it(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    before = as_it_is(event)
    first = upheld(event, lodged_by_heron(event), orders=advanced(event))
    second = upheld(event, lodged_by_heron(event), done_already=DONE)
    rejected_at_last(event, first)
    out = decide_again(event, open_again(event, first), done_already="By the second appeal.")
    assert out.status_code == 201, out.text
    assert (
        f"on appeal {first['number']} stands"
        in rejected_at_last(event, second)["consequences"]["too_late"][0]
    )
    assert event.letters()["Heron"] == "qJ"
    rejected_at_last(event, first)
    assert as_it_is(event)[:2] == before[:2]


def a_time(event: Event, time: str, **place: int) -> list[Json]:
    return [{"order": "correct", "team": event.team("Heron"), "time": time, **place}]


@pytest.mark.parametrize(
    ("ordered", "sought"),
    [("42.043", "42.05"), ("42.05", "42.043"), ("42.043", "42.043"), ("42.05", "42.05")],
)
def test_a_time_that_a_second_decision_found_stays_however_exactly_it_was_given(
    meet: MeetAtHand, ordered: str, sought: str
) -> None:
    """Officially 42.043 is 42.05: World Athletics TR19, from memory."""
    event = a_final_to_come(meet)
    first = lodged_by_heron(event)
    second = lodged_by_heron(event, sought=a_time(event, sought))
    first = upheld(event, first, orders=a_time(event, ordered))
    second = upheld(event, second, done_already=DONE)
    stood = as_it_is(event)
    (said,) = rejected_at_last(event, first)["consequences"]["too_late"]
    assert f"on appeal {second['number']} stands and found this done already" in said
    assert as_it_is(event) == stood


def test_a_time_that_a_second_decision_found_to_thousandths_stays_so(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    second = lodged_by_heron(event, sought=a_time(event, "42.043"))
    first = upheld(event, lodged_by_heron(event), orders=a_time(event, "42.043"))
    second = upheld(event, second, done_already=DONE)
    again = decide_again(event, open_again(event, first), orders=a_time(event, "42.05"))
    assert f"appeal {second['number']} stands" in a_problem(again, 409, "conflict")["detail"]


def test_a_place_that_a_second_decision_found_is_the_one_in_the_list(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    first = lodged_by_heron(event)
    second = lodged_by_heron(event, sought=a_time(event, "42.05", place=1))
    first = upheld(event, first, orders=a_time(event, "42.05"))
    upheld(event, second, done_already=DONE)
    stood = as_it_is(event)
    assert len(rejected_at_last(event, first)["consequences"]["too_late"]) == 1
    assert as_it_is(event) == stood


def test_what_was_left_is_ordered_by_the_second_decision_once_it_says_so(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    before = as_it_is(event)
    first = upheld(event, lodged_by_heron(event), orders=in_lane(1)(event))
    second = upheld(event, lodged_by_heron(event), done_already=DONE)
    stood = as_it_is(event)
    rejected_at_last(event, first)
    out = decide_again(event, open_again(event, second), orders=in_lane(1)(event))
    assert out.status_code == 201, out.text
    assert out.json()["decision"]["ordered"] == first["decision"]["ordered"]
    assert "Heron" in {one["name"] for one in out.json()["decision"]["consequences"]["named"]}
    assert as_it_is(event) == stood
    assert rejected_at_last(event, first)["ordered"] == []
    assert as_it_is(event) == stood
    rejected_at_last(event, second)
    assert as_it_is(event) == before


def test_whom_the_taking_back_would_move_is_touched_by_the_second_appeal(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    first = upheld(event, lodged_by_heron(event), orders=in_time("42.05")(event))
    second = upheld(event, lodged_by_heron(event), done_already=DONE)
    rejected_at_last(event, first)
    told = reopen(event.hand("heats 1"), second, second["names"][0]).json()
    assert {"Tern Club", "Gull Club"} <= set(told["panel"]["affected"])


def test_what_a_second_decision_was_not_about_is_taken_back(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    before = as_it_is(event)
    first = upheld(event, lodged_by_heron(event), orders=in_lane(1)(event))
    upheld(event, lodged_by_heron(event, "Gull"), done_already="By the desk's own list.")
    assert len(rejected_at_last(event, first)["ordered"]) == 2
    assert as_it_is(event) == before


def test_an_appeal_about_another_heat_keeps_what_it_wanted_of_the_round(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    hand = event.hand("heats 2")
    first = lodged_by_heron(event)
    protest = decided(hand, lodge(hand, a_protest(hand, team=event.team("Puffin"))))
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    second = appeal(hand, protest, sought=advanced(event))
    first = upheld(event, first, orders=advanced(event))
    upheld(event, second, done_already=DONE)
    rejected_at_last(event, first)
    assert event.letters()["Heron"] == "qJ"


def annotation(meet: MeetAtHand) -> str:
    return meet.annotations().get(4, "")


def heard(meet: MeetAtHand, lodged: Json, verdict: str = "upheld", **decision: object) -> Json:
    """Three vote and the chair signs; gives the appeal with the names of the panel."""
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name, verdict).status_code == 201
    out = jury_decides(meet, lodged, names[0], verdict, **decision)
    assert out.status_code == 201, out.text
    return {**out.json(), "names": names}


def heard_again(meet: MeetAtHand, lodged: Json) -> Json:
    """The jury looks at an appeal again and rejects it; gives the decision."""
    assert reopen(meet, lodged, lodged["names"][0]).status_code == 200
    for name in lodged["names"]:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    out = jury_decides(meet, lodged, lodged["names"][0], "rejected")
    assert out.status_code == 201, out.text
    return dict(out.json()["decision"])


def test_a_disqualification_stays_set_aside_for_a_second_appeal_about_its_ruling(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protests = []
    for _ in range(2):
        protest = decided(meet, lodge(meet, a_protest(meet, ruling)))
        meet.desk.put(f"protests/{protest['id']}/advice", {})
        protests.append(protest)
    first = heard(meet, appeal(meet, protests[0]), orders=set_aside(ruling))
    second = heard(meet, appeal(meet, protests[1]), done_already=DONE)
    assert heard_again(meet, first)["ordered"] == []
    assert annotation(meet) == ""
    report = meet.report(by="second")
    infringement = report["finding"]["infringement"]
    refused(meet.rule(report["case"], infringement=infringement))
    assert len(heard_again(meet, second)["ordered"]) == 1
    assert annotation(meet).startswith("DQ")


def test_a_fresh_report_is_refused_by_the_appeal_for_which_it_stays_set_aside(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protests = [lodge(meet, a_protest(meet, ruling)) for _ in range(2)]
    for protest in protests:
        decided(meet, protest)
        meet.desk.put(f"protests/{protest['id']}/advice", {})
    first = heard(meet, appeal(meet, protests[0]), orders=set_aside(ruling))
    second = heard(meet, appeal(meet, protests[1]), done_already=DONE)
    report = meet.report(by="second")
    infringement = report["finding"]["infringement"]
    by = meet.rule(report["case"], infringement=infringement).json()
    assert by["appeal"] == first["number"]
    heard_again(meet, first)
    by = meet.rule(report["case"], infringement=infringement).json()
    assert by["appeal"] == second["number"]
    assert by["detail"].startswith(
        f"The jury has let this disqualification stay set aside (appeal {second['number']}; "
    )
    by = meet.rule(ruling["case"], reconsiders=ruling["id"]).json()
    assert by["appeal"] == second["number"]


def test_a_referees_decision_stays_undone_for_a_second_appeal_against_it(meet: MeetAtHand) -> None:
    meet.start()
    assert meet.load_result().status_code == 201
    announced(meet)
    protest = lodge(meet, a_protest(meet, team=team(meet, 5)))
    out = {"order": "disqualify", "team": team(meet, 4), "infringement": "help_given"}
    made = decided(meet, protest, "upheld", orders=[out])["decision"]["id"]
    announced(meet)
    undo = [{"order": "undo", "decision": made}]
    lodged = [appeal(meet, protest, team=team(meet, lane)) for lane in (4, 6)]
    first = heard(meet, lodged[0], orders=undo)
    assert annotation(meet) == ""
    second = heard(meet, lodged[1], done_already=DONE)
    assert heard_again(meet, first)["ordered"] == []
    assert annotation(meet) == ""
    assert len(heard_again(meet, second)["ordered"]) == 1
    assert annotation(meet).startswith("DQ")
