"""Lots drawn for a tie at the cut: by a named person, recorded, once.

World Athletics TR21; qD since 1 November 2023, as federations retell both.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from app.ids import new_id
from tests.builders import PIN, MeetAtHand, a_meet, a_problem
from tests.rounds.builders import Event, an_event, by_name, two_heats
from tests.running import Service


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


TIE = "Lots are to be drawn: Gull and Curlew tie for one place."


def announced(event: Event, heat: str) -> dict[str, object]:
    """What a heat's announcement is worth now."""
    return dict(event.result(heat)["announced"])


def test_no_result_of_the_round_is_final_before_the_lots_are_drawn_and_told(
    service: Service,
) -> None:
    event = a_tie(service)
    service.clock.move(timedelta(hours=1))
    for heat in event.heats:
        assert announced(event, heat)["pending"] == [TIE]
    assert states(event) == {"announced"}
    assert event.lots("Gull", "Curlew").status_code == 201
    for heat in event.heats:
        told = announced(event, heat)
        assert (told["holds"], told["final_since"]) == (False, None)
        assert "An amended result is to be announced." in told["pending"]
    for heat in event.heats:
        assert event.announce(heat).status_code == 201
    service.clock.move(timedelta(hours=1))
    assert {str(announced(event, heat)["pending"]) for heat in event.heats} == {"[]"}
    assert states(event) == {"final"}


def test_who_went_on_by_lot_and_who_did_not_is_news_of_its_heat(service: Service) -> None:
    event = a_tie(service)
    assert event.lots("Gull", "Curlew").status_code == 201
    first, second = (event.announce(heat).json() for heat in ("heats 1", "heats 2"))
    unknown = "before: not known yet whether through."
    gull, curlew = event.lane("Gull"), event.lane("Curlew", "heats 2")
    # What else has become known by the other heat, Heron's letter, is no news of its own.
    assert first["changes"] == [f"Gull, lane {gull}: through by lot (qD); {unknown}"]
    assert second["changes"] == [f"Curlew, lane {curlew}: not through; {unknown}"]
    assert {line["qualification"] for line in first["lines"]} == {"Q", "qD", ""}
    assert "is_by_lot" not in first["lines"][0]
    assert [announced(event, heat)["holds"] for heat in event.heats] == [True, True]
    # Told once, they are no news again.
    a_problem(event.announce("heats 1"), 409, "needs-word")


def test_a_heat_in_which_no_team_was_drawn_need_not_be_announced_again(service: Service) -> None:
    heats = {"heats 1": ("Tern", "Gull"), "heats 2": ("Plover", "Curlew")}
    event = an_event(a_meet(service), heats | {"heats 3": ("Dunlin", "Knot")})
    event.set(by_time=1, lanes=4)
    for heat, slower in (("heats 3", "42.400"), ("heats 1", "42.300"), ("heats 2", "42.300")):
        event.start(heat)
        event.run(heat, "42.100", slower)
    assert event.lots("Gull", "Curlew").status_code == 201
    assert event.letters("heats 3") == {"Dunlin": "Q", "Knot": ""}
    holds = [announced(event, heat)["holds"] for heat in ("heats 1", "heats 2", "heats 3")]
    assert holds == [False, False, True]


def states(event: Event) -> set[str]:
    return {
        event.meet.desk.get(f"heats/{event.heat(name)}").json()["state"] for name in event.heats
    }


def a_tie(service: Service) -> Event:
    """Two heats announced, the first before the second was run, with one place for two teams."""
    event = two_heats(a_meet(service))
    event.set(by_time=1, lanes=3)
    for heat, times in TIED.items():
        event.start(heat)
        event.run(heat, *times)
    return event


TIED = {"heats 1": ("42.100", "42.300", "42.500"), "heats 2": ("43.000", "42.300", "42.200")}
