"""Protests, appeals and decisions put into the store as they are kept there.

For what follows from them on results, whoever took them in. All words are invented for the tests.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Table, func, insert, select, update

from app.appeals.tables import appeals, decisions, protests
from app.ids import MeetId, new_id
from app.store.action import Actor, Done, Unit
from tests.builders import MeetAtHand

SET_ASIDE = {"did": "set aside", "words": "The disqualification is set aside."}
"""An order as it is kept with the decision that carried it out."""
ADVANCED = {"did": "advanced", "words": "Tern goes on to the final (qR)."}


def a_protest(hand: MeetAtHand, heat: int = 0, **changes: Any) -> str:
    """A protest that awaits the referee, of the team in the heat's first lane."""
    now = hand.service.clock.now()
    row = {
        "heat_id": hand.heat(heat),
        "team_id": hand.heats[heat]["lanes"][0]["team"],
        "about": "placing",
        "ground": "protest",
        "lodged_by": "Mira Anchor",
        "capacity": "team representative",
        "lodged_at": now,
        "entered_at": now,
        "official_id": hand.desk.id,
        "words": "We were third.",
        "state": "lodged",
        "content": {},
        "version": 1,
    }
    return _put(hand, protests, row | _counted(hand, protests), changes)


def an_appeal(hand: MeetAtHand, protest: str, heat: int = 0, **changes: Any) -> str:
    """An appeal that awaits the jury."""
    now = hand.service.clock.now()
    row = {
        "heat_id": hand.heat(heat),
        "protest_id": protest,
        "team_id": hand.heats[heat]["lanes"][0]["team"],
        "is_referred": 0,
        "lodged_by": "Mira Anchor",
        "lodged_at": now,
        "entered_at": now,
        "official_id": hand.desk.id,
        "words": "We were third.",
        "sought": {},
        "sitting": 1,
        "state": "lodged",
        "content": {},
        "version": 1,
    }
    return _put(hand, appeals, row | _counted(hand, appeals), changes)


def a_decision(hand: MeetAtHand, protest: str, heat: int = 0, **changes: Any) -> str:
    """A decision of the referee that rejects the protest; nobody was told yet."""
    row = {
        "heat_id": hand.heat(heat),
        "protest_id": protest,
        "sitting": 1,
        "instance": "referee",
        "verdict": "rejected",
        "reasons": "The photo finish is clear.",
        "orders": [],
        "carried_out": [],
        "moves": {},
        "official_id": hand.referee.id,
        "decided_at": hand.service.clock.now(),
        "edition": "world-athletics-2025",
        "statement": {},
        "statement_digest": "0" * 64,
        "form_facts": {},
        "content": {},
    }
    return _put(hand, decisions, row | _counted(hand, decisions, "seq"), changes)


def change(hand: MeetAtHand, table: Table, ident: str, **values: Any) -> None:
    """Store something else of a protest, an appeal or a decision."""

    def act(unit: Unit) -> Done[None]:
        unit.conn.execute(update(table).where(table.c.id == ident).values(**values))
        return Done(None, None)

    hand.service.store.act_now(MeetId(hand.id), Actor("test"), act)


def withdrawn_at(at: datetime) -> dict[str, Any]:
    """What is stored of a withdrawal."""
    return {"at": at.isoformat(), "reason": "It was another team."}


def _counted(hand: MeetAtHand, table: Table, key: str = "number") -> dict[str, int]:
    count = select(func.count()).select_from(table).where(table.c.meet_id == hand.id)
    return {key: 1 + hand.service.store.read_now(lambda conn: conn.execute(count).scalar_one())}


def _put(hand: MeetAtHand, table: Table, row: dict[str, Any], changes: dict[str, Any]) -> str:
    ident = new_id()

    def act(unit: Unit) -> Done[None]:
        values = row | changes | {"id": ident, "meet_id": hand.id}
        unit.conn.execute(insert(table).values(**values))
        return Done(None, None)

    hand.service.store.act_now(MeetId(hand.id), Actor("test"), act)
    return ident
