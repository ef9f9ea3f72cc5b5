"""Lots drawn for a tie at the cut: by a named person, recorded, once.

World Athletics TR21; qD since 1 November 2023, as federations retell both.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from app.ids import new_id
from tests.builders import PIN, MeetAtHand, a_problem
from tests.rounds.builders import Event, by_name, two_heats


@pytest.fixture
def tied(meet: MeetAtHand) -> Event:
    """Gull and Curlew tie to 0.001 s for the one place by time, and the final has three lanes."""
    event = two_heats(meet)
    event.set(by_time=1, lanes=3)
    event.run("heats 1", "42.100", "42.300", "42.500")
    event.run("heats 2", "43.000", "42.300", "42.200")
    return event


def test_an_open_tie_is_named_and_gives_nobody_a_letter(tied: Event) -> None:
    now = tied.now()
    assert {team["name"] for team in now["open_draw"]["teams"]} == {"Curlew", "Gull"}
    assert now["open_draw"]["places"] == 1
    assert {by_name(now)[name]["letter"] for name in ("Gull", "Curlew")} == {None}
    assert now["sentences"][0].endswith(" tie for one place: lots decide.")
    assert tied.result("heats 2")["qualified"] == []


def test_who_is_drawn_first_goes_on_with_its_letter(tied: Event) -> None:
    before = tied.meet.head()["size"]
    drawn = tied.lots("Curlew", "Gull", drawn_by="Finn Compass")
    assert drawn.status_code == 201, drawn.text
    told = drawn.json()
    assert [team["name"] for team in told["drawn"]] == ["Curlew", "Gull"]
    assert (told["places"], told["drawn_by"]) == (1, "Finn Compass")
    now = by_name(tied.now())
    assert (now["Curlew"]["letter"], now["Gull"]["letter"]) == ("qD", "")
    # The PIN leaves no entry of its own.
    assert tied.meet.head()["size"] == before + 1
    assert "lots drawn" in tied.meet.referee.get("record").text


def test_lots_are_drawn_once(tied: Event) -> None:
    assert tied.lots("Curlew", "Gull").status_code == 201
    told = a_problem(tied.lots("Gull", "Curlew"), 409, "conflict")
    assert "drawn once" in told["detail"]


def test_the_same_lots_again_are_the_same_and_others_under_their_id_are_not(tied: Event) -> None:
    teams = [tied.team("Curlew"), tied.team("Gull")]
    sent = {"drawn": teams, "drawn_by": "Finn Compass", "pin": PIN}
    address = f"rounds/{tied.round}/lots/{new_id()}"
    first = tied.meet.desk.put(address, sent)
    again = tied.meet.desk.put(address, sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    other = sent | {"drawn_by": "Gus Compass"}
    a_problem(tied.meet.desk.put(address, other), 409, "id-taken")


def test_lots_are_for_exactly_the_teams_that_tie(tied: Event) -> None:
    told = a_problem(tied.lots("Curlew", "Heron"), 409, "conflict")
    assert "Curlew and Gull" in told["detail"] or "Gull and Curlew" in told["detail"]
    a_problem(tied.lots("Curlew", "Gull", "Heron"), 409, "conflict")
    a_problem(tied.lots("Curlew", "Curlew"), 422, "malformed")


def test_where_no_tie_is_open_no_lots_are_drawn(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    a_problem(event.lots("Tern", "Gull"), 409, "conflict")
    unknown = {"drawn": [new_id(), new_id()], "drawn_by": "Finn Compass", "pin": PIN}
    a_problem(meet.desk.put(f"rounds/{new_id()}/lots/{new_id()}", unknown), 404, "not-found")


def test_lots_are_not_drawn_in_the_future_and_need_the_pin(tied: Event) -> None:
    ahead = (datetime.now(UTC) + timedelta(hours=1)).isoformat().replace("+00:00", "Z")
    told = a_problem(tied.lots("Curlew", "Gull", drawn_at=ahead), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/drawn_at"
    a_problem(tied.lots("Curlew", "Gull", pin="246801"), 403, "pin-refused")
    assert tied.now()["open_draw"] is not None
