"""Holds a plan against every firm rule and counts every wish anew.

Shares nothing with the planner but the facts that both are given: the rules are written down here a
second time, over heats and people, without a linear programme.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from app.planning.facts import Assignment, Person, PlannedHeat, Task
from app.rules.relay import Edge, Relay, Side

# Metres past the finish line, in lane 1 of a 400 m track (tests/rules/test_apart.py measures them).
PLACES = {
    Relay.FOUR_BY_100: {100: (1,), 200: (2,), 300: (3,)},
    Relay.FOUR_BY_200: {200: (1, 3), 0: (2,)},
    Relay.FOUR_BY_400: {0: (1, 2, 3)},
    Relay.FOUR_BY_800: {0: (1, 2, 3)},
    Relay.MEDLEY: {300: (1,), 100: (2,), 0: (3,)},
}


@dataclass(frozen=True)
class Turn:
    """Heats through which a crew stays, when it must be there and when it is free again."""

    heats: tuple[PlannedHeat, ...]
    lanes: tuple[int, ...]
    there: int
    free: int

    @property
    def relay(self) -> Relay:
        return self.heats[0].relay

    @property
    def ids(self) -> tuple[str, ...]:
        return tuple(heat.id for heat in self.heats)


class Verifier:
    """What a task asks of any plan."""

    def __init__(self, task: Task) -> None:
        self.task = task
        self.people = {person.id: person for person in task.people}
        self.turns = self._turns()
        self.longest = task.settings.longest_stint_min * 60
        self.pause = task.settings.shortest_break_min * 60

    def _turns(self) -> list[Turn]:
        groups: list[list[PlannedHeat]] = []
        for heat in sorted(self.task.heats, key=lambda one: one.starts_s):
            if groups and self._belongs(groups[-1], heat):
                groups[-1].append(heat)
            else:
                groups.append([heat])
        return [turn for group in groups for turn in self._split(group)]

    def _belongs(self, group: list[PlannedHeat], heat: PlannedHeat) -> bool:
        settings = self.task.settings
        there, takes = settings.there_before_min * 60, settings.takes_s(heat.relay)
        every = set.union(*(set(one.lanes) for one in [*group, heat]))
        always = set.intersection(*(set(one.lanes) for one in [*group, heat]))
        lasts = heat.starts_s + takes - (group[0].starts_s - there)
        idle = heat.starts_s - there - (group[-1].starts_s + takes)
        return (
            heat.relay == group[0].relay
            and lasts <= settings.longest_spell_min * 60
            and idle < max(settings.shortest_break_min * 60, 1)
            and len(every) - len(always) <= 2
        )

    def _split(self, group: list[PlannedHeat]) -> Iterator[Turn]:
        settings, before = self.task.settings, self.task.before
        lanes = tuple(sorted({lane for heat in group for lane in heat.lanes}))
        parts: list[list[PlannedHeat]] = []
        for heat in group:
            if not parts or (before is not None and self._is_seam(heat)):
                parts.append([])
            parts[-1].append(heat)
        for part in parts:
            there = part[0].starts_s - settings.there_before_min * 60
            free = part[-1].starts_s + settings.takes_s(part[-1].relay)
            yield Turn(tuple(part), lanes, there, free)

    def _is_seam(self, heat: PlannedHeat) -> bool:
        """Whether the plan before begins a post with this heat, or may be changed from it on."""
        before = self.task.before
        assert before is not None
        earlier = [one.starts_s for one in self.task.heats if one.starts_s < heat.starts_s]
        begins = {one.heats[0] for one in before.assignments}
        return heat.id in begins or max(earlier, default=0) < before.from_s <= heat.starts_s

    def by_turn(self, plan: Sequence[Assignment]) -> dict[int, list[Assignment]]:
        """The assignments of each turn; those of no turn under -1."""
        ids = {turn.ids: number for number, turn in enumerate(self.turns)}
        found: dict[int, list[Assignment]] = {number: [] for number in range(-1, len(self.turns))}
        for one in plan:
            found[ids.get(one.heats, -1)].append(one)
        return found

    def broken(self, plan: Sequence[Assignment]) -> list[str]:
        """Every firm rule that the plan breaks."""
        turns = self.by_turn(plan)
        told = [f"{one} is of no spell" for one in turns.pop(-1)]
        for number, crew in turns.items():
            turn = self.turns[number]
            told += [f"{rule}: {one}" for one in crew for rule in self._alone(turn, one)]
            told += [f"{name} twice in spell {number}" for name in _doubled(crew)]
            told += self._crews(turn, crew)
        told += self._walks(turns)
        return [*told, *self._pins(turns), *self._history(turns)]

    def _alone(self, turn: Turn, one: Assignment) -> Iterator[str]:
        person = self.people[one.person]
        if one.relay != turn.relay or one.take_overs not in PLACES[turn.relay].values():
            yield "no zone of this race"
        if not self._has_begun(turn) and not _is_there(person, turn):
            yield "outside the hours"
        for bar in person.barred:
            says = (bar.take_over, bar.edge, bar.side)
            is_so = (bar.take_over in one.take_overs, bar.edge == one.edge, bar.side == one.side)
            if all(so for said, so in zip(says, is_so, strict=True) if said is not None):
                yield "a barred position"

    def _crews(self, turn: Turn, crew: list[Assignment]) -> Iterator[str]:
        for take_overs in PLACES[turn.relay].values():
            here = [one for one in crew if one.take_overs == take_overs]
            if here and not any(_fits(turn, here, posts) for posts in self._templates(turn)):
                yield f"no template: {here}"

    def _templates(self, turn: Turn) -> Iterator[dict[Edge, list[tuple[Side, int]]]]:
        """The posts of each edge, inside first, where they can take the lanes of the turn."""
        for posts in self.task.template.posts.values():
            edges = {
                edge: sorted((one.side, one.most_lanes) for one in posts if one.edge == edge)
                for edge in Edge
            }
            if all(sum(most for _, most in edge) >= len(turn.lanes) for edge in edges.values()):
                yield edges

    def _walks(self, turns: dict[int, list[Assignment]]) -> Iterator[str]:
        stood = [(number, one) for number, crew in sorted(turns.items()) for one in crew]
        for (first, here), (then, there) in combinations(stood, 2):
            if here.person == there.person and first != then:
                metres = _way(here, there)
                seconds = self.turns[then].there - self.turns[first].free
                if metres and metres / self.task.settings.walk_m_s > seconds:
                    yield f"{metres} m in {seconds} s: {here.person} after spell {first}"

    def _pins(self, turns: dict[int, list[Assignment]]) -> Iterator[str]:
        for pin in self.task.pins:
            theirs = [
                one
                for crew in turns.values()
                for one in crew
                if one.person == pin.person and pin.heat in one.heats
            ]
            as_pinned = [
                one
                for one in theirs
                if pin.take_over in one.take_overs
                and pin.edge in {None, one.edge}
                and pin.lanes <= set(one.lanes)
            ]
            if bool(as_pinned) != (pin.take_over is not None) or as_pinned != theirs:
                yield f"{pin} does not hold"

    def _history(self, turns: dict[int, list[Assignment]]) -> Iterator[str]:
        before = self.task.before
        if before is None:
            return
        for number, crew in turns.items():
            turn = self.turns[number]
            if self._has_begun(turn):
                if {_post(one) for one in crew} != self._before(turn):
                    yield f"spell {number} has been run otherwise"
            elif gone := before.dropped & {one.person for one in crew}:
                yield f"{gone} dropped out before spell {number}"

    def _has_begun(self, turn: Turn) -> bool:
        before = self.task.before
        return before is not None and turn.heats[0].starts_s < before.from_s

    def _before(self, turn: Turn) -> set[tuple[object, ...]]:
        assert self.task.before is not None
        return {
            _post(one) for one in self.task.before.assignments if set(turn.ids) & set(one.heats)
        }

    def counts(self, plan: Sequence[Assignment]) -> list[int]:
        """What the plan comes to in each wish, in the order in which they count."""
        turns = self.by_turn(plan)
        served = {name: self._served(turns, name) for name in self.people}
        changes = [] if self.task.before is None else [self._changed(turns)]
        return [
            sum(self._unwatched(self.turns[n], turns[n]) for n in range(len(self.turns))),
            *changes,
            sum(self._over_long([n for n, _ in theirs]) for theirs in served.values()),
            sum(self._own(one) for one in plan),
            sum(self._green(self.turns[n], turns[n]) for n in range(len(self.turns))),
            sum(self._short(self.turns[n], turns[n]) for n in range(len(self.turns))),
            sum(self._moves(theirs) for theirs in served.values()),
            max(sum(len(one.heats) for _, one in theirs) for theirs in served.values()),
        ]

    def _served(
        self, turns: dict[int, list[Assignment]], name: str
    ) -> list[tuple[int, Assignment]]:
        return [
            (number, one)
            for number in range(len(self.turns))
            for one in turns[number]
            if one.person == name
        ]

    def _unwatched(self, turn: Turn, crew: list[Assignment]) -> int:
        return sum(
            not any(
                take_over in one.take_overs and one.edge == edge and lane in one.lanes
                for one in crew
            )
            for heat in turn.heats
            for lane in heat.lanes
            for take_over in (1, 2, 3)
            for edge in Edge
        )

    def _changed(self, turns: dict[int, list[Assignment]]) -> int:
        assert self.task.before is not None
        gone = self.task.before.dropped
        changed = 0
        for number, crew in turns.items():
            now = {_post(one) for one in crew if one.person not in gone} if number >= 0 else set()
            then = self._before(self.turns[number]) if number >= 0 else set()
            then = {post for post in then if post[0] not in gone}
            changed += len({post[0] for post in now ^ then})
        return changed

    def _over_long(self, served: list[int]) -> int:
        over, since = 0, served[0] if served else 0
        for one, other in pairwise(served):
            if self.turns[other].there - self.turns[one].free >= self.pause:
                since = other
            over += self.turns[other].free - self.turns[since].there > self.longest
        return over

    def _own(self, one: Assignment) -> int:
        club = self.people[one.person].affiliation
        heats = [heat for heat in self.task.heats if heat.id in one.heats]
        return sum(bool(club) and club in [h.lanes.get(lane) for lane in one.lanes] for h in heats)

    def _green(self, turn: Turn, crew: list[Assignment]) -> int:
        ends = [min(len(one[Edge.END]), len(turn.lanes)) for one in self._templates(turn)]
        wanted = -(-max(ends, default=0) // 2)
        enough = self.task.settings.experienced
        short = 0
        for take_overs in PLACES[turn.relay].values():
            there = [
                one
                for one in crew
                if one.take_overs == take_overs
                and one.edge == Edge.END
                and self.people[one.person].experience >= enough
            ]
            short += max(0, wanted - len(there))
        return short

    def _short(self, turn: Turn, crew: list[Assignment]) -> int:
        full = [
            sum(min(len(posts), len(turn.lanes)) for posts in edges.values())
            for edges in self._templates(turn)
        ]
        return len(PLACES[turn.relay]) * max(full, default=0) - len(crew)

    def _moves(self, theirs: list[tuple[int, Assignment]]) -> int:
        return sum(
            then == first + 1
            and self.turns[then].there - self.turns[first].free < self.pause
            and _way(here, there) > 0
            for (first, here), (then, there) in pairwise(theirs)
        )


def _is_there(person: Person, turn: Turn) -> bool:
    spans = [(span.begins_s, span.ends_s) for span in person.hours]
    return not spans or any(low <= turn.there and turn.free <= high for low, high in spans)


def _doubled(crew: list[Assignment]) -> set[str]:
    return {one.person for one, other in combinations(crew, 2) if one.person == other.person}


def _post(one: Assignment) -> tuple[object, ...]:
    return one.person, one.take_overs, one.edge, one.lanes, one.side


def _place(one: Assignment) -> int:
    return next(m for m, take_overs in PLACES[one.relay].items() if take_overs == one.take_overs)


def _way(here: Assignment, there: Assignment) -> int:
    apart = abs(_place(here) - _place(there))
    return min(apart, 400 - apart)


def _fits(turn: Turn, here: list[Assignment], posts: dict[Edge, list[tuple[Side, int]]]) -> bool:
    """Whether these are posts of one template: the lanes of each edge shared out in its order."""
    for edge in Edge:
        theirs = [one for one in here if one.edge == edge]
        shares = _even_shares(turn.lanes, [most for _, most in posts[edge]])
        allowed = {(side, share) for (side, _), share in zip(posts[edge], shares, strict=True)}
        if not {(one.side, one.lanes) for one in theirs} <= allowed:
            return False
        if len({one.lanes for one in theirs}) < len(theirs):
            return False
    return True


def _even_shares(lanes: tuple[int, ...], most: list[int]) -> list[tuple[int, ...]]:
    """As even as the posts allow, the inner posts one more where it does not come out even."""
    counts = [0] * len(most)
    for _ in lanes:
        least = min(count for count, limit in zip(counts, most, strict=True) if count < limit)
        taker = next(n for n, c in enumerate(counts) if c == least and c < most[n])
        counts[taker] += 1
    ends = [sum(counts[: number + 1]) for number in range(len(counts))]
    return [lanes[end - count : end] for end, count in zip(ends, counts, strict=True)]
