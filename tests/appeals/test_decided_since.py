"""An older decision is not undone through what later decisions have ordered about the same.

Only the last decision about a thing still stands, so an `undo` of one before it has nothing to take
back; the jury's is final: World Athletics TR8.11 (published summary). Common practice else.
"""

from __future__ import annotations

from collections.abc import Callable

import httpx
import pytest

from tests.appeals.desk import a_protest, appeal, decide, decided, lodge
from tests.appeals.test_last_instance import the_jury
from tests.appeals.test_reopening import decide_again, open_again
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import Event, two_heats

Orders = Callable[[Event], list[Json]]


@pytest.fixture
def event(meet: MeetAtHand) -> Event:
    """Two heats are announced and the final is drawn; Heron of the first heat goes on by word."""
    event = two_heats(meet)
    event.set(by_time=0, lanes=8)
    event.run("heats 1", "42.10", "42.20", "42.30")
    event.run("heats 2", "42.15", "42.25", "42.35")
    event.draw({"final 1": ("Tern", "Plover", "Gull", "Curlew")})
    return event


def the_whole_heat(_event: Event) -> list[Json]:
    return [{"order": "run again"}]


def some(event: Event) -> list[Json]:
    return [{"order": "run again", "teams": [event.team("Heron")], "added_places": 1}]


def a_time(event: Event) -> list[Json]:
    return [{"order": "correct", "team": event.team("Heron"), "time": "42.15"}]


def going_on(event: Event) -> list[Json]:
    return [{"order": "advance", "team": event.team("Heron")}]


def a_lane(event: Event) -> list[Json]:
    return [*going_on(event), {"order": "extra lane", "team": event.team("Heron"), "lane": 8}]


def protest_of(event: Event, name: str) -> Json:
    hand = event.hand("heats 1")
    return lodge(hand, a_protest(hand, team=event.team(name)))


def ordered(event: Event, name: str, orders: list[Json]) -> str:
    """The referee orders this on a team's protest; gives the decision."""
    out = decided(event.hand("heats 1"), protest_of(event, name), "upheld", orders=orders)
    return str(out["decision"]["id"])


def undoing(event: Event, decision: str) -> httpx.Response:
    orders = [{"order": "undo", "decision": decision}]
    return decide(event.hand("heats 1"), protest_of(event, "Gull"), "upheld", orders=orders)


def as_it_is(event: Event) -> tuple[object, ...]:
    event.read_again()
    final = {lane["lane"]: lane["name"] for lane in event.heats["final 1"]["lanes"]}
    states = {name: heat["state"] for name, heat in event.heats.items()}
    lines = event.result()["lines"] if states["heats 1"] != "to come" else None
    return lines, final, states, event.now()["teams"]


@pytest.mark.parametrize("orders", [the_whole_heat, some, a_time, going_on, a_lane])
def test_what_the_jury_ordered_anew_is_not_undone_through_the_referees_first_decision(
    event: Event, orders: Orders
) -> None:
    first = ordered(event, "Heron", orders(event))
    protest = protest_of(event, "Gull")
    hand = event.hand("heats 1")
    undo = {"order": "undo", "decision": first}
    decided(hand, protest, "upheld", orders=[undo])
    lodged = appeal(hand, protest, team=event.team("Heron"), sought=orders(event))
    the_jury(hand, lodged, "upheld", orders=orders(event))
    before = as_it_is(event)
    told = a_problem(undoing(event, first), 409, "conflict")["detail"]
    assert "A later decision was about the same, the decision of the " in told
    assert as_it_is(event) == before


@pytest.mark.parametrize("orders", [the_whole_heat, a_time, going_on, a_lane])
def test_what_was_undone_and_ordered_anew_is_undone_by_the_decision_that_stands(
    event: Event, orders: Orders
) -> None:
    before = as_it_is(event)
    first = ordered(event, "Heron", orders(event))
    assert undoing(event, first).status_code == 201
    third = ordered(event, "Heron", orders(event))
    a_problem(undoing(event, first), 409, "conflict")
    assert undoing(event, third).status_code == 201
    assert as_it_is(event) == before


def test_that_a_heat_did_not_run_again_is_not_undone_in_a_later_race(event: Event) -> None:
    first = ordered(event, "Heron", the_whole_heat(event))
    second = undoing(event, first).json()["decision"]["id"]
    ordered(event, "Gull", the_whole_heat(event))
    event.start("heats 1")
    event.run("heats 1", "42.50", "42.60", "42.70")
    before = as_it_is(event)
    a_problem(undoing(event, second), 409, "conflict")
    assert as_it_is(event) == before


def heard(
    event: Event, orders: list[Json], *, against: str | None = None, verdict: str = "upheld"
) -> Json:
    """An appeal was upheld with these orders, and is open again for a further sitting."""
    hand = event.hand("heats 1")
    protest = protest_of(event, "Heron")
    if against is None:
        decided(hand, protest)
        hand.desk.put(f"protests/{protest['id']}/advice", {})
        lodged = appeal(hand, protest, sought=orders)
    else:
        decided(hand, protest, "upheld", orders=[{"order": against, "team": event.team("Heron")}])
        lodged = appeal(hand, protest, team=event.team("Gull"), sought=orders)
    out = the_jury(hand, lodged, "upheld", orders=orders)
    names = [one["name"] for one in out["panel"]["members"]]
    return open_again(event, {**out, "names": names}, verdict)


RECALL = "recall"


@pytest.mark.parametrize("first", [going_on, a_lane, a_time])
def test_sittings_that_end_in_rejecting_leave_what_was_before_the_first(
    event: Event, first: Orders
) -> None:
    """The appeal fails, so nothing comes of it: common practice."""
    before = as_it_is(event)
    lodged = heard(event, first(event))
    heron = event.team("Heron")
    opposite: list[Json] = [{"order": RECALL, "team": heron}]
    if first is a_time:
        opposite = [{"order": "correct", "team": heron, "time": "42.30"}]
    assert decide_again(event, lodged, orders=opposite).status_code == 201
    assert as_it_is(event)[3] == before[3]
    open_again(event, lodged, "rejected")
    assert decide_again(event, lodged, "rejected").status_code == 201
    assert as_it_is(event) == before


def test_sittings_against_a_decision_that_end_in_rejecting_leave_that_decision(
    event: Event,
) -> None:
    recall = [{"order": RECALL, "team": event.team("Heron")}]
    lodged = heard(event, recall, against="advance")
    assert event.letters().get("Heron", "") == ""
    assert decide_again(event, lodged, orders=going_on(event)).status_code == 201
    assert event.letters()["Heron"] == "qR"
    open_again(event, lodged, "rejected")
    assert decide_again(event, lodged, "rejected").status_code == 201
    assert event.letters()["Heron"] == "qR"


def test_what_another_appeal_ordered_since_is_not_taken_back_by_a_further_sitting(
    event: Event,
) -> None:
    """Each decision of the jury is final but for its own reopening (TR8.9, from memory)."""
    hand = event.hand("heats 1")
    lodged = heard(event, going_on(event), verdict="rejected")

    def another(name: str, orders: list[Json]) -> Json:
        protest = protest_of(event, name)
        decided(hand, protest)
        hand.desk.put(f"protests/{protest['id']}/advice", {})
        return the_jury(hand, appeal(hand, protest, sought=orders), "upheld", orders=orders)

    second = another("Gull", [{"order": RECALL, "team": event.team("Heron")}])
    open_again(event, {**second, "names": lodged["names"]}, "rejected")
    another("Tern", going_on(event))
    assert decide_again(event, lodged, "rejected").status_code == 201
    assert event.letters()["Heron"] == "qJ"


def test_a_decision_that_stands_again_since_its_undoing_was_undone_is_undone_as_a_whole(
    event: Event,
) -> None:
    before = as_it_is(event)
    both = [*going_on(event), {"order": "correct", "team": event.team("Gull"), "time": "42.22"}]
    first = ordered(event, "Heron", both)
    recalled = ordered(event, "Gull", [{"order": RECALL, "team": event.team("Heron")}])
    assert undoing(event, recalled).status_code == 201
    assert event.letters()["Heron"] == "qR"
    undone = undoing(event, first)
    assert len(undone.json()["decision"]["ordered"]) == 2
    assert as_it_is(event) == before


def test_what_an_undoing_does_not_reach_is_told_with_the_decision_that_stands(
    event: Event,
) -> None:
    both = [*going_on(event), {"order": "correct", "team": event.team("Gull"), "time": "42.22"}]
    first = ordered(event, "Heron", both)
    ordered(event, "Gull", [{"order": RECALL, "team": event.team("Heron")}])
    said = (
        "This is not taken back: Heron goes on to the final (qR). The decision of the referee on "
        "protest 2 was about the same since, and stands."
    )
    protest = protest_of(event, "Tern")
    orders = [{"order": "undo", "decision": first}]
    address = f"protests/{protest['id']}/consequences"
    shown = event.meet.referee.post(address, {"orders": orders})
    assert shown.json()["too_late"] == [said]
    out = decided(event.hand("heats 1"), protest, "upheld", orders=orders)
    assert len(out["decision"]["ordered"]) == 1
    assert out["decision"]["consequences"]["too_late"] == [said]


def test_the_dossier_tells_what_undoing_would_not_reach(event: Event) -> None:
    hand = event.hand("heats 1")
    both = [*going_on(event), {"order": "correct", "team": event.team("Gull"), "time": "42.22"}]
    protest = protest_of(event, "Heron")
    decided(hand, protest, "upheld", orders=both)
    ordered(event, "Gull", [{"order": RECALL, "team": event.team("Heron")}])
    lodged = appeal(hand, protest, team=event.team("Gull"))
    (said,) = hand["jury"].get(f"appeals/{lodged['id']}/dossier").json()["if_granted"]["too_late"]
    assert "The decision of the referee on protest 2 was about the same since" in said


def test_what_a_further_sitting_does_not_take_back_is_told_too(event: Event) -> None:
    hand = event.hand("heats 1")
    lodged = heard(event, going_on(event), verdict="rejected")
    protest = protest_of(event, "Gull")
    decided(hand, protest)
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    recall = [{"order": RECALL, "team": event.team("Heron")}]
    the_jury(hand, appeal(hand, protest, sought=recall), "upheld", orders=recall)
    out = decide_again(event, lodged, "rejected").json()["decision"]
    (said,) = out["consequences"]["too_late"]
    assert said.endswith(
        "The decision of the jury on appeal 2 was about the same since, and stands."
    )


def test_of_two_appeals_that_both_fail_in_the_end_nothing_is_left(event: Event) -> None:
    hand = event.hand("heats 1")
    before = as_it_is(event)
    first = heard(event, going_on(event), verdict="rejected")
    protest = protest_of(event, "Gull")
    decided(hand, protest)
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    recall = [{"order": RECALL, "team": event.team("Heron")}]
    second = the_jury(hand, appeal(hand, protest, sought=recall), "upheld", orders=recall)
    second = open_again(event, {**second, "names": first["names"]}, "rejected")
    assert decide_again(event, second, "rejected").status_code == 201
    assert event.letters()["Heron"] == "qJ"
    assert decide_again(event, first, "rejected").status_code == 201
    assert as_it_is(event) == before
