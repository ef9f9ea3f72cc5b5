"""What of replaced decisions of the jury stands, though no decision that stands says so?

A further sitting does not reach what another appeal has ordered otherwise since. Once that one is
heard again too, what it had taken away would come back, though the appeal that ordered it was
decided anew meanwhile: it is taken back with it. What stands all the same is taken back by the next
sitting of its own appeal. That what was decided on two appeals and rejected at last on both leaves
what was before the first is common practice.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.appeals.bench import Bench
from app.appeals.decision_queries import decisions_in_round
from app.appeals.in_force import is_in_force
from app.appeals.last_about import Thing, about, standing_in
from app.appeals.left_for import OF_A_HEAT, Made, carried_out_by, itself, made_by
from app.appeals.wire import Instance
from app.ids import HeatId
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Replaced:
    """What decisions of the jury carried out that were replaced, and the decisions that stand."""

    acts: Sequence[Made]
    standing: Mapping[str, AnyRow]

    def of_appeal(self, bench: Bench, number: int | None) -> list[Made]:
        """What still stands of one appeal."""
        return [one for one in self._standing(bench) if one.by.appeal_number == number]

    def coming_back(self, before: Bench, after: Bench, taken_back: Collection[str]) -> list[Made]:
        """What stands again once what these decisions did is taken back."""
        found = self._standing(after, taken_back)
        return [one for one in found if not is_in_force(before, one.kept)]

    def _standing(self, bench: Bench, taken_back: Collection[str] = ()) -> Iterator[Made]:
        heat = HeatId(bench.heat.id)
        kept = carried_out_by(one for one in self.standing.values() if one.id not in taken_back)
        for one in self.acts:
            if itself(one.kept) in kept:
                continue
            thing = about(one.kept, one.by.heat_id)
            last = standing_in(bench.conn, heat, thing, taken_back)
            is_ordered = any(self._has_ordered(by, thing) for by in last)
            if one.by.id in last and not is_ordered and is_in_force(bench, one.kept):
                yield one

    def _has_ordered(self, by: str, thing: Thing) -> bool:
        """Whether a decision that stands has itself ordered how this is: then it stays so, also
        where that came of a taking back.
        """
        decision = self.standing.get(by)
        return decision is not None and any(
            about(kept, decision.heat_id) == thing
            for kept in decision.carried_out
            if "order" in kept or not kept.get("takes_back")
        )


def replaced_in_round(bench: Bench) -> Replaced:
    """The same of the round at hand; what is about another heat of it is left out."""
    known = decisions_in_round(bench.conn, HeatId(bench.heat.id))
    return Replaced(
        [
            one
            for decision in known
            if decision.replaced_by is not None and decision.instance == Instance.JURY.value
            for one in made_by(decision)
            if _is_of_heat(bench, one)
        ],
        {one.id: one for one in known if one.replaced_by is None},
    )


def _is_of_heat(bench: Bench, one: Made) -> bool:
    return one.by.heat_id == bench.heat.id or one.kept["did"] not in OF_A_HEAT
