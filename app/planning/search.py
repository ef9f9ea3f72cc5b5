"""Finding the best plan: wish after wish, each made as small as those before it allow.

A first plan is filled in the order of time and made better by exchanging people, which soon gives a
good one. Weights that hold the order of the wishes would span more digits than a solver's numbers
have: so windows of a few spells are planned anew around what falls short, with mild weights; then
each wish in its order is made small over the whole day and held at what was reached.
A wish at a number that no plan can go below needs no solving. Where the time ends first, what is
proven says how much better a plan could be at the most.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import ceil, inf, isfinite
from time import perf_counter

from app.planning.building import too_much
from app.planning.effort import Best, Effort, NoPlan, Progress
from app.planning.exchanging import Exchanging, exchanged
from app.planning.filling import chosen, filled
from app.planning.foreseeing import foreseen
from app.planning.linear import Sum
from app.planning.model import Model, Placed
from app.planning.results import Counted
from app.planning.solver import WITHIN, Solver, is_too_much
from app.planning.tally import faults, placed_by, tally
from app.planning.windows import GUIDING, Windows
from app.planning.wishes import Wish, changes, measure

WINDOW = 3
WIDER = (3, 5, 7)
"""How many spells around one that falls short are planned anew, one width after the other."""
WINDOW_SLACK = 20.0
WINDOW_S = 3.0
WINDOW_SHARE = 1.5
"""Of the time there is for each window: most take less, and the last is to have its own."""
MENDING_S = 1.5
RETURN_S = 2.0
FIRST_PLAN_S = 5.0
"""However short the time: without a first plan there is none at all."""
SOLVING_TIMES = 2.0
"""Setting out all wishes for the solver, and its first answer, take so many times as long as it
took to set out what is firm, at the most.
"""
EXCHANGING_SHARE = 0.4
EXCHANGING_S = 0.5
"""However short the time: so much fills the posts that somebody left."""
TOLD_EVERY_S = 0.5
MENDING_SHARE = 0.3
WISH_SHARE = 0.6
"""Of the time that is left: for mending by windows, and for one wish, as those after it are to have
some, too.
"""


@dataclass(slots=True)
class Search:
    """One search over one model, for which `began` is the time before it was built. `firm` bounds
    wishes before all others are looked at; `begin` is a plan to begin with.
    """

    model: Model
    effort: Effort
    firm: Mapping[Wish, int] = field(default_factory=dict)
    begin: Placed | None = None
    began: float = field(default_factory=perf_counter)
    stopped: bool = False
    _values: list[float] = field(default_factory=list)
    _counts: dict[Wish, int] = field(default_factory=dict)
    _wish: Wish | None = None
    _bound: int = 0
    _told: float = -inf

    def run(self, until: Wish | None = None) -> Best:
        """The best plan, down to one wish or to the last. Raises NoPlan."""
        built_s = self._seconds()
        placed = self._filled()
        if placed is None and not self.firm:
            placed = self._exchanged(
                self._found(Solver(self.model.linear, self.effort.seed, self._hear))
            )
        if placed is not None and self._is_too_late_to_solve(built_s):
            return self._as_it_is(self._exchanged(placed, 1.0))
        sums = measure(self.model)
        for wish, most in self.firm.items():
            self.model.linear.bound(sums[wish], at_most=most)
        solver = Solver(self.model.linear, self.effort.seed, self._hear)
        if placed is None:
            placed = self._found(solver)
        if not self._values and not self._complete(solver, placed):
            return self._as_it_is(placed)
        self._by_windows(Windows(self.model, sums))
        bounds = self._by_wishes(solver, sums, until)
        placed = placed_by(self.model, self._values)
        return Best(placed, self._counted(bounds), self._seconds(), self.stopped)

    def _filled(self) -> Placed | None:
        """A first plan that needs no solver: filled in the order of time, and what exchanging
        people makes of it. None where more is firm than filling heeds.
        """
        can_be = self._is_free() or not self.model.linear.lower
        placed = filled(self.model) if can_be else None
        return None if placed is None else self._exchanged(placed)

    def _found(self, solver: Solver) -> Placed:
        """A first plan that the solver finds in what is firm, as near as can be to the one before,
        and to a tenth of the whole unless wishes are bounded.
        """
        if is_too_much(len(self.model.taken)):
            raise ValueError(too_much(self.model.task))
        what = self._first_wish()
        nobody = Sum(dict.fromkeys(self.model.taken.values(), 1.0))
        slack = inf if what is None else 1 - WITHIN
        limit_s = self._left() if self.firm else max(self._left(), FIRST_PLAN_S)
        found = solver.minimise(what or nobody, limit_s, slack=slack)
        if found.values is None:
            raise NoPlan(is_proven=found.is_impossible)
        if self.firm:
            self._take(found.values)
        return placed_by(self.model, found.values)

    def _exchanged(self, placed: Placed, share: float = EXCHANGING_SHARE) -> Placed:
        """What exchanging people makes of a plan in a share of the time that is left."""
        ends_s = self._seconds() + max(share * self._left(), EXCHANGING_S)

        def go_on(by_now: Exchanging) -> bool:
            if self._seconds() - self._told > TOLD_EVERY_S:
                self._counts = tally(self.model, by_now.placed)
            return not self._hear(-inf) and self._seconds() < ends_s

        return exchanged(self.model, placed, go_on)

    def _is_too_late_to_solve(self, built_s: float) -> bool:
        """Whether the time, or the memory, would be used up before the solver has said anything."""
        return is_too_much(len(self.model.taken)) or self._left() < SOLVING_TIMES * built_s

    def _as_it_is(self, placed: Placed) -> Best:
        """A plan that no solver has looked at: what is known of it without solving."""
        self._counts = tally(self.model, placed)
        self._say(force=True)
        proven, bounds = True, {}
        for wish, value in self._counts.items():
            bounds[wish] = self._foreseen(wish) if proven else self._foreseen_of_any(wish)
            proven = proven and value <= bounds[wish]
        return Best(placed, self._counted(bounds), self._seconds(), self.stopped)

    def _counted(self, bounds: Mapping[Wish, int]) -> tuple[Counted, ...]:
        """What the plan comes to at the end: where a wish was not proven, a step for a later one
        may have mended it.
        """
        of = self._counts
        return tuple(Counted(wish, of[wish], min(of[wish], low)) for wish, low in bounds.items())

    def _is_free(self) -> bool:
        """Whether nothing is firm but what a first plan heeds by itself."""
        return not (self.model.task.before or self.firm or self.begin)

    def _first_wish(self) -> Sum | None:
        """As little as can be otherwise than in the plan to begin with, or in the one before."""
        if self.begin is not None:
            return self._away_from(self.begin)
        return None if self.model.before is None else changes(self.model)

    def _complete(self, solver: Solver, placed: Placed) -> bool:
        """Take up a plan with what follows from who stands where; False where that needs more time
        than there is.
        """
        values = chosen(self.model, placed)
        columns = [*self.model.taken.values(), *self.model.sized.values()]
        held = {column: values[column] for column in columns}
        found = solver.minimise(Sum({}), FIRST_PLAN_S, held=held, slack=inf)
        if found.is_impossible:
            raise NoPlan(is_proven=True)
        if found.values is None:
            return False
        self._take(found.values)
        return True

    def _by_windows(self, windows: Windows) -> None:
        firsts = sorted({spell // WINDOW * WINDOW for spell in self._short_of_a_wish()})
        for done, first in enumerate(firsts):
            if not self._is_over():
                fair_s = WINDOW_SHARE * self._left() / (len(firsts) - done)
                self._replan(windows, range(first, first + WINDOW), min(WINDOW_S, fair_s))
        self._mend(windows)

    def _mend(self, windows: Windows) -> None:
        """Plan anew around what falls short, the worst first, as long as it helps."""
        ends_s = self._seconds() + MENDING_SHARE * self._left()
        tried: set[range] = set()
        while self._seconds() < ends_s and not self.stopped:
            window = next((one for one in self._around_what_is_short() if one not in tried), None)
            if window is None:
                return
            if self._replan(windows, window, MENDING_S):
                tried.clear()
            tried.add(window)

    def _around_what_is_short(self) -> Iterator[range]:
        short = list(self._short_of_a_wish())
        for width in WIDER:
            for spell in short:
                yield range(max(0, spell - width // 2), spell + width // 2 + 1)

    def _short_of_a_wish(self) -> Iterator[int]:
        """Spells in which the plan falls short of a wish, the worst first."""
        weights: Counter[int] = Counter()
        for fault in faults(self.model, placed_by(self.model, self._values)):
            weights[fault.spell] += int(GUIDING[fault.wish]) * fault.times
        return (spell for spell, _ in weights.most_common())

    def _replan(self, windows: Windows, spells: range, limit_s: float) -> bool:
        """Whether planning these spells anew has made the plan better."""
        before = self._counts
        part = windows.cut(spells, self._values)
        found = Solver(part.linear, self.effort.seed, self._hear).minimise(
            windows.guide(part, self._values),
            min(limit_s, self._left()),
            start=[self._values[column] for column in part.columns],
            slack=WINDOW_SLACK,
        )
        if found.values is not None:
            self._take(part.put_back(found.values, self._values))
        return _without_load(self._counts) < _without_load(before)

    def _by_wishes(
        self, solver: Solver, sums: Mapping[Wish, Sum], until: Wish | None
    ) -> Mapping[Wish, int]:
        """What no plan that is as good before can go below, wish by wish down to the last."""
        proven, bounds = True, {}
        for wish, what in sums.items():
            self._wish, self._bound = wish, self._foreseen(wish)
            lowest = self._lowest(solver, sums, wish)
            bounds[wish] = lowest if proven else self._foreseen_of_any(wish)
            proven = proven and self._counts[wish] <= lowest
            if wish is until:
                break
            self._keep(what, self._counts[wish])
        return bounds

    def _keep(self, what: Sum, value: int) -> None:
        """No later plan may come to more of it."""
        self.model.linear.bound(what, at_most=value)

    def _lowest(self, solver: Solver, sums: Mapping[Wish, Sum], wish: Wish) -> int:
        """Make a wish as small as can be, and say what it cannot go below."""
        bound = self._foreseen(wish)
        before = self._counts
        if before[wish] <= bound or self._is_over():
            return bound
        placed = placed_by(self.model, self._values)
        share = WISH_SHARE if wish is not list(sums)[-1] else 1.0
        found = solver.minimise(sums[wish], self._left() * share, start=self._values)
        if isfinite(found.bound):
            bound = self._bound = max(bound, int(found.bound))
        if found.values is not None:
            self._take(found.values)
        if self._counts[wish] < before[wish]:
            self._wish = None
            self._keep(sums[wish], self._counts[wish])
            self._return_to(solver, placed)
            self._mend(Windows(self.model, sums))
        return bound

    def _return_to(self, solver: Solver, placed: Placed) -> None:
        """As near to an earlier plan as what is kept allows: of all that comes after, it was better
        than one for which the solver has looked at nothing but one wish.
        """
        limit_s = min(RETURN_S, self._left() / 3)
        away = self._away_from(placed)
        found = solver.minimise(away, limit_s, start=self._values, slack=WINDOW_SLACK)
        if found.values is not None:
            self._take(found.values)

    def _away_from(self, placed: Placed) -> Sum:
        """Less where more stand as in that plan, and fewer otherwise."""
        terms = dict.fromkeys(self.model.taken.values(), 1.0)
        for (person, _), (zone, seat) in placed.items():
            column = self.model.taken.get((person, zone, seat))
            if column is not None:
                terms[column] = -1.0
        return Sum(terms)

    def _foreseen(self, wish: Wish) -> int:
        """What no plan can go below, known without solving."""
        return foreseen(self.model, wish, self._counts[Wish.FULL_CREWS])

    def _foreseen_of_any(self, wish: Wish) -> int:
        """The same of every plan, also of one that is better in an earlier wish: with fewer people
        on post nobody need stand so much.
        """
        return 0 if wish is Wish.EVEN_LOAD else foreseen(self.model, wish)

    def _take(self, values: list[float]) -> None:
        """Keep these values, unless what counts before has become worse."""
        counts = tally(self.model, placed_by(self.model, values))
        if not self._values or list(counts.values()) <= list(self._counts.values()):
            is_news = counts != self._counts
            self._values, self._counts = values, counts
            self._say(force=is_news)

    def _hear(self, bound: float) -> bool:
        if self._wish is not None and isfinite(bound):
            self._bound = max(self._bound, ceil(bound - WITHIN))
        if self.effort.should_stop():
            self.stopped = True
        self._say()
        return self.stopped

    def _say(self, *, force: bool = False) -> None:
        now = self._seconds()
        if self._counts and (force or now - self._told > TOLD_EVERY_S):
            self._told = now
            bound = min(self._bound, self._counts[self._wish]) if self._wish else 0
            self.effort.tell(Progress(now, dict(self._counts), self._wish, bound))

    def _seconds(self) -> float:
        return perf_counter() - self.began

    def _left(self) -> float:
        return self.effort.limit_s - self._seconds()

    def _is_over(self) -> bool:
        return self.stopped or self._left() <= 0


def _without_load(counts: Mapping[Wish, int]) -> list[int]:
    return [count for wish, count in counts.items() if wish is not Wish.EVEN_LOAD]
