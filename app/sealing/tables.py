"""The meet's seals, as far as they are public, and the papers that were sealed.

Private keys never come into the database: they lie encrypted in a folder of their own
(`key_store.py`), so that no backup holds one.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    Integer,
    LargeBinary,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from app.store.columns import Instant, Json, id_type, metadata

seals = Table(
    "seals",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("certificates", Text, nullable=False),
    Column("fingerprint", String(64), nullable=False),
    Column("verifier_key", String(200), nullable=False),
    Column("made_at", Instant, nullable=False),
    UniqueConstraint("meet_id", "number"),
    UniqueConstraint("meet_id", "fingerprint"),
)
"""`certificates` are PEM, the one that seals first, then those that lead to its root;
`fingerprint` is the SHA-256 of the first one's DER, `verifier_key` the C2SP verifier key of the
record's checkpoints. The one with the highest number seals; the others stay to be checked by."""

papers = Table(
    "papers",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("kind", String(30), nullable=False),
    Column("subject", id_type(), nullable=False),
    Column("sheet", String(10), nullable=False),
    Column("edition", Integer, nullable=False),
    Column("facts_sha256", String(64), nullable=False),
    Column("facts", Json, nullable=False),
    Column("content", LargeBinary, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("seal_id", id_type(), ForeignKey("seals.id"), nullable=False),
    Column("head_size", BigInteger, nullable=False),
    Column("level", String(10), nullable=False, server_default="B-B"),
    Column("sealed_at", Instant, nullable=False),
    UniqueConstraint("meet_id", "kind", "subject", "sheet", "edition"),
)
"""A paper is sealed once and given out as often as somebody asks; where what it tells has changed
since, the next edition is drawn and sealed. `facts` are what was drawn, `facts_sha256` their
digest without the time and the head of printing, `subject` the id of what it tells of, `level` the
baseline of EN 319 142-1 that its last seal reached."""
