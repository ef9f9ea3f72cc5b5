"""An export as one ZIP that is handed out piece by piece, from a file that is gone afterwards."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from typing import IO

from fastapi.responses import StreamingResponse
from sqlalchemy import Connection
from starlette.types import Receive, Scope, Send

from app.exporting.building import export_to
from app.exporting.files import a_zip
from app.exporting.wanted import Order

PIECE = 256 * 1024


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


class ZipAnswer(StreamingResponse):
    """A ZIP on its way. Its file is closed with the answer, also where nobody took all of it: an
    iterator that is left alone would keep it until the interpreter looks for garbage, which is
    seldom, and pictures are large. So is what was held `until_sent`.
    """

    def __init__(self, file: IO[bytes], name: str, until_sent: ExitStack) -> None:
        headers = {
            "Content-Disposition": f'attachment; filename="{name}.zip"',
            "Content-Length": str(file.seek(0, 2)),
            "Cache-Control": "private, no-store",
        }
        file.seek(0)
        super().__init__(_pieces(file), media_type="application/zip", headers=headers)
        self._file = file
        self._until_sent = until_sent

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._file.close()
            self._until_sent.close()


def _pieces(file: IO[bytes]) -> Iterator[bytes]:
    while not file.closed and (piece := file.read(PIECE)):
        yield piece
