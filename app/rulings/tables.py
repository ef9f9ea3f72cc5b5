"""Rulings and disqualifications. Neither is deleted; a later ruling names the one it replaces."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, String, Table, Text, text

from app.store.columns import Instant, Json, id_type, metadata

_LANE_INFRINGEMENT_STANDS = text("infringement = 'lane_infringement' AND replaced_by IS NULL")
_ON_FLAGS_STANDS = text("accounts = 0 AND effect <> 'none' AND replaced_by IS NULL")

rulings = Table(
    "rulings",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("case_id", id_type(), ForeignKey("cases.id"), nullable=False, index=True),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False, index=True),
    Column("team_id", id_type(), ForeignKey("teams.id"), index=True),
    Column("lane", Integer),
    Column("run", Integer),
    Column("accounts", Integer, nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("verdict", String(12), nullable=False),
    Column("infringement", String(40)),
    Column("rule", String(60)),
    Column("effect", String(20), nullable=False),
    Column("edition", String(60), nullable=False),
    Column("separate", Integer, nullable=False),
    Column("noted_before", Integer, nullable=False),
    Column("rests_on", Json, nullable=False),
    Column("reasons", Text, nullable=False),
    Column("statement", Json, nullable=False),
    Column("statement_digest", String(64), nullable=False),
    Column("form_facts", Json, nullable=False),
    Column("ruled_at", Instant, nullable=False),
    Column("reconsiders", id_type(), ForeignKey("rulings.id")),
    Column("replaced_by", id_type()),
    Column("content", Text, nullable=False),
    # The few standing rulings that can be shaken without their heat: on flags alone, which can be
    # taken back, and on lane infringements, which are counted. The docket looks for those.
    Index(
        "ix_rulings_on_flags",
        "meet_id",
        sqlite_where=_ON_FLAGS_STANDS,
        postgresql_where=_ON_FLAGS_STANDS,
    ),
    Index(
        "ix_rulings_lane_infringements",
        "meet_id",
        "team_id",
        sqlite_where=_LANE_INFRINGEMENT_STANDS,
        postgresql_where=_LANE_INFRINGEMENT_STANDS,
    ),
)
"""`run` is the run of the heat that counted when it was ruled on; never null, though the column was
made so. `accounts` is how many written accounts stood in the case then; none can be taken back.
`separate` counts the lane infringements that a ruling confirms, `noted_before` those that stood
against the team; `rests_on` names the rulings whose notes L made this one a disqualification."""

disqualifications = Table(
    "disqualifications",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False),
    Column("team_id", id_type(), ForeignKey("teams.id"), nullable=False),
    Column("case_id", id_type(), ForeignKey("cases.id")),
    Column("lane", Integer, nullable=False),
    Column("take_over", Integer),
    Column("infringement", String(40), nullable=False),
    Column("rule", String(60), nullable=False),
    Column("state", String(12), nullable=False),
    Column("since", Instant, nullable=False),
    Column("by_ruling", id_type(), ForeignKey("rulings.id")),
    Column("set_aside_by", id_type()),
    Column("version", Integer, nullable=False),
    Column("by_decision", id_type()),
    Column("run", Integer),
    Index(None, "heat_id", "state"),
    Index(None, "meet_id", "since"),
    Index(None, "by_ruling"),
)
"""One comes from a ruling, or from a decision on a protest or an appeal (then without a case); a
decision that puts one in force again is `by_decision` beside the ruling. `run` is the run of the
heat in which a decision put it in force."""
