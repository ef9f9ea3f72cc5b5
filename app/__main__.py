"""`python -m app`, and `zonedocket`: the command line, which takes a second to load."""

from __future__ import annotations

import signal
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import FrameType

STOPPED = 130
"""As a shell tells that Ctrl-C ended a command (common practice)."""


class Stopped(KeyboardInterrupt):
    """By Ctrl-C. Once the interpreter's own has passed through `exec`, which dataclasses are made
    with, the process ends by the signal although it was caught.
    """


def main() -> int:
    """Run one command, as `app.cli.main` does; also Ctrl-C while it is loaded ends it in words."""
    try:
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, _stop)
        from app.cli import main as run  # noqa: PLC0415  (what takes so long)

        return run()
    except KeyboardInterrupt:
        from app.speaking import say_beside  # noqa: PLC0415

        say_beside("zonedocket: stopped before it was done")
        return STOPPED


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise Stopped


if __name__ == "__main__":
    sys.exit(main())
