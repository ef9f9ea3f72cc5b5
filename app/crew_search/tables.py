"""What a crew is planned from, besides the programme and the officials that the meet has anyway,
and the searches for a plan.
"""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Integer, String, Table, Text

from app.store.columns import Instant, Json, id_type, metadata

crew_wishes = Table(
    "crew_wishes",
    metadata,
    Column("meet_id", id_type(), ForeignKey("meets.id"), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("content", Json, nullable=False),
)
"""`content` is the document as it was sent: people by their ids, never by name."""

crew_searches = Table(
    "crew_searches",
    metadata,
    Column("meet_id", id_type(), ForeignKey("meets.id"), primary_key=True),
    Column("id", id_type(), primary_key=True),
    Column("sent", Json),
    Column("phase", String(10), nullable=False),
    Column("stopped", Boolean, nullable=False),
    Column("began", Instant, nullable=False),
    Column("heard", Instant, nullable=False),
    Column("ended", Instant),
    Column("problem", Text, nullable=False),
    Column("content", Json),
)
"""`sent` is how the search was asked for, `content` how far it is and what it has found: people by
their ids, never by name. Both are gone once the meet has had a later search: then the id alone is
kept. `heard` is when the process that runs it last wrote.
"""
