"""How much one session may ask of this process in a while, so that there is enough for all others.

A phone that was stolen, or a program that went wild, would fill the record for good, and keep
whoever else wants a file waiting behind it. (OWASP API Security Top 10, 2023: API4.) Nobody's work
comes near these bounds: a phone that was long without a line sends some dozens at once, an
organiser's program some hundreds. What is refused is not lost: a phone keeps it and sends it again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import NamedTuple

from app.ids import SessionId
from app.refusals import TooMuchAtOnce

MOST_FILES = 3
"""Files, exports and sheets that are drawn or on their way for one session: they are drawn one
after another for all, and lie on the disk until they are taken."""
MOST_REMEMBERED = 10_000


class _Left(NamedTuple):
    """How many changes a session had left, and when that was."""

    changes: float
    at: datetime


class Pace:
    """What each session of this process has asked for lately."""

    def __init__(self, changes_a_minute: int) -> None:
        self._most = changes_a_minute
        self._left: dict[SessionId, _Left] = {}
        self._files: Counter[SessionId] = Counter()

    def count_change(self, session: SessionId, now: datetime) -> None:
        """Count one; TooMuchAtOnce for whoever has sent more than a minute's in a row."""
        left = self._left_of(session, now)
        if left < 1:
            raise TooMuchAtOnce(
                f"This session has sent more than {self._most} changes in a minute. Nothing was "
                "stored of this one; send it again in a moment.",
                retry_after=1 + int((1 - left) * 60 / self._most),
            )
        if len(self._left) >= MOST_REMEMBERED:
            self._left.clear()
        self._left[session] = _Left(left - 1, now)

    def _left_of(self, session: SessionId, now: datetime) -> float:
        last = self._left.get(session)
        if last is None:
            return self._most
        seconds = max((now - last.at).total_seconds(), 0.0)
        return min(last.changes + seconds * self._most / 60, self._most)

    @contextmanager
    def one_more_file(self, session: SessionId) -> Iterator[None]:
        """Count a file until it has gone out; TooMuchAtOnce for one more than is allowed."""
        if self._files[session] >= MOST_FILES:
            raise TooMuchAtOnce(
                f"{MOST_FILES} files are on their way to this session already. Wait until one of "
                "them is there, then ask for this one again.",
                retry_after=5,
            )
        self._files[session] += 1
        try:
            yield
        finally:
            self._files[session] -= 1
            if not self._files[session]:
                del self._files[session]
