"""What an export is read from, a piece at a time: the record, papers, the facts of forms, pictures
and what was announced.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import Connection, and_, bindparam, exists, select

from app.appeals.tables import decisions
from app.ids import AnnouncementId, MeetId
from app.pictures.tables import picture_copies, picture_originals, pictures
from app.record.kinds import Kind
from app.record.tables import record_bodies, record_entries
from app.results.tables import announcements
from app.rulings.queries import OF_MEET
from app.rulings.tables import rulings
from app.sealing.tables import papers
from app.store.rows import AnyRow

Value = TypeVar("Value")

AT_ONCE = 1_000
A_PIECE = 100
"""Facts of forms that are held at a time."""

_PAPERS = (
    select(
        papers.c.id,
        papers.c.kind,
        papers.c.subject,
        papers.c.sheet,
        papers.c.edition,
        papers.c.sha256,
    )
    .where(papers.c.meet_id == bindparam("meet"))
    .order_by(papers.c.id)
)
_PAPER = select(papers.c.content).where(papers.c.id == bindparam("paper"))
_RULED = select(rulings.c.id, rulings.c.form_facts).where(OF_MEET).order_by(rulings.c.id)
_DECIDED = (
    select(decisions.c.id, decisions.c.form_facts)
    .where(decisions.c.meet_id == bindparam("meet"))
    .order_by(decisions.c.id)
)
_PICTURES = (
    select(
        pictures.c.id,
        pictures.c.media_type,
        exists().where(picture_originals.c.picture_id == pictures.c.id).label("has_original"),
        exists().where(picture_copies.c.picture_id == pictures.c.id).label("has_copy"),
    )
    .where(pictures.c.meet_id == bindparam("meet"))
    .order_by(pictures.c.id)
)
_ORIGINAL = select(picture_originals.c.content).where(
    picture_originals.c.picture_id == bindparam("picture")
)
COPY_OF = select(picture_copies.c.content).where(
    picture_copies.c.picture_id == bindparam("picture")
)
_ANNOUNCED = (
    select(announcements.c.id)
    .where(announcements.c.meet_id == bindparam("meet"))
    .order_by(announcements.c.id)
)
_BODIES = (
    select(
        record_entries.c.seq,
        record_entries.c.kind,
        record_entries.c.subject,
        record_entries.c.entry,
        record_bodies.c.salt,
        record_bodies.c.body,
    )
    .outerjoin(
        record_bodies,
        and_(
            record_bodies.c.meet_id == record_entries.c.meet_id,
            record_bodies.c.seq == record_entries.c.seq,
        ),
    )
    .where(record_entries.c.meet_id == bindparam("meet"))
    .order_by(record_entries.c.seq)
)
_OF_KINDS = _BODIES.where(record_entries.c.kind.in_(bindparam("kinds", expanding=True)))
_OF_SEQS = _BODIES.where(record_entries.c.seq.in_(bindparam("seqs", expanding=True)))


@dataclass(frozen=True, slots=True)
class Recorded:
    """An entry as it stands in the record; `salt` and `text` are None where they were erased."""

    seq: int
    kind: Kind
    subject: str
    entry: str
    salt: str | None
    text: str | None

    @property
    def body(self) -> Mapping[str, Any]:
        """What was done; empty where it was erased."""
        return json.loads(self.text) if self.text is not None else {}

    @property
    def line(self) -> str:
        """The entry's line in `record.jsonl`."""
        told = {"entry": self.entry, "salt": self.salt, "body": self.text}
        return json.dumps(told, ensure_ascii=False)

    def line_without_body(self, says: Mapping[str, object]) -> str:
        """Its line in a part that is not to hold its body, and what is said of it instead."""
        return json.dumps({"entry": self.entry, "withheld": says}, ensure_ascii=False)


def paper_rows(conn: Connection, meet_id: MeetId) -> list[AnyRow]:
    """The sealed papers of a meet, without their bytes."""
    return list(conn.execute(_PAPERS, {"meet": meet_id}))


def paper_content(conn: Connection, paper: AnyRow) -> Iterator[bytes]:
    """A sealed paper's bytes; nothing of it is read before it is asked for."""
    yield bytes(conn.execute(_PAPER, {"paper": paper.id}).scalar_one())


def ruled_facts(conn: Connection, meet_id: MeetId) -> Iterator[AnyRow]:
    """The facts of each ruling's form."""
    yield from conn.execute(_RULED, {"meet": meet_id}, execution_options={"yield_per": A_PIECE})


def decided_facts(conn: Connection, meet_id: MeetId) -> Iterator[AnyRow]:
    """The facts of each decision's paper."""
    yield from conn.execute(_DECIDED, {"meet": meet_id}, execution_options={"yield_per": A_PIECE})


def picture_rows(conn: Connection, meet_id: MeetId) -> list[AnyRow]:
    """The pictures of a meet, without their bytes; and which of those are there, and not erased."""
    return list(conn.execute(_PICTURES, {"meet": meet_id}))


def picture_content(conn: Connection, picture: AnyRow, *, original: bool) -> Iterator[bytes]:
    """A picture as it came, or the copy that is shown."""
    asked = _ORIGINAL if original else COPY_OF
    yield bytes(conn.execute(asked, {"picture": picture.id}).scalar_one())


def announced_ids(conn: Connection, meet_id: MeetId) -> list[AnnouncementId]:
    """All announcements of a meet, first to last."""
    found = conn.execute(_ANNOUNCED, {"meet": meet_id}).scalars()
    return [AnnouncementId(one) for one in found]


def entries_of_kinds(conn: Connection, meet_id: MeetId, kinds: Collection[Kind]) -> list[Recorded]:
    """The entries of these kinds, first to last."""
    asked = {"meet": meet_id, "kinds": [kind.value for kind in kinds]}
    return [_recorded(row) for row in conn.execute(_OF_KINDS, asked)]


def entries_at(conn: Connection, meet_id: MeetId, seqs: Collection[int]) -> list[Recorded]:
    """The entries of these numbers, first to last."""
    found = []
    for some in batched(sorted(seqs), AT_ONCE):
        rows = conn.execute(_OF_SEQS, {"meet": meet_id, "seqs": some})
        found += [_recorded(row) for row in rows]
    return found


def batched(values: Sequence[Value], most: int) -> Iterator[Sequence[Value]]:
    """Values in stretches of up to `most`: a statement takes only so many."""
    return (values[at : at + most] for at in range(0, len(values), most))


def _recorded(row: AnyRow) -> Recorded:
    salt = row.salt.hex() if row.salt is not None else None
    return Recorded(row.seq, Kind(row.kind), row.subject, row.entry, salt, row.body)
