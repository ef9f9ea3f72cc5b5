"""What an umpire's phone shows, over HTTP."""

from __future__ import annotations

from hashlib import sha256
from typing import Annotated, Any

from fastapi import Path, Response

from app.access.guard import Here
from app.answers import IfNoneMatch, is_at_hand
from app.guarded import for_programs
from app.ids import ChosenId, MeetId
from app.watching.queries import watch
from app.watching.wire import WatchOut

router = for_programs("crew")

Meet = Annotated[ChosenId, Path()]

_TAG: Any = {"ETag": {"description": "of the content", "schema": {"type": "string"}}}


@router.get(
    "/api/meets/{meet}/watch",
    response_model=WatchOut,
    responses={
        200: {"headers": _TAG},
        304: {"description": "Nothing has changed but the time.", "headers": _TAG},
    },
)
async def get_watch(meet: Meet, here: Here, if_none_match: IfNoneMatch = None) -> Response:
    """Everything that the caller's phone shows at a take-over. With `If-None-Match` it is sent only
    where anything but `server_time` has changed.
    """
    now = here.clock.now()
    out = await here.store.read_apart(lambda conn: watch(conn, MeetId(meet), here.caller, now))
    content = out.model_dump_json(exclude={"server_time"})
    # Weak, since the time in it is another each time (RFC 9110, 8.8.1).
    tag = f'W/"{sha256(content.encode()).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    if is_at_hand(if_none_match, tag):
        return Response(status_code=304, headers=headers)
    return Response(out.model_dump_json(), media_type="application/json", headers=headers)
