"""What is lodged about a heat keeps it in the draw; about one that is not held nothing is lodged.

Nothing is ever announced of such a heat, so no window opens in it. The time for an appeal that is
awaited here is that of an advice: 30 minutes (World Athletics TR8.7.2).
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import a_deposit, an_appeal, appeal, decided, lodge
from tests.appeals.test_last_instance import the_jury
from tests.builders import PIN, Json, a_meet, a_problem
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


def test_what_a_decision_there_only_took_back_needs_no_taking_back_itself(event: Event) -> None:
    """It can be appealed, and that is awaited, as where it had undone that decision."""
    gull = event.team("Gull")
    protest = a_protest(event, "heats 1", "Tern")
    goes_on = [{"order": "advance", "team": gull}]
    decided(event.hand("heats 1"), protest, "upheld", orders=goes_on)
    recalled = [{"order": "recall", "team": gull}]
    decided(event.hand(THIRD), a_protest(event, THIRD, "Puffin"), "upheld", orders=recalled)
    why = refusal(event)
    assert "An appeal against the decision on protest 2 can be lodged until 12:30:00 CEST" in why
    assert "ordered something" not in why
    event.meet.service.clock.move(timedelta(minutes=31))
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
    assert "That was said at 12:31:00 CEST. Where it was handed in before that" in detail
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


def handed_in(event: Event, protest: Json, **changes: Any) -> Json:
    """An appeal with its deposit that came at 12:20 and is entered now, as it was sent."""
    at = rfc3339(NOON + timedelta(minutes=20))
    deposit = {**a_deposit(event.meet), "received_at": at}
    return an_appeal(event.hand(THIRD), protest, lodged_at=at, deposit=deposit, **changes)


def gone_with_an_appeal_in_hand(event: Event) -> Json:
    """A protest was rejected, and the heat is not held once the time for an appeal was over; both
    others have run. Gives the protest.
    """
    protest = decided(event.hand(THIRD), a_protest(event, THIRD, "Puffin"))
    advised(event, protest)
    event.meet.service.clock.move(timedelta(minutes=31))
    assert not_held(event).status_code == 200
    run_both(event)
    event.meet.service.clock.move(timedelta(minutes=31))
    return protest


def test_an_appeal_that_came_before_the_heat_was_not_held_is_taken_in_and_decided(
    event: Event,
) -> None:
    protest, clock = gone_with_an_appeal_in_hand(event), event.meet.service.clock
    assert final_of(event, "heats 1")[1] == []
    hand, sent = event.hand(THIRD), handed_in(event, protest)
    late = event.meet.desk.put(f"appeals/{new_id()}", {**sent, "lodged_at": None})
    a_problem(late, 409, "conflict")
    answer = event.meet.desk.put(f"appeals/{new_id()}", sent)
    assert answer.status_code == 201, answer.text
    lodged = answer.json()
    assert (lodged["state"], lodged["marks"], lodged["lane"]) == ("admitted", [], 4)
    assert lodged["timeliness"]["words"] == "in time by 10 min"
    waits = "Heat 3 of this round: appeal 1 awaits the jury."
    assert final_of(event, "heats 1") == final_of(event, "heats 2") == (None, [waits])
    all_can_be_read(event, lodged)
    orders = [{"order": "advance", "team": event.team("Heron")}]
    the_jury(hand, lodged, "upheld", orders=orders)
    all_can_be_read(event, lodged)
    assert final_of(event, "heats 1") == (None, ["An amended result is to be announced."])
    address = f"appeals/{lodged['id']}"
    waits = "The amended result of the heats that it moves is to be announced."
    assert event.meet.desk.get(address).json()["awaits"] == [waits]
    told = event.announce("heats 1").json()
    assert event.meet.desk.get(address).json()["awaits"] == []
    assert "Appeal 1 of Puffin, heat 3, was upheld by the jury" in told["because"][0]
    clock.move(timedelta(minutes=31))
    assert final_of(event, "heats 1")[1] == final_of(event, "heats 2")[1] == []


def all_can_be_read(event: Event, lodged: Json) -> None:
    """Whatever tells of the appeal, its protest and the round can be read, as are its papers."""
    jury = event.meet["jury"]
    known = [
        jury.get(one).json() for one in (f"protests/{lodged['protest']}", f"appeals/{lodged['id']}")
    ]
    addresses = [
        f"appeals/{lodged['id']}/dossier",
        f"appeals/{lodged['id']}/form.pdf",
        f"protests/{lodged['protest']}",
        f"protests/{lodged['protest']}/form.pdf",
        *(f"decisions/{one['decision']['id']}/form.pdf" for one in known if one["decision"]),
        "appeals",
        "protests",
        "heats",
        f"heats/{event.heat(THIRD)}",
        f"heats/{event.heat('heats 1')}/round",
        "announcements",
        "windows.json",
        "windows.ics",
    ]
    answers = {address: jury.get(address) for address in addresses}
    assert {name: one.status_code for name, one in answers.items()} == dict.fromkeys(addresses, 200)


def test_what_was_run_is_no_order_in_a_heat_that_is_not_held(event: Event) -> None:
    protest = gone_with_an_appeal_in_hand(event)
    sent = handed_in(event, protest, sought=[{"order": "run again"}])
    told = event.meet.desk.put(f"appeals/{new_id()}", sent)
    detail = a_problem(told, 422, "malformed")["detail"]
    assert "of what was run nothing can be ordered, but who goes on from its round" in detail


def test_a_protest_that_came_before_the_heat_was_not_held_can_be_decided_and_appealed(
    event: Event,
) -> None:
    clock, hand = event.meet.service.clock, event.hand(THIRD)
    came = rfc3339(NOON)
    clock.move(timedelta(minutes=5))
    assert not_held(event).status_code == 200
    run_both(event)
    clock.stand_at(LATER)
    sent = {
        "heat": event.heat(THIRD),
        "team": event.team("Puffin"),
        "about": "conduct",
        "against": event.team("Heron"),
        "lodged_by": "Mira Anchor",
        "words": "They swapped our lanes.",
        "lodged_at": came,
    }
    stranger = {**sent, "against": event.team("Gull")}
    a_problem(event.meet.desk.put(f"protests/{new_id()}", stranger), 422, "malformed")
    protest = lodge(event.meet, sent)
    assert (protest["marks"], protest["lane"]) == ([], 4)
    waits = "Heat 3 of this round: protest 1 awaits the referee."
    assert final_of(event, "heats 1") == (None, [waits])
    protest = decided(hand, protest)
    told = ["The protesters are to be told: the time for an appeal runs from that."]
    assert protest["awaits"] == told
    clock.move(timedelta(minutes=1))
    until = advised(event, protest)["appeals_until"]
    assert until.startswith("Appeals until 2026-06-13 14:31:00 CEST"), until
    waits = "Heat 3 of this round: appeals until 14:31:00 CEST."
    assert final_of(event, "heats 1") == (None, [waits])
    clock.move(timedelta(minutes=30))
    earlier = {"advised_at": rfc3339(LATER), "reasons": "Typed wrongly.", "pin": PIN}
    address = f"protests/{protest['id']}/advice/time-corrections/{new_id()}"
    refused = a_problem(event.meet.desk.put(address, earlier), 409, "needs-word")
    assert "would be over already (until 2026-06-13 14:30:00 CEST" in refused["detail"]
    board = f"/meets/{event.meet.id}"
    assert waits in event.meet.service.http.get(board).text
    clock.move(timedelta(seconds=1))
    assert waits not in event.meet.service.http.get(board).text
    clock.move(timedelta(seconds=59))
    assert final_of(event, "heats 1")[1] == []
    lodged = appeal(hand, protest)
    assert (lodged["state"], lodged["timeliness"]["words"]) == ("late", "LATE by 1 min")
    all_can_be_read(event, lodged)


def test_that_it_was_decided_since_holds_where_the_clock_was_set_back_meanwhile(
    event: Event,
) -> None:
    clock, hand = event.meet.service.clock, event.hand(THIRD)
    clock.move(timedelta(minutes=5))
    assert not_held(event).status_code == 200
    clock.move(-timedelta(minutes=3))
    document = {"about": "other", "heat": event.heat(THIRD), "team": event.team("Puffin")}
    words = {"lodged_by": "Mira Anchor", "words": "Ours.", "lodged_at": rfc3339(NOON)}
    protest = decided(hand, lodge(event.meet, {**document, **words}))
    assert protest["awaits"] == [
        "The protesters are to be told: the time for an appeal runs from that."
    ]
    until = advised(event, protest)["appeals_until"]
    assert until.startswith("Appeals until 2026-06-13 12:32:00 CEST"), until
    clock.move(timedelta(minutes=10))
    lodged = appeal(hand, protest)
    assert (lodged["state"], lodged["marks"]) == ("admitted", [])
    all_can_be_read(event, lodged)


def test_what_is_handed_in_now_is_not_taken_for_earlier_where_the_clock_was_set_back_meanwhile(
    event: Event,
) -> None:
    clock = event.meet.service.clock
    clock.move(timedelta(minutes=5))
    assert not_held(event).status_code == 200
    clock.move(-timedelta(minutes=3))
    document = {"about": "other", "heat": event.heat(THIRD), "team": event.team("Puffin")}
    words = {"lodged_by": "Mira Anchor", "words": "Ours."}
    sent = event.meet.desk.put(f"protests/{new_id()}", {**document, **words})
    assert "say when in “lodged_at”" in a_problem(sent, 409, "conflict")["detail"]
    before = {**document, **words, "lodged_at": rfc3339(NOON)}
    assert event.meet.desk.put(f"protests/{new_id()}", before).status_code == 201


def test_what_the_referee_orders_on_such_a_protest_is_told_by_the_heat_that_it_moves(
    event: Event,
) -> None:
    clock, hand = event.meet.service.clock, event.hand(THIRD)
    clock.move(timedelta(minutes=5))
    not_held(event)
    run_both(event)
    clock.stand_at(LATER)
    document = {"about": "other", "heat": event.heat(THIRD), "team": event.team("Puffin")}
    words = {"lodged_by": "Mira Anchor", "words": "Ours.", "lodged_at": rfc3339(NOON)}
    protest = lodge(event.meet, {**document, **words})
    orders = [{"order": "advance", "team": event.team("Heron")}]
    upheld = decided(hand, protest, "upheld", orders=orders)
    assert upheld["appeals_until"].startswith("Appeals until 2026-06-13 14:30:00 CEST")
    (moved,) = [one for one in upheld["decision"]["affected"] if one["team_name"] == "Heron"]
    assert moved["words"] == "opens with the amended announcement of heat 1, if one is made"
    waits = "Heat 3 of this round: appeals until 14:30:00 CEST."
    assert final_of(event, "heats 1") == (None, ["An amended result is to be announced.", waits])
    told = event.announce("heats 1").json()
    assert "Protest 1 of Puffin, heat 3, was upheld by the referee" in told["because"][0]
    assert [window["remedy"] for window in told["windows"]] == ["protest", "appeal"]
    read = event.meet.desk.get(f"protests/{protest['id']}").json()["decision"]
    (moved,) = [one for one in read["affected"] if one["team_name"] == "Heron"]
    assert moved["words"] == "appeal until 14:30:00 CEST", "of heat 3 nothing is ever announced"
    assert appeal(hand, protest)["state"] == "admitted"


def test_where_no_end_is_set_to_appeals_one_that_came_before_is_not_lost(
    service: Service,
) -> None:
    """NFHS leaves the time to the games committee (3-5)."""
    service.clock.stand_at(NOON)
    event = drawn_into_two(a_meet(service, edition="nfhs-2019"))
    document = {
        "heat": event.heat(THIRD),
        "team": event.team("Puffin"),
        "about": "placing",
        "ground": "misapplication of rules",
        "lodged_by": "Mira Anchor",
        "words": "We were there.",
    }
    protest = decided(event.hand(THIRD), lodge(event.meet, document))
    advised(event, protest)
    service.clock.move(timedelta(minutes=1))
    came = rfc3339(service.clock.now())
    service.clock.move(timedelta(minutes=1))
    assert not_held(event).status_code == 200
    service.clock.move(timedelta(minutes=1))
    after_it = rfc3339(service.clock.now())
    hand = event.hand(THIRD)
    after = an_appeal(hand, protest, deposit=None)
    detail = a_problem(event.meet.desk.put(f"appeals/{new_id()}", after), 409, "conflict")["detail"]
    assert "That was said at 12:02:00 CEST" in detail
    lodged = appeal(hand, protest, deposit=None, lodged_at=came)
    assert lodged["state"] == "admitted"
    # Nor does it become one that came afterwards.
    service.clock.move(timedelta(minutes=1))
    address = f"appeals/{lodged['id']}/time-corrections/{new_id()}"
    later = {"lodged_at": after_it, "reasons": "Typed wrongly.", "pin": PIN}
    detail = a_problem(event.meet.desk.put(address, later), 409, "conflict")["detail"]
    assert "let the team take it back" in detail


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
