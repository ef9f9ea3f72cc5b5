"""Why a wish was given up: the day is planned again with that wish kept, to see what it costs.

The wishes count one before the other, so whatever is given up is given up for a more important one:
the first that comes out worse when this one is kept wholly. First people are exchanged with that
wish before all others, which soon shows a plan that keeps it; then, as far as there is time, it is
proven that none keeps it for less.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from time import perf_counter

from app.planning.building import build
from app.planning.effort import Best, Effort, NoPlan
from app.planning.exchanging import exchanged
from app.planning.facts import Task
from app.planning.making import placed_of
from app.planning.model import Model
from app.planning.results import CrewPlan, GivenUp
from app.planning.search import Search
from app.planning.tally import tally
from app.planning.wishes import Wish

EXPLAINED = (Wish.BREAKS, Wish.OWN_CLUB, Wish.EXPERIENCE, Wish.FULL_CREWS, Wish.FEW_MOVES)
"""What stays unwatched is told with what would mend it, and nobody's load is ever quite even."""
EXCHANGING_SHARE = 0.5
PROVING_S = 1.0
"""With less than that, and than a model takes to be made, nothing is proven."""


def given_up(task: Task, plan: CrewPlan, effort: Effort) -> Iterator[GivenUp]:
    """Each wish that the plan falls short of in what is still to be run; the effort is for all of
    them together, and what one of them does not need is left to the others.
    """
    short = [wish for wish in EXPLAINED if plan.short_of(wish)]
    if short:
        explaining = _Explaining(task, plan, effort)
        for done, wish in enumerate(short):
            yield explaining.of(wish, len(short) - done)


@dataclass(slots=True)
class _Explaining:
    """One plan, and the time there is for all that is to be told of it."""

    task: Task
    plan: CrewPlan
    effort: Effort
    _began: float = field(default_factory=perf_counter)
    _model: Model = field(init=False)
    _built_s: float = field(init=False)

    def __post_init__(self) -> None:
        self._model = build(self.task)
        self._built_s = perf_counter() - self._began

    def of(self, wish: Wish, to_tell: int) -> GivenUp:
        """One of so many wishes that are still to be told."""
        told = GivenUp(wish, self.plan.short_of(wish), self.plan.concerns.get(wish, ()))
        told = self._as_exchanged(told, self._left_s() / to_tell * EXCHANGING_SHARE)
        each_s = self._left_s() / to_tell - self._built_s
        if each_s < max(PROVING_S, self._built_s) or self.effort.should_stop():
            return told
        return self._as_proven(told, replace(self.effort, limit_s=each_s))

    def _left_s(self) -> float:
        return self.effort.limit_s - (perf_counter() - self._began)

    def _most(self, wish: Wish) -> int:
        """What the heats that have been run come to, which nothing mends."""
        return self.plan.run.get(wish, 0)

    def _as_exchanged(self, told: GivenUp, limit_s: float) -> GivenUp:
        """With what it comes to in the plan that exchanges make, where that keeps the wish."""
        ends_s = perf_counter() + limit_s
        found = exchanged(
            self._model,
            placed_of(self._model, self.plan.assignments),
            lambda _: perf_counter() < ends_s and not self.effort.should_stop(),
            first=told.wish,
        )
        counts = tally(self._model, found)
        if counts[told.wish] > self._most(told.wish):
            return told
        worse = self._first_worse(told.wish, counts)
        return replace(told, costs=worse, instead=counts[worse]) if worse else told

    def _first_worse(self, wish: Wish, counts: Mapping[Wish, int]) -> Wish | None:
        """The first of the more important wishes that comes to more than in the plan."""
        more_important = list(counts)[: list(counts).index(wish)]
        worse = (one for one in more_important if counts[one] > self.plan.count(one))
        return next(worse, None)

    def _as_proven(self, told: GivenUp, effort: Effort) -> GivenUp:
        before = [one.wish for one in self.plan.counted]
        last = before[before.index(told.wish) - 1]
        most = {told.wish: self._most(told.wish)}
        try:
            kept = Search(build(self.task), effort, most).run(last)
        except NoPlan as none:
            return replace(told, is_impossible=True) if none.is_proven else told
        return self._with_costs(told, kept)

    def _with_costs(self, told: GivenUp, kept: Best) -> GivenUp:
        for one in kept.counted:
            if one.bound > self.plan.count(one.wish):
                instead = min(one.value, told.instead if told.costs is one.wish else one.value)
                return replace(told, costs=one.wish, instead=instead, is_proven=True)
            if one.value > self.plan.count(one.wish):
                break  # that it must be worse is not proven
        return told
