"""Case files over HTTP: of a case, a protest or an appeal; as a PDF, and as a ZIP with proofs."""

from __future__ import annotations

from contextlib import ExitStack
from typing import Annotated, Any

from fastapi import Path, Query, Response
from starlette.concurrency import run_in_threadpool

from app.access.guard import Here
from app.casefiles.drawing_up import draw_up, slice_of
from app.casefiles.scope import Asked, Of
from app.exporting.zipped import ZipAnswer
from app.forms.paper import Paper
from app.guarded import for_programs
from app.ids import ChosenId, MeetId
from app.sealing.papers import as_pdf

router = for_programs("case files")

Meet = Annotated[ChosenId, Path()]
Ident = Annotated[ChosenId, Path()]
Sheet = Annotated[Paper, Query()]

PDF: dict[int | str, dict[str, Any]] = {200: {"content": {"application/pdf": {}}}}
ZIP: dict[int | str, dict[str, Any]] = {200: {"content": {"application/zip": {}}}}
NOT_KEPT = {"Cache-Control": "private, no-store"}


@router.get("/api/meets/{meet}/cases/{case}/file.pdf", response_class=Response, responses=PDF)
async def get_file_of_case(
    meet: Meet, case: Ident, here: Here, paper: Sheet = Paper.A4
) -> Response:
    """All about a case on paper, sealed: from its reports to what became of its rulings."""
    return await _pdf(here, Asked(MeetId(meet), Of.CASE, case), paper)


@router.get("/api/meets/{meet}/cases/{case}/file.zip", response_class=Response, responses=ZIP)
async def get_slice_of_case(
    meet: Meet, case: Ident, here: Here, paper: Sheet = Paper.A4
) -> ZipAnswer:
    """The file of a case with its entries of the record, proofs, pictures and sealed papers."""
    return await _zip(here, Asked(MeetId(meet), Of.CASE, case), paper)


@router.get("/api/meets/{meet}/protests/{protest}/file.pdf", response_class=Response, responses=PDF)
async def get_file_of_protest(
    meet: Meet, protest: Ident, here: Here, paper: Sheet = Paper.A4
) -> Response:
    """All about a protest on paper, sealed: with the case that it is about, and its appeals."""
    return await _pdf(here, Asked(MeetId(meet), Of.PROTEST, protest), paper)


@router.get("/api/meets/{meet}/protests/{protest}/file.zip", response_class=Response, responses=ZIP)
async def get_slice_of_protest(
    meet: Meet, protest: Ident, here: Here, paper: Sheet = Paper.A4
) -> ZipAnswer:
    """The file of a protest with its entries of the record, proofs, pictures and sealed papers."""
    return await _zip(here, Asked(MeetId(meet), Of.PROTEST, protest), paper)


@router.get("/api/meets/{meet}/appeals/{appeal}/file.pdf", response_class=Response, responses=PDF)
async def get_file_of_appeal(
    meet: Meet, appeal: Ident, here: Here, paper: Sheet = Paper.A4
) -> Response:
    """All about an appeal on paper, sealed: with its protest, and the case that it is about."""
    return await _pdf(here, Asked(MeetId(meet), Of.APPEAL, appeal), paper)


@router.get("/api/meets/{meet}/appeals/{appeal}/file.zip", response_class=Response, responses=ZIP)
async def get_slice_of_appeal(
    meet: Meet, appeal: Ident, here: Here, paper: Sheet = Paper.A4
) -> ZipAnswer:
    """The file of an appeal with its entries of the record, proofs, pictures and sealed papers."""
    return await _zip(here, Asked(MeetId(meet), Of.APPEAL, appeal), paper)


async def _pdf(here: Here, asked: Asked, paper: Paper) -> Response:
    with here.one_more_file():
        async with here.services.of_files:  # its pictures take four times their bytes meanwhile
            drawn = await run_in_threadpool(draw_up, here.store, here.services.seals, asked, paper)
    answer = as_pdf(drawn.content, f"file-of-{asked.of.value}-{asked.ident}")
    answer.headers.update(NOT_KEPT)
    return answer


async def _zip(here: Here, asked: Asked, paper: Paper) -> ZipAnswer:
    with ExitStack() as until_sent:
        until_sent.enter_context(here.one_more_file())
        async with here.services.of_files:
            file = await run_in_threadpool(slice_of, here.store, here.services.seals, asked, paper)
        name = f"file-of-{asked.of.value}-{asked.ident}"
        return ZipAnswer(file, name, until_sent.pop_all())
