"""Reading seals, sealed papers, and what is about to be sealed."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, select

from app.ids import MeetId, PaperId, SealId
from app.record.checkpoints import SignedHead, signed_heads
from app.refusals import NotFound
from app.sealing.tables import papers, seals
from app.sealing.wire import PaperOut, PapersOut, SealOut, SealsOut
from app.store.rows import AnyRow

PAGE = 100

_SEALS = select(seals).where(seals.c.meet_id == bindparam("meet")).order_by(seals.c.number)
_ABOUT = tuple(column for column in papers.c if column.name not in ("facts", "content"))
_LAST = (
    select(papers)
    .where(
        papers.c.meet_id == bindparam("meet"),
        papers.c.kind == bindparam("kind"),
        papers.c.subject == bindparam("subject"),
        papers.c.sheet == bindparam("sheet"),
    )
    .order_by(papers.c.edition.desc())
    .limit(1)
)
_PAPERS = (
    select(*_ABOUT)
    .where(papers.c.meet_id == bindparam("meet"), papers.c.id > bindparam("after"))
    .order_by(papers.c.id)
    .limit(PAGE + 1)
)
_PAPER = select(papers.c.content).where(
    papers.c.meet_id == bindparam("meet"), papers.c.id == bindparam("paper")
)


@dataclass(frozen=True, slots=True)
class Place:
    """Which paper: of what it tells, and on which sheet."""

    kind: str
    subject: str
    sheet: str


def seals_of(conn: Connection, meet_id: MeetId) -> SealsOut:
    """All seals that the meet has had, first to last."""
    rows = conn.execute(_SEALS, {"meet": meet_id}).all()
    return SealsOut(seals=[_seal_out(row, is_in_use=row is rows[-1]) for row in rows])


def seal_in_use(conn: Connection, meet_id: MeetId) -> SealOut | None:
    """The seal that the meet seals with, None before its first."""
    found = seals_of(conn, meet_id).seals
    return found[-1] if found else None


def _seal_out(row: AnyRow, *, is_in_use: bool) -> SealOut:
    return SealOut(
        id=SealId(row.id),
        number=row.number,
        certificates=row.certificates,
        fingerprint=row.fingerprint,
        verifier_key=row.verifier_key,
        made_at=row.made_at,
        is_in_use=is_in_use,
    )


def signed_head(conn: Connection, meet_id: MeetId, size: int) -> SignedHead | None:
    """The head of so many entries that was signed, None where none was."""
    newest = next(iter(signed_heads(conn, meet_id, size + 1, 1)), None)
    return newest if newest is not None and newest.size == size else None


def last_edition(conn: Connection, meet_id: MeetId, place: Place) -> AnyRow | None:
    """The newest edition of a paper, with its bytes and facts."""
    asked = {"meet": meet_id, "kind": place.kind, "subject": place.subject, "sheet": place.sheet}
    return conn.execute(_LAST, asked).one_or_none()


def papers_of(conn: Connection, meet_id: MeetId, after: str | None) -> PapersOut:
    """A page of the papers that were sealed, in that order, from after a paper's id on."""
    rows = conn.execute(_PAPERS, {"meet": meet_id, "after": after or ""}).all()
    page = [_paper_out(row) for row in rows[:PAGE]]
    return PapersOut(papers=page, next=page[-1].id if len(rows) > PAGE else None)


def _paper_out(row: AnyRow) -> PaperOut:
    return PaperOut(
        id=PaperId(row.id),
        meet=MeetId(row.meet_id),
        kind=row.kind,
        subject=row.subject,
        sheet=row.sheet,
        edition=row.edition,
        sha256=row.sha256,
        seal=SealId(row.seal_id),
        head_size=row.head_size,
        sealed_at=row.sealed_at,
    )


def paper_content(conn: Connection, meet_id: MeetId, paper_id: PaperId) -> bytes:
    """The bytes of a sealed paper; NotFound for any other id."""
    content = conn.execute(_PAPER, {"meet": meet_id, "paper": paper_id}).scalar()
    if content is None:
        raise NotFound("There is no such paper at this meet.")
    return bytes(content)
