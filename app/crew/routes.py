"""The crew plan over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response

from app.access.guard import Here
from app.answers import VersionNamed, answer, answer_put
from app.crew import actions, queries
from app.crew.wire import CrewIn, CrewOut
from app.ids import ChosenId, MeetId

router = APIRouter(tags=["crew"])

Meet = Annotated[ChosenId, Path()]


@router.put("/api/meets/{meet}/crew", response_model=CrewOut, max_body_size=512 * 1024)
async def put_crew(meet: Meet, sent: CrewIn, here: Here, version: VersionNamed) -> Response:
    """Set the whole crew plan; with If-Match once there is one."""
    put = await here.store.act(MeetId(meet), here.actor, actions.plan_crew(sent, version))
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/crew", response_model=CrewOut)
async def get_crew(meet: Meet, here: Here) -> Response:
    """The crew plan, and what it leaves unwatched."""
    out = await here.store.read(lambda conn: queries.crew(conn, MeetId(meet)))
    return answer(out, version=out.version)
