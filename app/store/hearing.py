"""What other processes have committed, heard from PostgreSQL itself.

A transaction says how far the records of its meets reach (`NOTIFY`); the word goes out with its
commit, and to nobody where it fails. Each process listens on a connection of its own. A line that
is lost is taken up again, and whoever follows is told that words were missed meanwhile.
"""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import Connection

from app.ids import MeetId
from app.store.by_name import Named
from app.store.engine import Engines

if TYPE_CHECKING:
    import psycopg

log = logging.getLogger(__name__)

CHANNEL = "zonedocket_records"
WAITS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
"""Seconds before a lost line is taken up again; the last one for all further tries."""
LISTENS_FOR = 0.2
"""Seconds until it is looked whether the process stops."""

_SAY = Named("SELECT pg_notify($1, $2)", writes=True)

Sizes = Mapping[MeetId, int]
OnWord = Callable[[Sizes], object]
OnLine = Callable[[bool], object]


def say(conn: Connection, sizes: Sizes) -> None:
    """Tell all processes, with this transaction, how far these records reach."""
    if sizes:
        words = json.dumps(dict(sizes), separators=(",", ":"))
        _SAY.later(conn, (CHANNEL, words))


@contextmanager
def hearing(engines: Engines, on_word: OnWord, on_line: OnLine) -> Iterator[None]:
    """`on_word` gets what others committed, `on_line` whether it arrives; both from a thread.

    On SQLite there are no others, and nothing to listen to.
    """
    if engines.is_sqlite:
        on_line(True)
        yield
        return
    url = engines.url.set(drivername="postgresql").render_as_string(hide_password=False)
    ear = _Ear(url, on_word, on_line)
    ear.start()
    try:
        yield
    finally:
        ear.stop()


class _Ear(threading.Thread):
    def __init__(self, url: str, on_word: OnWord, on_line: OnLine) -> None:
        super().__init__(name="hearing", daemon=True)
        self._url, self._on_word, self._on_line = url, on_word, on_line
        self._stopping = threading.Event()

    def stop(self) -> None:
        self._stopping.set()
        self.join()

    def run(self) -> None:
        import psycopg  # noqa: PLC0415  # there is none where only SQLite is used

        failures = 0
        while not self._stopping.is_set():
            try:
                with psycopg.connect(self._url, autocommit=True) as line:
                    line.execute(f"LISTEN {CHANNEL}")
                    failures = 0
                    self._on_line(True)
                    self._listen(line)
            except psycopg.Error as error:
                self._on_line(False)
                if not failures:
                    log.warning("the line on which commits are heard is lost: %s", error)
                self._stopping.wait(WAITS[min(failures, len(WAITS) - 1)])
                failures += 1

    def _listen(self, line: psycopg.Connection[tuple[object, ...]]) -> None:
        while not self._stopping.is_set():
            for word in line.notifies(timeout=LISTENS_FOR):
                self._on_word(json.loads(word.payload))
