"""Which threads are followed where it is measured how much of the program the tests run.

Following a service costs as much again as its work does. Its routes and actions are the same
on both engines, so the service that the tests share is followed on SQLite only. What is
PostgreSQL's alone is followed in the services that tests start there for themselves.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any
from weakref import WeakSet

_left_alone: WeakSet[threading.Thread] = WeakSet()


@contextmanager
def followed_unless_left_alone() -> Iterator[None]:
    """Threads are followed as asked, but for those left alone and the threads that these start."""
    follow, start = threading.gettrace(), threading.Thread.start
    if follow is None:
        yield
        return

    def choose(frame: FrameType, event: str, arg: Any) -> Any:
        if threading.current_thread() in _left_alone:
            sys.settrace(None)
            return None
        return follow(frame, event, arg)

    def start_likewise(thread: threading.Thread) -> None:
        if threading.current_thread() in _left_alone:
            _left_alone.add(thread)
        start(thread)

    threading.settrace(choose)
    threading.Thread.start = start_likewise  # type: ignore[method-assign]
    try:
        yield
    finally:
        threading.settrace(follow)
        threading.Thread.start = start  # type: ignore[method-assign]


def leave_alone(thread: threading.Thread) -> None:
    """A thread that is yet to start, and whatever it starts, is not followed."""
    _left_alone.add(thread)
