"""Rehearsals over HTTP. They are started and held back where heats are."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Response

from app.access.guard import Here
from app.answers import answer, answer_put
from app.guarded import for_programs
from app.ids import ChosenId, HeatId, MeetId
from app.meets.rehearsing import rehearsals
from app.meets.wire import HeatOut
from app.rehearsals import actions
from app.rehearsals.wire import RehearsalIn, RehearsalsOut

router = for_programs("crew")

Meet = Annotated[ChosenId, Path()]
Rehearsal = Annotated[ChosenId, Path()]


@router.put("/api/meets/{meet}/rehearsals/{rehearsal}", response_model=HeatOut)
async def put_rehearsal(
    meet: Meet, rehearsal: Rehearsal, sent: RehearsalIn, here: Here
) -> Response:
    """Make a rehearsal: a heat, under this id, that every phone shows and of which nothing counts.
    It is started at …/heats/{heat}/start.
    """
    act = actions.make_rehearsal(HeatId(rehearsal), sent)
    put = await here.store.act(MeetId(meet), here.actor, act)
    return answer_put(put, version=put.thing.version)


@router.post("/api/meets/{meet}/rehearsals/{rehearsal}/end", response_model=HeatOut)
async def end_rehearsal(meet: Meet, rehearsal: Rehearsal, here: Here) -> Response:
    """End a rehearsal: its open cases are closed without a ruling. What comes later is kept."""
    act = actions.end_rehearsal(HeatId(rehearsal))
    out = await here.store.act(MeetId(meet), here.actor, act)
    return answer(out, version=out.version)


@router.get("/api/meets/{meet}/rehearsals", response_model=RehearsalsOut)
async def list_rehearsals(meet: Meet, here: Here) -> Response:
    """The rehearsals, the last one first. Among the heats of the programme they are not listed."""
    found = await here.store.read(lambda conn: rehearsals(conn, MeetId(meet)))
    return answer(RehearsalsOut(rehearsals=found))
