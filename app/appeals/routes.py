"""The docket, protests, and what a ruling on a case would move, over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.access.sign_wire import Check
from app.access.signing import act_signed, take_pen
from app.answers import VersionRequired, answer, answer_as_made, answer_put
from app.appeals import (
    actions,
    deciding,
    lodging,
    put_right,
    queries,
    showing,
)
from app.appeals.foreseeing import ruling_consequences
from app.appeals.wire import (
    AdviceCorrectionIn,
    AdviceIn,
    LodgedCorrectionIn,
    OrdersIn,
    ProtestIn,
    ProtestOut,
    ProtestsOut,
    RefereeDecisionIn,
    RulingConsequencesOut,
    WithdrawIn,
)
from app.guarded import for_programs
from app.ids import (
    CaseId,
    ChosenId,
    CorrectionId,
    MeetId,
    ProtestId,
)
from app.record.queries import version_of
from app.reports.wire import DocketOut
from app.rounds.wire import ConsequencesOut

router = for_programs("protests and appeals")

Meet = Annotated[ChosenId, Path()]
Protest = Annotated[ChosenId, Path()]
Correction = Annotated[ChosenId, Path()]
Before = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@router.get("/api/meets/{meet}/docket", response_model=DocketOut)
async def get_docket(
    meet: Meet, here: Here, after: Annotated[str | None, Query(max_length=80)] = None
) -> Response:
    """What awaits the head official: open cases, protests, and rulings to look at again."""
    meet_id = MeetId(meet)
    if after is not None:
        return answer(await here.store.read(lambda conn: queries.docket_of(conn, meet_id, after)))

    def made(conn: Connection) -> str:
        return queries.docket_of(conn, meet_id).model_dump_json()

    # Its first page is what every head official's device asks for at each news, and what programs
    # ask for again and again: made once for all of them, and anew as soon as anything was done.
    version = await here.store.read(lambda conn: version_of(conn, meet_id))
    dockets, now = here.services.dockets, here.clock.now()
    return answer_as_made(await dockets.get(meet_id, now, lambda: here.store.read(made), version))


@router.put("/api/meets/{meet}/protests/{protest}", response_model=ProtestOut)
async def put_protest(meet: Meet, protest: Protest, sent: ProtestIn, here: Here) -> Response:
    """Take in a protest; the answer says whether it is in time, and from the round."""
    put = await here.store.act(
        MeetId(meet),
        here.actor,
        lodging.lodge_protest(ProtestId(protest), sent, here.caller),
    )
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/protests", response_model=ProtestsOut)
async def list_protests(meet: Meet, here: Here, before: Before = None) -> Response:
    """Protests, the one that was lodged last first, fifty a page."""
    now = here.clock.now()
    return answer(
        await here.store.read_apart(
            lambda conn: showing.protests_shown(conn, MeetId(meet), before, now)
        )
    )


@router.get("/api/meets/{meet}/protests/{protest}", response_model=ProtestOut)
async def get_protest(meet: Meet, protest: Protest, here: Here) -> Response:
    """A protest with what became of it."""
    now = here.clock.now()
    out = await here.store.read(
        lambda conn: showing.protest_shown(conn, MeetId(meet), ProtestId(protest), now)
    )
    return answer(out, version=out.version)


@router.post("/api/meets/{meet}/protests/{protest}/consequences", response_model=ConsequencesOut)
async def look_at_protest(meet: Meet, protest: Protest, sent: OrdersIn, here: Here) -> Response:
    """What these orders would move, before the referee signs. Nothing is stored."""
    meet_id = MeetId(meet)
    return answer(
        await here.store.read_apart(
            lambda conn: deciding.look_at_protest(conn, meet_id, ProtestId(protest), sent)
        )
    )


@router.put("/api/meets/{meet}/protests/{protest}/decision", response_model=ProtestOut)
async def put_protest_decision(
    meet: Meet,
    protest: Protest,
    sent: RefereeDecisionIn,
    here: Here,
    version: VersionRequired,
    check: Check = False,
) -> Response:
    """The referee's decision, signed with the PIN; If-Match names the protest as it was read."""
    pen = await take_pen(here, sent, check=check)
    put = await act_signed(
        here,
        MeetId(meet),
        pen,
        actions.decide_protest(ProtestId(protest), sent, pen, version),
    )
    return answer_put(put, version=put.thing.version)


@router.put("/api/meets/{meet}/protests/{protest}/advice", response_model=ProtestOut)
async def put_advice(meet: Meet, protest: Protest, sent: AdviceIn, here: Here) -> Response:
    """The protesters were told that nothing is amended: the time for an appeal runs."""
    out = await here.store.act(
        MeetId(meet), here.actor, actions.give_advice(ProtestId(protest), sent)
    )
    return answer(out, version=out.version)


@router.put(
    "/api/meets/{meet}/protests/{protest}/time-corrections/{correction}", response_model=ProtestOut
)
async def put_protest_correction(
    meet: Meet,
    protest: Protest,
    correction: Correction,
    sent: LodgedCorrectionIn,
    here: Here,
    check: Check = False,
) -> Response:
    """Correct when a protest was lodged, where that was typed wrongly, signed with the PIN."""
    pen = await take_pen(here, sent, check=check)
    act = put_right.correct_protest(ProtestId(protest), CorrectionId(correction), sent, pen)
    put = await act_signed(here, MeetId(meet), pen, act)
    return answer_put(put, version=put.thing.version)


@router.put(
    "/api/meets/{meet}/protests/{protest}/advice/time-corrections/{correction}",
    response_model=ProtestOut,
)
async def put_advice_correction(
    meet: Meet,
    protest: Protest,
    correction: Correction,
    sent: AdviceCorrectionIn,
    here: Here,
    check: Check = False,
) -> Response:
    """Correct when the protesters were told, where that was typed wrongly, signed with the PIN. The
    window that the advice opened follows.
    """
    pen = await take_pen(here, sent, check=check)
    act = put_right.correct_advice(ProtestId(protest), CorrectionId(correction), sent, pen)
    put = await act_signed(here, MeetId(meet), pen, act)
    return answer_put(put, version=put.thing.version)


@router.post("/api/meets/{meet}/protests/{protest}/withdraw", response_model=ProtestOut)
async def withdraw_protest(
    meet: Meet, protest: Protest, sent: WithdrawIn, here: Here, version: VersionRequired
) -> Response:
    """The team takes its protest back."""
    out = await here.store.act(
        MeetId(meet), here.actor, actions.withdraw_protest(ProtestId(protest), sent, version)
    )
    return answer(out, version=out.version)


@router.get("/api/meets/{meet}/cases/{case}/consequences", response_model=RulingConsequencesOut)
async def look_at_case(meet: Meet, case: Annotated[ChosenId, Path()], here: Here) -> Response:
    """What each ruling on a case would move, before it is signed."""
    return answer(
        await here.store.read_apart(
            lambda conn: ruling_consequences(conn, MeetId(meet), CaseId(case))
        )
    )
