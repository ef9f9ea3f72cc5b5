"""About what was something ordered, and which decisions still stand in what is so about it?

As a rule the last one alone: what a decision before it had ordered about the same thing was taken
back since, or ordered anew, so that undoing that one would undo what it never did. Where the last
one only undid another, what stood before that one stands again, and so does whose it was.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection

from app.appeals.decision_queries import decisions_in_round
from app.ids import DecisionId, HeatId
from app.store.rows import AnyRow

Thing = tuple[object, ...]


def that_it_goes_on(team: str) -> Thing:
    """That a team goes on by a decision."""
    return ("going on", team)


def its_lane(team: str) -> Thing:
    """A team's lane of the next round."""
    return ("lane", team)


def the_re_run(run_heat: str) -> Thing:
    """A re-run of some teams, by its own heat."""
    return ("re-run", run_heat)


def the_race(heat: str, run: int | None) -> Thing:
    """Whether a run of a whole heat counts. None is of no run: before, it was not always kept."""
    return ("race", heat, run)


def about(kept: Mapping[str, Any], heat: str) -> Thing:
    """What was carried out by a decision on this heat is about this."""
    match kept["did"]:
        case "set aside" | "restored":
            return ("disqualification", kept["disqualification"])
        case "corrected":
            return ("line", heat, kept["becomes"]["team"])
        case "advanced" | "recalled":
            return that_it_goes_on(kept["team"])
        case "lane given" | "lane taken":
            return its_lane(kept["team"])
        case "run again" | "called off" | "held after all":
            return the_re_run(kept["heat"])
        case "whole heat again" | "given back":
            return the_race(heat, kept.get("run"))
        case other:
            raise AssertionError(other)


def decided_last(conn: Connection, heat: HeatId, thing: Thing) -> DecisionId | None:
    """The decision that was the last about something in a heat's round, None where none was."""
    found = [
        decision.id
        for decision in decisions_in_round(conn, heat)
        if any(about(kept, decision.heat_id) == thing for kept in decision.carried_out)
    ]
    return DecisionId(found[-1]) if found else None


def overtaken_by(conn: Connection, heat: HeatId, decision: AnyRow, kept: Mapping[str, Any]) -> str:
    """The later decision that stands about the same as what this one carried out, in words; empty
    where this one still stands in it.
    """
    thing = about(kept, decision.heat_id)
    if decision.id in standing_in(conn, heat, thing):
        return ""
    return [_whose(one) for one in decisions_in_round(conn, heat) if changes(one, thing)][-1]


def changes(decision: AnyRow, thing: Thing) -> bool:
    """Whether a decision did something about this, and not only ordered again what was so."""
    acts = [kept for kept in decision.carried_out if about(kept, decision.heat_id) == thing]
    return any(not kept.get("is_kept") for kept in acts)


def _whose(decision: AnyRow) -> str:
    number = decision.appeal_number
    what = f"protest {decision.protest_number}" if number is None else f"appeal {number}"
    return f"the decision of the {decision.instance} on {what}"


def standing_in(
    conn: Connection, heat: HeatId, thing: Thing, taken_back: Collection[str] = ()
) -> frozenset[str]:
    """The decisions in a heat's round that can be undone as far as they are about something; once
    what some did is `taken_back`, where that is given.
    """
    return standing_among(decisions_in_round(conn, heat), thing, taken_back)


def standing_among(
    known: Sequence[AnyRow], thing: Thing, taken_back: Collection[str] = ()
) -> frozenset[str]:
    """The same of all decisions in a round, in their order."""
    now: frozenset[str] = frozenset()
    before: dict[str, frozenset[str]] = {}
    for decision in known:
        acts = [kept for kept in decision.carried_out if about(kept, decision.heat_id) == thing]
        if not acts:
            continue
        before[decision.id] = now
        if all(kept.get("is_kept") for kept in acts):
            now |= {decision.id}  # ordered again the same: nothing has changed
            continue
        undone = _undone_by(decision, known)
        stood = _stood_before(undone & now, before)
        now = frozenset({decision.id}) | _without(stood, undone, before)
    return _without(now, taken_back, before)


def _stood_before(undone: Iterable[str], before: Mapping[str, frozenset[str]]) -> frozenset[str]:
    return frozenset().union(*(before[one] for one in undone))


def _without(
    standing: frozenset[str], undone: Collection[str], before: Mapping[str, frozenset[str]]
) -> frozenset[str]:
    """What stands once these are undone as well; what stood before one of them stands again."""
    while here := standing.intersection(undone):
        standing = (standing - here) | _stood_before(here, before)
    return standing


def _undone_by(decision: AnyRow, known: Iterable[AnyRow]) -> set[str]:
    """The decisions that this one undoes: as it was ordered, since it replaces them, or since what
    they had ordered stood for the one that it replaces.
    """
    ordered = {order["decision"] for order in decision.orders if order["order"] == "undo"}
    left = {kept["left_by"] for kept in decision.carried_out if "left_by" in kept}
    return ordered | left | {one.id for one in known if one.replaced_by == decision.id}
