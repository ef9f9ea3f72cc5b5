"""The record, its heads, proofs about it, and the live feed over HTTP."""

from __future__ import annotations

import logging
from contextlib import aclosing
from datetime import datetime
from typing import Annotated

from fastapi import Header, Path, Query, Response
from fastapi.responses import PlainTextResponse, StreamingResponse
from pydantic import Field
from sqlalchemy import Connection
from starlette.types import Message, Receive, Scope, Send

from app.access.guard import Admitted, Here
from app.attended import PAST_LAYERS
from app.guarded import for_programs
from app.ids import ChosenId, MeetId
from app.record.checkpoints import LARGEST, PAGE, newest_checkpoint, signed_heads
from app.record.feed import Follower
from app.record.queries import export_lines, told_head_of
from app.refusals import NotFound
from app.roles import Role
from app.wire import Wire

log = logging.getLogger(__name__)
router = for_programs("record")

Meet = Annotated[ChosenId, Path()]
Size = Annotated[int, Query(ge=1, le=LARGEST)]


class HeadOut(Wire):
    """The record's head: how many entries, and the RFC 9162 root over them."""

    meet: MeetId
    size: int
    root: str


class CheckpointOut(Wire):
    """A head that was signed and given out; `note` is a C2SP signed note, word for word."""

    size: int
    root: str
    made_at: datetime
    note: str


class CheckpointsOut(Wire):
    """Signed heads, largest first."""

    checkpoints: list[CheckpointOut]
    next: Annotated[int | None, Field(description="the next page's `before`")]


class InclusionOut(Wire):
    """That an entry stands in a head: RFC 9162, 2.1.3. The leaf's index is `entry` less one."""

    meet: MeetId
    entry: int
    size: int
    leaf: str = Field(description="the entry's leaf hash, in hex")
    root: str
    path: list[str]


class ConsistencyOut(Wire):
    """That a head extends an earlier one: RFC 9162, 2.1.4."""

    meet: MeetId
    from_size: int
    from_root: str
    to_size: int
    to_root: str
    path: list[str]


class LiveFeed(StreamingResponse):
    """A feed's stream, counted among those of its session from its first byte to its end.

    Its events go past the layers of the service, which look at heads and let bodies through.
    """

    def __init__(self, here: Admitted, follower: Follower) -> None:
        headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        self._events = here.feed.follow(follower, self._hand_over)
        super().__init__(self._events, media_type="text/event-stream", headers=headers)
        self._counted = here.feed.one_more_for(here.caller.session_id)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self._send_event: Send = scope.get(PAST_LAYERS, send)
        with self._counted:
            await super().__call__(scope, receive, send)

    async def stream_response(self, send: Send) -> None:
        """The head, the events as they come, the end."""
        head = {"status": self.status_code, "headers": self.raw_headers}
        await send({"type": "http.response.start", **head})
        # Closed whatever ends it: the feed knows the stream as long as it is open.
        async with aclosing(self._events) as events:
            async for event in events:
                await self._send_event(_part(event))
        await send({"type": "http.response.body", "body": b"", "more_body": False})

    def _hand_over(self, event: bytes) -> bool:
        """Send an event between those of the stream, without waking its task: of three thousand who
        watch one meet, that took longer than the sending. A server that would wait, since the line
        is full, has sent nothing yet, and is not asked on.
        """
        sending = self._send_event(_part(event)).__await__()
        try:
            next(sending)
        except StopIteration:
            return True
        except Exception:  # the stream's own task will meet that, and no other reader
            log.exception("a feed's line took nothing by hand")
            return False
        sending.close()
        return False


def _part(event: bytes) -> Message:
    return {"type": "http.response.body", "body": event, "more_body": True}


@router.get("/api/meets/{meet}/record/head", response_model=HeadOut)
async def get_head(meet: Meet, here: Here) -> HeadOut:
    """The record's size and root hash. Whoever keeps it can prove a later rewrite."""
    head = await here.store.read(lambda conn: told_head_of(conn, MeetId(meet)))
    if not head.size:  # making a meet is its record's first entry
        raise NotFound("There is no such meet.")
    return HeadOut(meet=MeetId(meet), size=head.size, root=head.root)


@router.get("/api/meets/{meet}/record/checkpoint", response_class=PlainTextResponse)
async def get_checkpoint(meet: Meet, here: Here) -> PlainTextResponse:
    """The newest head that was signed: a C2SP checkpoint, as it stands on paper in the QR code."""
    newest = await here.store.read(lambda conn: newest_checkpoint(conn, MeetId(meet)))
    if newest is None:
        raise NotFound("No head of this record has been signed yet: nothing was sealed so far.")
    return PlainTextResponse(newest.note)


@router.get("/api/meets/{meet}/record/checkpoints", response_model=CheckpointsOut)
async def list_checkpoints(meet: Meet, here: Here, before: Size = LARGEST) -> CheckpointsOut:
    """The heads that were signed, largest first, a hundred a page."""
    found = await here.store.read(lambda conn: signed_heads(conn, MeetId(meet), before, PAGE + 1))
    page = found[:PAGE]
    return CheckpointsOut(
        checkpoints=[
            CheckpointOut(size=one.size, root=one.root, made_at=one.made_at, note=one.note)
            for one in page
        ],
        next=page[-1].size if len(found) > PAGE else None,
    )


@router.get("/api/meets/{meet}/record/proofs/inclusion", response_model=InclusionOut)
async def get_inclusion(
    meet: Meet, here: Here, entry: Size, size: Size | None = None
) -> InclusionOut:
    """The proof that an entry stands in the head of `size` entries, or in the present one."""
    proof = await here.services.proofs.inclusion(here.store, MeetId(meet), entry, size)
    return InclusionOut(
        meet=MeetId(meet),
        entry=proof.seq,
        size=proof.size,
        leaf=proof.leaf.hex(),
        root=proof.root.hex(),
        path=[step.hex() for step in proof.path],
    )


@router.get("/api/meets/{meet}/record/proofs/consistency", response_model=ConsistencyOut)
async def get_consistency(
    meet: Meet,
    here: Here,
    from_size: Annotated[int, Query(alias="from", ge=1, le=LARGEST)],
    to_size: Annotated[int | None, Query(alias="to", ge=1, le=LARGEST)] = None,
) -> ConsistencyOut:
    """The proof that the head of `to` entries, or the present one, extends that of `from`: that
    nothing which stood in the record then was changed or taken away. It holds hashes only.
    """
    proofs = here.services.proofs
    proof = await proofs.consistency(here.store, MeetId(meet), from_size, to_size)
    return ConsistencyOut(
        meet=MeetId(meet),
        from_size=proof.earlier,
        from_root=proof.earlier_root.hex(),
        to_size=proof.later,
        to_root=proof.later_root.hex(),
        path=[step.hex() for step in proof.path],
    )


@router.get(
    "/api/meets/{meet}/record",
    response_class=Response,
    responses={200: {"content": {"application/jsonl": {}}}},
)
async def export_record(meet: Meet, here: Here) -> Response:
    """The record as JSON lines, the head last. `check` reads it without a database."""

    def exported(conn: Connection) -> list[str]:
        told_head_of(conn, MeetId(meet))  # a damaged one is told of, and not given out
        return list(export_lines(conn, MeetId(meet)))

    with here.one_more_file():
        async with here.services.of_records:
            lines = await here.store.read_apart(exported)
    return Response(
        "".join(f"{line}\n" for line in lines),
        media_type="application/jsonl",
        headers={"Content-Disposition": 'attachment; filename="record.jsonl"'},
    )


@router.get(
    "/api/meets/{meet}/feed",
    response_class=Response,
    responses={200: {"content": {"text/event-stream": {}}}},
)
async def follow_feed(
    meet: Meet,
    here: Here,
    after: Annotated[int | None, Query(ge=0, le=2**31 - 1)] = None,
    last_event_id: Annotated[int | None, Header(ge=0, le=2**31 - 1)] = None,
) -> StreamingResponse:
    """What is done, as it is done: server-sent events from the record.

    A reader that lost the line sends `Last-Event-ID` and misses nothing; without a place it starts
    at the present head. A place beyond it is answered with the event `reset`. A session keeps up to
    four feeds open.
    """
    head = (await here.store.read(lambda conn: told_head_of(conn, MeetId(meet)))).size
    place = last_event_id if last_event_id is not None else after

    async def roles_now() -> frozenset[Role] | None:
        found = await here.services.callers.find(here.store, here.token, here.clock.now())
        return found.roles if found else None

    start = place if place is not None else head
    return LiveFeed(
        here, Follower(here.caller.meet_id, here.caller.official_id, start, head, roles_now)
    )
