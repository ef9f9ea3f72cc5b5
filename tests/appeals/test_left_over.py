"""What two appeals that both fail in the end have ordered leaves nothing, in whichever order.

An appeal is decided on what another one had ordered while that one is open again; both are then
rejected, on new evidence (TR8.9, from memory). What no decision that stands has ordered does not
come back: common practice.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.appeals.test_done_already import lodged_by_heron, rejected_at_last, upheld
from tests.appeals.test_reopening import (
    Orders,
    a_final_to_come,
    advanced,
    as_it_is,
    decide_again,
    in_lane,
    in_time,
    open_again,
    run_again,
    whole_heat,
)
from tests.builders import Json, MeetAtHand
from tests.rounds.builders import Event

Against = Callable[[Event, Json], list[Json]]


def undone(_event: Event, first: Json) -> list[Json]:
    return [{"order": "undo", "decision": first["decision"]["id"]}]


def recalled(event: Event, _first: Json) -> list[Json]:
    return [{"order": "recall", "team": event.team("Heron")}]


def not_finished(event: Event, _first: Json) -> list[Json]:
    return [{"order": "correct", "team": event.team("Heron"), "status": "DNF"}]


def all_again(event: Event, _first: Json) -> list[Json]:
    return whole_heat(event)


def rival_out(event: Event) -> list[Json]:
    out = {"order": "disqualify", "team": event.team("Gull"), "infringement": "help_given"}
    return [out]


ALL = [
    (advanced, recalled),
    (advanced, undone),
    (in_lane(1), recalled),
    (in_time("41.00"), not_finished),
    (in_time("41.00"), all_again),
    (run_again, all_again),
    (rival_out, undone),
    (whole_heat, undone),
]


def state(event: Event) -> tuple[object, ...]:
    """All but that a re-run that was called off is still listed among the heats."""
    lines, final, _heats, first = as_it_is(event)
    return lines, final, first


def both_upheld(event: Event, orders: Orders, against: Against) -> tuple[Json, Json]:
    """One appeal is upheld, and while it is open again another one against what it ordered."""
    other = lodged_by_heron(event, "Gull")
    first = upheld(event, lodged_by_heron(event), orders=orders(event))
    open_again(event, first, "rejected")
    return first, upheld(event, other, orders=against(event, first))


@pytest.mark.parametrize(("orders", "against"), ALL)
def test_what_was_ordered_on_an_appeal_that_failed_does_not_come_back_by_another(
    meet: MeetAtHand, orders: Orders, against: Against
) -> None:
    event = a_final_to_come(meet)
    before = state(event)
    first, second = both_upheld(event, orders, against)
    assert decide_again(event, first, "rejected").status_code == 201
    told = rejected_at_last(event, second)
    assert state(event) == before
    assert told["consequences"]["too_late"] == []
    for heard in (first, second, first):
        told = rejected_at_last(event, heard)
        assert (told["ordered"], told["consequences"]["too_late"]) == ([], [])
    assert state(event) == before


def test_of_three_appeals_nothing_comes_back_either(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    before = state(event)
    third = lodged_by_heron(event, "Tern")
    first, second = both_upheld(event, whole_heat, undone)
    open_again(event, second, "rejected")
    third = upheld(event, third, orders=whole_heat(event))
    for heard in (second, first):
        assert decide_again(event, heard, "rejected").status_code == 201
    rejected_at_last(event, third)
    assert state(event) == before


def test_why_it_does_not_come_back_is_said(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    first, second = both_upheld(event, in_time("41.00"), not_finished)
    decide_again(event, first, "rejected")
    assert rejected_at_last(event, second)["ordered"] == [
        "The finish of Heron stands again as 41.00 instead of DNF.",
        "The finish of Heron stands again as 42.30 instead of 41.00, since appeal "
        f"{first['number']} was decided anew.",
    ]


def test_what_the_second_appeal_itself_orders_in_the_end_is_carried_out(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    first, second = both_upheld(event, advanced, recalled)
    decide_again(event, first, "rejected")
    again = decide_again(event, open_again(event, second), orders=advanced(event))
    assert again.status_code == 201, again.text
    assert event.letters()["Heron"] == "qJ"
    rejected_at_last(event, first)
    assert event.letters()["Heron"] == "qJ"


def test_what_a_third_decision_gave_back_stays_when_the_first_is_rejected_once_more(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    third = lodged_by_heron(event, "Tern")
    first, second = both_upheld(event, rival_out, undone)
    decide_again(event, first, "rejected")
    open_again(event, second, "rejected")
    upheld(event, third, orders=undone(event, second))
    stood = state(event)
    assert decide_again(event, second, "rejected").status_code == 201
    rejected_at_last(event, first)
    assert state(event) == stood


def test_what_came_too_late_is_taken_back_by_a_further_sitting_once_it_can_be(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    before = as_it_is(event)
    first = upheld(event, lodged_by_heron(event), orders=in_lane(1)(event))
    final = event.hand("final 1")
    final.start()
    for _sitting in range(2):
        told = rejected_at_last(event, first)
        assert any("has begun" in said for said in told["consequences"]["too_late"])
    final.hold_back()
    event.read_again()
    rejected_at_last(event, first)
    assert as_it_is(event) == before
