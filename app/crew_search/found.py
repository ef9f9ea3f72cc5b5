"""A plan that was found, as the posts that it makes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from app.crew.crew_list import Place, as_sent
from app.crew.wire import MOST_HEATS, PostIn
from app.crew_search.task import Asked
from app.ids import HeatId, OfficialId
from app.planning.results import CrewPlan


def posts_found(asked: Asked, plan: CrewPlan) -> list[PostIn]:
    """The plan as posts: one for each place of an official, with all heats in which they have it.

    A place that the plan in force has keeps its id. Heats that are not planned keep whoever stands
    there by it.
    """
    heats: dict[Place, set[HeatId]] = {}
    for one in plan.assignments:
        for take_over in one.take_overs:
            place = Place(OfficialId(one.person), take_over, one.edge, tuple(one.lanes), one.side)
            heats.setdefault(place, set()).update(map(HeatId, one.heats))
    for heat, posts in asked.aside.items():
        for post in posts:
            lanes = tuple(sorted(post.lanes))
            place = Place(post.official_id, post.take_over, post.edge, lanes, post.side)
            heats.setdefault(place, set()).add(heat)
    left = list(asked.before)
    return [
        as_sent(place, (), some, left)
        for place, theirs in heats.items()
        for some in _in_parts(sorted(theirs))
    ]


def _in_parts(heats: Sequence[HeatId]) -> Iterator[Sequence[HeatId]]:
    """As many as a post can be for."""
    for at in range(0, len(heats), MOST_HEATS):
        yield heats[at : at + MOST_HEATS]
