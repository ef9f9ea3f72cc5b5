"""Finish lists, announcements, which are never changed, windows, and what was typed wrongly."""

from __future__ import annotations

from sqlalchemy import (
    Column,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
    text,
)

from app.store.columns import Instant, Json, id_type, metadata

results = Table(
    "results",
    metadata,
    Column("heat_id", id_type(), ForeignKey("heats.id"), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("rows", Json, nullable=False),
    Column("loaded_by", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("loaded_at", Instant, nullable=False),
    Column("run", Integer, nullable=False),
    Column("version", Integer, nullable=False),
)

announcements = Table(
    "announcements",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("announced_at", Instant, nullable=False),
    Column("entered_at", Instant, nullable=False),
    Column("snapshot", Json, nullable=False),
    Column("statement_digest", String(64), nullable=False),
    Column("content", Json, nullable=False),
    Column("list_seen", Integer, nullable=False),
    Column("rulings_seen", Integer, nullable=False),
    Column("run_seen", Integer, nullable=False),
    Column("decisions_seen", Integer, nullable=False),
    Column("else_seen", String(64)),
    Column("tells_who_goes_on", Integer, nullable=False, server_default="0"),
    UniqueConstraint("heat_id", "number"),
    Index(None, "meet_id", "announced_at"),
)
"""`decisions_seen` is the number of the round's last decision, `else_seen` a digest of what the
result rests on beside decisions; null where it was announced before that was kept.
`tells_who_goes_on` is 1 where it names who has qualified."""

tellings = Table(
    "tellings",
    metadata,
    Column("announcement_id", id_type(), ForeignKey("announcements.id"), primary_key=True),
    Column("decision_id", id_type(), ForeignKey("decisions.id"), primary_key=True, index=True),
    Column("is_whole", Integer, nullable=False),
)
"""Which decisions of its round an announcement is the first of its heat to tell. `is_whole` is 0
where a decision changes lines of another heat too, which have yet to be announced there: that part
is told after it."""

windows = Table(
    "windows",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False),
    Column("announcement_id", id_type(), ForeignKey("announcements.id"), nullable=False),
    Column("kind", String(60), nullable=False),
    Column("remedy", String(20), nullable=False),
    Column("opened_by", String(40), nullable=False),
    Column("opened_at", Instant, nullable=False),
    Column("closes_at", Instant, index=True),
    Column("minutes", Integer),
    Column("rule", String(60), nullable=False),
    Column("origin", String(20), nullable=False),
    Column("team_id", id_type(), ForeignKey("teams.id")),
    Column("decision_id", id_type()),
    Column("counts_from", String(20)),
    Index(None, "meet_id", "closes_at"),
    Index(None, "heat_id"),
    Index(None, "announcement_id"),
    # Not of all: SQLite would begin with it where windows are looked for that name no decision.
    Index(
        "ix_windows_decision_id",
        "decision_id",
        sqlite_where=text("decision_id IS NOT NULL"),
        postgresql_where=text("decision_id IS NOT NULL"),
    ),
)
"""`heat_id` is whose result the window touches. One that a decision's advice opened names the
decision and the team that was advised. One that `counts_from` "end of meet" has no closing time
until the meet has ended."""

time_corrections = Table(
    "time_corrections",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False, index=True),
    Column(
        "announcement_id", id_type(), ForeignKey("announcements.id"), nullable=False, index=True
    ),
    Column("was", Instant, nullable=False),
    Column("becomes", Instant, nullable=False),
    Column("reasons", Text, nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("corrected_at", Instant, nullable=False),
    Column("remeasured", Json, nullable=False),
    Column("content", Json, nullable=False),
)
"""An announcement keeps what it said; that its time was typed wrongly is an act of its own.
`remeasured` are the protests and appeals that came to be in time or late by it."""

corrections = Table(
    "corrections",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False, index=True),
    Column("about", String(30), nullable=False),
    Column("subject_id", id_type(), nullable=False, index=True),
    Column("was", Text, nullable=False),
    Column("becomes", Text, nullable=False),
    Column("reasons", Text, nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("corrected_at", Instant, nullable=False),
    Column("remeasured", Json, nullable=False),
    Column("content", Json, nullable=False),
)
"""Whatever else was typed wrongly: `subject_id` is the protest, the appeal, the decision whose
advice it was, or the meet; `was` and `becomes` are instants as text, or receipts' numbers."""
