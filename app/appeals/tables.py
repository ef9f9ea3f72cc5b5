"""Protests, decisions, appeals and the jury's votes. None is deleted; decisions are never changed.

Whether something came late is no column: it follows from the windows as they are now, since the
time of what opened them may be corrected.
"""

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

protests = Table(
    "protests",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False, index=True),
    Column("team_id", id_type(), ForeignKey("teams.id"), nullable=False),
    Column("about", String(20), nullable=False),
    Column("ruling_id", id_type(), ForeignKey("rulings.id")),
    Column("against_id", id_type(), ForeignKey("teams.id")),
    Column("ground", String(60), nullable=False),
    Column("window_id", id_type(), ForeignKey("windows.id")),
    Column("lodged_by", String(120), nullable=False),
    Column("capacity", String(40), nullable=False),
    Column("lodged_at", Instant, nullable=False),
    Column("entered_at", Instant, nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("words", Text, nullable=False),
    Column("allowed_because", Text),
    Column("state", String(12), nullable=False),
    Column("withdrawn", Json),
    Column("content", Json, nullable=False),
    Column("version", Integer, nullable=False),
    UniqueConstraint("meet_id", "number"),
    Index(None, "meet_id", "state"),
    Index(
        "ix_protests_ruling_id",
        "ruling_id",
        sqlite_where=text("ruling_id IS NOT NULL"),
        postgresql_where=text("ruling_id IS NOT NULL"),
    ),
)
"""`allowed_because` is the referee's word that lets a judgement call be protested. `window_id` is
the window by which it was measured when it was taken in, null where none had been opened; nothing
reads it."""

appeals = Table(
    "appeals",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False, index=True),
    Column("protest_id", id_type(), ForeignKey("protests.id"), nullable=False, index=True),
    Column("team_id", id_type(), ForeignKey("teams.id"), nullable=False),
    Column("window_id", id_type(), ForeignKey("windows.id")),
    Column("is_referred", Integer, nullable=False),
    Column("lodged_by", String(120), nullable=False),
    Column("lodged_at", Instant, nullable=False),
    Column("entered_at", Instant, nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("words", Text, nullable=False),
    Column("sought", Json, nullable=False),
    Column("asked", Json),
    Column("deposit", Json),
    Column("panel", Json),
    Column("sitting", Integer, nullable=False),
    Column("admitted", Json),
    Column("reopened", Json),
    Column("state", String(12), nullable=False),
    Column("withdrawn", Json),
    Column("content", Json, nullable=False),
    Column("version", Integer, nullable=False),
    UniqueConstraint("meet_id", "number"),
    Index(None, "meet_id", "state"),
)
"""`is_referred` is 1 where the referee passed the protest on, which needs no deposit; `asked` the
deposit that was asked for when this was lodged: empty for none, null where that was not kept and
the meet's present terms count. `admitted` says who admitted a late one, when and why; `reopened`
the same of the sitting that runs."""

decisions = Table(
    "decisions",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("seq", Integer, nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False, index=True),
    Column("protest_id", id_type(), ForeignKey("protests.id"), nullable=False, index=True),
    Column("appeal_id", id_type(), ForeignKey("appeals.id"), index=True),
    Column("sitting", Integer, nullable=False),
    Column("instance", String(8), nullable=False),
    Column("verdict", String(12), nullable=False),
    Column("reasons", Text, nullable=False),
    Column("heard_because", Text),
    Column("orders", Json, nullable=False),
    Column("carried_out", Json, nullable=False),
    Column("moves", Json, nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("decided_at", Instant, nullable=False),
    Column("advised_at", Instant),
    Column("edition", String(60), nullable=False),
    Column("statement", Json, nullable=False),
    Column("statement_digest", String(64), nullable=False),
    Column("form_facts", Json, nullable=False),
    Column("replaced_by", id_type()),
    Column("is_news", Integer, nullable=False, server_default="1"),
    Column("settled_by", id_type()),
    Column("given_back", Integer),
    Column("content", Json, nullable=False),
    UniqueConstraint("meet_id", "seq"),
)
"""`seq` counts through the meet: clocks are set back, and those of two machines differ. `orders`
are as they were given, `carried_out` has with each what it takes to undo it, `moves` what the
result was shown to lose and gain before it was signed. `is_news` is 0 where it does nothing but
keep what was ordered before, and that had been announced. `settled_by` is the jury's decision on
another protest that undid one of the referee's, or had the last word about all that it did; null
where none has, or that was taken back: then `given_back` is the number of the decision with which
this one came to stand again, and only what was announced since tells it."""

votes = Table(
    "votes",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("appeal_id", id_type(), ForeignKey("appeals.id"), nullable=False),
    Column("sitting", Integer, nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("vote", String(12), nullable=False),
    Column("cast_at", Instant, nullable=False),
    UniqueConstraint("appeal_id", "sitting", "official_id"),
)
