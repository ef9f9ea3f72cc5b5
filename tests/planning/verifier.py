"""Holds a plan against every firm rule and counts every wish anew, heat by heat.

Takes nothing from the planner but the facts that both are given. It knows no rows of heats and no
shares of lanes: who stands where at each heat is read off the plan, and everything is reckoned from
that and the raw programme. Where zones lie in the lanes is for `app.rules.track`, which is held
against published tables of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from app.planning.facts import Assignment, Person, PlannedHeat, PostShape, Task
from app.rules.book import book_on
from app.rules.relay import Edge, Relay, Side
from app.rules.track import Track, abreast, lap_length, zone_on_track

# Metres past the finish line, in lane 1 of a 400 m track (tests/rules/test_apart.py measures them),
# and how many take-overs of a race come before its lanes are left (handbook; federation pages on
# TR24 for 4x100 and 4x400, the others from memory).
PLACES = {
    Relay.FOUR_BY_100: {100: (1,), 200: (2,), 300: (3,)},
    Relay.FOUR_BY_200: {200: (1, 3), 0: (2,)},
    Relay.FOUR_BY_400: {0: (1, 2, 3)},
    Relay.FOUR_BY_800: {0: (1, 2, 3)},
    Relay.MEDLEY: {300: (1,), 100: (2,), 0: (3,)},
}
IN_LANES = {
    Relay.FOUR_BY_100: 3,
    Relay.FOUR_BY_200: 3,
    Relay.FOUR_BY_400: 1,
    Relay.FOUR_BY_800: 0,
    Relay.MEDLEY: 2,
}


@dataclass(frozen=True)
class Duty:
    """Somebody's post at one heat; `row` numbers the assignment it comes from."""

    heat: PlannedHeat
    post: Assignment
    row: int


class Verifier:
    """What a task asks of any plan."""

    def __init__(self, task: Task) -> None:
        self.task = task
        self.people = {person.id: person for person in task.people}
        self.heats = sorted(task.heats, key=lambda heat: heat.starts_s)
        self.longest = task.settings.longest_stint_min * 60
        self.pause = task.settings.shortest_break_min * 60
        self.before = () if task.before is None else task.before.assignments
        self.from_s = 0 if task.before is None else task.before.from_s
        self.gone = frozenset() if task.before is None else task.before.dropped

    def there(self, heat: PlannedHeat) -> int:
        """When its crew must be there."""
        return heat.starts_s - self.task.settings.there_before_min * 60

    def free(self, heat: PlannedHeat) -> int:
        """When its zones are free again."""
        return heat.starts_s + self.task.settings.takes_s(heat.relay)

    def duties(self, plan: Sequence[Assignment], person: str) -> list[Duty]:
        """What somebody stands, in the order of time."""
        mine = [(row, one) for row, one in enumerate(plan) if one.person == person]
        return [
            Duty(heat, one, row) for heat in self.heats for row, one in mine if heat.id in one.heats
        ]

    def broken(self, plan: Sequence[Assignment]) -> list[str]:
        """Every firm rule that the plan breaks."""
        known = {heat.id for heat in self.heats}
        told = [f"no such heat: {one}" for one in plan if not known.issuperset(one.heats)]
        for name, person in self.people.items():
            duties = self.duties(plan, name)
            told += [f"{rule}: {duty}" for duty in duties for rule in self._alone(person, duty)]
            told += self._ways(duties)
        for heat in self.heats:
            told += self._crews(heat, [one for one in plan if heat.id in one.heats])
        return [*told, *self._pins(plan), *self._history(plan)]

    def _alone(self, person: Person, duty: Duty) -> Iterator[str]:
        heat, post = duty.heat, duty.post
        if heat.starts_s < self.from_s:
            return  # as the plan before has it, which `_history` holds
        if post.relay != heat.relay or post.take_overs not in PLACES[heat.relay].values():
            yield "no zone of this race"
        spans = [(span.begins_s, span.ends_s) for span in person.hours]
        # minute by minute, so that hours which join are told from those with a gap between
        minutes = [*range(self.there(heat), self.free(heat), 60), self.free(heat)]
        if spans and not any(all(low <= m <= high for m in minutes) for low, high in spans):
            yield "outside the hours"
        if all(_is_barred(person, number, post) for number in post.take_overs):
            yield "a barred position"

    def _ways(self, duties: list[Duty]) -> Iterator[str]:
        """Every two of somebody's heats: one place at a time, and time to walk between. How it was
        possible by a plan of before nobody asks any more; but whoever comes from there walks.
        """
        for one, other in combinations(duties, 2):
            if other.heat.starts_s < self.from_s:
                continue
            if one.heat is other.heat:
                yield f"twice at one heat: {one}, {other}"
                continue
            metres = way(self.task.track, one.post, other.post)
            seconds = self.there(other.heat) - self.free(one.heat)
            if metres > 0 and metres / self.task.settings.walk_m_s > seconds + 1e-6:
                yield f"{metres} m in {seconds} s: {one}, {other}"

    def _crews(self, heat: PlannedHeat, crew: list[Assignment]) -> Iterator[str]:
        if heat.starts_s < self.from_s:
            return  # it was run by another template, perhaps
        for take_overs in PLACES[heat.relay].values():
            here = [one for one in crew if one.take_overs == take_overs]
            for one, other in combinations(here, 2):
                if one.edge == other.edge and set(one.lanes) & set(other.lanes):
                    yield f"a lane twice at one edge: {one}, {other}"
            if not any(_fits(here, posts) for posts in self.task.template.posts.values()):
                yield f"no template: {here}"

    def _pins(self, plan: Sequence[Assignment]) -> Iterator[str]:
        starts = {heat.id: heat.starts_s for heat in self.heats}
        for pin in self.task.pins:
            theirs = [one for one in plan if one.person == pin.person and pin.heat in one.heats]
            if starts[pin.heat] < self.from_s:
                continue
            if pin.take_over is None:
                holds = not theirs
            else:
                holds = any(
                    pin.take_over in one.take_overs
                    and pin.edge in {None, one.edge}
                    and pin.lanes <= set(one.lanes)
                    for one in theirs
                )
            if not holds:
                yield f"{pin} does not hold"

    def _history(self, plan: Sequence[Assignment]) -> Iterator[str]:
        if self.task.before is None:
            return
        for heat in self.heats:
            now = {_post(one) for one in plan if heat.id in one.heats}
            if heat.starts_s < self.from_s:
                if now != {_post(one) for one in self.before if heat.id in one.heats}:
                    yield f"{heat.id} has been run otherwise"
            elif gone := self.gone & {post[0] for post in now}:
                yield f"{gone} dropped out before {heat.id}"

    def counts(self, plan: Sequence[Assignment]) -> list[int]:
        """What the plan comes to in each wish, in the order in which they count: of experience
        nothing, where nobody has any.
        """
        told = any(one.experience >= self.task.settings.experienced for one in self.people.values())
        served = [self.duties(plan, name) for name in self.people]
        changes = [] if self.task.before is None else [self._changed(plan)]
        return [
            sum(self._unwatched(heat, plan) for heat in self.heats),
            *changes,
            sum(self._over_long(theirs) for theirs in served),
            sum(self._own(duty) for theirs in served for duty in theirs),
            *([sum(self._green(heat, plan) for heat in self.heats)] if told else []),
            sum(self._short(heat, plan) for heat in self.heats),
            sum(self._moves(theirs) for theirs in served),
            max((len({duty.heat.id for duty in theirs}) for theirs in served), default=0),
        ]

    def is_watched(self, plan: Sequence[Assignment]) -> bool:
        """Whether nothing that is still to be run is unwatched."""
        to_come = [heat for heat in self.heats if heat.starts_s >= self.from_s]
        return not any(self._unwatched(heat, plan) for heat in to_come)

    def _unwatched(self, heat: PlannedHeat, plan: Sequence[Assignment]) -> int:
        crew = [one for one in plan if heat.id in one.heats]
        return sum(
            not any(
                take_over in one.take_overs and one.edge == edge and lane in one.lanes
                for one in crew
            )
            for lane in heat.lanes
            for take_over in (1, 2, 3)
            for edge in Edge
        )

    def _changed(self, plan: Sequence[Assignment]) -> int:
        changed = 0
        for heat in self.heats:
            then = _stands([one for one in self.before if heat.id in one.heats])
            if then:  # a heat that the plan before does not know is no change
                now = _stands([one for one in plan if heat.id in one.heats])
                changed += len({stand[0] for stand in now ^ then} - self.gone)
        return changed

    def _over_long(self, duties: list[Duty]) -> int:
        """The posts that somebody leaves later than a stint may last."""
        since = self.there(duties[0].heat) if duties else 0
        over = set()
        for before, duty in pairwise(duties):
            if self.there(duty.heat) - self.free(before.heat) >= self.pause:
                since = self.there(duty.heat)
            if self.free(duty.heat) - since > self.longest:
                over.add(duty.row)
        return len(over)

    def _own(self, duty: Duty) -> bool:
        club = self.people[duty.post.person].affiliation.strip().casefold()
        in_lanes = min(duty.post.take_overs) <= IN_LANES[duty.heat.relay]
        teams = {duty.heat.lanes.get(lane, "").strip().casefold() for lane in duty.post.lanes}
        return in_lanes and bool(club) and club in teams

    def _green(self, heat: PlannedHeat, plan: Sequence[Assignment]) -> int:
        posts = self.task.template.posts.values()
        ends = [sum(one.edge == Edge.END for one in crew) for crew in posts]
        wanted = -(-max(min(end, len(heat.lanes)) for end in ends) // 2)
        enough = self.task.settings.experienced
        at_end = [one for one in _watching(heat, plan) if one.edge == Edge.END]
        old = [one for one in at_end if self.people[one.person].experience >= enough]
        return sum(max(0, wanted - len(_there(old, place))) for place in PLACES[heat.relay])

    def _short(self, heat: PlannedHeat, plan: Sequence[Assignment]) -> int:
        full = max(
            sum(min(sum(one.edge == edge for one in crew), len(heat.lanes)) for edge in Edge)
            for crew in self.task.template.posts.values()
        )
        here = _watching(heat, plan)
        return sum(max(0, full - len(_there(here, place))) for place in PLACES[heat.relay])

    def _moves(self, duties: list[Duty]) -> int:
        return sum(
            self.there(other.heat) - self.free(one.heat) < self.pause
            and _place(one.post) != _place(other.post)
            for one, other in pairwise(duties)
        )


def _is_barred(person: Person, take_over: int, post: Assignment) -> bool:
    return any(
        bar.take_over in {None, take_over}
        and bar.edge in {None, post.edge}
        and bar.side in {None, post.side}
        for bar in person.barred
    )


def _watching(heat: PlannedHeat, plan: Sequence[Assignment]) -> list[Assignment]:
    """The posts that have a lane in use in a heat."""
    return [one for one in plan if heat.id in one.heats and heat.lanes.keys() & set(one.lanes)]


def _post(one: Assignment) -> tuple[object, ...]:
    return one.person, one.take_overs, one.edge, one.lanes, one.side


def _stands(posts: list[Assignment]) -> set[tuple[object, ...]]:
    """Who is where, at which edge and side, and looks at which lane: of which take-overs of a
    place, and by how many posts, is the same to whoever stands there.
    """
    return {
        (one.person, _place(one), one.edge, one.side, lane) for one in posts for lane in one.lanes
    }


def _there(posts: list[Assignment], place: int) -> set[str]:
    return {one.person for one in posts if _place(one) == place}


def _place(one: Assignment) -> int:
    """A post of one of several take-overs at a place is at that place."""
    found = PLACES[one.relay].items()
    return next(m for m, take_overs in found if set(one.take_overs) <= set(take_overs))


def way(track: Track, here: Assignment, there: Assignment) -> float:
    """Metres along the track between two posts; none within a zone, whose posts see each other."""
    if (here.relay, _place(here)) == (there.relay, _place(there)):
        return 0.0
    inside = here.side == there.side == Side.INSIDE
    outermost = 1 if inside else track.lanes
    lap = lap_length(track, outermost)
    first = _stands_m(track, here, here.take_overs[-1], outermost)
    then = _stands_m(track, there, there.take_overs[0], outermost)
    return min((first - then) % lap, (then - first) % lap)


def _stands_m(track: Track, one: Assignment, take_over: int, along: int) -> float:
    """Past the finish line, along a lane: the middle of the edges of a post's lanes."""
    rule = book_on("world-athletics-2025", track.lap_m).zone(one.relay, take_over)
    places = []
    for lane in one.lanes:
        on_track = min(lane, track.lanes)
        zone = zone_on_track(track, one.relay, take_over, on_track, rule)
        edge = zone.start if one.edge == Edge.START else zone.end
        places.append(abreast(track, edge.past_finish_m, 1, on_track))
    return abreast(track, sum(places) / len(places), along, 1)


def _fits(crew: list[Assignment], posts: Sequence[PostShape]) -> bool:
    """Whether each of a crew has a post of its own, with no more lanes than that may have."""
    if not crew:
        return True
    first, *others = crew
    return any(
        (post.edge, post.side) == (first.edge, first.side)
        and len(first.lanes) <= post.most_lanes
        and _fits(others, [*posts[:number], *posts[number + 1 :]])
        for number, post in enumerate(posts)
    )
