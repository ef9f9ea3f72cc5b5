"""Prepared statements: the same rows and the same effect as the toolkit's own execution."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Connection, bindparam, insert, select, update

from app.access.tables import tries
from app.clock import rfc3339
from app.ids import MeetId, new_id
from app.store.action import Actor, Done, Unit
from app.store.columns import Json
from app.store.prepared import Prepared
from tests.running import Service

WORDS = st.text(st.characters(exclude_categories=["Cs"]))

_ADD = insert(tries)
_FIND = select(tries).where(tries.c.key == bindparam("key"))
_RAISE = (
    update(tries)
    .where(tries.c.key == bindparam("which"), tries.c.count < 5)
    .values(count=tries.c.count + 2, blocked_until=bindparam("until"))
    .returning(tries.c.count, tries.c.blocked_until)
)


def test_a_prepared_statement_does_what_the_toolkit_does_with_it(service: Service) -> None:
    until = datetime(2026, 6, 13, 14, 3, 22, 70, tzinfo=timezone(timedelta(hours=2)))

    def both_ways(conn: Connection) -> None:
        keys = [f"{new_id()} ?%s:key" for _ in range(3)]
        rows = [{"key": key, "count": 1, "blocked_until": None} for key in keys]
        assert Prepared(_ADD).run(conn, rows[0]) == 1
        Prepared(_ADD).later(conn, rows[1])
        Prepared(_ADD).later(conn, rows[2])
        for values in ({"which": key, "until": until} for key in keys[:2]):
            assert Prepared(_RAISE).all(conn, values) == [(3, until)]
            assert conn.execute(_RAISE, values).all() == [(5, until)]
            assert Prepared(_RAISE).first(conn, values) is None
        for key in [*keys, "nothing"]:
            by_the_toolkit = [tuple(row) for row in conn.execute(_FIND, {"key": key})]
            assert Prepared(_FIND).all(conn, {"key": key}) == by_the_toolkit
        row = Prepared(_FIND).first(conn, {"key": keys[0]})
        assert (row.key, row.count, row.blocked_until) == (keys[0], 5, until)
        assert row.blocked_until.tzinfo is UTC

    def act(unit: Unit) -> Done[None]:
        both_ways(unit.conn)
        return Done(None, None)

    service.store.act_now(MeetId(new_id()), Actor("somebody"), act)


@given(st.datetimes(timezones=st.timezones()))
def test_an_instant_is_written_in_utc_with_a_fixed_width_so_that_text_order_is_time_order(
    instant: datetime,
) -> None:
    # RFC 3339, 5.6: date-time, here always with six digits of fraction and Z.
    try:
        in_utc = instant.astimezone(UTC)
    except OverflowError:  # within hours of year 1 or 9999
        return
    written = rfc3339(instant)
    assert len(written) == len("2026-06-13T12:03:22.000000Z")
    assert written.endswith("Z")
    assert datetime.fromisoformat(written) == in_utc


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats(allow_nan=False, allow_infinity=False)
        | WORDS,
        lambda inner: st.lists(inner) | st.dictionaries(WORDS, inner),
        max_leaves=15,
    )
)
def test_a_small_document_comes_back_from_its_column_as_it_was(document: object) -> None:
    from sqlalchemy.dialects import sqlite

    dialect = sqlite.dialect()
    kept = Json().process_bind_param(document, dialect)
    assert Json().process_result_value(kept, dialect) == document
