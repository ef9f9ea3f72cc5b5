"""Asking HiGHS for the best values of a linear programme with whole numbers.

The only module that knows the solver, and it is loaded with the first programme to be solved: a
server that never plans never loads it. One thread and a fixed seed: what is found depends on
nothing but the programme, as long as the time suffices. Which solver, and why: Decisions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil, inf, isfinite
from types import MappingProxyType
from typing import TYPE_CHECKING

from app.planning.linear import Linear, Sum

if TYPE_CHECKING:
    from highspy import Highs
    from highspy.highs import HighsCallbackEvent

WITHIN = 1e-6
MOST_CHOICES = 600_000
"""People by the seats that they could have; the solver takes three gigabytes a million."""
OPTIONS: Mapping[str, float | int | bool] = MappingProxyType(
    {  # measured: a pass of windows takes 3 s instead of 8 with the last four
        "mip_rel_gap": 0.0,
        "mip_detect_symmetry": False,
        "mip_heuristic_run_root_reduced_cost": False,
        "mip_pool_age_limit": 5,
        "mip_lp_age_limit": 2,
    }
)
Heard = Callable[[float], bool]
"""Takes the bound so far, -inf where there is none; True ends the search."""


@dataclass(frozen=True, slots=True)
class Found:
    """The best values, none where nothing was found; no values can come below `bound`.

    `is_impossible`: it was proven that no values satisfy the rows.
    """

    values: list[float] | None
    bound: float
    is_impossible: bool = False


def is_too_much(choices: int) -> bool:
    """Whether so many choices, of people by seats, are more than the memory may hold."""
    return choices > MOST_CHOICES


class Solver:
    """A linear programme that is solved again and again, with other sums to be made small."""

    def __init__(self, linear: Linear, seed: int, heard: Heard) -> None:
        self._linear = linear
        self._rows = len(linear.rows)
        self._heard = heard
        self._highs = _loaded(linear, seed)
        self._shift = 0.0
        self._highs.cbMipInterrupt.subscribe(self._hear)
        self._highs.cbSimplexInterrupt.subscribe(self._ask)

    def minimise(
        self,
        what: Sum,
        limit_s: float,
        *,
        start: list[float] | None = None,
        slack: float = 1 - WITHIN,
        held: Mapping[int, float] | None = None,
    ) -> Found:
        """The smallest value of a sum, to within `slack`; with some columns held at a value."""
        self._insist_on_new_rows()
        for column, value in (held or {}).items():
            self._highs.changeColBounds(column, value, value)
        self._set_costs(what)
        self._highs.setOptionValue("time_limit", max(limit_s, 0.05))
        self._highs.setOptionValue("mip_abs_gap", slack)
        if start is not None:
            self._start(start)
        self._highs.run()
        found = self._found(what)
        if start is not None and self._is_worse_than_said(what, found):
            self._highs.clearSolver()
            self._highs.run()
            found = self._found(what)
        for column in held or {}:
            low, high = self._linear.lower[column], self._linear.upper[column]
            self._highs.changeColBounds(column, low, high)
        return found

    def _insist_on_new_rows(self) -> None:
        for low, high, terms in self._linear.rows[self._rows :]:
            self._highs.addRow(low, high, len(terms), list(terms), list(terms.values()))
        self._rows = len(self._linear.rows)

    def _set_costs(self, what: Sum) -> None:
        columns = len(self._linear.lower)
        costs = [0.0] * columns
        for column, times in what.terms.items():
            costs[column] = times
        self._shift = what.constant
        self._highs.changeColsCost(columns, list(range(columns)), costs)

    def _start(self, values: list[float]) -> None:
        from highspy import HighsSolution  # noqa: PLC0415

        start = HighsSolution()
        start.col_value = values
        self._highs.setSolution(start)

    def _found(self, what: Sum) -> Found:
        from highspy import HighsModelStatus, SolutionStatus  # noqa: PLC0415

        info = self._highs.getInfo()
        impossible = self._highs.getModelStatus() == HighsModelStatus.kInfeasible
        bound = info.mip_dual_bound + what.constant
        whole = ceil(bound - WITHIN) if isfinite(bound) else -inf
        feasible = int(SolutionStatus.kSolutionStatusFeasible)
        if impossible or info.primal_solution_status != feasible:
            return Found(None, whole, impossible)
        return Found(list(self._highs.getSolution().col_value), whole)

    def _is_worse_than_said(self, what: Sum, found: Found) -> bool:
        """Whether these are not the values of which HiGHS tells: 1.16 reduces a start to a better
        plan, calls that the best, and then gives the start back.
        """
        said = self._highs.getInfo().objective_function_value + what.constant
        return found.values is not None and what.of(found.values) > said + 0.5

    def _hear(self, event: HighsCallbackEvent) -> None:
        if self._heard(event.data_out.mip_dual_bound + self._shift):
            event.interrupt()

    def _ask(self, event: HighsCallbackEvent) -> None:
        if self._heard(-inf):
            event.interrupt()


def _loaded(linear: Linear, seed: int) -> Highs:
    import highspy  # noqa: PLC0415

    class Quiet(highspy.Highs):
        """Made as its base is, but silent before that would print its name on standard output."""

        def enableCallbacks(self) -> None:  # noqa: N802  (the base calls it by this name)
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()  # type: ignore[no-untyped-call]

    highs = Quiet()  # type: ignore[no-untyped-call]
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("random_seed", seed)
    for option, value in OPTIONS.items():
        highs.setOptionValue(option, value)
    programme = highspy.HighsLp()
    programme.num_col_, programme.num_row_ = len(linear.lower), len(linear.rows)
    programme.col_cost_ = [0.0] * len(linear.lower)
    programme.col_lower_, programme.col_upper_ = linear.lower, linear.upper
    programme.row_lower_ = [low for low, _, _ in linear.rows]
    programme.row_upper_ = [high for _, high, _ in linear.rows]
    kinds = highspy.HighsVarType
    programme.integrality_ = [kinds.kInteger if one else kinds.kContinuous for one in linear.whole]
    matrix = programme.a_matrix_
    matrix.format_ = highspy.MatrixFormat.kRowwise
    matrix.start_ = _starts(linear)
    matrix.index_ = [column for _, _, terms in linear.rows for column in terms]
    matrix.value_ = [times for _, _, terms in linear.rows for times in terms.values()]
    highs.passModel(programme)
    return highs


def _starts(linear: Linear) -> list[int]:
    starts = [0]
    for _, _, terms in linear.rows:
        starts.append(starts[-1] + len(terms))
    return starts
