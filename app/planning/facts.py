"""What a crew is planned from: people, heats, the crew template, what is wished and what is pinned.

Instants are whole seconds after midnight at the beginning of the programme's first day; the words
are those of the crew plan. How many people a zone has, and who stands where at it, is common
practice; the template of six for eight lanes is the one workable default of the trade.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Final, Self

from app.planning.limits import USUAL_BREAK_MIN, USUAL_STINT_MIN
from app.rules.relay import Edge, Relay, Side
from app.rules.track import Track

MINUTE_S: Final = 60
MOST_EXPERIENCE: Final = 3
MOST_PEOPLE: Final = 500
"""In one plan: the largest meets have some sixty at the zones (common practice)."""
LEAST_MIN: Final[Mapping[Relay, int]] = MappingProxyType(
    {  # common practice: slow fields too, and the zones cleared
        Relay.FOUR_BY_100: 1,
        Relay.FOUR_BY_200: 3,
        Relay.FOUR_BY_400: 5,
        Relay.FOUR_BY_800: 12,
        Relay.MEDLEY: 4,
    }
)


@dataclass(frozen=True, slots=True)
class Span:
    """From one instant to a later one."""

    begins_s: int
    ends_s: int

    def __post_init__(self) -> None:
        if self.ends_s <= self.begins_s:
            raise ValueError("A span of time ends after it begins.")

    def holds(self, begins_s: int, ends_s: int) -> bool:
        """Whether all of that time lies within this span."""
        return self.begins_s <= begins_s and ends_s <= self.ends_s


@dataclass(frozen=True, slots=True)
class Barred:
    """Positions that somebody may not take: those that agree with all that is said here."""

    take_over: int | None = None
    edge: Edge | None = None
    side: Side | None = None

    def holds(self, take_over: int, edge: Edge, side: Side) -> bool:
        """Whether a post at this take-over is one of them."""
        return (
            self.take_over in {None, take_over}
            and self.edge in {None, edge}
            and self.side in {None, side}
        )


@dataclass(frozen=True, slots=True)
class Person:
    """An official who can stand at a zone. Without hours: all of the programme.

    `experience` runs from 0 (none yet) to 3 (a great deal).
    """

    id: str
    name: str
    affiliation: str = ""
    experience: int = 1
    hours: tuple[Span, ...] = ()
    barred: tuple[Barred, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.experience <= MOST_EXPERIENCE:
            raise ValueError(f"Experience runs from 0 to {MOST_EXPERIENCE}, not {self.experience}.")

    def is_there(self, begins_s: int, ends_s: int) -> bool:
        """Whether they can be asked for all of that time."""
        return not self.hours or any(span.holds(begins_s, ends_s) for span in self.hours)

    def may_take(self, take_overs: tuple[int, ...], edge: Edge, side: Side) -> bool:
        """Whether a post may be theirs. Where take-overs lie at one place, who is barred from each
        of them is barred from it: a bar means a place, and that one is never left in between.
        """
        return any(
            not any(bar.holds(take_over, edge, side) for bar in self.barred)
            for take_over in take_overs
        )


@dataclass(frozen=True, slots=True)
class PlannedHeat:
    """A heat of the programme. `lanes` leads from each lane in use to its team's affiliation."""

    id: str
    event: str
    round: str
    number: int
    relay: Relay
    starts_s: int
    lanes: Mapping[int, str]

    @property
    def label(self) -> str:
        """The heat as people say it."""
        return f"{self.event}, {self.round}, heat {self.number}"


@dataclass(frozen=True, slots=True)
class PostShape:
    """One post of a template: the edge it watches, its side, and how many lanes at the most."""

    edge: Edge
    side: Side
    most_lanes: int


@dataclass(frozen=True, slots=True)
class Template:
    """For each number of people that a zone can have, the posts they take; and who says so."""

    posts: Mapping[int, tuple[PostShape, ...]]
    source: str = "common practice"

    def __post_init__(self) -> None:
        if not self.posts:
            raise ValueError("A crew template names the posts for at least one number of people.")
        for people, posts in self.posts.items():
            if people != len(posts):
                raise ValueError(f"The template for {people} people has {len(posts)} posts.")

    def sizes(self) -> tuple[int, ...]:
        """The numbers of people it knows, most first."""
        return tuple(sorted(self.posts, reverse=True))

    def full_crew(self, lanes: int) -> int:
        """The most people who have something to watch where so many lanes are in use."""
        return max(
            sum(min(_posts_at(posts, edge), lanes) for edge in Edge)
            for posts in self.posts.values()
        )

    def experienced_ends(self, lanes: int) -> int:
        """How many of them are wished to be experienced: half of the most who watch the end,
        rounded up.
        """
        most = max(min(_posts_at(posts, Edge.END), lanes) for posts in self.posts.values())
        return (most + 1) // 2

    def most_lanes(self) -> int:
        """How many lanes the largest of its crews can watch at both edges."""
        return max(
            min(sum(one.most_lanes for one in posts if one.edge is edge) for edge in Edge)
            for posts in self.posts.values()
        )


def _posts_at(posts: tuple[PostShape, ...], edge: Edge) -> int:
    return sum(one.edge is edge for one in posts)


@dataclass(frozen=True, slots=True)
class Settings:
    """What a plan keeps to. All of it is common practice, and a meet may say otherwise.

    `heat_takes_min` counts from the gun until the zones are free again, for a long relay as much
    more as it is longer (`takes_s`), `there_before_min` is how
    long before the gun everybody stands at the zone. Of the end posts that a full crew has, half
    are wished to be held by somebody `experienced` or more.
    """

    walk_m_s: float = 1.2
    heat_takes_min: int = 3
    there_before_min: int = 2
    longest_stint_min: int = USUAL_STINT_MIN
    shortest_break_min: int = USUAL_BREAK_MIN
    longest_spell_min: int = 30
    experienced: int = 2

    @classmethod
    def resting(cls, longest_stint_min: int, shortest_break_min: int) -> Self:
        """The usual ones but for stints and breaks; no spell is longer than a stint may be."""
        usual = cls()
        return replace(
            usual,
            longest_stint_min=longest_stint_min,
            shortest_break_min=shortest_break_min,
            longest_spell_min=min(usual.longest_spell_min, longest_stint_min),
        )

    def takes_s(self, relay: Relay) -> int:
        """From the gun until the zones are free again: the last of a field to the finish."""
        return max(self.heat_takes_min, LEAST_MIN[relay]) * MINUTE_S

    def __post_init__(self) -> None:
        if not self.walk_m_s > 0:
            raise ValueError("A walking pace is more than 0 m/s.")
        times = (self.heat_takes_min, self.longest_stint_min, self.longest_spell_min)
        if min(times) < 1 or min(self.there_before_min, self.shortest_break_min) < 0:
            raise ValueError("A heat, a spell and a stint take one minute or more.")
        if self.longest_spell_min > self.longest_stint_min:
            raise ValueError("A spell cannot be longer than the longest stint.")


@dataclass(frozen=True, slots=True)
class Pin:
    """A choice that a person made: this official at this edge of these lanes, for one heat.

    Without an edge: only the zone is chosen. Without a take-over: the official has that heat off.
    Without lanes: any post of that edge.
    """

    person: str
    heat: str
    take_over: int | None = None
    edge: Edge | None = None
    lanes: frozenset[int] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True)
class Assignment:
    """An official's post through some heats; `take_overs` are those that lie at its place."""

    person: str
    heats: tuple[str, ...]
    relay: Relay
    take_overs: tuple[int, ...]
    edge: Edge
    lanes: tuple[int, ...]
    side: Side


@dataclass(frozen=True, slots=True)
class Before:
    """The plan that stands when something happens, from when on it may be changed, and who drops
    out then. Heats that have begun by then stay as they are.
    """

    assignments: tuple[Assignment, ...]
    from_s: int
    dropped: frozenset[str] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True)
class Task:
    """All that a plan is made from."""

    people: tuple[Person, ...]
    heats: tuple[PlannedHeat, ...]
    template: Template
    settings: Settings = field(default_factory=Settings)
    pins: tuple[Pin, ...] = ()
    before: Before | None = None
    track: Track = field(default_factory=Track)

    def __post_init__(self) -> None:
        if len(self.people) > MOST_PEOPLE:
            raise ValueError(f"A plan is made for at most {MOST_PEOPLE} people.")
        _insist_once([(person.id, person.name) for person in self.people])
        _insist_once([(heat.id, heat.label) for heat in self.heats])

    def has_begun(self, heat: PlannedHeat) -> bool:
        """Whether a heat stays as the plan before has it."""
        return self.before is not None and heat.starts_s < self.before.from_s

    def stood(self) -> Iterator[Assignment]:
        """The posts of the heats that have begun, just as the plan before has them."""
        begun = {heat.id for heat in self.heats if self.has_begun(heat)}
        for one in self.before.assignments if self.before is not None else ():
            if heats := tuple(heat for heat in one.heats if heat in begun):
                yield replace(one, heats=heats)

    @property
    def has_experienced(self) -> bool:
        """Whether anybody counts as experienced; where nobody does, nothing is wished of it."""
        return any(person.experience >= self.settings.experienced for person in self.people)


def _insist_once(named: Sequence[tuple[str, str]]) -> None:
    first: dict[str, str] = {}
    for key, name in named:
        if key in first:
            raise ValueError(f"{first[key]} is there twice; the second time as {name}.")
        first[key] = name
