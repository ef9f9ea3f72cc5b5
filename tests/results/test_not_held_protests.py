"""What is lodged about a heat keeps it in the draw; about one that is not held nothing is lodged.

Nothing is ever announced of such a heat, so no window opens in it. The time for an appeal that is
awaited here is that of an advice: 30 minutes (World Athletics TR8.7.2).
"""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.ids import new_id
from tests.appeals.desk import an_appeal, appeal, decided, lodge
from tests.appeals.test_last_instance import the_jury
from tests.builders import Json, a_meet, a_problem
from tests.results.test_not_held import (
    LATER,
    NOON,
    NOT_HELD,
    a_protest,
    drawn_into_two,
    final_of,
    not_held,
    refusal,
    run_both,
)
from tests.rounds.builders import Event
from tests.running import Service

THIRD = "heats 3"
WAY_OUT = "Have it decided and told, and let the time for an appeal run out; or let the team take"


@pytest.fixture
def event(service: Service) -> Event:
    """The third heat is left over, and nothing has run."""
    service.clock.stand_at(NOON)
    return drawn_into_two(a_meet(service))


def advised(event: Event, protest: Json) -> Json:
    """The protesters are told what was decided."""
    told = event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    assert told.status_code == 200, told.text
    return dict(told.json())


def test_a_heat_stays_in_the_draw_until_no_appeal_about_it_can_be_lodged(event: Event) -> None:
    hand, clock = event.hand(THIRD), event.meet.service.clock
    protest = a_protest(event, THIRD, "Puffin")
    assert f"Protest 1 awaits the referee. {WAY_OUT}" in refusal(event)
    protest = decided(hand, protest)
    assert "The decision on protest 1 is to be told to those who protested." in refusal(event)
    (awaits,) = advised(event, protest)["awaits"]
    assert "If the heat is not to be held, it runs from the advice, until " in awaits
    assert "2026-06-13 12:30:00 CEST" in awaits
    clock.move(timedelta(minutes=30))
    until = "An appeal against the decision on protest 1 can be lodged until 12:30:00 CEST."
    assert until in refusal(event)
    clock.move(timedelta(seconds=1))
    assert not_held(event).status_code == 200
    told = event.meet.desk.get(f"protests/{protest['id']}").json()
    assert (told["awaits"], told["appeals_until"]) == ([], "")


def test_of_a_heat_that_was_started_nothing_is_said_of_its_not_being_held(event: Event) -> None:
    protest = decided(event.hand(THIRD), a_protest(event, THIRD, "Puffin"))
    event.start(THIRD)
    assert advised(event, protest)["awaits"] == [
        "The result is to be announced: the time for appeals runs from that."
    ]


def test_an_appeal_that_came_in_time_keeps_it_there_until_the_jury_has_decided(
    event: Event,
) -> None:
    hand = event.hand(THIRD)
    protest = decided(hand, a_protest(event, THIRD, "Puffin"))
    advised(event, protest)
    lodged = appeal(hand, protest)
    event.meet.service.clock.move(timedelta(hours=1))
    assert "Appeal 1 awaits the jury." in refusal(event)
    the_jury(hand, lodged, "rejected")
    assert not_held(event).status_code == 200


def test_a_protest_that_was_taken_back_keeps_no_heat_in_the_draw(event: Event) -> None:
    protest = a_protest(event, THIRD, "Puffin")
    address = f"protests/{protest['id']}"
    seen = event.meet.desk.get(address).headers["ETag"]
    word = {"by": "Mira Anchor", "reason": "We were scratched."}
    assert event.meet.desk.post(f"{address}/withdraw", word, etag=seen).status_code == 200
    assert not_held(event).status_code == 200


def test_what_ordered_something_is_taken_back_there_first(event: Event) -> None:
    """By an amended result alone does the time for an appeal run (World Athletics TR8.7.1)."""
    hand, clock = event.hand(THIRD), event.meet.service.clock
    goes_on = [{"order": "advance", "team": event.team("Gull")}]
    made = decided(hand, a_protest(event, THIRD, "Puffin"), "upheld", orders=goes_on)["decision"]
    clock.move(timedelta(days=1))
    why = refusal(event)
    assert "The decision on protest 1 ordered something" in why
    assert "Have that taken back by another decision on this heat" in why
    undone = [{"order": "undo", "decision": made["id"]}]
    decided(hand, a_protest(event, THIRD, "Puffin"), "upheld", orders=undone)
    assert "An appeal against the decision on protest 2 can be lodged until" in refusal(event)
    clock.move(timedelta(minutes=31))
    assert not_held(event).status_code == 200


def test_what_an_undoing_gave_back_is_taken_back_there_first_too(event: Event) -> None:
    hand, clock = event.hand(THIRD), event.meet.service.clock
    orders = [{"order": "advance", "team": event.team("Gull")}]
    for _time in range(3):
        protest = a_protest(event, THIRD, "Puffin")
        made = decided(hand, protest, "upheld", orders=orders)["decision"]
        orders = [{"order": "undo", "decision": made["id"]}]
    clock.move(timedelta(days=1))
    assert "The decision on protest 3 ordered something" in refusal(event)
    decided(hand, a_protest(event, THIRD, "Puffin"), "upheld", orders=orders)
    clock.move(timedelta(minutes=31))
    assert not_held(event).status_code == 200


def test_what_a_decision_elsewhere_has_overtaken_needs_no_taking_back(event: Event) -> None:
    goes_on = {"order": "advance", "team": event.team("Gull")}
    protest = a_protest(event, THIRD, "Puffin")
    decided(event.hand(THIRD), protest, "upheld", orders=[goes_on])
    recalled = [{"order": "recall", "team": event.team("Gull")}]
    protest = a_protest(event, "heats 1", "Tern")
    decided(event.hand("heats 1"), protest, "upheld", orders=recalled)
    event.meet.service.clock.move(timedelta(minutes=31))
    assert not_held(event).status_code == 200


def test_nothing_is_lodged_about_a_heat_that_is_not_held(event: Event) -> None:
    hand, clock = event.hand(THIRD), event.meet.service.clock
    protest = decided(hand, a_protest(event, THIRD, "Puffin"))
    advised(event, protest)
    clock.move(timedelta(minutes=31))
    not_held(event)
    before = event.meet.head()
    sent = {"heat": hand.heat(), "team": event.team("Puffin"), "about": "other"}
    told = event.meet.desk.put(
        f"protests/{new_id()}", {**sent, "lodged_by": "Mira Anchor", "words": "We were there."}
    )
    detail = a_problem(told, 409, "conflict")["detail"]
    assert detail.startswith(f"{NOT_HELD} Name a heat of the round that is held")
    told = event.meet.desk.put(f"appeals/{new_id()}", an_appeal(hand, protest))
    detail = a_problem(told, 409, "conflict")["detail"]
    assert "after the time for an appeal had run out" in detail
    assert event.meet.head() == before
    elsewhere = {**sent, "heat": event.heat("heats 1"), "lodged_by": "Mira Anchor", "words": "Us."}
    assert lodge(event.meet, elsewhere)["marks"] == ["outside"]


def test_what_is_lodged_is_sent_again_whatever_became_of_the_heat(event: Event) -> None:
    sent = {"heat": event.heat(THIRD), "team": event.team("Puffin"), "about": "other"}
    sent |= {"lodged_by": "Mira Anchor", "words": "We were there."}
    address = f"protests/{new_id()}"
    assert event.meet.desk.put(address, sent).status_code == 201
    decided(event.hand(THIRD), event.meet.desk.get(address).json())
    event.meet.desk.put(f"{address}/advice", {})
    event.meet.service.clock.move(timedelta(minutes=31))
    not_held(event)
    assert event.meet.desk.put(address, sent).status_code == 200


def test_its_round_is_final_once_the_others_windows_have_lapsed_and_stays_so(event: Event) -> None:
    hand, clock = event.hand(THIRD), event.meet.service.clock
    protest = decided(hand, a_protest(event, THIRD, "Puffin"))
    advised(event, protest)
    clock.move(timedelta(minutes=31))
    not_held(event)
    run_both(event)
    assert final_of(event, "heats 1")[0] is None
    clock.stand_at(LATER)
    since = (NOON + timedelta(minutes=61)).isoformat().replace("+00:00", "Z")
    assert final_of(event, "heats 1") == final_of(event, "heats 2") == (since, [])
    told = event.meet.desk.put(f"appeals/{new_id()}", an_appeal(hand, protest))
    a_problem(told, 409, "conflict")
    assert final_of(event, "heats 1") == (since, [])
