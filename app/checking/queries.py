"""What is read to check a meet, a piece at a time: what was signed, papers, pictures."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from sqlalchemy import Connection, Table, bindparam, select, union

from app.access.tables import signatures
from app.appeals.decision_papers import kept_of_decision
from app.appeals.tables import appeals, decisions, protests
from app.ids import MeetId, RulingId
from app.meets.tables import meets
from app.pictures.tables import picture_copies, picture_originals, pictures
from app.record.kinds import Kind
from app.record.tables import record_entries, record_heads
from app.reports.tables import calls, reports
from app.results.sheet import kept_of_announcement
from app.results.tables import announcements
from app.rulings.form import kept_of_ruling
from app.rulings.queries import OF_MEET, StoredForm
from app.rulings.tables import rulings
from app.sealing.tables import papers, seals
from app.sealing.told import Kept
from app.store.rows import AnyRow

A_PIECE, A_FEW_FILES = 100, 10
"""Rows that are held at a time: their documents are large, and files larger."""

_RULINGS = (
    select(rulings.c.id, rulings.c.form_facts, rulings.c.statement_digest, rulings.c.replaced_by)
    .where(OF_MEET)
    .order_by(rulings.c.id)
    .execution_options(yield_per=A_PIECE)
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
    .execution_options(yield_per=A_PIECE)
)
_ANNOUNCEMENTS = (
    select(announcements.c.id, announcements.c.snapshot, announcements.c.statement_digest)
    .where(announcements.c.meet_id == bindparam("meet"))
    .order_by(announcements.c.id)
    .execution_options(yield_per=A_PIECE)
)
_PAPERS = (
    select(papers, seals.c.fingerprint)
    .join(seals, seals.c.id == papers.c.seal_id)
    .where(papers.c.meet_id == bindparam("meet"))
    .order_by(papers.c.id)
    .execution_options(yield_per=A_FEW_FILES)
)
_PICTURES = (
    select(
        pictures,
        picture_originals.c.content.label("original"),
        picture_copies.c.content.label("shown"),
    )
    .outerjoin(picture_originals, picture_originals.c.picture_id == pictures.c.id)
    .outerjoin(picture_copies, picture_copies.c.picture_id == pictures.c.id)
    .where(pictures.c.meet_id == bindparam("meet"))
    .order_by(pictures.c.id)
    .execution_options(yield_per=1)
)
_SUBJECTS = select(record_entries.c.subject).where(
    record_entries.c.meet_id == bindparam("meet"), record_entries.c.kind == bindparam("kind")
)


def known_meets(conn: Connection) -> list[MeetId]:
    """All meets that there are, or of which a record is left."""
    records = (select(table.c.meet_id) for table in (record_heads, record_entries))
    return [MeetId(one) for one in conn.execute(union(select(meets.c.id), *records)).scalars()]


def subjects_of(conn: Connection, meet: MeetId, kind: Kind) -> set[str]:
    """What the record's entries of a kind are about."""
    return set(conn.execute(_SUBJECTS, {"meet": meet, "kind": kind.value}).scalars())


def _reader(table: Table) -> Callable[[Connection, MeetId], Iterator[dict[str, Any]]]:
    """What reads the rows of a meet in a table, a few at a time."""
    asked = (
        select(table)
        .where(table.c.meet_id == bindparam("meet"))
        .order_by(table.c.id)
        .execution_options(yield_per=A_PIECE)
    )

    def read(conn: Connection, meet: MeetId) -> Iterator[dict[str, Any]]:
        yield from map(dict, conn.execute(asked, {"meet": meet}).mappings())

    return read


all_signatures = _reader(signatures)
all_reports = _reader(reports)
all_calls = _reader(calls)
all_protests = _reader(protests)
all_appeals = _reader(appeals)


def all_papers(conn: Connection, meet: MeetId) -> Iterator[AnyRow]:
    """The sealed papers of a meet with their bytes, a few at a time."""
    yield from conn.execute(_PAPERS, {"meet": meet})


def all_pictures(conn: Connection, meet: MeetId) -> Iterator[AnyRow]:
    """The pictures of a meet with their files, as far as they are there, one at a time."""
    yield from conn.execute(_PICTURES, {"meet": meet})


def all_decided(conn: Connection, meet: MeetId) -> Iterator[tuple[str, dict[str, Any]]]:
    """The rows of rulings and of decisions, each with a word for it."""
    for word, rows in (("ruling", rulings), ("decision", decisions)):
        asked = select(rows).where(rows.c.meet_id == meet).order_by(rows.c.id)
        for row in conn.execute(asked.execution_options(yield_per=A_PIECE)).mappings():
            yield word, dict(row)


def all_kept(conn: Connection, meet: MeetId) -> Iterator[Kept]:
    """What was fixed of each act of a meet when it was signed."""
    asked = {"meet": meet}
    for ruling in conn.execute(_RULINGS, asked):
        form = StoredForm(ruling.form_facts, ruling.statement_digest, ruling.replaced_by)
        yield kept_of_ruling(RulingId(ruling.id), form)
    yield from (kept_of_decision(row) for row in conn.execute(_DECISIONS, asked))
    yield from (kept_of_announcement(row) for row in conn.execute(_ANNOUNCEMENTS, asked))
