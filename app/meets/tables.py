"""Meets, events, teams, heats, and who runs in which lane.

A key is a name without regard to case; folding can make it up to three times as long as the name
(Unicode Standard, 3.13), so keys have no length of their own.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
    text,
)

from app.sheets.limits import (
    MAX_BIB_LENGTH,
    MAX_EVENT_LENGTH,
    MAX_ROUND_LENGTH,
    MAX_TEAM_LENGTH,
)
from app.store.columns import Instant, Json, id_type, metadata

meets = Table(
    "meets",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("name", String(120), nullable=False),
    Column("time_zone", String(60), nullable=False),
    Column("edition", String(60), nullable=False),
    Column("facts", Json, nullable=False),
    Column("lap_m", Integer, nullable=False, server_default="400"),
    Column("version", Integer, nullable=False),
    Column("made_at", Instant, nullable=False),
    Column("ended_at", Instant),
    Column("heat_now", id_type()),
    Index(None, "made_at", "id"),
)
"""`lap_m` is 200 where the track's measures make an oval, whose zones are others. `heat_now` is the
heat that the head official points at, or that was started since. It has no foreign key: heats name
their meet already, and are never deleted."""

events = Table(
    "events",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("name", String(MAX_EVENT_LENGTH), nullable=False),
    Column("name_key", Text, nullable=False),
    Column("relay", String(20), nullable=False),
    UniqueConstraint("meet_id", "name_key"),
)

teams = Table(
    "teams",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("event_id", id_type(), ForeignKey("events.id"), nullable=False),
    Column("name", String(MAX_TEAM_LENGTH), nullable=False),
    Column("name_key", Text, nullable=False),
    Column("affiliation", String(MAX_TEAM_LENGTH), nullable=False),
    UniqueConstraint("event_id", "name_key"),
    Index(None, "meet_id"),
)

_RUN_AGAIN = text("run > 1 OR state = 'to come' AND run > 0")

heats = Table(
    "heats",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("event_id", id_type(), ForeignKey("events.id"), nullable=False),
    Column("round", String(MAX_ROUND_LENGTH), nullable=False),
    Column("round_key", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("scheduled", String(60)),
    Column("position", Integer, nullable=False),
    Column("state", String(20), nullable=False),
    Column("started_at", Instant),
    Column("run", Integer, nullable=False),
    Column("rehearsal", Boolean, nullable=False, server_default=false()),
    Column("version", Integer, nullable=False),
    UniqueConstraint("event_id", "round_key", "number"),
    Index(None, "meet_id", "position"),
    # The few heats that were started more than once or held back: what was ruled there before is
    # looked at again.
    Index(
        "ix_heats_run_again",
        "meet_id",
        "run",
        "state",
        "id",
        sqlite_where=_RUN_AGAIN,
        postgresql_where=_RUN_AGAIN,
    ),
)
"""`run` counts how often the heat was started: a recalled start makes the next one another run."""

lanes = Table(
    "lanes",
    metadata,
    Column("heat_id", id_type(), ForeignKey("heats.id"), primary_key=True),
    Column("lane", Integer, primary_key=True, autoincrement=False),
    Column("team_id", id_type(), ForeignKey("teams.id"), nullable=False, index=True),
    Column("bib", String(MAX_BIB_LENGTH), nullable=False),
    Column("legs", Json, nullable=False),
    UniqueConstraint("heat_id", "team_id"),
)

run_lanes = Table(
    "run_lanes",
    metadata,
    Column("heat_id", id_type(), ForeignKey("heats.id"), primary_key=True),
    Column("run", Integer, primary_key=True, autoincrement=False),
    Column("lane", Integer, primary_key=True, autoincrement=False),
    Column("team_id", id_type(), ForeignKey("teams.id"), nullable=False),
)
"""Who was in which lane when a run began: the next run may be drawn anew."""
