"""Looking for what goes costs no more memory than what is looked at just then: the record's lock is
held meanwhile, and a meet holds many papers, pictures and entries.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import event, insert

from app.erasing.mentions import Names, Phrases
from app.erasing.plan import plan_of
from app.erasing.scope import Notes, OnePerson, Scope, WholeMeet
from app.ids import MeetId, new_id
from app.record.tables import record_bodies, record_entries
from app.store.engine import Engines, open_engines
from tests.conftest import ENGINES, NewDatabase

NOW = datetime(2026, 6, 13, 12, 0, tzinfo=UTC)
FILES = ("papers.content", "picture_originals.content", "picture_copies.content")


@pytest.fixture(params=ENGINES)
def engines(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Engines]:
    opened = open_engines(new_database(request.param))
    yield opened
    opened.dispose()


@pytest.fixture
def asked(engines: Engines) -> Iterator[list[tuple[str, Any]]]:
    """Every statement, with the cursor that its rows come through."""
    found: list[tuple[str, Any]] = []

    def note(_conn: Any, cursor: Any, statement: str, *_more: Any) -> None:
        found.append((statement, cursor))

    event.listen(engines.writing, "before_cursor_execute", note)
    yield found
    event.remove(engines.writing, "before_cursor_execute", note)


NAMES, NOTES = Names(["Iris Vale"]), Notes("erased")
WHOLE = WholeMeet(NOTES, NAMES, Phrases([]))


@pytest.mark.parametrize(
    "scope", [WHOLE, OnePerson(NOTES, NAMES)], ids=["whole meet", "one person"]
)
def test_no_file_is_read_to_see_that_it_goes(
    engines: Engines, asked: list[tuple[str, Any]], scope: Scope
) -> None:
    with engines.writing.connect() as conn:
        plan_of(conn, MeetId(new_id()), scope, NOW)
    looked_at = [statement for statement, _cursor in asked]
    assert any("FROM papers" in one for one in looked_at)
    assert [one for one in looked_at if any(file in one for file in FILES)] == []


def test_the_record_comes_a_piece_at_a_time(engines: Engines, asked: list[tuple[str, Any]]) -> None:
    """PostgreSQL sends an answer as a whole unless the server keeps a cursor for it; SQLite finds
    row after row as they are fetched."""
    meet, size = MeetId(new_id()), 2_500
    fill(engines, meet, size)
    with engines.writing.connect() as conn:
        plan = plan_of(conn, meet, WHOLE, NOW)
    assert plan.entries == list(range(1, size + 1))
    ((_statement, cursor),) = [one for one in asked if "record_bodies.body" in one[0]]
    assert engines.is_sqlite or "ServerCursor" in type(cursor).__name__


def fill(engines: Engines, meet: MeetId, size: int) -> None:
    row = {"meet_id": meet, "kind": "call", "subject": "", "entry": "an entry"}
    body = {"meet_id": meet, "salt": b"x", "body": '{"notes":"said by Iris Vale"}'}
    seqs = range(1, size + 1)
    with engines.writing.connect() as conn, conn.begin():
        conn.execute(insert(record_entries), [{**row, "seq": seq} for seq in seqs])
        conn.execute(insert(record_bodies), [{**body, "seq": seq} for seq in seqs])
