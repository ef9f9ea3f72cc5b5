"""An export as one ZIP that is handed out piece by piece."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import closing
from typing import IO

from fastapi.responses import StreamingResponse
from sqlalchemy import Connection

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


def pieces(file: IO[bytes]) -> Iterator[bytes]:
    """A file from its start, piece by piece; closed at the end."""
    with closing(file):
        file.seek(0)
        while piece := file.read(PIECE):
            yield piece


def as_zip(file: IO[bytes], name: str) -> StreamingResponse:
    """The answer that gives a ZIP out, piece by piece, to be saved under this name; nobody between
    keeps it.
    """
    headers = {
        "Content-Disposition": f'attachment; filename="{name}.zip"',
        "Content-Length": str(file.seek(0, 2)),
        "Cache-Control": "private, no-store",
    }
    return StreamingResponse(pieces(file), media_type="application/zip", headers=headers)
