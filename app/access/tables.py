"""Officials, their personal links, their sessions, and counted tries."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, String, Table

from app.store.columns import Instant, Json, id_type, metadata

officials = Table(
    "officials",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False, index=True),
    Column("name", String(120), nullable=False),
    Column("affiliation", String(120), nullable=False),
    Column("roles", Json, nullable=False),
    Column("active", Boolean, nullable=False),
    Column("pin_hash", String(200)),
    Column("version", Integer, nullable=False),
)

join_links = Table(
    "join_links",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("secret_hash", String(64), nullable=False),
    Column("issued_at", Instant, nullable=False),
    Column("expires_at", Instant, nullable=False),
    Column("used_at", Instant),
    Column("revoked_at", Instant),
    Index(None, "meet_id", "official_id"),
)

sessions = Table(
    "sessions",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("secret_hash", String(64), nullable=False, unique=True),
    Column("salt", String(64), nullable=False),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False, index=True),
    Column("link_id", id_type(), ForeignKey("join_links.id"), nullable=False),
    Column("device", String(120), nullable=False),
    Column("joined_at", Instant, nullable=False),
    Column("expires_at", Instant, nullable=False),
    Column("ended_at", Instant),
)

tries = Table(
    "tries",
    metadata,
    Column("key", String(120), primary_key=True),
    Column("count", Integer, nullable=False),
    Column("blocked_until", Instant),
)
