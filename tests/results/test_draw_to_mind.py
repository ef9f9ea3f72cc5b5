"""Whoever starts a heat of the next round reads which draw it is, and starts it all the same.

That what happens on the track wins is the design; who goes on: World Athletics TR20 and CR25.4 as
federations retell them (Q by place, q by time), numbers from memory.
"""

from __future__ import annotations

import pytest

from app.ids import new_id
from app.rounds.actions import advance
from app.rules.qualifying import Letter
from tests.builders import Json, MeetAtHand
from tests.rounds.builders import Event, a_decision, an_event, two_heats

FINAL = "final 1"


def a_complete_round(meet: MeetAtHand) -> Event:
    """Tern and Plover are through by place, Gull and Curlew by time; all is announced."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    return event


def shown(event: Event, heat: str = FINAL) -> Json:
    return dict(event.meet.service.http.get(address(event, heat)).json())


def listed(event: Event, heat: str = FINAL) -> Json:
    event.read_again()
    return event.heats[heat]


def started(event: Event, heat: str = FINAL) -> Json:
    seen = event.meet.referee.get(address(event, heat))
    answer = event.meet.referee.post(f"{address(event, heat)}/start", etag=seen.headers["ETag"])
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def address(event: Event, heat: str) -> str:
    return f"/api/meets/{event.meet.id}/heats/{event.heat(heat)}"


def test_a_final_of_those_who_are_through_is_started_without_a_word(meet: MeetAtHand) -> None:
    event = a_complete_round(meet)
    event.draw({FINAL: ("Tern", "Plover", "Gull", "Curlew")})
    assert (shown(event)["mind"], started(event)["mind"]) == ([], [])


def test_a_final_of_others_is_started_and_says_who_is_not_through_and_who_is_left_out(
    meet: MeetAtHand,
) -> None:
    event = a_complete_round(meet)
    event.draw({FINAL: ("Tern", "Plover", "Heron", "Puffin")})
    told = [
        "By what has been announced: drawn into the final without having qualified: Heron and "
        "Puffin.",
        "By what has been announced: qualified and not drawn into the final: Gull and Curlew.",
    ]
    assert shown(event)["mind"] == told
    assert listed(event)["mind"] == told
    runs = started(event)
    assert runs["state"] == "running"
    assert runs["mind"] == [
        "Drawn into the final without having qualified: Heron and Puffin.",
        "Qualified and not drawn into the final: Gull and Curlew.",
    ]
    assert (shown(event)["mind"], listed(event)["mind"]) == ([], []), "it is no longer to come"


def test_who_is_through_and_finds_no_lane_left_is_named_too(meet: MeetAtHand) -> None:
    event = a_complete_round(meet)
    event.draw({FINAL: ("Tern", "Plover", "Gull", "Curlew")})
    at_hand, heron = event.at_hand(), event.team("Heron")
    event.read(lambda unit: advance(unit, at_hand, heron, Letter.BY_REFEREE, a_decision()))
    assert shown(event)["mind"] == [], "nothing of a decision before it is announced"
    assert started(event)["mind"] == ["Qualified and not drawn into the final: Heron."]


def test_what_is_not_announced_is_told_to_whoever_starts_and_to_nobody_else(
    meet: MeetAtHand,
) -> None:
    event = a_complete_round(meet)
    event.draw({FINAL: ("Tern", "Plover", "Gull", "Curlew")})
    event.disqualify("Gull")
    assert shown(event)["mind"] == []
    assert started(event)["mind"] == [
        "Drawn into the final without having qualified: Gull.",
        "Qualified and not drawn into the final: Heron.",
    ]


def test_while_it_is_not_settled_who_goes_on_that_is_said(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.draw({FINAL: ("Tern", "Plover", "Gull", "Curlew")})
    assert started(event)["mind"] == ["Who goes on from the heats is not settled yet."]


UNSETTLED = "Who goes on from the semis is not settled yet."


def test_of_a_round_that_is_still_to_be_drawn_it_is_not_settled_who_goes_on(
    meet: MeetAtHand,
) -> None:
    event = two_heats(meet)
    event.set(next_round="semis")
    semis = event.setting(round="semis", by_place=1, by_time=1)
    assert meet.organiser.put(f"rounds/{new_id()}", semis).status_code == 201
    event.draw({FINAL: ("Tern", "Plover")})
    told = [f"By what has been announced: {UNSETTLED[0].lower()}{UNSETTLED[1:]}"]
    assert (shown(event)["mind"], listed(event)["mind"]) == (told, told)
    assert started(event)["mind"] == [UNSETTLED]


def test_who_may_come_from_another_round_that_is_still_to_be_drawn_is_no_stranger(
    meet: MeetAtHand,
) -> None:
    event = a_complete_round(meet)
    event.draw({"preliminary 1": ("Heron", "Dunlin")})
    for one, leads_to in (("preliminary", "semis"), ("semis", "final")):
        sent = event.setting(round=one, next_round=leads_to)
        assert meet.organiser.put(f"rounds/{new_id()}", sent).status_code == 201
    event.draw({FINAL: ("Tern", "Plover", "Gull", "Curlew", "Dunlin")})
    assert started(event)["mind"] == [UNSETTLED]


def test_of_a_round_of_which_no_heat_is_held_nothing_is_awaited(meet: MeetAtHand) -> None:
    event = an_event(meet, {"heats 1": ("Tern", "Plover")})
    event.set()
    event.draw({FINAL: ("Tern", "Plover")})
    address = f"heats/{event.heat('heats 1')}"
    seen = meet.organiser.get(address).headers["ETag"]
    gone = meet.organiser.post(f"{address}/not-held", {"reasons": "A final only."}, etag=seen)
    assert gone.is_success, gone.text
    assert started(event)["mind"] == [
        "Drawn into the final without having qualified: Tern and Plover."
    ]


def test_a_round_that_cannot_be_worked_out_keeps_no_heat_from_being_started(
    meet: MeetAtHand,
) -> None:
    event = an_event(meet, {"heats 1": ("Tern", "Gull"), "heats 2": ("Tern", "Heron")})
    event.set(by_time=1, lanes=3)
    event.run("heats 1", "42.10", "42.30")
    event.run("heats 2", "42.20", "42.40")
    event.draw({FINAL: ("Tern", "Gull", "Heron")})
    (told,) = started(event)["mind"]
    assert told.startswith("Nobody can say who goes on from the heats: ")
    assert "Tern stands in heat 1 and in heat 2." in told


def test_who_comes_from_another_round_that_leads_there_is_no_stranger(meet: MeetAtHand) -> None:
    event = a_complete_round(meet)
    event.draw({"repechage 1": ("Heron", "Puffin")})
    other = event.setting(round="repechage", by_place=1, by_time=0)
    assert meet.organiser.put(f"rounds/{new_id()}", other).status_code == 201
    event.draw({FINAL: ("Tern", "Plover", "Gull", "Curlew", "Heron", "Puffin")})
    assert "Who goes on from the repechage is not settled yet." in started(event)["mind"]
    event.hand(FINAL).hold_back()
    event.run("repechage 1", "42.00", "42.40")
    assert started(event)["mind"] == [
        "Drawn into the final without having qualified: Puffin.",
    ]


@pytest.mark.parametrize("heat", ["heats 1", "heats 2"])
def test_a_heat_that_nobody_goes_on_to_has_nothing_to_mind(meet: MeetAtHand, heat: str) -> None:
    event = two_heats(meet)
    event.set()
    event.draw({FINAL: ("Tern", "Plover", "Gull", "Curlew")})
    assert (shown(event, heat)["mind"], started(event, heat)["mind"]) == ([], [])
