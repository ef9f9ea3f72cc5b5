"""The export of a meet's record over HTTP: one ZIP that anybody can check without this program."""

from __future__ import annotations

from contextlib import ExitStack
from typing import Annotated

from fastapi import Path, Response
from starlette.concurrency import run_in_threadpool

from app.access.guard import Here
from app.exporting.wanted import Order
from app.exporting.zipped import ZipAnswer, write_zip
from app.guarded import for_programs
from app.ids import ChosenId, MeetId

router = for_programs("record")


@router.get(
    "/api/meets/{meet}/record.zip",
    response_class=Response,
    responses={200: {"content": {"application/zip": {}}}},
)
async def get_export(meet: Annotated[ChosenId, Path()], here: Here) -> ZipAnswer:
    """The record with its signed heads, certificates, papers, results and pictures, and a checker:
    one ZIP that stands for itself.
    """
    seal = await run_in_threadpool(here.services.seals.of, MeetId(meet))
    known = here.services.seals.agreement
    order = Order(MeetId(meet), here.clock.now(), seal.notes, agreement=known)
    with ExitStack() as until_sent:
        until_sent.enter_context(here.one_more_file())
        async with here.services.of_records:
            file = await here.store.read_apart(lambda conn: write_zip(conn, order))
        return ZipAnswer(file, "record", until_sent.pop_all())
