"""What the jury found done already by a decision of the referee's, the referee does not take back.

The jury's decision is final, also where it lets stand what was done: World Athletics TR8.11
(published summary). That it holds for what was done on another protest is common practice.
"""

from __future__ import annotations

import httpx
import pytest

from tests.appeals.desk import (
    a_protest,
    an_announced_disqualification,
    announced,
    appeal,
    decide,
    decided,
    lodge,
    set_aside,
    team,
)
from tests.appeals.test_done_already import heard, heard_again
from tests.appeals.test_last_instance import refused
from tests.appeals.test_once_more import put_right_to_in_time
from tests.appeals.test_put_right import a_late_protest
from tests.appeals.test_reopening import (
    Orders,
    a_final_to_come,
    advanced,
    as_it_is,
    in_lane,
    in_time,
    run_again,
    whole_heat,
)
from tests.builders import Json, MeetAtHand
from tests.rounds.builders import Event

DONE = "The referee has ordered this on another protest."


def found(event: Event, orders: Orders, *, is_said: bool = True) -> tuple[str, int]:
    """The referee orders it on one protest, and the jury finds it done on an appeal from another;
    gives the referee's decision and the number of the appeal.
    """
    hand = event.hand("heats 1")
    heron = event.team("Heron")
    asked_in_vain = decided(hand, lodge(hand, a_protest(hand, team=heron)))
    hand.desk.put(f"protests/{asked_in_vain['id']}/advice", {})
    lodged = appeal(hand, asked_in_vain, sought=orders(event) if is_said else [])
    other = lodge(hand, a_protest(hand, team=heron))
    made = decided(hand, other, "upheld", orders=orders(event))["decision"]["id"]
    event.read_again()
    heard(hand, lodged, done_already=DONE)
    event.read_again()
    return str(made), int(lodged["number"])


def ordered(event: Event, *orders: Json) -> httpx.Response:
    hand = event.hand("heats 1")
    protest = lodge(hand, a_protest(hand, team=event.team("Gull")))
    return decide(hand, protest, "upheld", orders=list(orders))


def names_appeal(answer: httpx.Response, number: int) -> None:
    """The refusal says which decision of the jury stands in the way, and how it is reopened."""
    refused(answer)
    told = answer.json()
    assert told["appeal"] == number
    assert f"appeal {number}" in told["detail"]
    assert "new conclusive evidence" in told["detail"]


@pytest.mark.parametrize("is_said", [True, False])
@pytest.mark.parametrize("orders", [advanced, in_lane(1), in_time("41.00"), run_again, whole_heat])
def test_the_referee_does_not_undo_what_the_jury_found_done(
    meet: MeetAtHand, orders: Orders, *, is_said: bool
) -> None:
    event = a_final_to_come(meet)
    made, number = found(event, orders, is_said=is_said)
    stood = as_it_is(event)
    names_appeal(ordered(event, {"order": "undo", "decision": made}), number)
    assert as_it_is(event) == stood


def rival_out(event: Event) -> list[Json]:
    out = {"order": "disqualify", "team": event.team("Gull"), "infringement": "help_given"}
    return [out]


@pytest.mark.parametrize("is_said", [True, False])
def test_the_referee_does_not_undo_what_was_done_about_a_rival_of_whom_the_jury_decided_on(
    meet: MeetAtHand, *, is_said: bool
) -> None:
    event = a_final_to_come(meet)
    made, number = found(event, rival_out, is_said=is_said)
    stood = as_it_is(event)
    (known,) = event.meet.desk.get("disqualifications").json()
    for order in (
        {"order": "undo", "decision": made},
        {"order": "set aside", "disqualification": known["id"]},
    ):
        names_appeal(ordered(event, order), number)
    assert as_it_is(event) == stood


def test_what_moved_the_team_before_the_decision_it_appealed_against_is_undone_as_ever(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    hand = event.hand("heats 1")
    protest = lodge(hand, a_protest(hand, team=event.team("Tern")))
    made = decided(hand, protest, "upheld", orders=rival_out(event))["decision"]["id"]
    found(event, advanced, is_said=False)
    answer = ordered(event, {"order": "undo", "decision": made})
    assert answer.status_code == 201, answer.text


def test_the_referee_does_not_order_the_contrary_of_what_the_jury_found_done(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    _made, number = found(event, in_lane(1))
    names_appeal(ordered(event, {"order": "recall", "team": event.team("Heron")}), number)
    hand = event.hand("heats 1")
    protest = lodge(hand, a_protest(hand, team=event.team("Gull")))
    recall = [{"order": "recall", "team": event.team("Heron")}]
    shown = hand.referee.post(f"protests/{protest['id']}/consequences", {"orders": recall})
    names_appeal(shown, number)


def test_the_referee_corrects_no_line_otherwise_than_the_jury_found_it(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    _made, number = found(event, in_time("41.00"))
    names_appeal(ordered(event, *in_time("42.05")(event)), number)


@pytest.mark.parametrize("is_said", [True, False])
def test_a_race_is_run_again_whatever_line_of_it_the_jury_found_right(
    meet: MeetAtHand, *, is_said: bool
) -> None:
    event = a_final_to_come(meet)
    found(event, in_time("41.00"), is_said=is_said)
    answer = ordered(event, {"order": "run again"})
    assert answer.status_code == 201, answer.text


def test_what_is_another_matter_for_the_team_the_referee_orders_as_ever(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    found(event, advanced, is_said=False)
    answer = ordered(event, *in_time("42.05")(event))
    assert answer.status_code == 201, answer.text


def set_aside_by_referee(meet: MeetAtHand, *, is_said: bool) -> tuple[Json, str, int]:
    """The referee has set a disqualification aside, and the jury found it so on another appeal."""
    ruling = an_announced_disqualification(meet)
    about = ruling if is_said else None
    asked_in_vain = decided(meet, lodge(meet, a_protest(meet, about)))
    meet.desk.put(f"protests/{asked_in_vain['id']}/advice", {})
    other = lodge(meet, a_protest(meet, ruling))
    made = decided(meet, other, "upheld", orders=set_aside(ruling))["decision"]["id"]
    lodged = appeal(meet, asked_in_vain)
    heard(meet, lodged, done_already=DONE)
    return ruling, made, int(lodged["number"])


@pytest.mark.parametrize("is_said", [True, False])
def test_a_disqualification_that_the_jury_found_set_aside_is_not_put_back(
    meet: MeetAtHand, *, is_said: bool
) -> None:
    ruling, made, number = set_aside_by_referee(meet, is_said=is_said)
    for order in (
        {"order": "undo", "decision": made},
        {"order": "restore", "disqualification": ruling["disqualification"]},
        {
            "order": "disqualify",
            "team": team(meet, 4),
            "infringement": ruling["infringement"],
        },
    ):
        protest = lodge(meet, a_protest(meet, team=team(meet, 5)))
        names_appeal(decide(meet, protest, "upheld", orders=[order]), number)
    report = meet.report(by="second")
    names_appeal(meet.rule(report["case"], infringement=report["finding"]["infringement"]), number)
    if is_said:
        names_appeal(meet.rule(ruling["case"], reconsiders=ruling["id"]), number)
    assert meet.annotations().get(4, "") == ""


def test_a_ruling_by_which_the_jury_found_a_team_disqualified_stands(meet: MeetAtHand) -> None:
    meet.start()
    assert meet.load_result().status_code == 201
    announced(meet)
    asked_in_vain = decided(meet, lodge(meet, a_protest(meet, team=team(meet, 5))))
    meet.desk.put(f"protests/{asked_in_vain['id']}/advice", {})
    ruled = meet.rule(meet.report()["case"]).json()
    sought = [{"order": "disqualify", "team": team(meet, 4), "infringement": ruled["infringement"]}]
    lodged = appeal(meet, asked_in_vain, sought=sought)
    heard(meet, lodged, done_already="The referee has disqualified the team meanwhile.")
    dismissed = meet.rule(ruled["case"], verdict="dismissed", reconsiders=ruled["id"])
    names_appeal(dismissed, lodged["number"])
    protest = lodge(meet, a_protest(meet, ruled))
    names_appeal(decide(meet, protest, "upheld", orders=set_aside(ruled)), lodged["number"])
    assert meet.annotations()[4].startswith("DQ")


def test_a_ruling_that_was_dismissed_by_another_is_not_confirmed_once_the_jury_found_it_so(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    asked_in_vain = decided(meet, lodge(meet, a_protest(meet, ruling)))
    meet.desk.put(f"protests/{asked_in_vain['id']}/advice", {})
    lodged = appeal(meet, asked_in_vain)
    dismissed = meet.rule(ruling["case"], verdict="dismissed", reconsiders=ruling["id"])
    assert dismissed.status_code == 201, dismissed.text
    heard(meet, lodged, done_already="The referee has dismissed it since.")
    again = meet.rule(ruling["case"], reconsiders=dismissed.json()["id"])
    names_appeal(again, lodged["number"])
    assert meet.annotations().get(4, "") == ""


def test_a_protest_that_is_decided_once_more_changes_nothing_of_it(meet: MeetAtHand) -> None:
    late = a_late_protest(meet)
    decided(meet, late, reasons="It came late.")
    assert meet.desk.put(f"protests/{late['id']}/advice", {}).status_code == 200
    ruling = late["ruled"]
    asked_in_vain = decided(meet, lodge(meet, a_protest(meet, ruling)), heard_because=None)
    other = lodge(meet, a_protest(meet, ruling))
    why = "The whole video came only now." if other["marks"] else None
    decided(meet, other, "upheld", orders=set_aside(ruling), heard_because=why)
    meet.desk.put(f"protests/{asked_in_vain['id']}/advice", {})
    lodged = appeal(meet, asked_in_vain)
    heard(meet, lodged, done_already=DONE)
    put_right_to_in_time(meet, late)
    back = [{"order": "restore", "disqualification": ruling["disqualification"]}]
    names_appeal(decide(meet, late, "upheld", orders=back), lodged["number"])


def test_once_the_jury_no_longer_finds_it_so_the_referee_decides_as_ever(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    asked_in_vain = decided(meet, lodge(meet, a_protest(meet, team=team(meet, 4))))
    meet.desk.put(f"protests/{asked_in_vain['id']}/advice", {})
    other = lodge(meet, a_protest(meet, ruling))
    made = decided(meet, other, "upheld", orders=set_aside(ruling))["decision"]["id"]
    undo = [{"order": "undo", "decision": made}]
    lodged = heard(meet, appeal(meet, asked_in_vain), done_already=DONE)
    protest = lodge(meet, a_protest(meet, team=team(meet, 5)))
    names_appeal(decide(meet, protest, "upheld", orders=undo), lodged["number"])
    heard_again(meet, lodged)
    assert decide(meet, protest, "upheld", orders=undo).status_code == 201
