"""Giving out a paper: drawn and sealed once, then the same bytes whenever somebody asks.

1. Gather what the paper tells, and the head of the record as it is then.
2. Where the last edition tells just that, it is given out; unless it lacks a time stamp that an
   authority may give by now.
3. Sign the head, and hold against the record what goes under a seal: what was fixed when an act was
   signed, the rows that anything else is drawn from, and the bytes of the last edition where later
   signatures are added to them.
4. Draw it with the head, and seal it for everybody whose act it tells, first to last. Where the
   last edition tells the same and only lacks later signatures, they are added to its own bytes:
   whoever holds the earlier file can see that the new one begins with it.
5. Keep it, together with its entry in the record: what is not on record was not issued here. Where
   somebody has kept another edition since 1, begin again: theirs may tell what is newer. So it is
   where an erasure came between 1 and 3: the record then tells of what it left.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Generic
from weakref import WeakValueDictionary
from zoneinfo import ZoneInfo

from fastapi import Response
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from app.access.guard import Admitted
from app.forms.level import Level
from app.forms.paper import Paper
from app.forms.record_head import PrintedHead
from app.ids import MeetId
from app.record.canonical import digest_of
from app.record.log import Head
from app.record.queries import head_of, was_erased_since
from app.refusals import NotAsSigned, Unavailable
from app.sealing.actions import SERVER, SealedPaper, keep_paper
from app.sealing.as_signed import insist_as_recorded, insist_as_sealed, insist_as_signed
from app.sealing.queries import Place, last_edition
from app.sealing.seals import OpenSeal, Seals
from app.sealing.told import Act, Facts, Told, Wanted
from app.store.rows import AnyRow
from app.store.store import Store

if TYPE_CHECKING:  # see app/sealing/seals.py
    from app.forms.seal import Sealed

log = logging.getLogger(__name__)

MOST_TRIES = 5
"""As often a paper is drawn where others keep another edition of it meanwhile."""


@dataclass(frozen=True, slots=True)
class _Seen(Generic[Facts]):
    """What was read at one moment: what the paper tells, its last edition, the record's head."""

    told: Told[Facts]
    document: dict[str, Any]
    last: AnyRow | None
    head: Head

    @property
    def is_told_already(self) -> bool:
        return self.last is not None and self.last.facts == self.document

    @property
    def only_lacks_seals(self) -> bool:
        """Whether the last edition tells the same, and is sealed for the first of these acts."""
        if self.last is None:
            return False
        was, now = self.last.facts, self.document
        sealed = was["acts"]
        return bool(
            was["told"] == now["told"]
            and sealed
            and len(sealed) < len(now["acts"])
            and now["acts"][: len(sealed)] == sealed
        )


_turns: WeakValueDictionary[tuple[object, ...], asyncio.Lock] = WeakValueDictionary()


async def sealed_paper(here: Admitted, meet: MeetId, paper: Paper, wanted: Wanted[Facts]) -> bytes:
    """The paper's bytes, as a request asks for them; see `give_out`."""
    asked = (id(asyncio.get_running_loop()), meet, wanted.kind, wanted.subject, paper)
    turn = _turns.setdefault(asked, asyncio.Lock())
    async with turn:  # who asks for the same at the same time waits, and gets the same
        return await run_in_threadpool(
            give_out, here.store, here.services.seals, meet, paper, wanted
        )


def give_out(
    store: Store, seals: Seals, meet: MeetId, paper: Paper, wanted: Wanted[Facts]
) -> bytes:
    """The paper's bytes. NotFound for what it would tell of, Unavailable where the meet's seal
    cannot be used, or where what the paper tells changes faster than it is drawn.
    """
    for _ in range(MOST_TRIES):
        content = _given_out(store, seals, meet, paper, wanted)
        if content is not None:
            return content
    raise Unavailable("What this paper tells changes just now. Ask for it again.")


def _given_out(
    store: Store, seals: Seals, meet: MeetId, paper: Paper, wanted: Wanted[Facts]
) -> bytes | None:
    """The same, None where another edition was kept meanwhile, or something was erased."""
    place, now = Place(wanted.kind, wanted.subject, paper.value), store.clock.now()

    def look(conn: Connection) -> _Seen[Facts]:
        told = wanted.gather(conn, now)
        return _Seen(told, told.document, last_edition(conn, meet, place), head_of(conn, meet))

    seen = store.read_now(look)  # 1
    if (
        seen.last is not None
        and seen.is_told_already
        and not seals.may_better(meet, Level(seen.last.level), now)
    ):
        return bytes(seen.last.content)  # 2
    seal = seals.of(meet)
    head = PrintedHead(seen.head.size, seen.head.root, seals.signed(meet, seen.head))  # 3
    drawing = partial(wanted.draw, replace(seen.told.facts, head=head), paper)
    if not store.read_now(lambda conn: _is_on_record(conn, meet, seen)):
        return None
    made = _as_kept(seen, _make(seal, seen, drawing, now), seal)  # 4
    return store.act_now(meet, SERVER, keep_paper(place, made))  # 5


def _is_on_record(conn: Connection, meet: MeetId, seen: _Seen[Facts]) -> bool:
    """Whether the record still tells of what is to be sealed; NotAsSigned where it does not, and no
    erasure since has changed what was read.
    """
    try:
        if seen.told.kept is not None:
            insist_as_signed(conn, meet, seen.told.kept)
        if seen.told.drawn is not None:
            insist_as_recorded(conn, meet, seen.told.drawn(conn))
        if seen.last is not None and seen.only_lacks_seals:
            insist_as_sealed(conn, meet, seen.last)
    except NotAsSigned:
        if was_erased_since(conn, meet, seen.head.size):
            return False
        raise
    return True


def _make(
    seal: OpenSeal, seen: _Seen[Facts], drawing: Callable[[], bytes], now: datetime
) -> tuple[bytes, Level]:
    """The sealed bytes, and what the last seal reached: its stamp is over the earlier ones too."""
    last, acts = seen.last, seen.told.acts
    if last is not None and seen.only_lacks_seals:
        content, acts = bytes(last.content), acts[len(last.facts["acts"]) :]
    else:
        content = drawing()
    level = Level.B_B
    for act in acts:
        sealed = _seal(seal, content, act, seen.told, now)
        content, level = sealed.content, sealed.level
    return content, level


def _seal(seal: OpenSeal, content: bytes, act: Act, told: Told[Facts], now: datetime) -> Sealed:
    from app.forms.seal import NOT_ASKED, Attested, SealInBox  # noqa: PLC0415  (see seals.py)
    from app.forms.seal_box import free_boxes  # noqa: PLC0415

    at = now.astimezone(ZoneInfo(told.time_zone))
    boxes = free_boxes(content) if act.role else ()
    box = next((one for one in boxes if one.role == act.role), None)
    shown = SealInBox(box, act.shown) if box is not None else None
    sealed = seal.papers.seal(content, Attested(act.name, act.reason, told.place, at), shown)
    if sealed.not_stamped not in {"", NOT_ASKED}:
        log.warning("a paper is sealed at %s: no time stamp: %s", sealed.level, sealed.not_stamped)
    return sealed


def _as_kept(seen: _Seen[Facts], made: tuple[bytes, Level], seal: OpenSeal) -> SealedPaper:
    document, (content, level) = seen.document, made
    return SealedPaper(
        facts=document,
        facts_sha256=digest_of(document),
        content=content,
        sha256=sha256(content).hexdigest(),
        seal=seal.seal,
        head=seen.head,
        after=0 if seen.last is None else seen.last.edition,
        level=level,
    )


def as_pdf(content: bytes, name: str) -> Response:
    """The answer that gives a paper out, to be shown; `name` is what a saved file is called."""
    return Response(
        content,
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )
