"""Pictures of reports. None is changed or deleted.

They lie in the database, so that a backup is whole; the bytes of original and copy in tables of
their own, so that a list of pictures reads none.
"""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, LargeBinary, String, Table

from app.store.columns import Instant, id_type, metadata

pictures = Table(
    "pictures",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("report_id", id_type(), ForeignKey("reports.id"), nullable=False, index=True),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("media_type", String(20), nullable=False),
    Column("size", Integer, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("shown_sha256", String(64), nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("received_at", Instant, nullable=False),
    # What all pictures of a meet take is asked with each.
    Index(None, "meet_id", "size"),
)
"""`media_type`, `size` in bytes and `sha256` are the original's; `width` and `height` in pixels,
and `shown_sha256`, are the copy's."""

picture_originals = Table(
    "picture_originals",
    metadata,
    Column("picture_id", id_type(), ForeignKey("pictures.id"), primary_key=True),
    Column("content", LargeBinary, nullable=False),
)

picture_copies = Table(
    "picture_copies",
    metadata,
    Column("picture_id", id_type(), ForeignKey("pictures.id"), primary_key=True),
    Column("content", LargeBinary, nullable=False),
)
