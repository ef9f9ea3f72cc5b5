"""Migrations: forward from empty on both engines, back again, and the tables match the models."""

from __future__ import annotations

import json
from collections.abc import Callable
from hashlib import sha256

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, MetaData, insert, inspect, text

from app.checking.guards import unguarded
from app.migrating import alembic_config, migrate
from app.schema import REVISION, all_tables
from app.serving import bring_up_to_date
from app.store.engine import Engines, open_engines
from app.store.revision import stored_revision
from tests.conftest import ENGINES
from tests.postgres import Databases
from tests.store.old_rows import (
    APPEALED_ROWS,
    DECIDED_ROWS,
    DEPOSIT,
    OLD_ROWS,
    SAID,
    SETTLED_ROWS,
    Row,
)


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
    migrate(empty.writing, "0001")
    _store(empty, OLD_ROWS)
    migrate(empty.writing)
    with empty.writing.connect() as conn:

        def stored(columns: str, table: str) -> list[tuple[object, ...]]:
            rows = conn.execute(text(f"SELECT {columns} FROM {table} ORDER BY 1"))
            return [tuple(row) for row in rows]

        assert stored("number, id", "cases") == [(1, "case-a"), (2, "case-b"), (3, "case-c")]
        assert stored("id, run", "heats") == [("again", 2), ("heat", 1)]
        assert stored("id, run", "reports") == [("first", 1), ("second", 1), ("third", 2)]
        said = sha256(SAID.encode()).hexdigest()  # by the standard library
        assert {content for _id, content in stored("id, content", "reports")} == {said}
        assert stored("id, run, accounts", "rulings") == [("ruling", 1, 1), ("shaken", 1, 2)]
        assert stored("id, run, team_id", "calls") == [
            ("call-a", 1, "team"),
            ("call-b", None, "team"),
            ("call-c", 2, "team"),
        ]
        assert stored("heat_id, run", "results") == [("again", 1), ("heat", 1)]
        assert stored("heat_id, run_seen", "announcements") == [("again", 1), ("heat", 1)]
        assert stored("heat_id, run, lane", "run_lanes") == [("again", 2, 4), ("heat", 1, 4)]
    with empty.writing.connect() as conn, conn.begin():
        command.downgrade(alembic_config(conn), "0001")
    migrate(empty.writing)
    empty.dispose()


def test_what_was_appealed_before_deposits_were_kept_is_brought_along(empty: Engines) -> None:
    migrate(empty.writing, "0001")
    _store(empty, OLD_ROWS)
    migrate(empty.writing, "0003")
    _store(empty, APPEALED_ROWS)
    for _again in range(2):
        migrate(empty.writing)
        with empty.writing.connect() as conn:
            rows = conn.execute(text("SELECT id, asked, deposit FROM appeals ORDER BY number"))
            assert [tuple(row) for row in rows] == [
                ("paid", None, DEPOSIT),
                ("unpaid", None, None),
                ("referred", None, None),
            ]
        with empty.writing.connect() as conn, conn.begin():
            command.downgrade(alembic_config(conn), "0003")
            assert "asked" not in {one["name"] for one in inspect(conn).get_columns("appeals")}
    empty.dispose()


def test_what_announcements_told_before_that_was_kept_is_brought_along(empty: Engines) -> None:
    migrate(empty.writing, "0001")
    _store(empty, OLD_ROWS)
    migrate(empty.writing, "0004")
    _store(empty, [*APPEALED_ROWS, *DECIDED_ROWS])
    for _again in range(2):
        migrate(empty.writing)
        with empty.writing.connect() as conn:
            told = conn.execute(text("SELECT * FROM tellings ORDER BY 1, 2"))
            assert [tuple(row) for row in told] == [
                ("first", "decision 1", 1),
                ("of the re-run", "decision 1", 1),
                ("of the re-run", "decision 3", 1),
                ("second", "decision 3", 1),
                ("second", "decision 4", 1),
            ]
            telling = conn.execute(text("SELECT id FROM announcements WHERE tells_who_goes_on = 1"))
            assert telling.scalars().all() == ["second"]
            # What keeps all that an announcement of its heat has told is no news.
            stale = conn.execute(text("SELECT seq FROM decisions WHERE is_news = 0"))
            assert stale.scalars().all() == [5]
        with empty.writing.connect() as conn, conn.begin():
            command.downgrade(alembic_config(conn), "0004")
            assert "tellings" not in inspect(conn).get_table_names()
            assert "is_news" not in {one["name"] for one in inspect(conn).get_columns("decisions")}
    empty.dispose()


def test_what_the_jury_had_undone_before_that_was_kept_is_brought_along(empty: Engines) -> None:
    migrate(empty.writing, "0001")
    _store(empty, OLD_ROWS)
    migrate(empty.writing, "0006")
    _store(empty, [*APPEALED_ROWS, *DECIDED_ROWS, *SETTLED_ROWS])
    for _again in range(2):
        migrate(empty.writing)
        with empty.writing.connect() as conn:
            rows = conn.execute(
                text(
                    "SELECT seq, settled_by, given_back FROM decisions "
                    "WHERE settled_by IS NOT NULL OR given_back IS NOT NULL ORDER BY seq"
                )
            )
            assert [tuple(row) for row in rows] == [
                (1, "decision 13", None),
                (4, "decision 19", None),
                (11, None, 15),
            ]
        with empty.writing.connect() as conn, conn.begin():
            command.downgrade(alembic_config(conn), "0006")
            columns = {one["name"] for one in inspect(conn).get_columns("decisions")}
            assert not {"settled_by", "given_back"} & columns
    empty.dispose()


def test_heats_from_before_are_no_rehearsals_and_none_is_taken_for_a_heat_on_the_way_back(
    empty: Engines,
) -> None:
    migrate(empty.writing, "0001")
    _store(empty, OLD_ROWS)
    for _again in range(2):
        migrate(empty.writing)
        with empty.writing.connect() as conn, conn.begin():
            assert conn.execute(text("SELECT heat_now FROM meets")).scalars().all() == [None]
            real = conn.execute(text("SELECT id FROM heats WHERE NOT rehearsal ORDER BY id"))
            assert real.scalars().all() == ["again", "heat"]
            assert list(unguarded(conn)) == []
            conn.execute(text("UPDATE heats SET rehearsal = true WHERE id = 'heat'"))
        with empty.writing.connect() as conn, conn.begin():
            command.downgrade(alembic_config(conn), "0008")
            states = conn.execute(text("SELECT id, state FROM heats ORDER BY id"))
            assert [tuple(row) for row in states] == [("again", "running"), ("heat", "not held")]
            assert "heat_now" not in {one["name"] for one in inspect(conn).get_columns("meets")}
            assert list(unguarded(conn)) == []
    empty.dispose()


def test_a_meet_whose_track_was_an_oval_before_has_the_zones_of_one(empty: Engines) -> None:
    migrate(empty.writing, "0010")
    tracks = {
        "standard": {"radius_m": 36.5, "straight_m": 84.39, "kerb": True},
        "oval": {"radius_m": 17.2, "straight_m": 45.022, "kerb": True},
        "oval without a kerb": {"radius_m": 17.3, "straight_m": 45.022, "kerb": False},
        "neither": {"radius_m": 30.0, "straight_m": 84.39, "kerb": True},
    }
    meets = [_a_meet_before_0011(name, {"track": track}) for name, track in tracks.items()]
    _store(empty, [*meets, _a_meet_before_0011("no track", {})])
    for _again in range(2):
        migrate(empty.writing)
        with empty.writing.connect() as conn, conn.begin():
            ovals = conn.execute(text("SELECT id FROM meets WHERE lap_m = 200 ORDER BY id"))
            assert ovals.scalars().all() == ["oval", "oval without a kerb"]
            others = conn.execute(text("SELECT count(*) FROM meets WHERE lap_m = 400")).scalar()
            assert others == 3
            assert list(unguarded(conn)) == []
        with empty.writing.connect() as conn, conn.begin():
            command.downgrade(alembic_config(conn), "0010")
            assert "zone_surveys" not in inspect(conn).get_table_names()
            assert "lap_m" not in {one["name"] for one in inspect(conn).get_columns("meets")}
            assert list(unguarded(conn)) == []
    empty.dispose()


def _a_meet_before_0011(name: str, facts: Row) -> tuple[str, Row]:
    known: Row = {"id": name, "name": name, "time_zone": "Europe/Paris", "version": 1}
    known |= {"edition": "world-athletics-2025", "made_at": "2026-06-13T10:00:00.000000Z"}
    return "meets", {**known, "facts": json.dumps(facts)}


def _store(empty: Engines, rows: list[tuple[str, Row]]) -> None:
    with empty.writing.connect() as conn, conn.begin():
        old = MetaData()
        old.reflect(conn)
        for table, row in rows:
            conn.execute(insert(old.tables[table]), row)
