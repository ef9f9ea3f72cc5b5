"""How often does the interpreter look for garbage? Seldom.

What a start imports and puts together lives as long as the process. Looking at it again and again
took an eighth of a cold start, and put pauses into the slowest answers (measured: p99 from 27 to
9 ms at 16 clients when it was left alone).
"""

from __future__ import annotations

import gc


def look_seldom() -> None:
    """Let more objects come together before any is looked at; best before the imports."""
    gc.set_threshold(20_000, 20, 100)


def leave_what_is_there() -> None:
    """Never look again at what is there now.

    Without a last look: it took 50 ms of a start and found 13 objects.
    """
    gc.freeze()
