"""What planning a crew comes to: the plan, how good it is, what is given up and what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.planning.facts import Assignment
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay


@dataclass(frozen=True, slots=True)
class Counted:
    """A wish, what the plan comes to, and what no plan that is as good before can go below."""

    wish: Wish
    value: int
    bound: int

    @property
    def gap(self) -> int:
        """By how much a better plan could still be better in this wish."""
        return self.value - self.bound


@dataclass(frozen=True, slots=True)
class Unwatched:
    """Lanes in use whose edge nobody watches, in these heats and at these take-overs."""

    heats: tuple[str, ...]
    relay: Relay
    take_overs: tuple[int, ...]
    edge: Edge
    lanes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Concern:
    """Whom a wish that was given up concerns (nobody alone: None), in which heats, how much, and at
    which zone.
    """

    person: str | None
    heats: tuple[str, ...]
    times: int
    relay: Relay | None = None
    take_overs: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class CrewPlan:
    """A plan: who stands where through which heats, and how good it is, wish by wish.

    `run` is what the heats that have been run by now have of each count; what stays unwatched and
    whom a wish concerns is told of the others alone: those nobody can change. `idle` is what the
    others have of it with any number of people: in a heat with fewer lanes than its row, a post of
    the row has none in use.
    """

    assignments: tuple[Assignment, ...]
    counted: tuple[Counted, ...]
    unwatched: tuple[Unwatched, ...]
    concerns: dict[Wish, tuple[Concern, ...]]
    seconds: float
    stopped: bool
    run: Mapping[Wish, int] = field(default_factory=dict)
    idle: Mapping[Wish, int] = field(default_factory=dict)

    @property
    def is_whole(self) -> bool:
        """Whether every edge of every lane in use is watched, in all that is still to be run."""
        return not self.unwatched

    @property
    def is_optimal(self) -> bool:
        """Whether it is proven that no plan is better."""
        return all(not one.gap for one in self.counted)

    @property
    def values(self) -> list[int]:
        """What the plan comes to in each wish, in their order: less is better."""
        return [one.value for one in self.counted]

    def count(self, wish: Wish) -> int:
        """What the plan comes to in a wish."""
        return next((one.value for one in self.counted if one.wish is wish), 0)

    def short_of(self, wish: Wish) -> int:
        """The same without what has been run."""
        return self.count(wish) - self.run.get(wish, 0)


@dataclass(frozen=True, slots=True)
class GivenUp:
    """A wish that the plan falls short of, and what keeping it wholly would have cost instead.

    The best plan found for the wish comes to `kept_to` of it, and `costs` is the more important one
    that suffers there, with what it comes to `instead`; `is_proven` where no plan keeps the one
    wholly without harm to the other. Without `costs`: `is_impossible` where no plan at all keeps
    the wish wholly, else none that keeps more of it was found. So much as is `idle` no number of
    people would mend: a wish that is kept but for that is kept wholly.
    """

    wish: Wish
    times: int
    concerns: tuple[Concern, ...]
    idle: int = 0
    kept_to: int = 0
    costs: Wish | None = None
    instead: int = 0
    is_proven: bool = False
    is_impossible: bool = False

    @property
    def is_idle(self) -> bool:
        """Whether no number of people would mend any of it."""
        return self.times <= self.idle


@dataclass(frozen=True, slots=True)
class Missing:
    """The fewest people more with whom everything would be watched, and where they would stand.

    Whoever stands keeps standing, but those in `moved`, who have these posts instead of theirs.
    `fewer` is the same with fewer people, where others are moved for them; `whole` is a plan of the
    people who are there, where one was met: then nobody is missing.

    `is_proven` where fewer do not suffice, also with others moved but for those in `fewer`. With
    None for `people` no number of them mends it: the template cannot take the lanes in use, or a
    pin forbids it. Whoever comes is taken to be there all day and free of any barred position.
    """

    people: int | None
    posts: tuple[Assignment, ...] = ()
    is_proven: bool = True
    moved: tuple[Assignment, ...] = ()
    fewer: Missing | None = None
    whole: tuple[Assignment, ...] = ()
