"""The database's guards are looked at for what they do, not for their names alone."""

from __future__ import annotations

import pytest

from app.checking.guards import unguarded
from app.store.engine import open_engines
from tests.conftest import NewDatabase

GUARD = "record_entries_refuse_update"


def told_after(url: str, *statements: str) -> list[str]:
    """What is told of the guards of a database after somebody has changed it."""
    engines = open_engines(url)
    try:
        with engines.writing.begin() as conn:
            for statement in statements:
                conn.exec_driver_sql(statement)
        with engines.reading.connect() as conn:
            return list(unguarded(conn))
    finally:
        engines.dispose()


@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_the_guards_that_the_migrations_make_are_good(
    engine: str, new_database: NewDatabase
) -> None:
    assert told_after(new_database(engine)) == []


SPOILT = {
    "sqlite never acts": [
        f"DROP TRIGGER {GUARD}",
        f"CREATE TRIGGER {GUARD} BEFORE UPDATE ON record_entries WHEN 0 "
        "BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END",
    ],
    "sqlite does nothing": [
        f"DROP TRIGGER {GUARD}",
        f"CREATE TRIGGER {GUARD} BEFORE UPDATE ON record_entries BEGIN SELECT 1; END",
    ],
    "sqlite of another table": [
        f"DROP TRIGGER {GUARD}",
        f"CREATE TRIGGER {GUARD} BEFORE UPDATE ON meets "
        "BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END",
    ],
    "postgresql never acts": [
        f"DROP TRIGGER {GUARD} ON record_entries",
        f"CREATE TRIGGER {GUARD} BEFORE UPDATE ON record_entries FOR EACH STATEMENT WHEN (false) "
        "EXECUTE FUNCTION refuse_record_change()",
    ],
    "postgresql does nothing": [
        "CREATE OR REPLACE FUNCTION refuse_record_change() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RETURN NULL; END $$",
    ],
    "postgresql calls another": [
        "CREATE FUNCTION let_through() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RETURN NULL; END $$",
        f"DROP TRIGGER {GUARD} ON record_entries",
        f"CREATE TRIGGER {GUARD} BEFORE UPDATE ON record_entries FOR EACH STATEMENT "
        "EXECUTE FUNCTION let_through()",
    ],
}


@pytest.mark.parametrize("spoilt", SPOILT)
def test_a_guard_that_was_made_to_let_through_is_told(
    spoilt: str, new_database: NewDatabase
) -> None:
    url = new_database(spoilt.partition(" ")[0])
    told = told_after(url, *SPOILT[spoilt])
    assert f"the guard {GUARD} is not the one that this program made" in "\n".join(told)


STRANGERS = {
    "sqlite": "CREATE TRIGGER also AFTER INSERT ON record_bodies BEGIN SELECT 1; END",
    "postgresql": "CREATE TRIGGER also BEFORE INSERT ON record_bodies FOR EACH ROW "
    "EXECUTE FUNCTION suppress_redundant_updates_trigger()",
}


@pytest.mark.parametrize("engine", STRANGERS)
def test_a_trigger_of_somebody_elses_on_the_record_is_told(
    engine: str, new_database: NewDatabase
) -> None:
    (told,) = told_after(new_database(engine), STRANGERS[engine])
    assert told == "the trigger also on record_bodies is none of this program's"


@pytest.mark.parametrize("engine", STRANGERS)
def test_a_trigger_on_other_tables_is_nobodys_concern(
    engine: str, new_database: NewDatabase
) -> None:
    assert (
        told_after(new_database(engine), STRANGERS[engine].replace("record_bodies", "meets")) == []
    )
