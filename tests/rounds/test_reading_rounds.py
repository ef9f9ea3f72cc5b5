"""Reading many results of one round: worked out once, and nothing read that is not needed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime

from sqlalchemy import Connection
from sqlalchemy import event as happening

from app.ids import AnnouncementId, HeatId, MeetId, new_id
from app.results.announcements import announcement, announcements_page
from app.results.finality import announcements_shown
from app.results.queries import (
    last_announcement,
    latest_announcements,
    result,
    still_holding,
)
from app.results.through import through_since
from app.rounds.announced import scores_out
from app.store.rows import AnyRow
from tests.builders import MeetAtHand, a_meet
from tests.rounds.builders import Event, an_event, two_heats
from tests.running import Service

NOW = datetime(2026, 6, 13, 15, tzinfo=UTC)


def test_of_what_nothing_touched_the_letters_alone_are_looked_at(meet: MeetAtHand) -> None:
    event = both_announced(meet)
    asked = statements(
        event, lambda conn: still_holding(conn, MeetId(meet.id), latest(event, conn))
    )
    assert not [one for one in asked if "FROM results" in one and "count(" not in one]


def test_a_page_of_announcements_finds_out_once_which_of_them_hold(service: Service) -> None:
    """Of a meet of its own: the heats of a round that a page cuts off are looked up on top."""
    meet = a_meet(service)
    event = both_announced(meet)
    page = statements(event, lambda conn: announcements_shown(conn, MeetId(meet.id), None, NOW))
    once = statements(event, lambda conn: announcements_page(conn, MeetId(meet.id), None))
    said = "SELECT announcements.heat_id, announcements.snapshot"
    assert sum(said in one for one in page) == sum(said in one for one in once) == 1


def test_letters_that_another_heat_moved_still_shake_an_announcement(meet: MeetAtHand) -> None:
    event = both_announced(meet)
    event.load("heats 2", "41.00", "41.10", "41.20")
    event.announce("heats 2")
    assert held(event) == {"heats 2"}
    event.announce("heats 1")
    assert held(event) == {"heats 1", "heats 2"}


def test_of_later_announcements_only_the_newest_is_read_in_full(meet: MeetAtHand) -> None:
    event = both_announced(meet)
    for number in range(3):
        again = event.announce("heats 2", remark=f"Once more, {number}.")
    ident = AnnouncementId(again.json()["id"])
    first = statements(event, lambda conn: announcement(conn, MeetId(meet.id), ident))
    event.announce("heats 1", remark="Who qualified.")
    asked = statements(event, lambda conn: announcement(conn, MeetId(meet.id), ident))
    assert len(asked) == len(first) + 1
    assert not [one for one in asked if "snapshot" in one and "announced_at >=" in one]


def test_who_went_on_before_is_asked_of_one_announcement_however_many_there_are(
    meet: MeetAtHand,
) -> None:
    names = {f"heats {one}": (f"Tern {one}", f"Gull {one}") for one in range(1, 6)}
    event = an_event(meet, names)
    event.set(by_time=1, lanes=8)
    for heat in names:
        event.load(heat, "42.10", f"42.5{heat[-1]}")
    for heat in list(names)[:-1]:
        # As a list of those who go on stands in what is stored, but within a text.
        assert event.announce(heat, remark='No "qualified":[{"team" is told.').status_code == 201
    reading = asked_who_went_on(event, "heats 5")
    assert not [one for one in reading if one.startswith(SNAPSHOT)], "nobody has told yet"
    assert event.announce("heats 5").status_code == 201
    event.load("heats 5", "42.10", "42.40")
    assert event.announce("heats 5").json()["through"] == [
        "No longer through to the final: Gull 1 of heat 1."
    ]
    reading = asked_who_went_on(event, "heats 1")
    assert len([one for one in reading if one.startswith(SNAPSHOT)]) == 1


SNAPSHOT = "SELECT announcements.heat_id, announcements.snapshot"


def asked_who_went_on(event: Event, heat: str) -> list[str]:
    """What the database is asked to tell who has come into the next round since."""
    meet_id, heat_id = MeetId(event.meet.id), HeatId(event.heat(heat))
    store = event.meet.service.store
    seen = store.read_now(lambda conn: result(conn, meet_id, heat_id))
    last = store.read_now(lambda conn: last_announcement(conn, heat_id))
    assert seen.qualified
    return statements(event, lambda conn: through_since(conn, seen, last))


def test_of_a_scoring_round_that_is_awaited_nothing_else_is_read(service: Service) -> None:
    meet = a_meet(service, roles=("results",), umpires=(), heats=1)
    awaited = an_event(meet, {"final 1": ("Tern", "Gull")})
    sent = {"round": "final", "points": ["5"]}
    before = executed(awaited, lambda conn: scores_out(conn, MeetId(meet.id)))
    meet.organiser.put(f"rounds/{new_id()}", {"event": awaited.id, **sent})
    after = executed(awaited, lambda conn: scores_out(conn, MeetId(meet.id)))
    assert len(after) == len(before)


def both_announced(meet: MeetAtHand) -> Event:
    """Both heats announced with all their letters."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.30", "42.50")
    event.run("heats 2", "43.00", "42.40", "42.20")
    event.announce("heats 1", remark="Who qualified.")
    return event


def latest(event: Event, conn: Connection) -> Sequence[AnyRow]:
    heats = [HeatId(event.heat(name)) for name in event.heats]
    return latest_announcements(conn, heats)


def held(event: Event) -> set[str]:
    """The heats whose announcements still hold, as everybody reads it."""
    lines = event.meet.desk.get("announcements").json()["announcements"]
    holding = {line["heat"] for line in lines if line["is_latest"] and line["holds"]}
    return {name for name in event.heats if event.heat(name) in holding}


def statements(event: Event, read: Callable[[Connection], object]) -> list[str]:
    """What a reading asks the database."""
    asked: list[str] = []

    def note(_conn: Connection, _cursor: object, statement: str, *_: object) -> None:
        asked.append(statement)

    def noted(conn: Connection) -> None:
        happening.listen(conn, "before_cursor_execute", note)
        read(conn)
        happening.remove(conn, "before_cursor_execute", note)

    event.meet.service.store.read_now(noted)
    return asked


def executed(event: Event, read: Callable[[Connection], object]) -> list[str]:
    """What a reading makes the engine do, prepared statements included; nothing is told of that on
    PostgreSQL.
    """
    told: list[str] = []

    def traced(conn: Connection) -> None:
        driver = conn.connection.driver_connection
        trace = getattr(driver, "set_trace_callback", lambda _note: None)
        trace(told.append)
        read(conn)
        trace(None)

    event.meet.service.store.read_now(traced)
    return told
