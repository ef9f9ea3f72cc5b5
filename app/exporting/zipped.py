"""An export as one ZIP that is handed out piece by piece."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import closing
from typing import IO

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
