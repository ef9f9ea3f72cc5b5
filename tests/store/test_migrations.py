"""Migrations: forward from empty on both engines, back again, and the tables match the models."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from typing import Any

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, MetaData, insert, inspect, text

from app.migrating import alembic_config, migrate
from app.schema import REVISION, all_tables
from app.serving import bring_up_to_date
from app.store.engine import Engines, open_engines
from app.store.revision import stored_revision
from tests.conftest import ENGINES
from tests.postgres import Databases

AT = "2026-06-13T12:00:0{}.000000Z"
_OF_MEET = {"meet_id": "meet", "version": 1}
_OF_HEAT = {**_OF_MEET, "heat_id": "heat", "team_id": "team", "lane": 4}
OLD_ROWS: dict[str, dict[str, Any]] = {
    "meets": {
        "id": "meet",
        "name": "Harbour Relays",
        "time_zone": "UTC",
        "edition": "nfhs-2019",
        "facts": "{}",
        "made_at": AT.format(0),
        "version": 1,
    },
    "officials": {
        "id": "official",
        "name": "Bo Halyard",
        "affiliation": "",
        "roles": "[]",
        "active": True,
        **_OF_MEET,
    },
    "events": {
        "id": "event",
        "name": "4x1",
        "name_key": "4x1",
        "relay": "4x100",
        "meet_id": "meet",
    },
    "teams": {
        "id": "team",
        "meet_id": "meet",
        "event_id": "event",
        "name": "Tern",
        "name_key": "tern",
        "affiliation": "",
    },
    "heats": {
        "id": "heat",
        "event_id": "event",
        "round": "heats",
        "round_key": "heats",
        "number": 1,
        "position": 1,
        "state": "announced",
        "run": 0,
        **_OF_MEET,
    },
    "lanes": {"heat_id": "heat", "lane": 4, "team_id": "team", "bib": "", "legs": "[]"},
    "cases": {"id": "case-b", "state": "open", "opened_at": AT.format(2), **_OF_HEAT},
    "reports": {
        "id": "report",
        "case_id": "case-a",
        "official_id": "official",
        "post_words": "",
        "state": "ruled",
        "words": "",
        "marks": "[]",
        "raised_at": AT.format(1),
        **_OF_HEAT,
        "content": '{"lane":4}',
    },
    "rulings": {
        "id": "ruling",
        "meet_id": "meet",
        "case_id": "case-a",
        "heat_id": "heat",
        "official_id": "official",
        "verdict": "confirmed",
        "effect": "disqualification",
        "edition": "nfhs-2019",
        "separate": 1,
        "noted_before": 0,
        "rests_on": "[]",
        "reasons": "",
        "statement": "{}",
        "statement_digest": "",
        "form_facts": "{}",
        "ruled_at": AT.format(3),
        "content": "{}",
    },
}
EARLIER_CASE = {**OLD_ROWS["cases"], "id": "case-a", "state": "ruled", "opened_at": AT.format(1)}


@pytest.fixture(params=ENGINES)
def empty(request: pytest.FixtureRequest, tmp_path: object) -> Engines:
    if request.param == "sqlite":
        return open_engines(f"sqlite:///{tmp_path}/empty.db")
    databases: Databases = request.getfixturevalue("postgres")
    return open_engines(databases.make())


def test_migrating_from_empty_gives_the_tables_of_the_models(empty: Engines) -> None:
    migrate(empty.writing)
    with empty.writing.connect() as conn:
        context = MigrationContext.configure(conn, opts={"compare_type": True})
        assert compare_metadata(context, all_tables()) == []
        assert stored_revision(conn) == REVISION
    empty.dispose()


def test_the_migrated_tables_hold_the_checks_of_the_models(empty: Engines) -> None:
    migrate(empty.writing)
    with empty.writing.connect() as conn:
        stored = {
            table: {check["name"] for check in inspect(conn).get_check_constraints(table)}
            for table in all_tables().tables
        }
    known = {
        name: {one.name for one in table.constraints if isinstance(one, CheckConstraint)}
        for name, table in all_tables().tables.items()
    }
    assert stored == known
    assert known["cases"] == {"ck_cases_joined_to_another"}
    empty.dispose()


def test_migrating_back_leaves_nothing_and_forward_again_works(empty: Engines) -> None:
    migrate(empty.writing)
    with empty.writing.connect() as conn, conn.begin():
        command.downgrade(alembic_config(conn), "base")
    with empty.writing.connect() as conn:
        assert set(inspect(conn).get_table_names()) <= {"alembic_version"}
    migrate(empty.writing)
    empty.dispose()


def test_the_program_knows_the_newest_revision(empty: Engines) -> None:
    with empty.writing.connect() as conn:
        script = ScriptDirectory.from_config(alembic_config(conn))
    assert script.get_current_head() == REVISION
    empty.dispose()


def test_bringing_up_to_date_twice_changes_nothing(
    new_database: Callable[[str], str],
) -> None:
    for engine in ENGINES:
        assert bring_up_to_date(new_database(engine)) == (REVISION, REVISION)


def test_what_was_stored_before_runs_and_case_numbers_is_brought_along(empty: Engines) -> None:
    """Rows as the first schema held them: two cases, a ruling on a report, a heat never started."""
    migrate(empty.writing, "0001")
    with empty.writing.connect() as conn, conn.begin():
        old = MetaData()
        old.reflect(conn)
        for table, row in OLD_ROWS.items():
            conn.execute(insert(old.tables[table]), row)
            if table == "cases":
                conn.execute(insert(old.tables[table]), EARLIER_CASE)
    migrate(empty.writing)
    with empty.writing.connect() as conn:

        def stored(columns: str, table: str) -> list[tuple[object, ...]]:
            rows = conn.execute(text(f"SELECT {columns} FROM {table} ORDER BY 1"))
            return [tuple(row) for row in rows]

        assert stored("number, id", "cases") == [(1, "case-a"), (2, "case-b")]
        assert stored("id, run", "heats") == [("heat", 1)]
        # SHA-256 by the standard library
        said = sha256(b'{"lane":4}').hexdigest()
        assert stored("id, run, content", "reports") == [("report", 1, said)]
        assert stored("id, run, accounts", "rulings") == [("ruling", 1, 1)]
        assert stored("lane, team_id, run", "run_lanes") == [(4, "team", 1)]
    with empty.writing.connect() as conn, conn.begin():
        command.downgrade(alembic_config(conn), "0001")
    migrate(empty.writing)
    empty.dispose()
