"""Who reads a report, a flag, and what belongs to them?"""

from __future__ import annotations

from app.access.queries import Caller
from app.refusals import NotYours
from app.roles import Role

_READERS = (Role.REFEREE, Role.CHIEF_UMPIRE, Role.JURY)


def insist_may_read(caller: Caller, author: str) -> None:
    """Umpires read what they wrote themselves; the head official and the jury read all of it."""
    if caller.official_id != author and not caller.holds(*_READERS):
        raise NotYours("This was written by another official.")
