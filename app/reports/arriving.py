"""What is known when a flag or a report comes in: who runs there, and which post sent it.

One statement, since a phone that waits for its receipt waits for nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import bindparam, select

from app.crew.queries import POST_AT_HEAT_COLUMNS, Post, post_from
from app.crew.tables import heat_posts, posts
from app.ids import HeatId, PostId
from app.meets.queries import RUNNING_COLUMNS, RUNNING_IN, Running, running_from
from app.meets.tables import heats
from app.refusals import NotFound
from app.store.action import Unit
from app.store.prepared import Prepared

_ARRIVING = Prepared(
    select(*RUNNING_COLUMNS, *POST_AT_HEAT_COLUMNS)
    .select_from(
        RUNNING_IN.outerjoin(
            posts, (posts.c.id == bindparam("post")) & (posts.c.meet_id == heats.c.meet_id)
        ).outerjoin(
            heat_posts,
            (heat_posts.c.heat_id == heats.c.id) & (heat_posts.c.post_id == posts.c.id),
        )
    )
    .where(heats.c.meet_id == bindparam("meet"), heats.c.id == bindparam("heat"))
)


@dataclass(frozen=True, slots=True)
class Arriving:
    """Who runs in the lane, and the post that watches; none for an own observation."""

    running: Running
    post: Post | None


def arriving(unit: Unit, heat_id: HeatId, lane: int | None, post_id: PostId | None) -> Arriving:
    """What is known; NotFound for a heat or a post that is not of this meet."""
    row = _ARRIVING.first(
        unit.conn, {"meet": unit.meet_id, "heat": heat_id, "lane": lane, "post": post_id}
    )
    if row is None:
        raise NotFound("There is no such heat at this meet.")
    if post_id is not None and row.post_id is None:
        raise NotFound("There is no such post in this meet's crew plan.")
    return Arriving(running_from(row), None if post_id is None else post_from(row))
