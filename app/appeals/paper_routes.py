"""The papers of protests, appeals and decisions over HTTP."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Path, Query, Response

from app.access.guard import Here
from app.appeals.decision_papers import decision_form
from app.appeals.lodged_papers import appeal_form, protest_form
from app.forms.paper import Paper
from app.guarded import for_programs
from app.ids import AppealId, ChosenId, DecisionId, MeetId, ProtestId
from app.sealing.papers import as_pdf, sealed_paper

router = for_programs("protests and appeals")

Meet = Annotated[ChosenId, Path()]
Protest = Annotated[ChosenId, Path()]
Appeal = Annotated[ChosenId, Path()]
Sheet = Annotated[Paper, Query()]

PDF: dict[int | str, dict[str, Any]] = {200: {"content": {"application/pdf": {}}}}


@router.get("/api/meets/{meet}/protests/{protest}/form.pdf", response_class=Response, responses=PDF)
async def get_protest_form(
    meet: Meet, protest: Protest, here: Here, paper: Sheet = Paper.A4
) -> Response:
    """The protest on paper, sealed."""
    wanted = protest_form(MeetId(meet), ProtestId(protest))
    return as_pdf(await sealed_paper(here, MeetId(meet), paper, wanted), f"protest-{protest}")


@router.get("/api/meets/{meet}/appeals/{appeal}/form.pdf", response_class=Response, responses=PDF)
async def get_appeal_form(
    meet: Meet, appeal: Appeal, here: Here, paper: Sheet = Paper.A4
) -> Response:
    """The appeal on paper, sealed."""
    wanted = appeal_form(MeetId(meet), AppealId(appeal))
    return as_pdf(await sealed_paper(here, MeetId(meet), paper, wanted), f"appeal-{appeal}")


@router.get(
    "/api/meets/{meet}/decisions/{decision}/form.pdf", response_class=Response, responses=PDF
)
async def get_decision_form(
    meet: Meet, decision: Annotated[ChosenId, Path()], here: Here, paper: Sheet = Paper.A4
) -> Response:
    """A decision of the referee or of the jury on paper, sealed."""
    wanted = decision_form(MeetId(meet), DecisionId(decision))
    return as_pdf(await sealed_paper(here, MeetId(meet), paper, wanted), f"decision-{decision}")
