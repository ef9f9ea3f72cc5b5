"""Where does a name stand on? In the names of teams, events, rounds, clubs and the meet: those
stay, whoever they were named after, so whoever erases is told of them.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from functools import lru_cache

from sqlalchemy import Connection

from app.erasing.documents import texts_of
from app.erasing.plan import BODIES, bodies_that_stay, texts_of_teams
from app.erasing.scope import Scope
from app.erasing.what import Sort, is_id_or_instant, sort_of
from app.ids import MeetId

KNOWN = 10_000
"""As many texts are remembered: those of teams and events come again and again."""


def where_it_stays(conn: Connection, meet_id: MeetId, scope: Scope) -> Mapping[str, int]:
    """In how many rows of which columns a name that goes stands in what stays."""

    @lru_cache(KNOWN)
    def tells(text: str) -> bool:
        return not is_id_or_instant(text) and scope.names.are_in(text)

    places: Counter[str] = Counter()
    for place, texts in texts_of_teams(conn, meet_id):
        places[place] += any(map(tells, texts))
    for kind, body in bodies_that_stay(conn, meet_id, scope):
        told = texts_of(json.loads(body), f"{BODIES}.{kind}")
        places[f"{BODIES}.body"] += any(
            sort_of(place) is Sort.OF_TEAMS and tells(text) for place, text in told
        )
    return +places
