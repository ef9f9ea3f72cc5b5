"""Posts of the crew plan. A post that a later plan no longer has is retired, never deleted."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, String, Table

from app.store.columns import Json, id_type, metadata

crew_plans = Table(
    "crew_plans",
    metadata,
    Column("meet_id", id_type(), ForeignKey("meets.id"), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("content", Json, nullable=False),
)

posts = Table(
    "posts",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("take_over", Integer, nullable=False),
    Column("edge", String(10), nullable=False),
    Column("lanes", Json, nullable=False),
    Column("side", String(10), nullable=False),
    Column("relays", Json, nullable=False),
    Column("heats", Json, nullable=False, server_default="[]"),
    Column("retired", Boolean, nullable=False),
    Index(None, "meet_id", "retired"),
)
"""`relays` lists the relays the post stands for, `heats` the single heats; empty means all of them.
Of a post for single heats, `relays` are theirs.
"""

heat_posts = Table(
    "heat_posts",
    metadata,
    Column("heat_id", id_type(), ForeignKey("heats.id"), primary_key=True),
    Column("post_id", id_type(), ForeignKey("posts.id"), primary_key=True),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("take_over", Integer, nullable=False),
    Column("edge", String(10), nullable=False),
    Column("lanes", Json, nullable=False),
    Column("side", String(10), nullable=False),
)
"""Who stood where when the heat was started: a later plan makes nobody silent for it."""
