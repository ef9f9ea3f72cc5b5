"""What a crew is planned from, besides the programme and the officials that the meet has anyway."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Integer, Table

from app.store.columns import Json, id_type, metadata

crew_wishes = Table(
    "crew_wishes",
    metadata,
    Column("meet_id", id_type(), ForeignKey("meets.id"), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("content", Json, nullable=False),
)
"""`content` is the document as it was sent: people by their ids, never by name."""
