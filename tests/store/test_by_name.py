"""PostgreSQL is asked and told together, past the driver's cursors: nothing is lost or mixed up."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from time import monotonic
from typing import Any

import pytest
from psycopg import DataError
from psycopg.errors import UniqueViolation
from sqlalchemy import (
    BigInteger,
    Connection,
    Engine,
    bindparam,
    create_engine,
    func,
    insert,
    select,
    text,
    update,
)
from sqlalchemy.exc import DataError as ToolkitsDataError
from sqlalchemy.exc import IntegrityError, InternalError

from app.access.tables import tries
from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.queries import head_of
from app.refusals import IdTaken
from app.store.action import Action, Actor, Asks, Deed, Done, Unit
from app.store.by_name import MUCH_OWED, Line, line_of
from app.store.engine import open_engines
from app.store.prepared import Prepared, sendings
from tests.conftest import NewDatabase
from tests.running import Service

SOMEBODY = Actor("somebody")
BY_KEY = Prepared(select(tries).where(tries.c.key == bindparam("key")))
ADD = Prepared(insert(tries))
RAISE = Prepared(
    update(tries).where(tries.c.key == bindparam("which")).values(count=tries.c.count + 1)
)
HOLD = Prepared(select(func.pg_advisory_xact_lock(bindparam("lock", type_=BigInteger))))
_LOCKS = text("pg_locks WHERE locktype = 'advisory' AND objid = 4711")
LONG = Prepared(select(func.repeat(bindparam("letter"), bindparam("times")).label("text")))


@pytest.fixture
def writing(new_database: NewDatabase) -> Iterator[Engine]:
    engines = open_engines(new_database("postgresql"))
    yield engines.writing
    engines.dispose()


def a_try(key: str) -> dict[str, object]:
    return {"key": key, "count": 1, "blocked_until": None}


def asked(conn: Connection, *keys: str) -> None:
    """Ask ahead for these."""
    line = line_of(conn)
    line.know(line.ask_all(sendings(conn, [(BY_KEY, {"key": key}) for key in keys])))


def count_of(conn: Connection, key: str) -> int | None:
    row = BY_KEY.first(conn, {"key": key})
    return None if row is None else row.count


def test_what_is_owed_is_there_for_whatever_is_asked_next(writing: Engine) -> None:
    with writing.begin() as conn:
        ADD.later(conn, a_try("by name"))
        assert count_of(conn, "by name") == 1
        RAISE.later(conn, {"which": "by name"})
        plainly = conn.execute(select(tries.c.count).where(tries.c.key == "by name"))
        assert plainly.scalar_one() == 2
        ADD.later(conn, a_try("last"))
    with writing.begin() as conn:
        assert (count_of(conn, "by name"), count_of(conn, "last")) == (2, 1)


def test_what_is_owed_to_a_transaction_that_is_undone_is_never_stored(writing: Engine) -> None:
    conn = writing.connect()
    with conn.begin() as undone:
        ADD.later(conn, a_try("undone"))
        undone.rollback()
    with conn.begin():
        assert count_of(conn, "undone") is None
    conn.close()


def test_a_commit_fails_where_something_that_was_owed_fails(writing: Engine) -> None:
    with writing.begin() as conn:
        ADD.run(conn, a_try("once"))
    conn = writing.connect()
    begun = conn.begin()
    ADD.later(conn, a_try("beside it"))
    ADD.later(conn, a_try("once"))
    with pytest.raises(IntegrityError):
        begun.commit()
    conn.close()
    with writing.begin() as conn:
        assert (count_of(conn, "once"), count_of(conn, "beside it")) == (1, None)


def owe_much(conn: Connection) -> None:
    for number in range(MUCH_OWED):
        ADD.later(conn, a_try(f"owed {number}"))


@pytest.fixture
def much_owed(writing: Engine) -> Iterator[Connection]:
    """A transaction whose last statements are with the server, and nobody has waited for them."""
    conn = writing.connect()
    begun = conn.begin()
    owe_much(conn)
    yield conn
    if begun.is_active:
        begun.rollback()
    conn.close()


def test_the_server_begins_with_what_is_owed_before_it_is_asked_anything(
    much_owed: Connection, writing: Engine
) -> None:
    HOLD.later(much_owed, {"lock": 4711})
    for number in range(MUCH_OWED):
        ADD.later(much_owed, a_try(f"behind {number}"))
    looking = create_engine(writing.url)
    until, held = monotonic() + 10, False
    while not held and monotonic() < until:
        with looking.connect() as others:
            held = others.execute(select(func.count()).select_from(_LOCKS)).scalar_one() == 1
    looking.dispose()
    assert held


def test_what_was_sent_off_is_there_for_whatever_is_asked_next(much_owed: Connection) -> None:
    ADD.later(much_owed, a_try("the last"))
    asked(much_owed, "owed 0", "the last", "nobody's")
    counts = [count_of(much_owed, key) for key in ("owed 0", "the last", "nobody's")]
    assert counts == [1, 1, None]


def test_what_was_sent_off_is_stored_with_the_commit(writing: Engine) -> None:
    with writing.begin() as conn:
        owe_much(conn)
    with writing.begin() as conn:
        for number in range(MUCH_OWED):
            RAISE.later(conn, {"which": f"owed {number}"})
        plainly = conn.execute(select(func.sum(tries.c.count)))
        assert plainly.scalar_one() == 2 * MUCH_OWED


@pytest.mark.parametrize("in_the_middle", [True, False])
def test_what_was_sent_off_and_is_undone_is_never_stored(
    much_owed: Connection, in_the_middle: bool
) -> None:
    if in_the_middle:
        ADD.later(much_owed, a_try("not sent yet"))
    much_owed.rollback()
    with much_owed.begin():
        assert count_of(much_owed, "owed 0") is None
        ADD.later(much_owed, a_try("owed 0"))
    assert count_of(much_owed, "owed 0") == 1


def test_what_fails_of_all_that_was_sent_off_is_told_at_the_next_question(
    much_owed: Connection,
) -> None:
    owe_much(much_owed)
    with pytest.raises(UniqueViolation):
        count_of(much_owed, "owed 0")
    much_owed.rollback()
    with much_owed.begin():
        assert count_of(much_owed, "owed 0") is None


def test_the_first_failure_is_told_however_much_was_sent_off_behind_it(
    much_owed: Connection,
) -> None:
    ADD.later(much_owed, a_try("owed 0"))
    for number in range(3 * MUCH_OWED):
        ADD.later(much_owed, a_try(f"behind {number}"))
    with pytest.raises(UniqueViolation):
        line_of(much_owed).settle()
    much_owed.rollback()
    with much_owed.begin():
        assert count_of(much_owed, "behind 0") is None


def test_a_commit_with_a_value_that_no_database_takes_undoes_what_was_sent_off(
    writing: Engine,
) -> None:
    conn = writing.connect()
    begun = conn.begin()
    owe_much(conn)
    ADD.later(conn, a_try("with a NUL \x00"))
    with pytest.raises(ToolkitsDataError):
        begun.commit()
    conn.close()
    with writing.begin() as conn:
        assert count_of(conn, "owed 0") is None


def test_a_statement_that_is_new_to_the_line_may_follow_what_was_sent_off(
    much_owed: Connection,
) -> None:
    RAISE.later(much_owed, {"which": "owed 1"})
    assert count_of(much_owed, "owed 1") == 2


def test_a_value_that_no_database_takes_behind_what_was_sent_off_undoes_it_alone(
    much_owed: Connection,
) -> None:
    ADD.later(much_owed, a_try("with a NUL \x00"))
    with pytest.raises(DataError):
        count_of(much_owed, "owed 0")
    much_owed.rollback()
    with much_owed.begin():
        assert count_of(much_owed, "owed 0") is None


def test_a_line_that_breaks_off_while_an_undone_transaction_is_ended_is_never_used_again(
    much_owed: Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    behind: Any = much_owed.connection.dbapi_connection

    def break_off(_line: object) -> None:
        raise MemoryError

    monkeypatch.setattr(Line, "_receive", break_off)
    with pytest.raises(MemoryError):
        much_owed.rollback()
    assert behind.closed


@pytest.mark.parametrize(
    "write",
    [
        lambda conn: RAISE.run(conn, {"which": "asked"}),
        lambda conn: RAISE.later(conn, {"which": "asked"}),
        lambda conn: conn.execute(update(tries).values(count=tries.c.count + 1)),
    ],
    ids=["told", "owed", "told by the toolkit"],
)
def test_an_answer_that_was_asked_ahead_ends_with_the_next_writing(
    writing: Engine, write: Callable[[Connection], object]
) -> None:
    with writing.begin() as conn:
        ADD.run(conn, a_try("asked"))
        asked(conn, "asked")
        assert count_of(conn, "asked") == 1
        write(conn)
        assert count_of(conn, "asked") == 2


def test_a_question_asked_ahead_is_not_asked_again_until_then(
    writing: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    with writing.begin() as conn:
        ADD.run(conn, a_try("asked"))
        asked(conn, "asked", "not there")
        with monkeypatch.context() as nothing_is_sent:
            nothing_is_sent.setattr(line_of(conn), "_send", None)
            assert (count_of(conn, "asked"), count_of(conn, "not there")) == (1, None)


def test_a_value_that_no_database_takes_leaves_the_line_as_it_was(writing: Engine) -> None:
    conn = writing.connect()
    begun = conn.begin()
    ADD.later(conn, a_try("before"))
    with pytest.raises(DataError):
        asked(conn, "before", "a text with a NUL \x00 in it")
    begun.rollback()
    with conn.begin():
        assert count_of(conn, "before") is None
    conn.close()


def test_a_line_that_broke_off_in_the_middle_is_never_used_again(
    writing: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was on its way would be taken for the answer to another question."""

    def break_off(_line: object) -> None:
        raise MemoryError

    conn = writing.connect()
    behind: Any = conn.connection.dbapi_connection
    monkeypatch.setattr(Line, "_receive", break_off)
    with pytest.raises(MemoryError):
        count_of(conn, "one")
    assert behind.closed
    monkeypatch.undo()
    conn.close()
    with writing.begin() as conn:
        ADD.run(conn, a_try("another"))
        assert count_of(conn, "another") == 1
        assert count_of(conn, "one") is None


def test_megabytes_each_way_at_once_stop_nobody(writing: Engine) -> None:
    """Both sides have a limit of what they hold; whoever only sends would wait for ever."""
    megabyte = 1 << 20
    with writing.begin() as conn:
        line = line_of(conn)
        long = [(LONG, {"letter": "x" * 200_000 + str(number), "times": 5}) for number in range(12)]
        answers = line.ask_all(sendings(conn, long))
        assert all(len(rows[0][0]) > 0.9 * megabyte for rows in answers.values())
        assert len(answers) == 12


def taking(key: str, about: str) -> tuple[Action[str], Asks]:
    """An action as a phone's: it asks first whether an id is free, and then takes it."""

    def act(unit: Unit) -> Done[str]:
        if count_of(unit.conn, key) is not None:
            raise IdTaken("something", key)
        ADD.later(unit.conn, a_try(key))
        return Done(key, Deed(Kind.CALL, key, {"key": key}))

    return act, Asks(frozenset([about]), ((BY_KEY, {"key": key}),))


def done_together(service: Service, *works: tuple[Action[str], Asks]) -> list[object]:
    """The outcomes of actions that come at the same moment, and so in one group."""
    meet = MeetId(new_id())

    async def all_at_once() -> list[object]:
        acts = [service.store.act(meet, SOMEBODY, act, asks) for act, asks in works]
        return await asyncio.gather(*acts, return_exceptions=True)

    return asyncio.run(all_at_once())


def told(outcome: object) -> str:
    return outcome if isinstance(outcome, str) else type(outcome).__name__


def test_of_two_that_take_one_id_in_one_group_the_second_is_told_so(service: Service) -> None:
    """Both were told beforehand that it is free: the second one's insert fails."""
    key, other = new_id(), new_id()
    works = taking(key, "a heat"), taking(key, "another heat"), taking(other, "a third")
    assert [told(one) for one in done_together(service, *works)] == [key, "IdTaken", other]


def counting(key: str, about: str, *, plainly: bool = False) -> tuple[Action[str], Asks]:
    """An action that tells how often such a one was done before it; `plainly` by the toolkit."""

    def act(unit: Unit) -> Done[str]:
        before = str(count_of(unit.conn, key))
        if plainly:
            raised = update(tries).where(tries.c.key == key).values(count=tries.c.count + 1)
            unit.conn.execute(raised)
        else:
            RAISE.later(unit.conn, {"which": key})
        return Done(before, Deed(Kind.CALL, new_id(), {"key": key}))

    return act, Asks(frozenset([about]), ((BY_KEY, {"key": key}),))


def test_of_some_about_one_thing_each_sees_what_those_before_it_have_done(service: Service) -> None:
    key = new_id()
    works = [taking(key, "a heat"), *(counting(key, "a heat") for _ in range(3))]
    assert done_together(service, *works) == [key, "1", "2", "3"]


def test_what_an_action_writes_by_another_way_is_seen_by_those_behind_it(service: Service) -> None:
    """It says what it is about, and moves something else: as an account does for another heat."""
    key = new_id()
    done_together(service, taking(key, "a heat"))
    works = counting(key, "a heat", plainly=True), counting(key, "another heat")
    assert done_together(service, *works) == ["1", "2"]


def test_an_act_whose_owed_writing_fails_each_time_leaves_no_entry(service: Service) -> None:
    """As where another process has taken the id since it was asked for: only the insert tells."""
    taken, meet = new_id(), MeetId(new_id())
    done_together(service, taking(taken, "a heat"))

    def act(unit: Unit) -> Done[str]:
        ADD.later(unit.conn, a_try(taken))
        return Done(taken, Deed(Kind.CALL, taken, {"key": taken}))

    with pytest.raises(Exception, match=r"duplicate key|UNIQUE"):
        service.store.act_now(meet, SOMEBODY, act)
    assert service.store.read_now(lambda conn: head_of(conn, meet)).size == 0


def test_a_commit_that_undoes_is_told_as_a_failure(writing: Engine) -> None:
    conn = writing.connect()
    begun = conn.begin()
    ADD.run(conn, a_try("failed"))
    with pytest.raises(UniqueViolation):
        ADD.run(conn, a_try("failed"))
    with pytest.raises(InternalError):
        begun.commit()
    conn.close()


def test_a_question_that_the_server_refuses_fails_no_neighbour(service: Service) -> None:
    good, bad = new_id(), new_id()
    act, _asks = taking(bad, "a heat")
    too_large = Asks(frozenset(["a heat"]), ((LONG, {"letter": "x", "times": 1 << 40}),))
    outcomes = done_together(service, (act, too_large), taking(good, "another heat"))
    if service.store.engines.is_sqlite:  # there nothing is asked ahead
        assert [told(one) for one in outcomes] == [bad, good]
    else:
        assert [told(one) for one in outcomes] == ["NumericValueOutOfRange", good]
