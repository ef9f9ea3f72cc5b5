"""Why a wish was given up: the day is planned again with that wish kept, to see what it costs.

The wishes count one before the other, so whatever is given up is given up for a more important one:
the first that comes out worse when this one is kept. First people are exchanged with that wish
before all others, which soon shows a plan that keeps it, or more of it; then, as far as there is
time, it is proven that none keeps it wholly for less. Where none of the more important ones comes
out worse, the plan is better than the one to be explained, and takes its place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from time import perf_counter

from app.planning.building import build
from app.planning.effort import Best, Effort, NoPlan
from app.planning.exchanging import exchanged
from app.planning.facts import Task
from app.planning.making import placed_of, taking_place_of
from app.planning.model import Model, Placed
from app.planning.results import CrewPlan, GivenUp
from app.planning.search import Search
from app.planning.solver import is_too_much
from app.planning.tally import tally
from app.planning.wishes import Wish

EXPLAINED = (Wish.BREAKS, Wish.OWN_CLUB, Wish.EXPERIENCE, Wish.FULL_CREWS, Wish.FEW_MOVES)
"""What stays unwatched is told with what would mend it, and nobody's load is ever quite even."""
EXCHANGING_SHARE = 0.8
"""Of the time that is left for each wish: a plan that was found says more than no proof."""
PROVING_S = 1.0
"""With less than that, and than a model takes to be made, nothing is proven."""


def explained(
    task: Task, plan: CrewPlan, effort: Effort, *, is_final: bool = False
) -> tuple[CrewPlan, tuple[GivenUp, ...]]:
    """The plan, or a better one that was met unless this one `is_final`, and each wish that it
    falls short of in what is still to be run. The effort is for all of them together.
    """
    if not _short(plan) or effort.limit_s <= 0 or effort.should_stop():
        return plan, tuple(_bare(plan, wish) for wish in _short(plan))
    explaining = _Explaining(task, plan, effort, is_final)
    told = explaining.told()
    return explaining.plan, told


def _short(plan: CrewPlan) -> list[Wish]:
    return [wish for wish in EXPLAINED if plan.short_of(wish)]


def _bare(plan: CrewPlan, wish: Wish) -> GivenUp:
    idle = plan.idle.get(wish, 0)
    return GivenUp(wish, plan.short_of(wish), plan.concerns.get(wish, ()), idle)


@dataclass(slots=True)
class _Explaining:
    """One plan, and the time there is for all that is to be told of it."""

    task: Task
    plan: CrewPlan
    effort: Effort
    is_final: bool
    _began: float = field(default_factory=perf_counter)
    _model: Model = field(init=False)
    _built_s: float = field(init=False)

    def __post_init__(self) -> None:
        self._model = build(self.task)
        self._built_s = perf_counter() - self._began

    def told(self) -> tuple[GivenUp, ...]:
        """Each wish with what was found, and then with what is proven of it."""
        shown: list[GivenUp] = []
        short = _short(self.plan)
        for done, wish in enumerate(short):
            bare = _bare(self.plan, wish)
            if bare.is_idle:
                shown.append(bare)
                continue
            placed = self._exchanged(wish, self._left_s() / (len(short) - done) * EXCHANGING_SHARE)
            if not self.is_final and self._is_better(placed):
                self.plan = taking_place_of(self.plan, self._model, placed)
                return self.told()
            shown.append(self._with_costs_found(bare, placed))
        return tuple(self._proven(one, len(shown) - done) for done, one in enumerate(shown))

    def _left_s(self) -> float:
        return self.effort.limit_s - (perf_counter() - self._began)

    def _exchanged(self, wish: Wish, limit_s: float) -> Placed:
        """What exchanges make of the plan with this wish before all others."""
        ends_s = perf_counter() + limit_s
        return exchanged(
            self._model,
            placed_of(self._model, self.plan.assignments),
            lambda _: perf_counter() < ends_s and not self.effort.should_stop(),
            first=wish,
        )

    def _is_better(self, placed: Placed) -> bool:
        return list(tally(self._model, placed).values()) < self.plan.values

    def _with_costs_found(self, told: GivenUp, placed: Placed) -> GivenUp:
        counts = tally(self._model, placed)
        kept_to = self._to_come(told.wish, counts[told.wish])
        worse = self._first_worse(told.wish, counts)
        if worse is None or kept_to >= told.times:
            return told
        instead = self._to_come(worse, counts[worse])
        return replace(told, kept_to=kept_to, costs=worse, instead=instead)

    def _to_come(self, wish: Wish, count: int) -> int:
        """Without what has been run."""
        return count - self.plan.run.get(wish, 0)

    def _first_worse(self, wish: Wish, counts: Mapping[Wish, int]) -> Wish | None:
        """The first of the more important wishes that comes to more than in the plan."""
        more_important = list(counts)[: list(counts).index(wish)]
        worse = (one for one in more_important if counts[one] > self.plan.count(one))
        return next(worse, None)

    def _proven(self, told: GivenUp, to_prove: int) -> GivenUp:
        """The same with what is proven in this one's part of the time, if there is any."""
        each_s = self._left_s() / to_prove - self._built_s
        if each_s < max(PROVING_S, self._built_s) or self.effort.should_stop():
            return told
        if told.is_idle or is_too_much(len(self._model.taken)):
            return told
        before = [one.wish for one in self.plan.counted]
        last = before[before.index(told.wish) - 1]
        most = {told.wish: self.plan.run.get(told.wish, 0) + told.idle}
        effort = replace(self.effort, limit_s=each_s)
        try:
            return self._with_costs_proven(told, Search(build(self.task), effort, most).run(last))
        except NoPlan as none:
            return replace(told, is_impossible=True) if none.is_proven else told

    def _with_costs_proven(self, told: GivenUp, kept: Best) -> GivenUp:
        """With the first wish that comes out worse in a plan that keeps this one wholly. As soon as
        one comes out better, that plan is better than the one to be explained, and proves nothing.
        """
        for one in kept.counted:
            count = self.plan.count(one.wish)
            if one.value < count:
                break
            if one.value > count:
                shown = self._cheaper(told, one.wish, self._to_come(one.wish, one.value))
                is_proven = one.bound > count and shown.costs is one.wish
                return replace(shown, is_proven=is_proven)
        return told

    def _cheaper(self, told: GivenUp, worse: Wish, instead: int) -> GivenUp:
        """What was found before, or that the wish was kept wholly for this: whichever costs less,
        and that is the less important wish first.
        """
        order = [one.wish for one in self.plan.counted]
        if told.costs is not None and told.kept_to <= told.idle:
            before = -order.index(told.costs), told.instead
            if before <= (-order.index(worse), instead):
                return told
        return replace(told, kept_to=told.idle, costs=worse, instead=instead)
