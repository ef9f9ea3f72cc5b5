"""The windows an announcement opens: to the microsecond, in the meet's zone, and by whose rule.

Thirty minutes from the official announcement: World Athletics TR8.2, TR8.3; NFHS 3-5-3a. Whether
the last instant counts no code says; it is read as inclusive (the design's reading).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from icalendar import Calendar

from tests.builders import Json, MeetAtHand, a_meet
from tests.running import Service

NOON = datetime(2026, 6, 13, 10, 0, 0, 123_456, tzinfo=UTC)
TICK = timedelta(microseconds=1)


def announced_at(service: Service, instant: datetime, **meet: Any) -> MeetAtHand:
    """A meet one of whose heats was announced at this instant."""
    service.clock.stand_at(instant)
    hand = a_meet(service, heats=1, **{"roles": ("results",), "umpires": (), **meet})
    hand.load_result()
    assert hand.announce(**despite_of(hand)).status_code == 201
    return hand


def despite_of(hand: MeetAtHand) -> Json:
    """The explicit word, where a post is planned and silent."""
    return {"despite": "One post only."} if hand.posts else {}


def windows(hand: MeetAtHand) -> list[Json]:
    return list(hand.service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"])


def calendar(hand: MeetAtHand) -> tuple[str, Calendar]:
    answer = hand.service.http.get(f"/api/meets/{hand.id}/windows.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    return answer.text, Calendar.from_ical(answer.text)


def test_a_window_is_open_until_its_last_instant_and_closed_after_it(service: Service) -> None:
    hand = announced_at(service, NOON)
    (window,) = windows(hand)
    closes = datetime.fromisoformat(window["closes_at"])
    assert closes == NOON + timedelta(minutes=30)
    for instant, state in ((NOON, "open"), (closes, "open"), (closes + TICK, "closed")):
        service.clock.stand_at(instant)
        assert windows(hand)[0]["state"] == state, instant


def test_the_edition_gives_thirty_minutes_and_its_rule(service: Service) -> None:
    (window,) = windows(announced_at(service, NOON))
    assert (window["minutes"], window["rule"], window["origin"]) == (30, "TR8.2", "edition")
    assert (window["remedy"], window["opened_by"]) == ("protest", "announcement 1")


def test_the_meets_own_minutes_show_as_such(service: Service) -> None:
    hand = announced_at(service, NOON, terms={"protest_minutes": 15})
    (window,) = windows(hand)
    assert (window["minutes"], window["origin"]) == (15, "meet")
    assert datetime.fromisoformat(window["closes_at"]) == NOON + timedelta(minutes=15)


def test_the_american_code_names_what_can_be_protested(service: Service) -> None:
    (window,) = windows(announced_at(service, NOON, edition="nfhs-2019"))
    assert (window["kind"], window["minutes"], window["rule"]) == (
        "misapplication of rules",
        30,
        "3-5-3a",
    )


def test_an_amended_announcement_opens_a_window_of_its_own(service: Service) -> None:
    hand = announced_at(service, NOON, roles=("results", "umpire", "referee"))
    service.clock.stand_at(NOON + timedelta(minutes=20))
    hand.rule(hand.report()["case"])
    assert hand.announce(despite="One post only.").status_code == 201
    service.clock.stand_at(NOON + timedelta(minutes=31))
    states = {window["opened_by"]: window["state"] for window in windows(hand)}
    assert states == {"announcement 1": "closed", "announcement 2": "open"}


def test_a_window_of_an_announcement_is_not_moved_by_a_later_setting(service: Service) -> None:
    hand = announced_at(service, NOON)
    before = windows(hand)
    seen = hand.organiser.get(f"/api/meets/{hand.id}").json()
    document = {
        name: seen[name]
        for name in ("name", "venue", "first_day", "last_day", "time_zone", "edition")
    } | {
        "terms": {"protest_minutes": 5},
        "organiser": {"id": hand.organiser.id, "name": hand.organiser.name},
    }
    assert hand.organiser.put(f"/api/meets/{hand.id}", document, etag='"v1"').is_success
    assert windows(hand) == before


@pytest.mark.parametrize(
    ("instant", "opened", "closes"),
    [
        # Summer time ends in Paris on 25 October 2026 at 01:00 UTC (IANA time zone database).
        (
            datetime(2026, 10, 25, 0, 45, tzinfo=UTC),
            "2026-10-25 02:45:00 CEST (Europe/Paris)",
            "2026-10-25 02:15:00 CET (Europe/Paris)",
        ),
        # It begins on 29 March 2026 at 01:00 UTC.
        (
            datetime(2026, 3, 29, 0, 45, tzinfo=UTC),
            "2026-03-29 01:45:00 CET (Europe/Paris)",
            "2026-03-29 03:15:00 CEST (Europe/Paris)",
        ),
    ],
)
def test_a_window_survives_the_hour_change(
    service: Service, instant: datetime, opened: str, closes: str
) -> None:
    hand = announced_at(service, instant)
    (window,) = windows(hand)
    assert datetime.fromisoformat(window["closes_at"]) == instant + timedelta(minutes=30)
    assert window["opened_at_local"] == opened
    assert window["closes_at_local"] == closes
    _text, found = calendar(hand)
    (event,) = found.walk("VEVENT")
    assert event.decoded("dtend") == instant + timedelta(minutes=30)
    assert event.decoded("dtend").utcoffset() == timedelta(0)


def test_a_calendar_program_reads_the_windows(service: Service) -> None:
    # RFC 5545, read by an independent library.
    hand = announced_at(service, NOON.replace(microsecond=0))
    text, found = calendar(hand)
    assert found["version"] == "2.0"
    assert found["prodid"]
    (event,) = found.walk("VEVENT")
    assert event.decoded("dtstart") == NOON.replace(microsecond=0)
    assert event.decoded("dtend") - event.decoded("dtstart") == timedelta(minutes=30)
    assert "Women 4x100 m, heats, heat 1" in str(event["summary"])
    (alarm,) = event.walk("VALARM")
    assert alarm["action"] == "DISPLAY"
    assert alarm.decoded("trigger") == timedelta(minutes=-5)
    assert alarm["trigger"].params["RELATED"] == "END"
    # 3.1: lines end with CRLF and hold at most 75 octets.
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert "\n" not in text.replace("\r\n", "")


def test_an_event_keeps_its_uid(service: Service) -> None:
    hand = announced_at(service, NOON)
    first, again = calendar(hand)[1], calendar(hand)[1]
    uids = [[str(event["uid"]) for event in found.walk("VEVENT")] for found in (first, again)]
    assert uids[0] == uids[1]
    assert len(set(uids[0])) == 1


def test_a_meet_without_windows_has_an_empty_calendar(service: Service) -> None:
    hand = a_meet(service, roles=("results",), umpires=(), heats=1)
    assert windows(hand) == []
    assert calendar(hand)[1].walk("VEVENT") == []


def test_names_in_a_calendar_are_escaped(service: Service) -> None:
    # RFC 5545 3.3.11: comma, semicolon, backslash and line ends are escaped in TEXT.
    hand = announced_at(service, NOON, name="Relays; day 1, \\ night BEGIN:VEVENT")
    _text, found = calendar(hand)
    assert len(found.walk("VEVENT")) == 1
    assert str(found["name"]).startswith("Relays; day 1, \\ night BEGIN:VEVENT")
