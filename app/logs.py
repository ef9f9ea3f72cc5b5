"""What stands in the log: what happened and where, and nobody's data.

The first line of an error says what went wrong. The lines below it show values: the row that a
database refused (PostgreSQL's DETAIL), the input that did not fit. They may name people, so they
are left out.
"""

from __future__ import annotations

import logging
import traceback
from collections.abc import Iterator
from datetime import UTC, datetime
from types import TracebackType

from app.clock import rfc3339

_Caught = tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None]


class WithoutData(logging.Formatter):
    """Formats errors as their types, first lines and places in the code, the latest first. Times
    are UTC, as everywhere, and say so.
    """

    def formatTime(  # noqa: N802  (the library's name)
        self, record: logging.LogRecord, datefmt: str | None = None
    ) -> str:
        return rfc3339(datetime.fromtimestamp(record.created, UTC))

    def formatException(self, ei: _Caught) -> str:  # noqa: N802  (the library's name)
        return "\nbecause of ".join(map(_in_short, _with_causes(ei[1])))


def keep_log() -> None:
    """Send warnings and errors of the whole process to standard error, without data."""
    handler = logging.StreamHandler()
    handler.setFormatter(WithoutData("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    logging.basicConfig(level=logging.WARNING, handlers=[handler])


def _with_causes(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)


def _in_short(error: BaseException) -> str:
    first_line = str(error).partition("\n")[0]
    places = "".join(traceback.format_tb(error.__traceback__))
    return f"{type(error).__module__}.{type(error).__qualname__}: {first_line}\n{places}".rstrip()
