"""The record's tables, and the triggers that refuse to rewrite it.

`record_entries` holds the committed facts and can only grow. `record_bodies` holds what each entry
commits to, with its salt; it can be erased for privacy, and every proof stays good. A rebuild of a
table drops its triggers, so they are listed here, created by the migrations, and looked for by a
test after every migration. `checkpoints` are heads that were signed and printed: they can only
grow too.
"""

from __future__ import annotations

from typing import TypeAlias

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Index,
    Integer,
    LargeBinary,
    String,
    Table,
    Text,
    false,
)

from app.store.columns import Instant, Json, id_type, metadata

record_entries = Table(
    "record_entries",
    metadata,
    Column("meet_id", id_type(), primary_key=True),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(40), nullable=False),
    Column("subject", String(80), nullable=False),
    Column("entry", Text, nullable=False),
    Index(None, "meet_id", "subject"),
)

record_bodies = Table(
    "record_bodies",
    metadata,
    Column("meet_id", id_type(), primary_key=True),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("salt", LargeBinary, nullable=False),
    Column("body", Text, nullable=False),
)

record_heads = Table(
    "record_heads",
    metadata,
    Column("meet_id", id_type(), primary_key=True),
    Column("size", BigInteger, nullable=False),
    Column("frontier", Json, nullable=False),
    Column("root", String(64), nullable=False),
    Column("closed", Boolean, nullable=False, server_default=false()),
)
"""`closed` is true once the whole meet was erased: then only what names nobody is added."""

checkpoints = Table(
    "checkpoints",
    metadata,
    Column("meet_id", id_type(), primary_key=True),
    Column("size", BigInteger, primary_key=True, autoincrement=False),
    Column("root", String(64), nullable=False),
    Column("made_at", Instant, nullable=False),
    Column("note", Text, nullable=False),
)
"""Heads that were signed and given out: `note` is a C2SP signed note, word for word."""

REFUSAL = "the record is append-only"

Guards: TypeAlias = dict[str, dict[str, str]]
"""Trigger name → the statement that makes it, per engine."""


def _guards(*refused: tuple[str, str]) -> Guards:
    """What refuses these acts on these tables; SQLite has no TRUNCATE."""
    return {
        "sqlite": {
            f"{table}_refuse_{act.lower()}": (
                f"CREATE TRIGGER {table}_refuse_{act.lower()} BEFORE {act} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )
            for table, act in refused
            if act != "TRUNCATE"
        },
        "postgresql": {
            f"{table}_refuse_{act.lower()}": (
                f"CREATE TRIGGER {table}_refuse_{act.lower()} BEFORE {act} ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION refuse_record_change()"
            )
            for table, act in refused
        },
    }


GUARDS = _guards(
    ("record_entries", "UPDATE"),
    ("record_entries", "DELETE"),
    ("record_entries", "TRUNCATE"),
    ("record_bodies", "UPDATE"),
    ("record_bodies", "TRUNCATE"),
)
CHECKPOINT_GUARDS = _guards(
    ("checkpoints", "UPDATE"), ("checkpoints", "DELETE"), ("checkpoints", "TRUNCATE")
)

GUARD_FUNCTION = (
    "CREATE OR REPLACE FUNCTION refuse_record_change() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
)
"""What the PostgreSQL triggers call."""
