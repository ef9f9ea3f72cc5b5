"""The record, its head, its export and the live feed over HTTP."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Header, Path, Query, Request, Response
from fastapi.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

from app.access.guard import Admitted, Here, bearer_token
from app.ids import ChosenId, MeetId
from app.record.feed import Follower
from app.record.queries import export_lines, head_of
from app.refusals import NotFound
from app.roles import Role
from app.wire import Wire

router = APIRouter(tags=["record"])

Meet = Annotated[ChosenId, Path()]


class HeadOut(Wire):
    """The record's head: how many entries, and the RFC 9162 root over them."""

    meet: MeetId
    size: int
    root: str


class LiveFeed(StreamingResponse):
    """A feed's stream, counted among those of its session from its first byte to its end."""

    def __init__(self, here: Admitted, events: AsyncIterator[str]) -> None:
        headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        super().__init__(events, media_type="text/event-stream", headers=headers)
        self._counted = here.feed.one_more_for(here.caller.session_id)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        with self._counted:
            await super().__call__(scope, receive, send)


@router.get("/api/meets/{meet}/record/head", response_model=HeadOut)
async def get_head(meet: Meet, here: Here) -> HeadOut:
    """The record's size and root hash. Whoever keeps it can prove a later rewrite."""
    head = await here.store.read(lambda conn: head_of(conn, MeetId(meet)))
    if not head.size:  # making a meet is its record's first entry
        raise NotFound("There is no such meet.")
    return HeadOut(meet=MeetId(meet), size=head.size, root=head.root)


@router.get(
    "/api/meets/{meet}/record",
    response_class=Response,
    responses={200: {"content": {"application/jsonl": {}}}},
)
async def export_record(meet: Meet, here: Here) -> Response:
    """The record as JSON lines, the head last. `check` reads it without a database."""
    lines = await here.store.read_apart(lambda conn: list(export_lines(conn, MeetId(meet))))
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
    request: Request,
    here: Here,
    after: Annotated[int | None, Query(ge=0, le=2**31 - 1)] = None,
    last_event_id: Annotated[int | None, Header(ge=0, le=2**31 - 1)] = None,
) -> StreamingResponse:
    """What is done, as it is done: server-sent events from the record.

    A reader that lost the line sends `Last-Event-ID` and misses nothing; without a place it starts
    at the present head. A place beyond it is answered with the event `reset`. A session keeps up to
    four feeds open.
    """
    token = bearer_token(request)
    head = (await here.store.read(lambda conn: head_of(conn, MeetId(meet)))).size
    place = last_event_id if last_event_id is not None else after

    async def roles_now() -> frozenset[Role] | None:
        found = await here.services.callers.find(here.store, token, here.clock.now())
        return found.roles if found else None

    start = place if place is not None else head
    follower = Follower(here.caller.meet_id, start, head, roles_now)
    return LiveFeed(here, here.feed.follow(here.store, follower))
