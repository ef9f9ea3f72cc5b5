"""A plan that a search has found, as whoever decides reads it: zone by zone, person by person."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from app.crew.heats_named import HeatsNamed, named
from app.crew.wire import PostIn
from app.ids import HeatId, OfficialId
from app.meets.wire import HeatOut
from app.rules.relay import Edge


@dataclass(frozen=True, slots=True)
class PlaceFound:
    """Where somebody stands: at several take-overs only where those lie at one place."""

    take_overs: tuple[int, ...]
    edge: Edge
    lanes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class StandFound:
    """Somebody at a place, and their heats there in the order of time."""

    official_name: str
    place: PlaceFound
    heats: Sequence[HeatsNamed]


@dataclass(frozen=True, slots=True)
class EdgeFound:
    """An edge of a zone, and who stands there, the first to come first."""

    take_over: int
    edge: Edge
    stands: Sequence[StandFound]


class PlanFound:
    """The posts of a plan, with the heats of a programme and the names of its people."""

    def __init__(
        self,
        posts: Sequence[PostIn],
        programme: Sequence[HeatOut],
        names: Mapping[OfficialId, str],
    ) -> None:
        self._posts, self._names = posts, names
        self._in_time = sorted(programme, key=lambda heat: heat.scheduled or "")
        self._order = {heat.id: at for at, heat in enumerate(self._in_time)}

    def by_edge(self) -> Iterator[EdgeFound]:
        """Each edge of each take-over, as runners come to them."""

        def at(post: PostIn) -> tuple[int, int]:
            return post.take_over, list(Edge).index(post.edge)

        there = [post for post in self._posts if self._heats(post)]
        in_order = sorted(there, key=lambda one: (*at(one), self._first(one), one.lanes))
        for _, posts in groupby(in_order, key=at):
            theirs = list(posts)
            stands = [self._stand(post) for post in theirs]
            yield EdgeFound(theirs[0].take_over, theirs[0].edge, stands)

    def by_person(self) -> Iterator[tuple[str, Sequence[StandFound]]]:
        """Each person's day, by their names."""
        posts: dict[OfficialId, dict[HeatId, list[PostIn]]] = {}
        for post in self._posts:
            for heat in self._heats(post):
                day = posts.setdefault(OfficialId(post.official), {})
                day.setdefault(heat, []).append(post)
        for official, day in sorted(posts.items(), key=lambda one: self._names[one[0]].casefold()):
            name = self._names[official]
            yield name, list(self._day(name, day))

    def _day(self, name: str, posts: Mapping[HeatId, Sequence[PostIn]]) -> Iterator[StandFound]:
        """Heats that follow each other at the same places are told together."""
        theirs = [heat for heat in self._in_time if heat.id in posts]
        for places, heats in groupby(theirs, key=lambda heat: _places(posts[heat.id])):
            told = named(heats)
            for place in places:
                yield StandFound(name, place, told)

    def _heats(self, post: PostIn) -> set[HeatId]:
        """Those that are named. A post of a plan that is kept may name none: then all heats of its
        relays in which a lane of it is run in, be it none.
        """
        if post.heats:
            return {*map(HeatId, post.heats)}
        return {
            heat.id
            for heat in self._in_time
            if (not post.relays or heat.relay in post.relays)
            and {lane.lane for lane in heat.lanes} & {*post.lanes}
        }

    def _first(self, post: PostIn) -> int:
        return min(self._order.get(heat, len(self._order)) for heat in self._heats(post))

    def _stand(self, post: PostIn) -> StandFound:
        place = PlaceFound((post.take_over,), post.edge, tuple(post.lanes))
        theirs = self._heats(post)
        heats = named(heat for heat in self._in_time if heat.id in theirs)
        return StandFound(self._names[OfficialId(post.official)], place, heats)


def _places(posts: Sequence[PostIn]) -> tuple[PlaceFound, ...]:
    """Posts that differ by nothing but their take-overs are one place."""
    take_overs: dict[tuple[Edge, tuple[int, ...]], set[int]] = {}
    for post in posts:
        take_overs.setdefault((post.edge, tuple(post.lanes)), set()).add(post.take_over)
    return tuple(
        PlaceFound(tuple(sorted(numbers)), edge, lanes)
        for (edge, lanes), numbers in take_overs.items()
    )
