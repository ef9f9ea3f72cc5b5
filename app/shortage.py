"""Had the machine nothing left for a request: no memory, no thread?

Then the request was good, and is to be sent again. Whatever read it may have taken the shortage
for a fault of what was sent, and a phone gives up what was refused.
"""

from __future__ import annotations

WHAT_TO_DO = (
    "The server has no memory left for this just now. Send it again in a moment; what is stored "
    "already is not stored twice."
)
_NO_THREAD = "can't start new thread"
"""The interpreter's own words where the system gives it none."""


def is_shortage(error: BaseException | None) -> bool:
    """Whether it was that, or came of that."""
    seen = 0
    while error is not None and seen < 10:
        if isinstance(error, MemoryError) or (
            isinstance(error, RuntimeError) and str(error) == _NO_THREAD
        ):
            return True
        error, seen = error.__cause__ or error.__context__, seen + 1
    return False
