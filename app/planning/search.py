"""Finding the best plan: wish after wish, each made as small as those before it allow.

Weights that hold such an order would span more digits than a solver's numbers have. So the plan is
first put together by windows of a few spells, each solved with mild weights, which soon gives a good
one; then each wish in its order is made small over the whole day and held at what was reached. A
wish at a number that no plan can go below needs no solving. Where the time ends first, what is
proven says how much better a plan could be at the most.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, inf
from time import perf_counter

from app.planning.linear import Sum
from app.planning.model import Model, Placed
from app.planning.solver import Solver
from app.planning.tally import loads, placed_by, tally
from app.planning.wishes import Wish, measure

WINDOW = 3
STEP = 2
WINDOW_SLACK = 5.0
WINDOW_S = 1.0
SHARE = 0.6
"""Of the time that is left for one wish: those after it are to have some, too."""
GUIDING: Mapping[Wish, float] = {
    Wish.WATCHED: 2000,
    Wish.UNCHANGED: 1000,
    Wish.BREAKS: 600,
    Wish.OWN_CLUB: 80,
    Wish.EXPERIENCE: 25,
    Wish.FULL_CREWS: 8,
    Wish.FEW_MOVES: 2,
}


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is: the wish at work, its best value and bound, and all counts so far."""

    seconds: float
    wish: Wish | None
    best: float
    bound: float
    counts: Mapping[Wish, int]


Tell = Callable[[Progress], None]
ShouldStop = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search, from which seed, whom to tell, and whom to ask whether to stop."""

    limit_s: float = 10.0
    seed: int = 1
    tell: Tell = lambda _: None
    should_stop: ShouldStop = lambda: False


@dataclass(frozen=True, slots=True)
class Counted:
    """A wish, what the plan comes to, and what no plan that is as good before can go below."""

    wish: Wish
    value: int
    bound: int


@dataclass(frozen=True, slots=True)
class Best:
    """The best plan found, wish by wish; the first that is not proven ends the proof."""

    placed: Placed
    counted: tuple[Counted, ...]
    seconds: float
    stopped: bool


class NoPlan(Exception):
    """Nothing satisfies what is firm: pins or heats already run contradict each other."""


@dataclass(slots=True)
class Search:
    """One search over one model. `firm` bounds wishes before all others are looked at."""

    model: Model
    effort: Effort
    firm: Mapping[Wish, int] = field(default_factory=dict)
    began: float = field(default_factory=perf_counter)
    stopped: bool = False
    _values: list[float] | None = None
    _counts: dict[Wish, int] = field(default_factory=dict)
    _wish: Wish | None = None
    _told: float = -inf

    def run(self, until: Wish | None = None) -> Best:
        """The best plan, down to one wish or to the last. Raises NoPlan."""
        sums = measure(self.model)
        for wish, most in self.firm.items():
            self.model.linear.bound(sums[wish], at_most=most)
        solver = Solver(self.model.linear, self.effort.seed, self._hear)
        self._begin(solver, sums)
        self._by_windows(solver, sums)
        counted = list(self._by_wishes(solver, sums, until))
        assert self._values is not None
        placed = placed_by(self.model, self._values)
        return Best(placed, tuple(counted), self._seconds(), self.stopped)

    def _begin(self, solver: Solver, sums: Mapping[Wish, Sum]) -> None:
        """Any plan at all: nobody anywhere but where it is firm."""
        nobody = Sum(dict.fromkeys(self.model.taken.values(), 1.0))
        found = solver.minimise(nobody, inf, slack=inf)
        if found.values is None:
            raise NoPlan
        self._take(found.values)

    def _by_windows(self, solver: Solver, sums: Mapping[Wish, Sum]) -> None:
        for spells in windows(len(self.model.spells)):
            if self._is_over() or self._is_perfect():
                return
            assert self._values is not None
            limit = min(WINDOW_S, self._left() / 2)
            guide = self._guide(sums)
            found = solver.minimise(
                guide, limit, start=self._values, hold=self._outside(spells), slack=WINDOW_SLACK
            )
            if found.values is not None:
                self._take(found.values)

    def _by_wishes(
        self, solver: Solver, sums: Mapping[Wish, Sum], until: Wish | None
    ) -> Iterator[Counted]:
        proven = True
        for wish, what in sums.items():
            bound = self._foreseen(wish)
            if self._counts[wish] > bound and not self._is_over():
                self._wish = wish
                share = self._left() * (SHARE if wish is not list(sums)[-1] else 1.0)
                found = solver.minimise(what, share, start=self._values)
                if found.values is not None:
                    self._take(found.values, wish)
                bound = max(bound, found.bound)
            value = self._counts[wish]
            bound = int(min(value, bound)) if proven else 0
            proven = proven and bound == value
            yield Counted(wish, value, bound)
            if wish is until:
                return
            self.model.linear.bound(what, at_most=value)

    def _foreseen(self, wish: Wish) -> float:
        """What no plan can go below, known without solving."""
        if wish is not Wish.EVEN_LOAD or self._counts[Wish.FULL_CREWS]:
            return 0
        heats = sum(
            one.most_seats() * len(self.model.spell_of(zone).heats)
            for zone, one in enumerate(self.model.staffings)
        )
        return ceil(heats / max(1, len(self.model.task.people)))

    def _guide(self, sums: Mapping[Wish, Sum]) -> Sum:
        """All wishes at once, with mild weights, and less for whoever has stood much already."""
        terms: dict[int, float] = {}
        for wish, weight in GUIDING.items():
            for column, times in (sums[wish].terms if wish in sums else {}).items():
                terms[column] = terms.get(column, 0.0) + weight * times
        stood = loads(self.model, placed_by(self.model, self._values or []))
        most = max(stood.values(), default=0) or 1
        for (person, _, _), column in self.model.taken.items():
            terms[column] = terms.get(column, 0.0) + stood[person] / most
        return Sum(terms)

    def _outside(self, spells: range) -> dict[int, float]:
        assert self._values is not None
        return {
            column: round(self._values[column])
            for (_, zone, _), column in self.model.taken.items()
            if self.model.staffings[zone].zone.spell not in spells
        }

    def _take(self, values: list[float], wish: Wish | None = None) -> None:
        """Keep these values, unless what counts before has become worse."""
        counts = tally(self.model, placed_by(self.model, values))
        if self._values is None or list(counts.values()) <= list(self._counts.values()):
            self._values, self._counts = values, counts
            self._say(inf, -inf, force=True)

    def _hear(self, best: float, bound: float) -> bool:
        if self.effort.should_stop():
            self.stopped = True
        self._say(best, bound)
        return self.stopped

    def _say(self, best: float, bound: float, *, force: bool = False) -> None:
        now = self._seconds()
        if self._counts and (force or now - self._told > 0.5):
            self._told = now
            self.effort.tell(Progress(now, self._wish, best, bound, dict(self._counts)))

    def _is_perfect(self) -> bool:
        """But for the load, which windows cannot even out."""
        return not any(self._counts[wish] for wish in GUIDING if wish in self._counts)

    def _seconds(self) -> float:
        return perf_counter() - self.began

    def _left(self) -> float:
        return self.effort.limit_s - self._seconds()

    def _is_over(self) -> bool:
        return self.stopped or self._left() <= 0


def windows(spells: int) -> Sequence[range]:
    """Spells to be planned together: through the day once, and once more between the seams."""
    first = [range(at, at + WINDOW) for at in range(0, spells, STEP)]
    again = [range(at, at + WINDOW) for at in range(1, spells, WINDOW)]
    return [*first, *again]
