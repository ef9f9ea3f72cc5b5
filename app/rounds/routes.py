"""Rounds, their standings, lots and scores over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.access.sign_wire import Check
from app.access.signing import act_signed, take_pen
from app.answers import VersionNamed, answer, answer_put
from app.guarded import for_programs
from app.ids import ChosenId, HeatId, LotsId, MeetId, RoundId
from app.meets.queries import heat as read_heat
from app.refusals import NotFound
from app.rounds import actions, queries
from app.rounds.announced import as_announced, scores_out
from app.rounds.standing import round_key_of, round_of_heat
from app.rounds.telling import standing_out
from app.rounds.wire import (
    LotsIn,
    LotsOut,
    RoundIn,
    RoundOut,
    RoundsOut,
    RoundStandingOut,
    ScoresOut,
)

router = for_programs("rounds")

Meet = Annotated[ChosenId, Path()]
Round = Annotated[ChosenId, Path(alias="round")]
Heat = Annotated[ChosenId, Path()]
Lots = Annotated[ChosenId, Path()]


@router.put("/api/meets/{meet}/rounds/{round}", response_model=RoundOut)
async def put_round(
    meet: Meet, which: Round, sent: RoundIn, here: Here, version: VersionNamed
) -> Response:
    """Set who goes on from a round and what it scores; with If-Match, change it."""
    put = await here.store.act(
        MeetId(meet), here.actor, actions.set_round(RoundId(which), sent, version)
    )
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/rounds/{round}", response_model=RoundOut)
async def get_round(meet: Meet, which: Round, here: Here) -> Response:
    """How a round is set."""
    out = await here.store.read(lambda conn: queries.round_out(conn, MeetId(meet), RoundId(which)))
    return answer(out, version=out.version)


@router.get("/api/meets/{meet}/rounds", response_model=RoundsOut)
async def list_rounds(meet: Meet, here: Here) -> Response:
    """The rounds that are set."""
    return answer(await here.store.read(lambda conn: queries.rounds_out(conn, MeetId(meet))))


@router.put("/api/meets/{meet}/rounds/{round}/lots/{lots}", response_model=LotsOut)
async def put_lots(
    meet: Meet, which: Round, lots: Lots, sent: LotsIn, here: Here, check: Check = False
) -> Response:
    """Enter lots that were drawn between teams that tie at the cut, signed with the PIN."""
    pen = await take_pen(here, sent, check=check)
    act = actions.draw_lots(RoundId(which), LotsId(lots), sent, pen)
    return answer_put(await act_signed(here, MeetId(meet), pen, act))


@router.get("/api/meets/{meet}/heats/{heat}/round", response_model=RoundStandingOut)
async def get_standing(meet: Meet, heat: Heat, here: Here) -> Response:
    """Where the heat's round stands by what has been announced."""

    def read(conn: Connection) -> RoundStandingOut:
        facts = read_heat(conn, MeetId(meet), HeatId(heat))
        key = round_key_of(conn, facts)
        if key is None:
            raise _called_off()
        at_hand = as_announced(conn, MeetId(meet), facts.event, key)
        return standing_out(at_hand, only_drawn=True)

    return answer(await here.store.read_apart(read))


@router.get("/api/meets/{meet}/heats/{heat}/round/now", response_model=RoundStandingOut)
async def get_standing_now(meet: Meet, heat: Heat, here: Here) -> Response:
    """Where the heat's round stands by all finish lists, rulings and decisions that there are."""

    def read(conn: Connection) -> RoundStandingOut:
        at_hand = round_of_heat(conn, MeetId(meet), read_heat(conn, MeetId(meet), HeatId(heat)))
        if at_hand is None:
            raise _called_off()
        return standing_out(at_hand, only_drawn=False)

    return answer(await here.store.read_apart(read))


def _called_off() -> NotFound:
    return NotFound("This re-run was called off, so it is of no round.")


@router.get("/api/meets/{meet}/scores", response_model=ScoresOut)
async def get_scores(meet: Meet, here: Here) -> Response:
    """Team scores by affiliation, from what has been announced."""
    return answer(await here.store.read_apart(lambda conn: scores_out(conn, MeetId(meet))))
