"""The export of a meet's record over HTTP: one ZIP that anybody can check without this program."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import closing
from typing import IO, Annotated

from fastapi import APIRouter, Path, Response
from fastapi.responses import StreamingResponse
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from app.access.guard import Here
from app.exporting.building import export_to
from app.exporting.files import a_zip
from app.exporting.wanted import Order
from app.ids import ChosenId, MeetId

router = APIRouter(tags=["record"])

PIECE = 256 * 1024


@router.get(
    "/api/meets/{meet}/record.zip",
    response_class=Response,
    responses={200: {"content": {"application/zip": {}}}},
)
async def get_export(meet: Annotated[ChosenId, Path()], here: Here) -> StreamingResponse:
    """The record with its signed heads, certificates, papers, results and pictures, and a checker:
    one ZIP that stands for itself.
    """
    seal = await run_in_threadpool(here.services.seals.of, MeetId(meet))
    order = Order(MeetId(meet), here.clock.now(), seal.notes)
    file = await here.store.read_apart(lambda conn: write_zip(conn, order))
    headers = {
        "Content-Disposition": 'attachment; filename="record.zip"',
        "Content-Length": str(file.seek(0, 2)),
        "Cache-Control": "no-store",
    }
    return StreamingResponse(pieces(file), media_type="application/zip", headers=headers)


def write_zip(conn: Connection, order: Order) -> IO[bytes]:
    """The export in a file that has no name and is gone once it is closed."""
    file = tempfile.TemporaryFile()  # noqa: SIM115 (it is closed when the answer has gone out)
    try:
        with a_zip(file, order.now) as place:
            export_to(conn, order, place)
    except BaseException:
        file.close()
        raise
    return file


def pieces(file: IO[bytes]) -> Iterator[bytes]:
    """A file from its start, piece by piece; closed at the end."""
    with closing(file):
        file.seek(0)
        while piece := file.read(PIECE):
            yield piece
