"""What the jury gave on one appeal, it takes away on another only once the first is heard again.

The jury's decision is final: World Athletics TR8.11 (published summary); new conclusive evidence
reopens it (TR8.9, from memory). That this holds between appeals too is common practice.
"""

from __future__ import annotations

import pytest

from tests.appeals.desk import a_panel, cast, jury_decides
from tests.appeals.test_done_already import DONE, lodged_by_heron, rejected_at_last, upheld
from tests.appeals.test_found_done_by_referee import found
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
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import Event


def refused_by_first(event: Event, lodged: Json, number: int, order: Json) -> None:
    """The jury does not order this on another appeal, as is said before it is signed too."""
    hand = event.hand("heats 1")
    names = a_panel(hand, lodged)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    for answer in (
        hand["jury"].post(f"appeals/{lodged['id']}/consequences", {"orders": [order]}),
        jury_decides(hand, lodged, names[0], orders=[order]),
    ):
        told = a_problem(answer, 409, "conflict")
        assert told["appeal"] == number
        assert "TR8.11" in told["detail"]
        assert f"appeal {number} stands" in told["detail"]
        assert "have that appeal reopened" in told["detail"]


@pytest.mark.parametrize("orders", [advanced, in_lane(1), in_time("41.00"), run_again, whole_heat])
def test_what_the_jury_gave_is_not_undone_on_another_appeal(
    meet: MeetAtHand, orders: Orders
) -> None:
    event = a_final_to_come(meet)
    other = lodged_by_heron(event, "Gull")
    first = upheld(event, lodged_by_heron(event), orders=orders(event))
    stood = as_it_is(event)
    undo = {"order": "undo", "decision": first["decision"]["id"]}
    refused_by_first(event, other, first["number"], undo)
    assert as_it_is(event) == stood


def contrary(event: Event, kind: str) -> tuple[Orders, Json]:
    """An order, and another that takes away what it gives."""
    heron = event.team("Heron")
    return {
        "recall": (advanced, {"order": "recall", "team": heron}),
        "lane": (in_lane(1), {"order": "recall", "team": heron}),
        "correct": (in_time("41.00"), {"order": "correct", "team": heron, "time": "42.05"}),
    }[kind]


@pytest.mark.parametrize("kind", ["recall", "lane", "correct"])
def test_the_contrary_is_not_ordered_on_another_appeal(meet: MeetAtHand, kind: str) -> None:
    event = a_final_to_come(meet)
    orders, other_order = contrary(event, kind)
    other = lodged_by_heron(event, "Gull")
    first = upheld(event, lodged_by_heron(event), orders=orders(event))
    refused_by_first(event, other, first["number"], other_order)


@pytest.mark.parametrize("kind", ["recall", "lane", "correct"])
def test_what_the_jury_found_done_by_the_referee_is_not_taken_away_on_another_appeal(
    meet: MeetAtHand, kind: str
) -> None:
    event = a_final_to_come(meet)
    orders, other_order = contrary(event, kind)
    other = lodged_by_heron(event, "Gull")
    made, number = found(event, orders)
    refused_by_first(event, other, number, other_order)
    other = lodged_by_heron(event, "Gull")
    refused_by_first(event, other, number, {"order": "undo", "decision": made})


def test_nor_on_another_appeal_that_is_itself_heard_again(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    other = upheld(event, lodged_by_heron(event, "Gull"), done_already=DONE)
    first = upheld(event, lodged_by_heron(event), orders=advanced(event))
    recall = {"order": "recall", "team": event.team("Heron")}
    told = a_problem(
        decide_again(event, open_again(event, other), orders=[recall]), 409, "conflict"
    )
    assert told["appeal"] == first["number"]


def test_once_the_first_is_rejected_at_last_another_appeal_is_free(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    other = lodged_by_heron(event, "Gull")
    first = upheld(event, lodged_by_heron(event), orders=in_time("41.00")(event))
    rejected_at_last(event, first)
    upheld(event, other, orders=in_time("42.05")(event))


def test_while_the_first_is_open_again_another_appeal_is_free(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    other = lodged_by_heron(event, "Gull")
    first = upheld(event, lodged_by_heron(event), orders=in_time("41.00")(event))
    open_again(event, first)
    upheld(event, other, orders=in_time("42.05")(event))


def test_another_matter_is_ordered_on_another_appeal_as_ever(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    other = [lodged_by_heron(event, "Gull") for _ in range(2)]
    upheld(event, lodged_by_heron(event), orders=[*advanced(event), *in_time("42.05")(event)])
    gull = {"order": "correct", "team": event.team("Gull"), "time": "42.15"}
    upheld(event, other[0], orders=[gull])
    upheld(event, other[1], orders=whole_heat(event))
    assert event.heats["heats 1"]["state"] == "to come"


def test_whom_the_jury_disqualified_it_does_not_let_in_again_on_another_appeal(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    hand = event.hand("heats 1")
    out = {"order": "disqualify", "team": event.team("Heron"), "infringement": "help_given"}
    other = lodged_by_heron(event, "Gull")
    first = upheld(event, lodged_by_heron(event, "Tern"), orders=[out])
    (known,) = hand.desk.get("disqualifications").json()
    back = {"order": "set aside", "disqualification": known["id"]}
    refused_by_first(event, other, first["number"], back)
