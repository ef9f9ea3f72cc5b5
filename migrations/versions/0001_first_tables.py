"""first tables

Revision: 0001, the first.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from app.record.tables import GUARD_FUNCTION, GUARDS
from app.store.columns import Instant, Json

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "meets",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("time_zone", sa.String(length=60), nullable=False),
        sa.Column("edition", sa.String(length=60), nullable=False),
        sa.Column("facts", Json(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_meets")),
    )
    op.create_table(
        "record_bodies",
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("salt", sa.LargeBinary(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("meet_id", "seq", name=op.f("pk_record_bodies")),
    )
    op.create_table(
        "record_entries",
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("subject", sa.String(length=80), nullable=False),
        sa.Column("entry", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("meet_id", "seq", name=op.f("pk_record_entries")),
    )
    op.create_index(
        "ix_record_entries_meet_id_subject", "record_entries", ["meet_id", "subject"], unique=False
    )

    op.create_table(
        "record_heads",
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("frontier", Json(), nullable=False),
        sa.Column("root", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("meet_id", name=op.f("pk_record_heads")),
    )
    op.create_table(
        "tries",
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("blocked_until", Instant(), nullable=True),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_tries")),
    )
    op.create_table(
        "crew_plans",
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("content", Json(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_crew_plans_meet_id")),
        sa.PrimaryKeyConstraint("meet_id", name=op.f("pk_crew_plans")),
    )
    op.create_table(
        "events",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("relay", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_events_meet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_events")),
        sa.UniqueConstraint("meet_id", "name_key", name=op.f("uq_events_meet_id_name_key")),
    )
    op.create_table(
        "officials",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("affiliation", sa.String(length=120), nullable=False),
        sa.Column("roles", Json(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("pin_hash", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_officials_meet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_officials")),
    )
    op.create_index("ix_officials_meet_id", "officials", ["meet_id"], unique=False)

    op.create_table(
        "heats",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("event_id", sa.String(length=36), nullable=False),
        sa.Column("round", sa.String(length=120), nullable=False),
        sa.Column("round_key", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("scheduled", sa.String(length=60), nullable=True),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("started_at", Instant(), nullable=True),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["event_id"], ["events.id"], name=op.f("fk_heats_event_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_heats_meet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_heats")),
        sa.UniqueConstraint(
            "event_id", "round_key", "number", name=op.f("uq_heats_event_id_round_key_number")
        ),
    )
    op.create_index("ix_heats_meet_id_position", "heats", ["meet_id", "position"], unique=False)
    op.create_index(
        "ix_heats_run_again",
        "heats",
        ["meet_id", "run", "state", "id"],
        unique=False,
        sqlite_where=sa.text("run > 1 OR state = 'to come' AND run > 0"),
        postgresql_where=sa.text("run > 1 OR state = 'to come' AND run > 0"),
    )

    op.create_table(
        "join_links",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("issued_at", Instant(), nullable=False),
        sa.Column("expires_at", Instant(), nullable=False),
        sa.Column("used_at", Instant(), nullable=True),
        sa.Column("revoked_at", Instant(), nullable=True),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_join_links_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_join_links_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_join_links")),
    )
    op.create_index(
        "ix_join_links_meet_id_official_id", "join_links", ["meet_id", "official_id"], unique=False
    )

    op.create_table(
        "posts",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("take_over", sa.Integer(), nullable=False),
        sa.Column("edge", sa.String(length=10), nullable=False),
        sa.Column("lanes", Json(), nullable=False),
        sa.Column("side", sa.String(length=10), nullable=False),
        sa.Column("relays", Json(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_posts_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_posts_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_posts")),
    )
    op.create_index("ix_posts_meet_id_retired", "posts", ["meet_id", "retired"], unique=False)

    op.create_table(
        "teams",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("event_id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=500), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("affiliation", sa.String(length=500), nullable=False),
        sa.ForeignKeyConstraint(["event_id"], ["events.id"], name=op.f("fk_teams_event_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_teams_meet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_teams")),
        sa.UniqueConstraint("event_id", "name_key", name=op.f("uq_teams_event_id_name_key")),
    )
    op.create_index("ix_teams_meet_id", "teams", ["meet_id"], unique=False)

    op.create_table(
        "announcements",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("announced_at", Instant(), nullable=False),
        sa.Column("entered_at", Instant(), nullable=False),
        sa.Column("snapshot", Json(), nullable=False),
        sa.Column("statement_digest", sa.String(length=64), nullable=False),
        sa.Column("content", Json(), nullable=False),
        sa.Column("list_seen", sa.Integer(), nullable=False),
        sa.Column("rulings_seen", sa.Integer(), nullable=False),
        sa.Column("run_seen", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_announcements_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_announcements_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_announcements_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_announcements")),
        sa.UniqueConstraint("heat_id", "number", name=op.f("uq_announcements_heat_id_number")),
    )
    op.create_index(
        "ix_announcements_meet_id_announced_at",
        "announcements",
        ["meet_id", "announced_at"],
        unique=False,
    )

    op.create_table(
        "cases",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=True),
        sa.Column("lane", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("opened_at", Instant(), nullable=False),
        sa.Column("further_of", sa.String(length=36), nullable=True),
        sa.Column("joined_to", sa.String(length=36), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["further_of"], ["cases.id"], name=op.f("fk_cases_further_of")),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_cases_heat_id")),
        sa.ForeignKeyConstraint(["joined_to"], ["cases.id"], name=op.f("fk_cases_joined_to")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_cases_meet_id")),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_cases_team_id")),
        sa.CheckConstraint("joined_to <> id", name=op.f("ck_cases_joined_to_another")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cases")),
    )
    op.create_index(
        "ix_cases_docket",
        "cases",
        ["meet_id", "opened_at", "id"],
        unique=False,
        sqlite_where=sa.text("state = 'open'"),
        postgresql_where=sa.text("state = 'open'"),
    )
    op.create_index("ix_cases_meet_id_number", "cases", ["meet_id", "number"], unique=True)
    op.create_index("ix_cases_heat_id_state", "cases", ["heat_id", "state"], unique=False)
    op.create_index(
        "uq_cases_open_team",
        "cases",
        ["heat_id", "team_id"],
        unique=True,
        sqlite_where=sa.text("state = 'open' AND team_id IS NOT NULL"),
        postgresql_where=sa.text("state = 'open' AND team_id IS NOT NULL"),
    )

    op.create_table(
        "lanes",
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("lane", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=False),
        sa.Column("bib", sa.String(length=60), nullable=False),
        sa.Column("legs", Json(), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_lanes_heat_id")),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_lanes_team_id")),
        sa.PrimaryKeyConstraint("heat_id", "lane", name=op.f("pk_lanes")),
        sa.UniqueConstraint("heat_id", "team_id", name=op.f("uq_lanes_heat_id_team_id")),
    )
    op.create_index("ix_lanes_team_id", "lanes", ["team_id"], unique=False)

    op.create_table(
        "run_lanes",
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("lane", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_run_lanes_heat_id")),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_run_lanes_team_id")),
        sa.PrimaryKeyConstraint("heat_id", "run", "lane", name=op.f("pk_run_lanes")),
    )

    op.create_table(
        "results",
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("rows", Json(), nullable=False),
        sa.Column("loaded_by", sa.String(length=36), nullable=False),
        sa.Column("loaded_at", Instant(), nullable=False),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_results_heat_id")),
        sa.ForeignKeyConstraint(["loaded_by"], ["officials.id"], name=op.f("fk_results_loaded_by")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_results_meet_id")),
        sa.PrimaryKeyConstraint("heat_id", name=op.f("pk_results")),
    )
    op.create_table(
        "sessions",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("salt", sa.String(length=64), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("link_id", sa.String(length=36), nullable=False),
        sa.Column("device", sa.String(length=120), nullable=False),
        sa.Column("joined_at", Instant(), nullable=False),
        sa.Column("expires_at", Instant(), nullable=False),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.ForeignKeyConstraint(["link_id"], ["join_links.id"], name=op.f("fk_sessions_link_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_sessions_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_sessions_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sessions")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_sessions_secret_hash")),
    )
    op.create_index("ix_sessions_official_id", "sessions", ["official_id"], unique=False)

    op.create_table(
        "reports",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("case_id", sa.String(length=36), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("post_id", sa.String(length=36), nullable=True),
        sa.Column("post_words", sa.Text(), nullable=False),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("take_over", sa.Integer(), nullable=True),
        sa.Column("lane", sa.Integer(), nullable=True),
        sa.Column("team_id", sa.String(length=36), nullable=True),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("observation", Json(), nullable=True),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("marks", Json(), nullable=False),
        sa.Column("finding", Json(), nullable=True),
        sa.Column("clock", Json(), nullable=True),
        sa.Column("raised_at", Instant(), nullable=False),
        sa.Column("received_at", Instant(), nullable=True),
        sa.Column("content", sa.String(length=64), nullable=True),
        sa.Column("remark", sa.Text(), nullable=True),
        sa.Column("came_as", sa.String(length=36), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["came_as"], ["reports.id"], name=op.f("fk_reports_came_as")),
        sa.ForeignKeyConstraint(["case_id"], ["cases.id"], name=op.f("fk_reports_case_id")),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_reports_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_reports_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_reports_official_id")
        ),
        sa.ForeignKeyConstraint(["post_id"], ["posts.id"], name=op.f("fk_reports_post_id")),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_reports_team_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reports")),
    )
    op.create_index(
        "ix_reports_case_id_official_id", "reports", ["case_id", "official_id"], unique=False
    )
    op.create_index(
        "ix_reports_meet_id_official_id_raised_at",
        "reports",
        ["meet_id", "official_id", "raised_at"],
        unique=False,
    )
    op.create_index(
        "ix_reports_raised",
        "reports",
        ["heat_id", "official_id"],
        unique=False,
        sqlite_where=sa.text("state = 'raised'"),
        postgresql_where=sa.text("state = 'raised'"),
    )

    op.create_table(
        "rulings",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("case_id", sa.String(length=36), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=True),
        sa.Column("lane", sa.Integer(), nullable=True),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("accounts", sa.Integer(), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("verdict", sa.String(length=12), nullable=False),
        sa.Column("infringement", sa.String(length=40), nullable=True),
        sa.Column("rule", sa.String(length=60), nullable=True),
        sa.Column("effect", sa.String(length=20), nullable=False),
        sa.Column("edition", sa.String(length=60), nullable=False),
        sa.Column("separate", sa.Integer(), nullable=False),
        sa.Column("noted_before", sa.Integer(), nullable=False),
        sa.Column("rests_on", Json(), nullable=False),
        sa.Column("reasons", sa.Text(), nullable=False),
        sa.Column("statement", Json(), nullable=False),
        sa.Column("statement_digest", sa.String(length=64), nullable=False),
        sa.Column("form_facts", Json(), nullable=False),
        sa.Column("ruled_at", Instant(), nullable=False),
        sa.Column("reconsiders", sa.String(length=36), nullable=True),
        sa.Column("replaced_by", sa.String(length=36), nullable=True),
        sa.Column("content", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["case_id"], ["cases.id"], name=op.f("fk_rulings_case_id")),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_rulings_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_rulings_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_rulings_official_id")
        ),
        sa.ForeignKeyConstraint(
            ["reconsiders"], ["rulings.id"], name=op.f("fk_rulings_reconsiders")
        ),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_rulings_team_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rulings")),
    )
    _index_rulings()

    op.create_table(
        "windows",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("announcement_id", sa.String(length=36), nullable=False),
        sa.Column("kind", sa.String(length=60), nullable=False),
        sa.Column("remedy", sa.String(length=20), nullable=False),
        sa.Column("opened_by", sa.String(length=40), nullable=False),
        sa.Column("opened_at", Instant(), nullable=False),
        sa.Column("closes_at", Instant(), nullable=True),
        sa.Column("minutes", sa.Integer(), nullable=True),
        sa.Column("rule", sa.String(length=60), nullable=False),
        sa.Column("origin", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(
            ["announcement_id"], ["announcements.id"], name=op.f("fk_windows_announcement_id")
        ),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_windows_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_windows_meet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_windows")),
    )
    op.create_index(
        "ix_windows_meet_id_closes_at", "windows", ["meet_id", "closes_at"], unique=False
    )

    op.create_table(
        "calls",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("post_id", sa.String(length=36), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("flag", sa.String(length=10), nullable=False),
        sa.Column("lane", sa.Integer(), nullable=True),
        sa.Column("team_id", sa.String(length=36), nullable=True),
        sa.Column("run", sa.Integer(), nullable=True),
        sa.Column("report_id", sa.String(length=36), nullable=True),
        sa.Column("names_report", sa.Boolean(), nullable=False),
        sa.Column("clock", Json(), nullable=False),
        sa.Column("marks", Json(), nullable=False),
        sa.Column("received_at", Instant(), nullable=False),
        sa.Column("content", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_calls_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_calls_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_calls_official_id")
        ),
        sa.ForeignKeyConstraint(["post_id"], ["posts.id"], name=op.f("fk_calls_post_id")),
        sa.ForeignKeyConstraint(["report_id"], ["reports.id"], name=op.f("fk_calls_report_id")),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_calls_team_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calls")),
    )
    op.create_index("ix_calls_heat_id_post_id", "calls", ["heat_id", "post_id"], unique=False)
    op.create_index("ix_calls_report_id", "calls", ["report_id"], unique=False)

    op.create_table(
        "heat_posts",
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("post_id", sa.String(length=36), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("take_over", sa.Integer(), nullable=False),
        sa.Column("edge", sa.String(length=10), nullable=False),
        sa.Column("lanes", Json(), nullable=False),
        sa.Column("side", sa.String(length=10), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_heat_posts_heat_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_heat_posts_official_id")
        ),
        sa.ForeignKeyConstraint(["post_id"], ["posts.id"], name=op.f("fk_heat_posts_post_id")),
        sa.PrimaryKeyConstraint("heat_id", "post_id", name=op.f("pk_heat_posts")),
    )

    op.create_table(
        "disqualifications",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=False),
        sa.Column("case_id", sa.String(length=36), nullable=False),
        sa.Column("lane", sa.Integer(), nullable=False),
        sa.Column("take_over", sa.Integer(), nullable=True),
        sa.Column("infringement", sa.String(length=40), nullable=False),
        sa.Column("rule", sa.String(length=60), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("since", Instant(), nullable=False),
        sa.Column("by_ruling", sa.String(length=36), nullable=False),
        sa.Column("set_aside_by", sa.String(length=36), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["by_ruling"], ["rulings.id"], name=op.f("fk_disqualifications_by_ruling")
        ),
        sa.ForeignKeyConstraint(
            ["case_id"], ["cases.id"], name=op.f("fk_disqualifications_case_id")
        ),
        sa.ForeignKeyConstraint(
            ["heat_id"], ["heats.id"], name=op.f("fk_disqualifications_heat_id")
        ),
        sa.ForeignKeyConstraint(
            ["meet_id"], ["meets.id"], name=op.f("fk_disqualifications_meet_id")
        ),
        sa.ForeignKeyConstraint(
            ["team_id"], ["teams.id"], name=op.f("fk_disqualifications_team_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_disqualifications")),
    )
    op.create_index(
        "ix_disqualifications_by_ruling", "disqualifications", ["by_ruling"], unique=False
    )
    op.create_index(
        "ix_disqualifications_heat_id_state",
        "disqualifications",
        ["heat_id", "state"],
        unique=False,
    )
    op.create_index(
        "ix_disqualifications_meet_id_since",
        "disqualifications",
        ["meet_id", "since"],
        unique=False,
    )
    guard_record()


def guard_record() -> None:
    """The triggers that refuse to rewrite the record."""
    engine = op.get_bind().dialect.name
    if engine == "postgresql":
        op.execute(GUARD_FUNCTION)
    for statement in GUARDS[engine].values():
        op.execute(statement)


def _index_rulings() -> None:
    op.create_index("ix_rulings_case_id", "rulings", ["case_id"], unique=False)
    op.create_index("ix_rulings_heat_id", "rulings", ["heat_id"], unique=False)
    op.create_index(
        "ix_rulings_on_flags",
        "rulings",
        ["meet_id"],
        unique=False,
        sqlite_where=sa.text("accounts = 0 AND effect <> 'none' AND replaced_by IS NULL"),
        postgresql_where=sa.text("accounts = 0 AND effect <> 'none' AND replaced_by IS NULL"),
    )
    op.create_index(
        "ix_rulings_lane_infringements",
        "rulings",
        ["meet_id", "team_id"],
        unique=False,
        sqlite_where=sa.text("infringement = 'lane_infringement' AND replaced_by IS NULL"),
        postgresql_where=sa.text("infringement = 'lane_infringement' AND replaced_by IS NULL"),
    )
    op.create_index("ix_rulings_team_id", "rulings", ["team_id"], unique=False)


def downgrade() -> None:
    for table in (
        "disqualifications",
        "calls",
        "heat_posts",
        "windows",
        "rulings",
        "reports",
        "sessions",
        "results",
        "run_lanes",
        "lanes",
        "cases",
        "announcements",
        "teams",
        "posts",
        "join_links",
        "heats",
        "officials",
        "events",
        "crew_plans",
        "tries",
        "record_heads",
        "record_entries",
        "record_bodies",
        "meets",
    ):
        op.drop_table(table)
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP FUNCTION refuse_record_change()")
