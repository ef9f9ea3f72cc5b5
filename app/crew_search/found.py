"""A plan that was found, as the posts that it makes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from app.crew.crew_list import Place, as_sent, place_of
from app.crew.queries import Post
from app.crew.wire import MOST_HEATS, PostIn
from app.crew_search.task import Asked
from app.ids import HeatId, OfficialId
from app.planning.facts import Assignment
from app.planning.results import CrewPlan


def posts_found(asked: Asked, plan: CrewPlan) -> list[PostIn]:
    """The plan as posts: one for each place of an official, with all heats in which they have it.

    A place that the plan in force has keeps its id. Heats that are not planned keep whoever stands
    there by it. Where a plan is kept, a place that has the heats that it had is given back just as
    it was.
    """
    heats: dict[Place, set[HeatId]] = {}
    for place, heat in _all_places(asked, plan):
        heats.setdefault(place, set()).add(heat)
    same = _as_they_were(asked, heats)
    ids = {post.id for post in same}
    left = [post for post in asked.before if post.id not in ids]
    for post in same:
        heats.pop(place_of(post), None)
    return [
        *map(_sent_again, same),
        *(
            as_sent(place, (), some, left)
            for place, theirs in heats.items()
            for some in _in_parts(sorted(theirs))
        ),
    ]


def _all_places(asked: Asked, plan: CrewPlan) -> Iterator[tuple[Place, HeatId]]:
    for one in plan.assignments:
        for heat in map(HeatId, one.heats):
            if heat not in asked.aside:
                for place in _places(asked, one, heat):
                    yield place, heat
    for heat, posts in asked.aside.items():
        for post in posts:
            yield place_of(post), heat


def _places(asked: Asked, one: Assignment, heat: HeatId) -> Iterator[Place]:
    """A place for each take-over. Whoever stays where they stood by a plan that is kept has the
    posts that they had there, whatever lanes these have that nobody runs in.
    """
    for take_over in one.take_overs:
        own = [
            post
            for post in asked.stood.get(heat, ())
            if (post.official_id, post.take_over, post.edge) == (one.person, take_over, one.edge)
        ]
        if asked.task.before is not None and _are_alike(asked, one, heat, own):
            yield from map(place_of, own)
        else:
            yield Place(OfficialId(one.person), take_over, one.edge, tuple(one.lanes), one.side)


def _are_alike(asked: Asked, one: Assignment, heat: HeatId, own: Sequence[Post]) -> bool:
    in_use = {lane.lane for lane in asked.heats[heat].lanes}
    lanes = frozenset[int]().union(*(post.lanes for post in own))
    return one.side in {post.side for post in own} and lanes & in_use == {*one.lanes} & in_use


def _as_they_were(asked: Asked, heats: Mapping[Place, set[HeatId]]) -> list[Post]:
    """Of a plan that is kept: posts whose places have the heats that they had, be it none, of
    whoever can still be planned.
    """
    if asked.task.before is None:
        return []
    had: dict[Place, set[HeatId]] = {}
    for heat, posts in {**asked.stood, **asked.aside}.items():
        for post in posts:
            had.setdefault(place_of(post), set()).add(heat)
    staying = {person.id for person in asked.task.people} - asked.task.before.dropped
    return [
        post
        for post in asked.before
        if post.official_id in staying and had.get(place_of(post)) == heats.get(place_of(post))
    ]


def _sent_again(post: Post) -> PostIn:
    """Of single heats without its relays: those follow from the heats."""
    return PostIn(
        id=post.id,
        official=post.official_id,
        take_over=post.take_over,
        edge=post.edge,
        lanes=sorted(post.lanes),
        side=post.side,
        relays=[] if post.heats else sorted(post.relays),
        heats=sorted(post.heats),
    )


def _in_parts(heats: Sequence[HeatId]) -> Iterator[Sequence[HeatId]]:
    """As many as a post can be for."""
    for at in range(0, len(heats), MOST_HEATS):
        yield heats[at : at + MOST_HEATS]
