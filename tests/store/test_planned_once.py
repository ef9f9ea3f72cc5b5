"""PostgreSQL plans once what is asked again and again; no refusal and no variety undoes that."""

from __future__ import annotations

import pytest
from sqlalchemy import Connection, bindparam, literal, select, text

from app.access.tables import tries
from app.ids import MeetId
from app.refusals import NotFound
from app.store.action import Actor, Done, Unit
from app.store.engine import MOST_PLANNED
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.parametrize("running_service", ["postgresql"], indirect=True)

OFTEN = 8
"""The driver prepares what it has been asked five times."""
_PLANNED = text("SELECT statement FROM pg_prepared_statements")


def _ask(conn: Connection, mark: str) -> None:
    """Ask often what nothing else asks."""
    asked = select(tries.c.count.label(mark)).where(tries.c.key == bindparam("key"))
    for number in range(OFTEN):
        conn.execute(asked, {"key": f"{mark} {number}"}).first()


def _planned(conn: Connection) -> str:
    return "\n".join(conn.execute(_PLANNED).scalars())


def _act(meet: MeetAtHand, work: object) -> str:
    def action(unit: Unit) -> Done[str]:
        return Done(work(unit.conn) or "", None)  # type: ignore[operator]

    actor = Actor(meet.organiser.id)
    return meet.service.store.act_now(MeetId(meet.id), actor, action)


def _refuse(conn: Connection) -> None:
    conn.execute(select(literal("something was read before")))
    raise NotFound("There is no such thing.")


def test_the_writer_keeps_its_plans_when_an_action_is_refused(meet: MeetAtHand) -> None:
    _act(meet, lambda conn: _ask(conn, "by_the_writer"))
    assert "by_the_writer" in _act(meet, _planned)
    with pytest.raises(NotFound):
        _act(meet, _refuse)
    assert "by_the_writer" in _act(meet, _planned)


def test_a_reader_keeps_its_plans_when_it_is_given_back_and_when_nothing_was_found(
    service: Service,
) -> None:
    store = service.store
    store.read_now(lambda conn: _ask(conn, "by_a_reader"))
    assert "by_a_reader" in store.read_now(_planned)
    with pytest.raises(NotFound):
        store.read_now(_refuse)
    assert "by_a_reader" in store.read_now(_planned)


def test_many_different_statements_do_not_drive_each_other_out(meet: MeetAtHand) -> None:
    marks = [f"number_{number}_of_many" for number in range(150)]

    def ask_all(conn: Connection) -> None:
        for mark in marks:
            _ask(conn, mark)

    _act(meet, ask_all)
    planned = _act(meet, _planned)
    assert [mark for mark in marks if mark not in planned] == []


def test_statements_that_come_seldom_do_not_fill_the_servers_memory(meet: MeetAtHand) -> None:
    def ask_all(conn: Connection) -> None:
        for number in range(MOST_PLANNED + 50):
            _ask(conn, f"number_{number}_of_more")

    _act(meet, ask_all)
    planned = _act(meet, lambda conn: str(len(conn.execute(_PLANNED).all())))
    assert 0 < int(planned) <= MOST_PLANNED + 1


def test_what_was_done_before_a_refusal_is_undone(meet: MeetAtHand) -> None:
    def write_and_refuse(conn: Connection) -> None:
        conn.execute(tries.insert().values(key="of a refused action", count=1))
        raise NotFound("There is no such thing.")

    with pytest.raises(NotFound):
        _act(meet, write_and_refuse)
    kept = select(tries.c.key).where(tries.c.key == "of a refused action")
    assert meet.service.store.read_now(lambda conn: conn.execute(kept).first()) is None
