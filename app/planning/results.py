"""What planning a crew comes to: the plan, how good it is, what is given up and what is missing."""

from __future__ import annotations

from dataclasses import dataclass

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
    """Whom a wish that was given up concerns (nobody alone: None), in which heats, how much."""

    person: str | None
    heats: tuple[str, ...]
    times: int


@dataclass(frozen=True, slots=True)
class CrewPlan:
    """A plan: who stands where through which heats, and how good it is, wish by wish."""

    assignments: tuple[Assignment, ...]
    counted: tuple[Counted, ...]
    unwatched: tuple[Unwatched, ...]
    concerns: dict[Wish, tuple[Concern, ...]]
    seconds: float
    stopped: bool

    @property
    def is_whole(self) -> bool:
        """Whether every edge of every lane in use is watched."""
        return not self.unwatched

    @property
    def is_optimal(self) -> bool:
        """Whether it is proven that no plan is better."""
        return all(not one.gap for one in self.counted)

    def count(self, wish: Wish) -> int:
        """What the plan comes to in a wish."""
        return next((one.value for one in self.counted if one.wish is wish), 0)


@dataclass(frozen=True, slots=True)
class GivenUp:
    """A wish that the plan falls short of, and what keeping it wholly would have cost instead.

    `costs` is the more important wish that would have suffered, with what the best plan would then
    have come to. Without it: `is_impossible` where no plan at all keeps the wish, else the search
    ended before it was known.
    """

    wish: Wish
    times: int
    concerns: tuple[Concern, ...]
    costs: Wish | None = None
    instead: int = 0
    is_impossible: bool = False


@dataclass(frozen=True, slots=True)
class Missing:
    """The fewest people more with whom everything would be watched, and where they would stand.

    `is_proven` where fewer do not suffice. With None for `people` no number of them mends it: the
    template cannot take the lanes in use, or a pin forbids it. Whoever comes is taken to be there
    all day and free of any barred position.
    """

    people: int | None
    posts: tuple[Assignment, ...] = ()
    is_proven: bool = True
