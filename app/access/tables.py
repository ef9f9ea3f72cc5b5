"""Officials, their personal links, their sessions, and counted tries."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    text,
)

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
    Index(None, "official_id"),
)

sessions = Table(
    "sessions",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("secret_hash", String(64), nullable=False, unique=True),
    Column("salt", String(64), nullable=False),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False, index=True),
    Column("link_id", id_type(), ForeignKey("join_links.id"), nullable=False, index=True),
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

device_keys = Table(
    "device_keys",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False, index=True),
    Column("session_id", id_type(), ForeignKey("sessions.id"), nullable=False, index=True),
    Column("kind", String(20), nullable=False),
    Column("public_key", Text, nullable=False),
    Column("credential", String(1400), nullable=False),
    Column("sign_count", BigInteger, nullable=False),
    Column("device", String(120), nullable=False),
    Column("registered_at", Instant, nullable=False),
    Column("revoked_at", Instant),
    Column("revoked_from", Instant),
    Column("content", Text, nullable=False),
    Index(None, "meet_id", "credential"),
)
"""Public keys that officials sign with: `kind` is `passkey` (its WebAuthn `credential` id beside
it) or `phone key`. The private halves never leave the devices. `content` is what was sent."""

signatures = Table(
    "signatures",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("act", String(40), nullable=False),
    Column("subject", id_type(), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("strength", String(20), nullable=False),
    Column("key_id", id_type(), ForeignKey("device_keys.id")),
    Column("statement", Text, nullable=False),
    Column("statement_sha256", String(64), nullable=False),
    Column("proof", Json),
    Column("signed_at", Instant, nullable=False),
    Index(None, "meet_id", "subject"),
    Index(
        "ix_signatures_key_id",
        "key_id",
        sqlite_where=text("key_id IS NOT NULL"),
        postgresql_where=text("key_id IS NOT NULL"),
    ),
)
"""Who signed what: `statement` is the RFC 8785 form that was signed, `strength` says how, and
`proof` is what a device's key made of it (null for a PIN)."""
