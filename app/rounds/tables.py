"""How a round leads to the next, lots that were drawn, and what decisions added to it.

A round needs no row: heats name theirs. Its row says who goes on, and what its places score.
"""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, String, Table, Text, UniqueConstraint

from app.sheets.limits import MAX_ROUND_LENGTH
from app.store.columns import Instant, Json, id_type, metadata

rounds = Table(
    "rounds",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("event_id", id_type(), ForeignKey("events.id"), nullable=False),
    Column("round", String(MAX_ROUND_LENGTH), nullable=False),
    Column("round_key", Text, nullable=False),
    Column("by_place", Integer),
    Column("by_time", Integer),
    Column("lanes", Integer),
    Column("next_round", String(MAX_ROUND_LENGTH)),
    Column("next_key", Text),
    Column("points", Json, nullable=False),
    Column("version", Integer, nullable=False),
    UniqueConstraint("event_id", "round_key"),
    Index(None, "meet_id"),
)
"""`by_place`, `by_time`, `lanes` and the next round are null together: nobody goes on from here.
`points` are decimal texts for place 1, 2 and so on."""

lots = Table(
    "lots",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("event_id", id_type(), ForeignKey("events.id"), nullable=False),
    Column("round_key", Text, nullable=False),
    Column("drawn", Json, nullable=False),
    Column("places", Integer, nullable=False),
    Column("drawn_by", String(120), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("drawn_at", Instant, nullable=False),
    Column("entered_at", Instant, nullable=False),
    Column("content", Json, nullable=False),
    Index(None, "event_id", "round_key"),
)
"""`drawn` has the tied teams in the order in which they were drawn."""

advancements = Table(
    "advancements",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("event_id", id_type(), ForeignKey("events.id"), nullable=False),
    Column("round_key", Text, nullable=False),
    Column("team_id", id_type(), ForeignKey("teams.id"), nullable=False),
    Column("letter", String(2), nullable=False),
    Column("state", String(12), nullable=False),
    Column("since", Instant, nullable=False),
    Column("by_decision", id_type(), nullable=False),
    Column("set_aside_by", id_type()),
    Index(None, "event_id", "round_key"),
)
"""Teams that the referee (qR) or the jury (qJ) let go on."""

re_runs = Table(
    "re_runs",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("event_id", id_type(), ForeignKey("events.id"), nullable=False),
    Column("round_key", Text, nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False),
    Column("run_heat_id", id_type(), ForeignKey("heats.id"), nullable=False, unique=True),
    Column("teams", Json, nullable=False),
    Column("letter", String(2), nullable=False),
    Column("time_to_beat", Integer),
    Column("added_places", Integer, nullable=False),
    Column("state", String(12), nullable=False),
    Column("since", Instant, nullable=False),
    Column("by_decision", id_type(), nullable=False),
    Column("set_aside_by", id_type()),
    Index(None, "event_id", "round_key"),
    Index(None, "meet_id"),
    Index(None, "heat_id"),
)
"""Some teams of `heat_id` run again as `run_heat_id`, a heat of its own that is in no round.

`by_decision` ordered it; or let it count after all, where its calling off had been announced.
"""
