"""Reading seals, sealed papers, and what is about to be sealed."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from dataclasses import astuple, dataclass

from sqlalchemy import Connection, and_, bindparam, select

from app.ids import MeetId, PaperId, SealId
from app.record.checkpoints import SignedHead, signed_heads
from app.record.kinds import Kind
from app.record.tables import record_bodies, record_entries
from app.refusals import NotFound, RoleMissing
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
_SEALED = (
    select(record_bodies.c.body)
    .join(
        record_entries,
        and_(
            record_entries.c.meet_id == record_bodies.c.meet_id,
            record_entries.c.seq == record_bodies.c.seq,
        ),
    )
    .where(
        record_entries.c.meet_id == bindparam("meet"),
        record_entries.c.kind == Kind.PAPER_SEALED.value,
        record_bodies.c.body.contains(bindparam("subject")),
    )
)
_ERASURES = select(record_entries.c.seq).where(
    record_entries.c.meet_id == bindparam("meet"),
    record_entries.c.subject == bindparam("meet"),
    record_entries.c.kind == Kind.ERASED.value,
)
_PAPERS = (
    select(*_ABOUT)
    .where(
        papers.c.meet_id == bindparam("meet"),
        papers.c.id > bindparam("after"),
        papers.c.kind.in_(bindparam("kinds", expanding=True)),
    )
    .order_by(papers.c.id)
    .limit(PAGE + 1)
)
_PAPER = select(papers.c.kind, papers.c.content).where(
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


def highest_edition(conn: Connection, meet_id: MeetId, place: Place) -> int:
    """The number of the newest edition that a paper has ever had, 0 where it has had none: what was
    erased is gone, and printed copies of it are not.
    """
    last = last_edition(conn, meet_id, place)
    kept = 0 if last is None else last.edition
    if conn.execute(_ERASURES.limit(1), {"meet": meet_id}).first() is None:
        return kept
    return max([kept, *_editions_on_record(conn, meet_id, place)])


def _editions_on_record(conn: Connection, meet_id: MeetId, place: Place) -> Iterator[int]:
    asked = {"meet": meet_id, "subject": place.subject}
    for text in conn.execute(_SEALED, asked).scalars():
        body = json.loads(text)
        if _is_of(place, body) and type(body.get("edition")) is int:
            yield body["edition"]


def _is_of(place: Place, body: object) -> bool:
    return isinstance(body, dict) and astuple(place) == tuple(
        body.get(name) for name in ("kind", "subject", "sheet")
    )


def papers_of(
    conn: Connection, meet_id: MeetId, after: str | None, kinds: Collection[str]
) -> PapersOut:
    """A page of the papers of these kinds, as they were sealed, from after a paper's id on."""
    asked = {"meet": meet_id, "after": after or "", "kinds": list(kinds)}
    rows = conn.execute(_PAPERS, asked).all()
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
        level=row.level,
        sealed_at=row.sealed_at,
    )


def paper_content(
    conn: Connection, meet_id: MeetId, paper_id: PaperId, kinds: Collection[str]
) -> bytes:
    """The bytes of a sealed paper; RoleMissing for one of another kind than these, NotFound where
    there is none.
    """
    row = conn.execute(_PAPER, {"meet": meet_id, "paper": paper_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such paper at this meet.")
    if row.kind not in kinds:
        raise RoleMissing(f"Your roles do not let you read a paper of the kind “{row.kind}”.")
    return bytes(row.content)
