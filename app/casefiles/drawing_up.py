"""Drawing up a case file: as one sealed PDF, and as its part of the record with proofs.

1. Have the seal at hand: the first time, it is made, which is an entry of its own in the record.
2. Gather all of it at one moment, with the head of the record as it is then.
3. Sign the head, and hold against the record what the file is drawn from; draw it with the head,
   and seal it as a whole.
4. For the ZIP, export just the entries that belong to it, with the PDF beside them.

It is not kept: it is drawn from what is on record, and its pictures make it large.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import IO
from zoneinfo import ZoneInfo

from app.casefiles.gathering import Gathered, gather
from app.casefiles.on_record import insist_on_record
from app.casefiles.scope import Asked, insist_known
from app.exporting.wanted import Further, Order
from app.exporting.zipped import write_zip
from app.forms.case_file import draw_case_file
from app.forms.paper import Paper
from app.forms.record_head import PrintedHead
from app.refusals import NotFound
from app.sealing.seals import OpenSeal, Seals
from app.store.store import Store

IN_THE_ZIP = "case-file.pdf"


@dataclass(frozen=True, slots=True)
class DrawnUp:
    """A sealed file, and what it was drawn from."""

    content: bytes
    gathered: Gathered
    seal: OpenSeal
    now: datetime


def draw_up(store: Store, seals: Seals, asked: Asked, paper: Paper) -> DrawnUp:
    """The file, sealed. NotFound for what it would tell of, Unavailable where the meet's seal
    cannot be used, NotAsSigned where the record tells otherwise of what it is drawn from. It waits
    for the store and reckons: not to be called in an event loop.
    """
    store.read_now(lambda conn: insist_known(conn, asked))
    now, seal = store.clock.now(), seals.of(asked.meet)  # 1
    found = store.read_now(lambda conn: gather(conn, asked, now, seal.seal.fingerprint))  # 2
    head = PrintedHead(found.head.size, found.head.root, seals.signed(asked.meet, found.head))  # 3
    store.read_now(lambda conn: insist_on_record(conn, found.scope))
    pdf = draw_case_file(replace(found.file, head=head), paper)
    return DrawnUp(_sealed(seal, pdf, found, now), found, seal, now)


def _sealed(seal: OpenSeal, pdf: bytes, found: Gathered, now: datetime) -> bytes:
    from app.forms.seal import Attested  # noqa: PLC0415  (see app/sealing/seals.py)

    meet, file = found.meet, found.file
    drawn = f"drawn up {file.drawn_at} from the first {found.head.size} entries of the record"
    what = f"File of {file.name}, {drawn}"
    at = now.astimezone(ZoneInfo(meet.time_zone))
    return seal.papers.seal(pdf, Attested(meet.name, what, meet.venue, at)).content


def slice_of(store: Store, seals: Seals, asked: Asked, paper: Paper) -> IO[bytes]:
    """The ZIP with the file and the entries that belong to it, open; refused as `draw_up`, and
    NotFound where all that lay in a case has moved to another one.
    """
    drawn = draw_up(store, seals, asked, paper)
    scope = drawn.gathered.scope
    if not scope.entries:
        raise NotFound(
            "No entry of the record is about this case any more: its reports lie in another case "
            "now. Ask for the file of that one."
        )
    further = Further(
        path=IN_THE_ZIP,
        content=drawn.content,
        words=f"the file of {scope.name}, sealed; the entries are those that it tells of",
        head_size=drawn.gathered.head.size,
    )
    withheld = {one.entry.seq: one.says for one in scope.around}
    order = Order(
        asked.meet,
        drawn.now,
        drawn.seal.notes,
        scope.seqs,
        further,
        withheld=withheld,
        agreement=seals.agreement,
    )
    return store.read_now(lambda conn: write_zip(conn, order))  # 4
