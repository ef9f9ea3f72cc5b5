"""Reading many results of one round: worked out once, and nothing read that is not needed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from sqlalchemy import Connection
from sqlalchemy import event as happening

from app.ids import HeatId, MeetId
from app.results.queries import latest_announcements, still_holding
from app.store.rows import AnyRow
from tests.builders import MeetAtHand
from tests.rounds.builders import Event, two_heats


def test_of_what_nothing_touched_the_letters_alone_are_looked_at(meet: MeetAtHand) -> None:
    event = both_announced(meet)
    asked = statements(
        event, lambda conn: still_holding(conn, MeetId(meet.id), latest(event, conn))
    )
    assert not [one for one in asked if "FROM results" in one and "count(" not in one]


def test_letters_that_another_heat_moved_still_shake_an_announcement(meet: MeetAtHand) -> None:
    event = both_announced(meet)
    event.load("heats 2", "41.00", "41.10", "41.20")
    event.announce("heats 2")
    assert held(event) == {"heats 2"}
    event.announce("heats 1")
    assert held(event) == {"heats 1", "heats 2"}


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
