"""Bringing a database to this program's schema, one process at a time."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, text

import migrations

ADVISORY_LOCK = 0x5A44_0001


def alembic_config(conn: Connection) -> Config:
    """Alembic's settings in code, so that an installed copy needs no file beside it."""
    config = _config()
    config.attributes["connection"] = conn
    return config


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent))
    return config


def insist_known(revision: str) -> None:
    """ValueError for a schema that this program's migrations do not lead to: a newer program's."""
    known = {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}
    if revision not in known:
        raise ValueError(
            f"the database has schema {revision}, which this program does not know: it was made "
            "by a newer one; start that, or restore a backup from before"
        )


def migrate(engine: Engine, revision: str = "head") -> None:
    """Upgrade to a revision. A second process waits for the first."""
    with engine.connect() as conn, conn.begin():
        if conn.dialect.name == "postgresql":
            conn.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": ADVISORY_LOCK})
        command.upgrade(alembic_config(conn), revision)
