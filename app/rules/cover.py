"""Which edge of which lane of which zone is watched by whom, and which by nobody?

Posts may be merged where people are few, but an edge that nobody watches is named (common
practice). Who fills a post is for the crew plan.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from app.rules.relay import TAKE_OVERS, Edge


@dataclass(frozen=True, slots=True)
class PostPlace:
    """What one post watches."""

    post: str
    take_over: int
    edge: Edge
    lanes: frozenset[int]


@dataclass(frozen=True, slots=True)
class Gap:
    """An edge of a lane that no post watches."""

    take_over: int
    edge: Edge
    lane: int


def watchers(posts: Iterable[PostPlace], take_over: int, edge: Edge, lane: int) -> tuple[str, ...]:
    """The posts that watch this edge of this lane, each once, in the order given."""
    return tuple(
        dict.fromkeys(
            place.post
            for place in posts
            if (place.take_over, place.edge) == (take_over, edge) and lane in place.lanes
        )
    )


def uncovered(
    posts: Iterable[PostPlace], lanes: Iterable[int], take_overs: Iterable[int] = TAKE_OVERS
) -> tuple[Gap, ...]:
    """Every edge of these lanes that nobody watches, by take-over, edge and lane."""
    places = tuple(posts)
    in_order = sorted(set(lanes))
    return tuple(
        Gap(take_over, edge, lane)
        for take_over in sorted(set(take_overs))
        for edge in Edge
        for lane in in_order
        if not watchers(places, take_over, edge, lane)
    )
