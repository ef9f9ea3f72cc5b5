"""What everybody may know of a round: nothing of a decision or of lots before the announcement."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from app.ids import EventId, MeetId, RoundId
from app.rounds.announced import as_announced
from app.rounds.standing import rounds_as_announced
from tests.appeals.desk import decided, lodge
from tests.builders import Json, MeetAtHand
from tests.rounds.builders import Event, by_name, two_heats


def test_who_is_advanced_is_told_by_the_next_announcement_in_the_round(meet: MeetAtHand) -> None:
    event = both_announced(meet)
    before = event.public()
    advance(event, "Heron")
    assert event.public() == before
    assert by_name(event.now())["Heron"]["letter"] == "qR"
    # Another heat of the round tells it as well: its announcement names all who qualified.
    event.announce("heats 2", remark="Who qualified.")
    assert by_name(event.public())["Heron"]["letter"] == "qR"


def test_a_clock_that_was_set_back_tells_nothing_early(meet: MeetAtHand) -> None:
    event = both_announced(meet)
    before = event.public()
    event.meet.service.clock.move(timedelta(minutes=-2))
    advance(event, "Heron")
    assert event.public() == before


def test_who_is_no_longer_advanced_goes_on_for_everybody_until_that_is_announced(
    meet: MeetAtHand,
) -> None:
    event = both_announced(meet)
    made = advance(event, "Heron")
    event.announce("heats 1")
    decide(event, "Tern", {"order": "undo", "decision": made["id"]})
    assert by_name(event.now())["Heron"]["letter"] == ""
    assert by_name(event.public())["Heron"]["letter"] == "qR"
    event.announce("heats 1")
    assert by_name(event.public())["Heron"]["letter"] == ""


def test_a_re_run_and_its_calling_off_are_told_by_announcements(meet: MeetAtHand) -> None:
    event = both_announced(meet)
    again = {"order": "run again", "teams": [event.team("Heron")], "added_places": 1}
    made = decide(event, "Heron", again)
    assert event.now()["sentences"] == ["To run again: Heron (heats, re-run, heat 1)."]
    assert event.public()["sentences"] == []
    event.announce("heats 1")
    assert event.public()["sentences"] == event.now()["sentences"]
    decide(event, "Tern", {"order": "undo", "decision": made["id"]})
    assert event.now()["sentences"] == []
    assert event.public()["sentences"] != []
    event.announce("heats 1")
    assert event.public()["sentences"] == []


def test_many_rounds_are_read_as_each_is_read_alone(meet: MeetAtHand) -> None:
    event, other = both_announced(meet), both_announced(meet)
    again = {"order": "run again", "teams": [event.team("Heron")], "added_places": 1}
    decide(event, "Heron", again)
    event.read_again()
    event.run("heats, re-run 1", "42.00")
    advance(other, "Heron")
    other.draw({"final 1": ("Tern", "Gull")})
    other.announce("heats 2")
    ids = [RoundId(one.round) for one in (event, other)]
    meet_id = MeetId(meet.id)
    together = event.read(lambda unit: rounds_as_announced(unit.conn, meet_id, ids))
    assert list(together) == ids
    for one in (event, other):
        event_id = EventId(one.id)
        alone = event.read(
            lambda unit, event_id=event_id: as_announced(unit.conn, meet_id, event_id, "heats")
        )
        assert together[RoundId(one.round)] == alone


def test_a_disqualification_that_is_set_aside_shows_when_that_is_announced(
    meet: MeetAtHand,
) -> None:
    event = both_announced(meet)
    event.disqualify("Tern")
    event.announce("heats 1")
    (ident,) = event.at_hand().round.heats[0].disqualified
    before = event.public()
    decide(event, "Tern", {"order": "set aside", "disqualification": ident.by})
    assert event.public() == before
    assert by_name(event.now())["Tern"]["letter"] == "Q"
    event.announce("heats 1")
    assert by_name(event.public())["Tern"]["letter"] == "Q"


def test_lots_are_told_by_the_next_announcement_in_the_round(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set(by_time=1, lanes=3)
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.30", "42.20")
    before = event.public()
    assert event.lots("Curlew", "Gull").status_code == 201
    assert event.public() == before
    assert by_name(event.now())["Curlew"]["letter"] == "qD"
    event.announce("heats 2", remark="Lots were drawn.")
    assert by_name(event.public())["Curlew"]["letter"] == "qD"


def both_announced(meet: MeetAtHand) -> Event:
    """Both heats announced, the first once more after the second: Heron has no letter."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    event.announce("heats 1", remark="Who qualified.")
    return event


def advance(event: Event, name: str) -> Json:
    """The referee lets a team go on; gives the decision."""
    return decide(event, name, {"order": "advance", "team": event.team(name)})


def decide(event: Event, name: str, *orders: dict[str, Any]) -> Json:
    """A protest of a team of the first heat is upheld with these orders; gives the decision."""
    about = {"heat": event.heat(), "team": event.team(name), "about": "placing"}
    protest = lodge(event.meet, {**about, "lodged_by": "Mira Anchor", "words": "Hindered."})
    return dict(decided(event.meet, protest, "upheld", orders=list(orders))["decision"])
