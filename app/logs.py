"""What stands in the log: what happened and where, and nobody's data. One JSON object a line.

Everything that went wrong has a line, and every request: its id, its route's template (never its
address), the status, the time that it took, and the id of whoever sent it. No names, no PINs, no
tokens, no bodies, no query. A line is ASCII, so that no line break and no control character that
somebody sent makes another one (OWASP ASVS 5.0, 16.4.1).

The first line of an error says what went wrong. The lines below it show values: the row that a
database refused (PostgreSQL's DETAIL), the input that did not fit. They may name people, so they
are left out.
"""

from __future__ import annotations

import json
import logging
import threading
import traceback
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from time import time
from types import TracebackType
from typing import ClassVar, NamedTuple, TextIO

from app.attended import attended_id
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


class AsJson(WithoutData):
    """Formats what happened as one line of JSON, with the request in which it did."""

    def format(self, record: logging.LogRecord) -> str:
        """The line, without its end."""
        said: dict[str, object] = {
            "at": _at(record.created),
            "level": record.levelname.lower(),
            "request": attended_id(),
            "from": record.name,
            "message": record.getMessage(),
        }
        if record.exc_info:
            said["error"] = self.formatException(record.exc_info)
        return json.dumps({name: value for name, value in said.items() if value is not None})


class Handed(logging.StreamHandler[TextIO]):
    """Writes lines at once, or hands them to whoever writes the log meanwhile: a reader that stands
    still would else hold up the event loop, or the writer, with a warning.
    """

    to: ClassVar[RequestLog | None] = None

    def emit(self, record: logging.LogRecord) -> None:
        """Write or hand over one line."""
        log = Handed.to
        if log is None:
            super().emit(record)
        else:
            log.say(self.format(record) + "\n")


def keep_log() -> None:
    """Send warnings and errors of the whole process to standard error, without data."""
    handler = Handed()
    handler.setFormatter(AsJson())
    logging.basicConfig(level=logging.WARNING, handlers=[handler])


def _at(seconds: float) -> str:
    return rfc3339(datetime.fromtimestamp(seconds, UTC))


class Answered(NamedTuple):
    """A request that has been answered, or whose caller has gone: then its status may be 0."""

    at: float
    request: str
    sent_id: str | None
    method: str
    template: str
    status: int
    seconds: float
    actor: str | None


MOST_WAITING = 20_000
"""Lines that wait to be written: some seconds of the busiest service."""
WRITE_EVERY = 0.2


class RequestLog:
    """A line for each request that was answered, and those of the process's own log, written by a
    thread.

    Whoever reads the log may be slow, or stand still: no request waits for that. What is then too
    much is left out, and how many lines that were is said. Where nothing is written, nothing is
    taken.
    """

    def __init__(self) -> None:
        self._waiting: deque[Answered | str] = deque()
        self._is_written = False
        self._takes_requests = False
        self._left_out = 0
        self._stopping = threading.Event()

    def take(self, answered: Answered) -> None:
        """Have a line written of a request that has ended."""
        if self._takes_requests:
            self.say(answered)

    def say(self, line: Answered | str) -> None:
        """Have a line written; one more that was left out where too many wait."""
        if not self._is_written:
            return
        if len(self._waiting) < MOST_WAITING:
            self._waiting.append(line)
        else:
            self._left_out += 1

    @contextmanager
    def written_to(self, stream: TextIO, *, requests: bool = True) -> Iterator[None]:
        """Write what is taken inside the block, all of it where the stream takes it in time."""
        self._is_written, self._takes_requests = True, requests
        self._stopping.clear()
        self._waiting.clear()  # what came after the end of an earlier block
        thread = threading.Thread(target=self._write_on, args=(stream,), daemon=True)
        thread.start()
        before, Handed.to = Handed.to, self
        try:
            yield
        finally:
            Handed.to = before
            self._stopping.set()
            thread.join(1)
            self._is_written = False

    def _write_on(self, stream: TextIO) -> None:
        stopping = False
        while not stopping:
            stopping = self._stopping.wait(WRITE_EVERY)
            try:
                self._write(stream)
            except (OSError, ValueError):  # nobody reads on: the service goes on without
                self._is_written = False
                return

    def _write(self, stream: TextIO) -> None:
        lines = [_line(self._waiting.popleft()) for _ in range(len(self._waiting))]
        left_out, self._left_out = self._left_out, 0
        if left_out:
            lines.append(_said_left_out(left_out))
        if lines:
            stream.write("".join(lines))
            stream.flush()


def _line(one: Answered | str) -> str:
    if isinstance(one, str):
        return one
    said = {
        "at": _at(one.at),
        "level": "error" if one.status >= 500 else "info",
        "request": one.request,
        "sent_id": one.sent_id,
        "method": one.method,
        "route": one.template,
        "status": one.status,
        "ms": round(one.seconds * 1000, 1),
        "actor": one.actor,
    }
    return json.dumps({name: value for name, value in said.items() if value is not None}) + "\n"


def _said_left_out(number: int) -> str:
    said = {"level": "warning", "message": f"{number} lines were left out: too many"}
    return json.dumps({"at": _at(time()), **said}) + "\n"


def _with_causes(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)


def _in_short(error: BaseException) -> str:
    first_line = str(error).partition("\n")[0]
    places = "".join(traceback.format_tb(error.__traceback__))
    return f"{type(error).__module__}.{type(error).__qualname__}: {first_line}\n{places}".rstrip()
