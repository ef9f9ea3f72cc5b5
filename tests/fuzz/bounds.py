"""So much time and memory, and no more, whatever is read."""

from __future__ import annotations

import resource
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

MIB = 1024 * 1024
AGAIN = 1
"""Seconds after which the end is told once more: told in a finaliser, or in what the collector of
garbage calls, it is told to nobody.
"""


class TookTooLong(BaseException):
    """Not for a reader to catch, whatever errors it takes for a broken file."""


@contextmanager
def within(seconds: float, mebibytes: int) -> Iterator[None]:
    """AssertionError where more is taken of either: of this process's own time, which is not that
    of its neighbours, and of addresses beyond those it has. What never ends is ended.
    """
    least, most = resource.getrlimit(resource.RLIMIT_AS)
    before = signal.signal(signal.SIGPROF, _end)
    resource.setrlimit(resource.RLIMIT_AS, (_addresses() + mebibytes * MIB, most))
    signal.setitimer(signal.ITIMER_PROF, seconds, AGAIN)
    try:
        yield
    except TookTooLong as error:
        raise AssertionError(f"more than {seconds} s of the processor's time") from error
    except MemoryError as error:
        raise AssertionError(f"more than {mebibytes} MiB") from error
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
        resource.setrlimit(resource.RLIMIT_AS, (least, most))


def _addresses() -> int:
    """How many bytes of addresses this process has, by proc(5)."""
    pages = Path("/proc/self/statm").read_text(encoding="ascii").split()[0]
    return int(pages) * resource.getpagesize()


def _end(_signal: int, _frame: FrameType | None) -> None:
    raise TookTooLong
