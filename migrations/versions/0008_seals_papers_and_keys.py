"""Seals, sealed papers, signed heads of the record, devices' keys, signatures, closed records.

Revision: 0008, after 0007.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from app.record.tables import CHECKPOINT_GUARDS
from app.store.columns import Instant, Json

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def _id(name: str, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.String(length=36), nullable=nullable)


def upgrade() -> None:
    op.create_table(
        "checkpoints",
        _id("meet_id"),
        sa.Column("size", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("root", sa.String(length=64), nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("meet_id", "size", name=op.f("pk_checkpoints")),
    )
    for statement in CHECKPOINT_GUARDS[op.get_bind().dialect.name].values():
        op.execute(statement)
    op.add_column(
        "record_heads",
        sa.Column("closed", sa.Boolean(), nullable=False, server_default=sa.false()),
    )
    _seals_and_papers()
    _keys_and_signatures()
    op.add_column("reports", sa.Column("attested", Json(), nullable=True))


def _seals_and_papers() -> None:
    op.create_table(
        "seals",
        _id("id"),
        _id("meet_id"),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("certificates", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("verifier_key", sa.String(length=200), nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_seals_meet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_seals")),
        sa.UniqueConstraint("meet_id", "fingerprint", name=op.f("uq_seals_meet_id_fingerprint")),
        sa.UniqueConstraint("meet_id", "number", name=op.f("uq_seals_meet_id_number")),
    )
    op.create_table(
        "papers",
        _id("id"),
        _id("meet_id"),
        sa.Column("kind", sa.String(length=30), nullable=False),
        _id("subject"),
        sa.Column("sheet", sa.String(length=10), nullable=False),
        sa.Column("edition", sa.Integer(), nullable=False),
        sa.Column("facts_sha256", sa.String(length=64), nullable=False),
        sa.Column("facts", Json(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        _id("seal_id"),
        sa.Column("head_size", sa.BigInteger(), nullable=False),
        sa.Column("level", sa.String(length=10), nullable=False, server_default="B-B"),
        sa.Column("sealed_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_papers_meet_id")),
        sa.ForeignKeyConstraint(["seal_id"], ["seals.id"], name=op.f("fk_papers_seal_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_papers")),
        sa.UniqueConstraint(
            *("meet_id", "kind", "subject", "sheet", "edition"),
            name=op.f("uq_papers_meet_id_kind_subject_sheet_edition"),
        ),
    )


def _keys_and_signatures() -> None:
    op.create_table(
        "device_keys",
        _id("id"),
        _id("meet_id"),
        _id("official_id"),
        _id("session_id"),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("public_key", sa.Text(), nullable=False),
        sa.Column("credential", sa.String(length=1400), nullable=False),
        sa.Column("sign_count", sa.BigInteger(), nullable=False),
        sa.Column("device", sa.String(length=120), nullable=False),
        sa.Column("registered_at", Instant(), nullable=False),
        sa.Column("revoked_at", Instant()),
        sa.Column("revoked_from", Instant()),
        sa.Column("content", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_device_keys_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_device_keys_official_id")
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_device_keys_session_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device_keys")),
    )
    op.create_index("ix_device_keys_meet_id_credential", "device_keys", ["meet_id", "credential"])
    op.create_index("ix_device_keys_official_id", "device_keys", ["official_id"])
    op.create_table(
        "signatures",
        _id("id"),
        _id("meet_id"),
        sa.Column("act", sa.String(length=40), nullable=False),
        _id("subject"),
        _id("official_id"),
        sa.Column("strength", sa.String(length=20), nullable=False),
        _id("key_id", nullable=True),
        sa.Column("statement", sa.Text(), nullable=False),
        sa.Column("statement_sha256", sa.String(length=64), nullable=False),
        sa.Column("proof", Json()),
        sa.Column("signed_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_signatures_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_signatures_official_id")
        ),
        sa.ForeignKeyConstraint(["key_id"], ["device_keys.id"], name=op.f("fk_signatures_key_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signatures")),
    )
    op.create_index("ix_signatures_meet_id_subject", "signatures", ["meet_id", "subject"])


def downgrade() -> None:
    op.drop_column("reports", "attested")
    for table in ("signatures", "device_keys", "papers", "seals", "checkpoints"):
        op.drop_table(table)
    op.drop_column("record_heads", "closed")
