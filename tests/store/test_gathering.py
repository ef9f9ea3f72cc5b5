"""Short questions to PostgreSQL, asked together: each gets its own answer, from after it came."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator

import pytest
from sqlalchemy import Connection, exc, text
from sqlalchemy.exc import DBAPIError, OperationalError

from app.refusals import NotFound
from app.store.engine import Engines, open_engines
from app.store.gathering import GROUPS_AT_ONCE, Gathering
from tests.conftest import NewDatabase
from tests.store.reading import all_connections_of

Query = Callable[[Connection], object]


@pytest.fixture
def engines(new_database: NewDatabase) -> Iterator[Engines]:
    opened = open_engines(new_database("postgresql"))
    yield opened
    opened.dispose()


def number(value: int) -> Query:
    return lambda conn: conn.execute(
        text("SELECT CAST(:value AS integer)"), {"value": value}
    ).scalar()


def refuse(_conn: Connection) -> object:
    raise NotFound("There is no such thing.")


def test_where_no_line_can_be_had_all_who_wait_are_told_at_once(
    engines: Engines, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each by itself they would wait for one after the other, as long as a line takes to fail."""
    tries: list[int] = []

    def cut_off() -> Connection:
        tries.append(1)
        raise OperationalError("connecting", None, Exception("cut off"))

    monkeypatch.setattr(engines.reading, "connect", cut_off)

    async def ask() -> list[object]:
        gathering = Gathering(asyncio.get_running_loop(), engines)
        asked = [gathering.ask(number(value)) for value in range(40)]
        return await asyncio.gather(*asked, return_exceptions=True)

    assert {type(one) for one in asyncio.run(ask())} == {OperationalError}
    assert len(tries) <= 3


def fail(conn: Connection) -> object:
    return conn.execute(text("SELECT 1 / 0")).scalar()


def test_each_of_many_questions_gets_its_own_answer_and_none_its_neighbours_error(
    engines: Engines,
) -> None:
    async def run() -> list[object]:
        gathering = Gathering(asyncio.get_running_loop(), engines)
        queries = [number(value) for value in range(300)]
        queries[40], queries[41], queries[200] = refuse, fail, refuse
        return await asyncio.gather(
            *(gathering.ask(query) for query in queries), return_exceptions=True
        )

    answers = asyncio.run(run())
    assert isinstance(answers[40], NotFound)
    assert isinstance(answers[200], NotFound)
    assert isinstance(answers[41], DBAPIError)
    wanted = [value for value in range(300) if value not in {40, 41, 200}]
    assert [one for one in answers if not isinstance(one, Exception)] == wanted


def test_a_question_that_comes_just_as_the_last_group_ends_is_answered(
    engines: Engines, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.store.gathering.GROUPS_AT_ONCE", 1)

    async def run() -> None:
        gathering = Gathering(asyncio.get_running_loop(), engines)
        for value in range(50):
            assert await gathering.ask(number(value)) == value

    asyncio.run(asyncio.wait_for(run(), 20))


def test_a_question_sees_what_was_committed_before_it_came(engines: Engines) -> None:
    def count(conn: Connection) -> object:
        return conn.execute(text("SELECT count(*) FROM told")).scalar()

    async def run() -> None:
        gathering = Gathering(asyncio.get_running_loop(), engines)
        idle = [asyncio.ensure_future(gathering.ask(number(1))) for _ in range(50)]
        for committed in range(1, 50):
            with engines.writing.begin() as conn:
                conn.execute(text("INSERT INTO told VALUES (1)"))
            idle.append(asyncio.ensure_future(gathering.ask(number(2))))
            assert await gathering.ask(count) == committed
        await asyncio.gather(*idle)

    with engines.writing.begin() as conn:
        conn.execute(text("CREATE TABLE told (n integer)"))
    asyncio.run(run())


def test_where_no_connection_is_free_all_who_ask_are_told_and_the_next_are_answered(
    engines: Engines, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An answer that nobody came to is not the answer that there is nothing: a session would be
    taken for one that has ended.
    """
    monkeypatch.setattr(engines.reading.pool, "_timeout", 0.01)

    async def ask() -> list[object]:
        gathering = Gathering(asyncio.get_running_loop(), engines)
        with all_connections_of(engines):
            refused = [
                await asyncio.gather(
                    *(gathering.ask(number(1)) for _ in range(3)), return_exceptions=True
                )
                for _ in range(GROUPS_AT_ONCE + 1)
            ]
        assert all(isinstance(one, exc.TimeoutError) for group in refused for one in group)
        return await asyncio.gather(*(gathering.ask(number(value)) for value in range(3)))

    assert asyncio.run(asyncio.wait_for(ask(), 20)) == [0, 1, 2]
