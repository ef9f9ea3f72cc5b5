"""The windows an announcement opens: to the microsecond, in the meet's zone, and by whose rule.

Thirty minutes from the official announcement: World Athletics TR8.2, TR8.3; NFHS 3-5-3a. Whether
the last instant counts no code says; it is read as inclusive (the design's reading).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from icalendar import Calendar
from sqlalchemy import insert, select

from app.ids import MeetId, new_id
from app.results.tables import windows as window_table
from app.store.action import Actor, Done, Unit
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.running import Service

NOON = datetime(2026, 6, 13, 10, 0, 0, 123_456, tzinfo=UTC)
TICK = timedelta(microseconds=1)
DESPITE = "Nobody started the heat on the screen."


def announced_at(service: Service, instant: datetime, **meet: Any) -> MeetAtHand:
    """A meet one of whose heats was announced at this instant."""
    service.clock.stand_at(instant)
    hand = a_meet(service, **{"heats": 1, "roles": ("results",), "umpires": (), **meet})
    hand.load_result()
    assert hand.announce(despite=DESPITE).status_code == 201
    return hand


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
    found = sorted(
        windows(announced_at(service, NOON, edition="nfhs-2019")), key=lambda one: one["rule"]
    )
    # NFHS 3-5-3a to d, as presented in a state association's slides.
    assert [(one["kind"], one["minutes"], one["rule"]) for one in found] == [
        ("misapplication of rules", 30, "3-5-3a"),
        ("clerical or scoring error", 2880, "3-5-3b"),
        ("ineligible participant", None, "3-5-3c"),
        ("terms and conditions not followed", None, "3-5-3d"),
    ]


def test_an_amended_announcement_opens_a_window_of_its_own(service: Service) -> None:
    hand = announced_at(service, NOON, roles=("results", "umpire", "referee"))
    service.clock.stand_at(NOON + timedelta(minutes=20))
    hand.rule(hand.report()["case"])
    assert hand.announce().status_code == 201
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


@pytest.fixture(scope="module")
def long_meet(running_service: Service) -> MeetAtHand:
    """More windows than two pages hold, a minute apart; some never close."""
    running_service.clock.run_again()
    hand = a_meet(running_service, heats=1, roles=("results",), umpires=())
    hand.load_result()
    assert hand.announce(despite=DESPITE).status_code == 201
    kept = hand.service.store.read_now(
        lambda conn: dict(
            conn.execute(select(window_table).where(window_table.c.meet_id == hand.id))
            .mappings()
            .one()
        )
    )

    def add(unit: Unit) -> Done[None]:
        for number in range(250):
            opened = NOON + timedelta(minutes=number // 2)  # two of each at the same instant
            closes = None if number % 25 == 0 else opened + timedelta(minutes=30)
            row = kept | {"id": new_id(), "opened_at": opened, "closes_at": closes}
            unit.conn.execute(insert(window_table).values(**row))
        return Done(None, None)

    hand.service.store.act_now(MeetId(hand.id), Actor("test"), add)
    return hand


def pages(hand: MeetAtHand, before_next: Callable[[], object]) -> list[list[Json]]:
    found: list[list[Json]] = []
    place: str | None = ""
    while place is not None:
        answer = hand.service.http.get(
            f"/api/meets/{hand.id}/windows.json", params={"after": place} if place else {}
        )
        assert answer.status_code == 200, answer.text
        found.append(answer.json()["windows"])
        place = answer.json()["next"]
        before_next()
    return found


def test_every_window_is_on_one_page_also_when_time_goes_on_between_them(
    service: Service, long_meet: MeetAtHand
) -> None:
    service.clock.stand_at(NOON + timedelta(minutes=80))
    found = pages(long_meet, lambda: service.clock.move(timedelta(minutes=20)))
    assert [len(page) for page in found] == [100, 100, 51]
    together = [window for page in found for window in page]
    assert len({window["id"] for window in together}) == 251
    now = NOON + timedelta(minutes=80)
    at = [datetime.fromisoformat(one["closes_at"] or one["opened_at"]) for one in together]
    ends = [one["closes_at"] is None for one in together]
    running = [one for one, endless in zip(at, ends, strict=True) if not endless and one >= now]
    closed = [one for one, endless in zip(at, ends, strict=True) if not endless and one < now]
    endless = [one for one, never in zip(at, ends, strict=True) if never]
    assert at == sorted(running) + sorted(endless) + sorted(closed, reverse=True)


def test_the_calendar_has_every_window_that_closes(service: Service, long_meet: MeetAtHand) -> None:
    assert len(calendar(long_meet)[1].walk("VEVENT")) == 241


@pytest.mark.parametrize(
    "spoil", ["{}x", "x{}", "nowhere", "{}~", "~~", "2026-06-13T10:00:00Z~3~{}"]
)
def test_a_place_that_no_page_gave_out_is_refused(
    service: Service, long_meet: MeetAtHand, spoil: str
) -> None:
    place = service.http.get(f"/api/meets/{long_meet.id}/windows.json").json()["next"]
    answer = service.http.get(
        f"/api/meets/{long_meet.id}/windows.json", params={"after": spoil.format(place)}
    )
    a_problem(answer, 422, "malformed")


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
    assert str(event["summary"]) == (
        "Protests until 12:30:00 CEST: Women 4x100 m, heats, heat 1 (announcement 1)"
    )
    (alarm,) = event.walk("VALARM")
    assert alarm["action"] == "DISPLAY"
    assert alarm.decoded("trigger") == timedelta(minutes=-5)
    assert alarm["trigger"].params["RELATED"] == "END"
    # 3.1: lines end with CRLF and hold at most 75 octets.
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert "\n" not in text.replace("\r\n", "")


def test_the_calendar_names_windows_in_the_order_in_which_they_close(service: Service) -> None:
    hand = announced_at(service, NOON, terms={"protest_minutes": 15}, heats=3)
    for minutes, heat in ((1, 2), (2, 1)):
        service.clock.stand_at(NOON + timedelta(minutes=minutes))
        hand.load_result(heat)
        assert hand.announce(heat, despite=DESPITE).status_code == 201
    # The first has closed, the others run: on the board running ones come first.
    service.clock.stand_at(NOON + timedelta(minutes=15, seconds=30))
    told = [window["subject"][-6:] for window in windows(hand)]
    assert told == ["heat 3", "heat 2", "heat 1"]
    events = calendar(hand)[1].walk("VEVENT")
    assert [str(event["summary"])[:24] for event in events] == [
        "Protests until 12:15:00 ",
        "Protests until 12:16:00 ",
        "Protests until 12:17:00 ",
    ]
    assert [event.decoded("dtend") for event in events] == sorted(
        event.decoded("dtend") for event in events
    )


def test_an_event_says_what_can_be_protested_where_the_code_names_it(service: Service) -> None:
    hand = announced_at(service, NOON, edition="nfhs-2019")
    (event,) = calendar(hand)[1].walk("VEVENT")
    assert str(event["summary"]).startswith(
        "Protests (misapplication of rules) until 12:30:00 CEST: Women 4x100 m, heats, heat 1"
    )


def test_a_window_says_that_its_announcement_was_superseded(service: Service) -> None:
    hand = announced_at(service, NOON)
    told = calendar(hand)[1].walk("VEVENT")[0]
    assert (windows(hand)[0]["superseded_by"], told["sequence"]) == (None, 0)
    assert "superseded" not in told["description"]
    for number in (2, 3):
        service.clock.stand_at(NOON + timedelta(minutes=number))
        assert hand.announce(remark="It was not heard").status_code == 201
    found = {window["opened_by"]: window for window in windows(hand)}
    assert {name: one["superseded_by"] for name, one in found.items()} == {
        "announcement 1": 3,
        "announcement 2": 3,
        "announcement 3": None,
    }
    # It runs on all the same.
    assert {one["state"] for one in found.values()} == {"open"}
    events = calendar(hand)[1].walk("VEVENT")
    assert [str(one["description"]).rpartition("inclusive.")[2] for one in events] == [
        " Announcement 1 was superseded: announcement 3 stands.",
        " Announcement 2 was superseded: announcement 3 stands.",
        "",
    ]
    # RFC 5545, 3.8.7.4: a calendar program takes the revision with the higher number.
    assert [one["sequence"] for one in events] == [3, 3, 0]
    assert [one.get("status") for one in events] == [None, None, None]


def test_an_alarm_never_lies_before_its_window_opens(service: Service) -> None:
    hand = announced_at(service, NOON, terms={"protest_minutes": 3})
    (event,) = calendar(hand)[1].walk("VEVENT")
    (alarm,) = event.walk("VALARM")
    assert event.decoded("dtend") + alarm.decoded("trigger") == event.decoded("dtstart")


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
