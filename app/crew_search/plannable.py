"""Who can be planned: those whom the wishes name, and where they name nobody, all umpires."""

from __future__ import annotations

from collections.abc import Iterable

from app.access.wire import OfficialOut
from app.crew.actions import is_watching
from app.crew_search.wire import WishesIn
from app.roles import Role


def plannable(wishes: WishesIn, officials: Iterable[OfficialOut]) -> list[OfficialOut]:
    """Of these officials, those who can be planned, as far as they can still watch. A chief umpire
    stands at a zone only where the wishes say so.
    """
    named = {one.official for one in wishes.people}
    return [
        one
        for one in officials
        if is_watching(one) and (one.id in named if named else Role.UMPIRE in one.roles)
    ]
