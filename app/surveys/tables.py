"""What was measured in each zone, by relay and take-over."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Integer, String, Table

from app.store.columns import Instant, Json, id_type, metadata

zone_surveys = Table(
    "zone_surveys",
    metadata,
    Column("meet_id", id_type(), ForeignKey("meets.id"), primary_key=True),
    Column("relay", String(20), primary_key=True),
    Column("take_over", Integer, primary_key=True, autoincrement=False),
    Column("lines", Json, nullable=False),
    Column("version", Integer, nullable=False),
    Column("measured_at", Instant, nullable=False),
)
"""`lines` holds for lane and line from which mark was taped, and what the tape showed, in metres.
Whether a line lies right is reckoned when it is asked: track and tolerance may be corrected."""
