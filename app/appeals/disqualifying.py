"""Orders about disqualifications: set aside, restore, disqualify.

What the jury has decided or let stand is not undone by the referee (World Athletics TR8.11).
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection

from app.appeals.bench import (
    Bench,
    Kept,
    Understood,
    insist_jury_has_not_cleared,
    insist_jury_let_not_stand,
    insist_not_the_jurys,
)
from app.appeals.orders import (
    DisqualifyIn,
)
from app.ids import DecisionId, DisqualificationId, TeamId, new_id
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.rules.orders import (
    Disqualify,
    SetAside,
)
from app.rules.qualifying import Disqualified
from app.rulings.decided import disqualification_in, disqualify, restore, set_aside
from app.rulings.final_word import Matter
from app.store.action import Unit


def _one(conn: Connection, bench: Bench, ident: DisqualificationId) -> tuple[Any, str, str]:
    row = disqualification_in(conn, bench.meet_id, bench.heat.id, ident)
    return row, bench.name(row.team_id), f"DQ {row.rule}"


def setting_aside(bench: Bench, ident: DisqualificationId) -> Understood:
    """A disqualification no longer counts."""
    row, name, what = _one(bench.conn, bench, ident)
    insist_not_the_jurys(bench, row.by_decision)
    insist_jury_let_not_stand(bench, row.by_ruling)

    def act(unit: Unit, decision: DecisionId) -> Kept:
        set_aside(
            unit, disqualification_in(unit.conn, unit.meet_id, bench.heat.id, ident), decision
        )
        return {"did": "set aside", "disqualification": ident}

    effect = SetAside(bench.heat.id, Disqualified(row.team_id, ident))
    return Understood((effect,), f"The disqualification of {name} ({what}) is set aside.", act)


def restoring(bench: Bench, ident: DisqualificationId) -> Understood:
    """A disqualification that was set aside counts again."""
    row, name, what = _one(bench.conn, bench, ident)
    insist_not_the_jurys(bench, row.set_aside_by)
    matter = Matter(
        TeamId(row.team_id),
        Infringement(row.infringement),
        {row.take_over},
        bench.heat.present_run,
    )
    insist_jury_has_not_cleared(bench, matter)

    def act(unit: Unit, decision: DecisionId) -> Kept:
        restore(unit, disqualification_in(unit.conn, unit.meet_id, bench.heat.id, ident), decision)
        return {"did": "restored", "disqualification": ident}

    effect = Disqualify(bench.heat.id, Disqualified(row.team_id, ident), again=True)
    return Understood((effect,), f"The disqualification of {name} ({what}) counts again.", act)


def disqualifying(bench: Bench, order: DisqualifyIn, field: str) -> Understood:
    """A team of the heat is disqualified, by the edition's rule."""
    name = bench.team(order.team, f"{field}/team")
    rule, ident = bench.meet.book.reference(order.infringement), DisqualificationId(new_id())
    matter = Matter(
        TeamId(order.team), order.infringement, {order.take_over}, bench.heat.present_run
    )
    insist_jury_has_not_cleared(bench, matter)

    def act(unit: Unit, decision: DecisionId) -> Kept:
        team = TeamId(order.team)
        disqualify(
            unit, bench.heat, ident, team, order.infringement, rule, order.take_over, decision
        )
        return {"did": "restored", "disqualification": ident}

    effect = Disqualify(bench.heat.id, Disqualified(order.team, ident))
    why = title_of(order.infringement).lower()
    return Understood((effect,), f"{name} is disqualified (DQ {rule}: {why}).", act)
