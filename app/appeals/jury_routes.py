"""Appeals and the jury over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Response

from app.access.guard import Here
from app.access.sign_wire import Check
from app.access.signing import act_signed, take_pen
from app.answers import VersionRequired, answer, answer_put
from app.appeals import (
    countersigning,
    deciding,
    jury,
    lodging,
    panel,
    paying,
    put_right,
    showing,
)
from app.appeals.dossier import dossier
from app.appeals.jury_wire import (
    AdmissionIn,
    AppealIn,
    AppealOut,
    AppealsOut,
    CandidatesOut,
    DepositCorrectionIn,
    DepositPaidIn,
    DossierOut,
    JuryDecisionIn,
    PanelIn,
    ReceiptCorrectionIn,
    ReopenIn,
    StepAsideIn,
    VoteIn,
    VoteOut,
)
from app.appeals.who_can_sit import candidates
from app.appeals.wire import (
    DecisionSignatureIn,
    LodgedCorrectionIn,
    OrdersIn,
    SignatureOut,
    WithdrawIn,
)
from app.guarded import for_programs
from app.ids import (
    AppealId,
    ChosenId,
    CorrectionId,
    DecisionId,
    MeetId,
    OfficialId,
    SignatureId,
    VoteId,
)
from app.rounds.wire import ConsequencesOut

router = for_programs("protests and appeals")

Meet = Annotated[ChosenId, Path()]
Appeal = Annotated[ChosenId, Path()]
Correction = Annotated[ChosenId, Path()]
Before = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@router.put("/api/meets/{meet}/appeals/{appeal}", response_model=AppealOut)
async def put_appeal(meet: Meet, appeal: Appeal, sent: AppealIn, here: Here) -> Response:
    """Take in an appeal against the referee's decision on a protest."""
    put = await here.store.act(
        MeetId(meet), here.actor, lodging.lodge_appeal(AppealId(appeal), sent, here.caller)
    )
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/appeals", response_model=AppealsOut)
async def list_appeals(meet: Meet, here: Here, before: Before = None) -> Response:
    """Appeals, the one that was lodged last first, fifty a page."""
    now = here.clock.now()
    return answer(
        await here.store.read_apart(
            lambda conn: showing.appeals_shown(conn, MeetId(meet), before, now)
        )
    )


@router.get("/api/meets/{meet}/appeals/{appeal}", response_model=AppealOut)
async def get_appeal(meet: Meet, appeal: Appeal, here: Here) -> Response:
    """An appeal with what became of it."""
    now = here.clock.now()
    out = await here.store.read_apart(
        lambda conn: showing.appeal_shown(conn, MeetId(meet), AppealId(appeal), now)
    )
    return answer(out, version=out.version)


@router.get("/api/meets/{meet}/appeals/{appeal}/dossier", response_model=DossierOut)
async def get_dossier(meet: Meet, appeal: Appeal, here: Here) -> Response:
    """Everything the jury needs for one appeal."""
    now = here.clock.now()
    return answer(
        await here.store.read_apart(lambda conn: dossier(conn, MeetId(meet), AppealId(appeal), now))
    )


@router.put("/api/meets/{meet}/appeals/{appeal}/deposit", response_model=AppealOut)
async def put_deposit(meet: Meet, appeal: Appeal, sent: DepositPaidIn, here: Here) -> Response:
    """The deposit was received; the appeal is complete with it."""
    out = await here.store.act(
        MeetId(meet), here.actor, paying.receive_deposit(AppealId(appeal), sent)
    )
    return answer(out, version=out.version)


@router.put(
    "/api/meets/{meet}/appeals/{appeal}/time-corrections/{correction}", response_model=AppealOut
)
async def put_appeal_correction(
    meet: Meet,
    appeal: Appeal,
    correction: Correction,
    sent: LodgedCorrectionIn,
    here: Here,
    check: Check = False,
) -> Response:
    """Correct when an appeal was lodged, where that was typed wrongly, signed with the PIN."""
    pen = await take_pen(here, sent, check=check)
    act = put_right.correct_appeal(AppealId(appeal), CorrectionId(correction), sent, pen)
    put = await act_signed(here, MeetId(meet), pen, act)
    return answer_put(put, version=put.thing.version)


@router.put(
    "/api/meets/{meet}/appeals/{appeal}/deposit/time-corrections/{correction}",
    response_model=AppealOut,
)
async def put_deposit_correction(
    meet: Meet,
    appeal: Appeal,
    correction: Correction,
    sent: DepositCorrectionIn,
    here: Here,
    check: Check = False,
) -> Response:
    """Correct when a deposit was received, where that was typed wrongly, signed with the PIN."""
    pen = await take_pen(here, sent, check=check)
    act = put_right.correct_deposit(AppealId(appeal), CorrectionId(correction), sent, pen)
    put = await act_signed(here, MeetId(meet), pen, act)
    return answer_put(put, version=put.thing.version)


@router.put(
    "/api/meets/{meet}/appeals/{appeal}/deposit/receipt-corrections/{correction}",
    response_model=AppealOut,
)
async def put_receipt_correction(
    meet: Meet,
    appeal: Appeal,
    correction: Correction,
    sent: ReceiptCorrectionIn,
    here: Here,
    check: Check = False,
) -> Response:
    """Correct the number of a deposit's receipt, signed with the PIN."""
    pen = await take_pen(here, sent, check=check)
    act = put_right.correct_receipt(AppealId(appeal), CorrectionId(correction), sent, pen)
    put = await act_signed(here, MeetId(meet), pen, act)
    return answer_put(put, version=put.thing.version)


@router.put("/api/meets/{meet}/appeals/{appeal}/admission", response_model=AppealOut)
async def put_admission(
    meet: Meet,
    appeal: Appeal,
    sent: AdmissionIn,
    here: Here,
    version: VersionRequired,
    check: Check = False,
) -> Response:
    """The jury's word on an appeal that is late, from outside or without deposit."""
    pen = await take_pen(here, sent, check=check)
    out = await act_signed(
        here, MeetId(meet), pen, jury.admit(AppealId(appeal), sent, pen, version)
    )
    return answer(out, version=out.version)


@router.put("/api/meets/{meet}/appeals/{appeal}/panel", response_model=AppealOut)
async def put_panel(
    meet: Meet, appeal: Appeal, sent: PanelIn, here: Here, version: VersionRequired
) -> Response:
    """Name who decides: the chair, the members, the secretary, and substitutes."""
    out = await here.store.act(
        MeetId(meet),
        here.actor,
        panel.name_panel(AppealId(appeal), sent, version),
    )
    return answer(out, version=out.version)


@router.get("/api/meets/{meet}/appeals/{appeal}/panel/candidates", response_model=CandidatesOut)
async def list_candidates(meet: Meet, appeal: Appeal, here: Here) -> Response:
    """Who can be named for the panel of this appeal, and who not and why."""
    meet_id, appeal_id = MeetId(meet), AppealId(appeal)
    return answer(await here.store.read_apart(lambda conn: candidates(conn, meet_id, appeal_id)))


@router.post(
    "/api/meets/{meet}/appeals/{appeal}/panel/{official}/withdraw", response_model=AppealOut
)
async def step_aside(
    meet: Meet,
    appeal: Appeal,
    official: Annotated[ChosenId, Path()],
    sent: StepAsideIn,
    here: Here,
    version: VersionRequired,
) -> Response:
    """A member withdraws; a substitute takes the place."""
    out = await here.store.act(
        MeetId(meet),
        here.actor,
        panel.step_aside(AppealId(appeal), OfficialId(official), sent, here.caller, version),
    )
    return answer(out, version=out.version)


@router.put("/api/meets/{meet}/appeals/{appeal}/votes/{vote}", response_model=VoteOut)
async def put_vote(
    meet: Meet,
    appeal: Appeal,
    vote: Annotated[ChosenId, Path()],
    sent: VoteIn,
    here: Here,
    check: Check = False,
) -> Response:
    """A member's vote, signed with the PIN."""
    pen = await take_pen(here, sent, check=check)
    put = await act_signed(
        here, MeetId(meet), pen, panel.vote(AppealId(appeal), VoteId(vote), sent, pen)
    )
    return answer_put(put)


@router.post("/api/meets/{meet}/appeals/{appeal}/consequences", response_model=ConsequencesOut)
async def look_at_appeal(meet: Meet, appeal: Appeal, sent: OrdersIn, here: Here) -> Response:
    """What these orders would move, before the jury signs. Nothing is stored."""
    meet_id = MeetId(meet)
    return answer(
        await here.store.read_apart(
            lambda conn: deciding.look_at_appeal(conn, meet_id, AppealId(appeal), sent)
        )
    )


@router.put("/api/meets/{meet}/appeals/{appeal}/decision", response_model=AppealOut)
async def put_appeal_decision(
    meet: Meet,
    appeal: Appeal,
    sent: JuryDecisionIn,
    here: Here,
    version: VersionRequired,
    check: Check = False,
) -> Response:
    """The jury's decision, signed by its chair; If-Match names the appeal as it was read."""
    pen = await take_pen(here, sent, check=check)
    put = await act_signed(
        here, MeetId(meet), pen, jury.decide_appeal(AppealId(appeal), sent, pen, version)
    )
    return answer_put(put, version=put.thing.version)


@router.put(
    "/api/meets/{meet}/decisions/{decision}/signatures/{signature}", response_model=SignatureOut
)
async def put_signature(
    meet: Meet,
    decision: Annotated[ChosenId, Path()],
    signature: Annotated[ChosenId, Path()],
    sent: DecisionSignatureIn,
    here: Here,
    check: Check = False,
) -> Response:
    """The jury's decision, signed by the secretary of its panel beside the chair."""
    pen = await take_pen(here, sent, check=check)
    act = countersigning.sign_decision(DecisionId(decision), SignatureId(signature), pen)
    return answer_put(await act_signed(here, MeetId(meet), pen, act))


@router.post("/api/meets/{meet}/appeals/{appeal}/withdraw", response_model=AppealOut)
async def withdraw_appeal(
    meet: Meet, appeal: Appeal, sent: WithdrawIn, here: Here, version: VersionRequired
) -> Response:
    """The team takes its appeal back."""
    out = await here.store.act(
        MeetId(meet), here.actor, jury.withdraw_appeal(AppealId(appeal), sent, version)
    )
    return answer(out, version=out.version)


@router.post("/api/meets/{meet}/appeals/{appeal}/reopen", response_model=AppealOut)
async def reopen_appeal(
    meet: Meet,
    appeal: Appeal,
    sent: ReopenIn,
    here: Here,
    version: VersionRequired,
    check: Check = False,
) -> Response:
    """The jury looks at its decision again, on new conclusive evidence; signed by its chair."""
    pen = await take_pen(here, sent, check=check)
    out = await act_signed(
        here, MeetId(meet), pen, jury.reopen(AppealId(appeal), sent, pen, version)
    )
    return answer(out, version=out.version)
