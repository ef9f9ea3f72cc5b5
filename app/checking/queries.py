"""What is read to check a meet, a piece at a time: what was signed, papers, pictures."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, Select, bindparam, select

from app.appeals.papers import kept_of_decision
from app.appeals.tables import decisions
from app.ids import MeetId, RulingId
from app.results.sheet import kept_of_announcement
from app.results.tables import announcements
from app.rulings.form import kept_of_ruling
from app.rulings.queries import StoredForm
from app.rulings.tables import rulings
from app.sealing.told import Kept
from app.store.rows import AnyRow

A_PIECE = 100
"""Rows that are held at a time: their documents and files are large."""

_RULINGS = (
    select(rulings.c.id, rulings.c.form_facts, rulings.c.statement_digest, rulings.c.replaced_by)
    .where(rulings.c.meet_id == bindparam("meet"))
    .order_by(rulings.c.id)
)
_DECISIONS = (
    select(
        decisions.c.id,
        decisions.c.instance,
        decisions.c.appeal_id,
        decisions.c.protest_id,
        decisions.c.statement_digest,
        decisions.c.form_facts,
    )
    .where(decisions.c.meet_id == bindparam("meet"))
    .order_by(decisions.c.seq)
)
_ANNOUNCEMENTS = (
    select(announcements.c.id, announcements.c.snapshot)
    .where(announcements.c.meet_id == bindparam("meet"))
    .order_by(announcements.c.id)
)


def all_kept(conn: Connection, meet: MeetId) -> Iterator[Kept]:
    """What was fixed of each act of a meet when it was signed."""
    for row in _in_pieces(conn, _RULINGS, meet):
        form = StoredForm(row.form_facts, row.statement_digest, row.replaced_by)
        yield kept_of_ruling(RulingId(row.id), form)
    for row in _in_pieces(conn, _DECISIONS, meet):
        yield kept_of_decision(row)
    for row in _in_pieces(conn, _ANNOUNCEMENTS, meet):
        yield kept_of_announcement(row)


def _in_pieces(conn: Connection, asked: Select[Any], meet: MeetId) -> Iterator[AnyRow]:
    yield from conn.execute(asked, {"meet": meet}, execution_options={"yield_per": A_PIECE})
