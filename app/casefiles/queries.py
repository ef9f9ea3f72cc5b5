"""Reading what belongs to a case file: ids of what it is about, entries, papers and pictures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import BindParameter, Connection, Select, bindparam, select

from app.appeals.tables import appeals, decisions, protests
from app.exporting.queries import AT_ONCE, COPY_OF, Recorded, batched, entries_at
from app.ids import (
    AppealId,
    CaseId,
    DecisionId,
    HeatId,
    MeetId,
    PictureId,
    ProtestId,
    RulingId,
)
from app.meets.queries import PRESENT_RUN
from app.meets.tables import heats
from app.pictures.tables import pictures
from app.record.tables import record_entries
from app.reports.tables import calls, reports
from app.results.tables import announcements
from app.rulings.tables import rulings
from app.sealing.tables import papers
from app.store.rows import AnyRow

JPEG = b"\xff\xd8"
IDENTS: BindParameter[Any] = bindparam("idents", expanding=True)

_REPORTS = select(reports.c.id).where(reports.c.case_id.in_(IDENTS)).order_by(reports.c.id)
_FLAGS = select(calls.c.id).where(calls.c.report_id.in_(IDENTS)).order_by(calls.c.id)
_PICTURES = select(pictures.c.id).where(pictures.c.report_id.in_(IDENTS)).order_by(pictures.c.id)
_RULINGS = select(rulings.c.id).where(rulings.c.case_id.in_(IDENTS)).order_by(rulings.c.id)
# Neither table has an index of its own for this: the meet's part of it is looked through.
_PROTESTS = (
    select(protests.c.id)
    .where(protests.c.meet_id == bindparam("meet"), protests.c.ruling_id.in_(IDENTS))
    .order_by(protests.c.number)
)
_PAPERS = (
    select(papers.c.id)
    .where(papers.c.meet_id == bindparam("meet"), papers.c.subject.in_(IDENTS))
    .order_by(papers.c.id)
)
_APPEALS = select(appeals.c.id).where(appeals.c.protest_id.in_(IDENTS)).order_by(appeals.c.number)
_DECISIONS = (
    select(decisions.c.id).where(decisions.c.protest_id.in_(IDENTS)).order_by(decisions.c.seq)
)
_ENTRIES = select(record_entries.c.seq).where(
    record_entries.c.meet_id == bindparam("meet"), record_entries.c.subject.in_(IDENTS)
)
_SHOWN = (
    select(calls.c.id, calls.c.post_id, calls.c.flag, calls.c.report_id, calls.c.received_at)
    .join(heats, heats.c.id == calls.c.heat_id)
    .where(calls.c.heat_id == bindparam("heat"), calls.c.run == PRESENT_RUN)
    .order_by(calls.c.received_at, calls.c.id)
)
_CASE_OF = select(rulings.c.case_id).where(rulings.c.id == bindparam("ruling"))
_ANNOUNCED = (
    select(
        announcements.c.id,
        announcements.c.number,
        announcements.c.announced_at,
        announcements.c.statement_digest,
        announcements.c.snapshot,
    )
    .where(announcements.c.heat_id == bindparam("heat"))
    .order_by(announcements.c.number)
)


def _idents(
    conn: Connection, statement: Select[Any], about: Iterable[str], **more: str
) -> tuple[str, ...]:
    found: list[str] = []
    for some in batched(tuple(about), AT_ONCE):
        found += conn.execute(statement, {"idents": some, **more}).scalars()
    return tuple(found)


def reports_in(conn: Connection, cases: Iterable[CaseId]) -> tuple[str, ...]:
    """The reports that lie in these cases."""
    return _idents(conn, _REPORTS, cases)


def flags_of(conn: Connection, written: Iterable[str]) -> tuple[str, ...]:
    """The flags that these reports follow."""
    return _idents(conn, _FLAGS, written)


def flags_shown(conn: Connection, heat_id: HeatId) -> list[AnyRow]:
    """The flags that speak for their posts in the present run of a heat, as they came."""
    return list(conn.execute(_SHOWN, {"heat": heat_id}))


def pictures_of_reports(conn: Connection, written: Iterable[str]) -> tuple[str, ...]:
    """The pictures of these reports."""
    return _idents(conn, _PICTURES, written)


def rulings_in(conn: Connection, cases: Iterable[CaseId]) -> tuple[RulingId, ...]:
    """The rulings on these cases, also those that were replaced."""
    return tuple(RulingId(one) for one in _idents(conn, _RULINGS, cases))


def protests_about(
    conn: Connection, meet_id: MeetId, ruled: Iterable[RulingId]
) -> tuple[ProtestId, ...]:
    """The protests about these rulings, in the order of their numbers."""
    return tuple(ProtestId(one) for one in _idents(conn, _PROTESTS, ruled, meet=meet_id))


def appeals_of(conn: Connection, lodged: Iterable[ProtestId]) -> tuple[AppealId, ...]:
    """The appeals on these protests, in the order of their numbers."""
    return tuple(AppealId(one) for one in _idents(conn, _APPEALS, lodged))


def decisions_about(conn: Connection, lodged: Iterable[ProtestId]) -> tuple[DecisionId, ...]:
    """The decisions on these protests and their appeals, in the order of deciding."""
    return tuple(DecisionId(one) for one in _idents(conn, _DECISIONS, lodged))


def papers_about(conn: Connection, meet_id: MeetId, subjects: Iterable[str]) -> tuple[str, ...]:
    """The sealed papers that tell of these things."""
    return _idents(conn, _PAPERS, subjects, meet=meet_id)


def case_of_ruling(conn: Connection, ruling: str) -> CaseId:
    """The case that was ruled on."""
    return CaseId(conn.execute(_CASE_OF, {"ruling": ruling}).scalar_one())


def entries_with(conn: Connection, meet_id: MeetId, subjects: Sequence[str]) -> list[Recorded]:
    """The record's entries about these things, first to last."""
    seqs: list[int] = []
    for some in batched(subjects, AT_ONCE):
        seqs += conn.execute(_ENTRIES, {"meet": meet_id, "idents": some}).scalars()
    return entries_at(conn, meet_id, seqs)


def copy_of(conn: Connection, picture_id: PictureId) -> bytes:
    """The copy of a picture that is shown, a JPEG; nothing where it was erased."""
    content = bytes(conn.execute(COPY_OF, {"picture": picture_id}).scalar() or b"")
    return content if content.startswith(JPEG) else b""


def announced_in(conn: Connection, heat_id: HeatId) -> Iterator[AnyRow]:
    """When a heat's result was announced, and the announcements: these tell of all teams."""
    yield from conn.execute(_ANNOUNCED, {"heat": heat_id})
