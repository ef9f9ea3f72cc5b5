"""Flags shown, reports written, and the cases they form. Nothing here is ever deleted."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
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

cases = Table(
    "cases",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False),
    Column("team_id", id_type(), ForeignKey("teams.id")),
    Column("lane", Integer),
    Column("state", String(10), nullable=False),
    Column("opened_at", Instant, nullable=False),
    Column("further_of", id_type(), ForeignKey("cases.id")),
    Column("joined_to", id_type(), ForeignKey("cases.id")),
    Column("version", Integer, nullable=False),
    CheckConstraint("joined_to <> id", "joined_to_another"),
    Index(None, "meet_id", "number", unique=True),
    # One open case for a team in a heat; the database holds to it too.
    Index(
        "uq_cases_open_team",
        "heat_id",
        "team_id",
        unique=True,
        sqlite_where=text("state = 'open' AND team_id IS NOT NULL"),
        postgresql_where=text("state = 'open' AND team_id IS NOT NULL"),
    ),
    # The docket reads the open cases of one meet, oldest first: as fast with a season stored.
    Index(
        "ix_cases_docket",
        "meet_id",
        "opened_at",
        "id",
        sqlite_where=text("state = 'open'"),
        postgresql_where=text("state = 'open'"),
    ),
    Index(None, "heat_id", "state"),
    # The few whose reports have moved to another one: every case is asked which have come to it.
    Index(
        "ix_cases_joined_to",
        "joined_to",
        sqlite_where=text("joined_to IS NOT NULL"),
        postgresql_where=text("joined_to IS NOT NULL"),
    ),
)
"""`number` counts the cases of a meet in the order of opening: it can be said over a radio."""

reports = Table(
    "reports",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False),
    Column("case_id", id_type(), ForeignKey("cases.id"), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("post_id", id_type(), ForeignKey("posts.id")),
    Column("post_words", Text, nullable=False),
    Column("run", Integer),
    Column("take_over", Integer),
    Column("lane", Integer),
    Column("team_id", id_type(), ForeignKey("teams.id")),
    Column("state", String(12), nullable=False),
    Column("observation", Json),
    Column("words", Text, nullable=False),
    Column("marks", Json, nullable=False),
    Column("finding", Json),
    Column("clock", Json),
    Column("attested", Json),
    Column("raised_at", Instant, nullable=False),
    Column("received_at", Instant),
    Column("content", Text),
    Column("remark", Text),
    Column("came_as", id_type(), ForeignKey("reports.id")),
    Column("version", Integer, nullable=False),
    # A case's reports, and how many of them one official wrote.
    Index(None, "case_id", "official_id"),
    Index(None, "meet_id", "official_id", "raised_at"),
    # The few whose account is still to come: every new report asks whether it is one of these.
    Index(
        "ix_reports_raised",
        "heat_id",
        "official_id",
        sqlite_where=text("state = 'raised'"),
        postgresql_where=text("state = 'raised'"),
    ),
)
"""`content` is the SHA-256 of what was sent: it tells a repetition from a change.
`run` is the run of the heat it is about; never null, though the column was made so.
`post_words` is the post as it was then: a later crew plan may use its id for another place.
`remark` is the head official's question with a returned report, or the reason of a withdrawal.
`attested` is how a phone signed it; null where the server alone attests it.
`came_as` is the report as which the account of this flag came, and which stands in its place."""

calls = Table(
    "calls",
    metadata,
    Column("id", id_type(), primary_key=True),
    Column("meet_id", id_type(), ForeignKey("meets.id"), nullable=False),
    Column("heat_id", id_type(), ForeignKey("heats.id"), nullable=False),
    Column("post_id", id_type(), ForeignKey("posts.id"), nullable=False),
    Column("official_id", id_type(), ForeignKey("officials.id"), nullable=False),
    Column("flag", String(10), nullable=False),
    Column("lane", Integer),
    Column("team_id", id_type(), ForeignKey("teams.id")),
    Column("run", Integer),
    Column("report_id", id_type(), ForeignKey("reports.id")),
    Column("names_report", Boolean, nullable=False),
    Column("clock", Json, nullable=False),
    Column("marks", Json, nullable=False),
    Column("received_at", Instant, nullable=False),
    Column("content", Text, nullable=False),
    Index(None, "heat_id", "post_id"),
    Index(None, "report_id"),
)
"""`team_id` is the team that ran in the lane then: lanes may be drawn anew after a recall.
`run` is the run of the heat for which the call speaks for its post; null where it does not: the
heat had not been started, or the post is somebody else's.
`names_report` says whether the phone of whoever writes the account chose the report's id: only then
is the account sure to come under it."""
