"""How a decision is made, the referee's as the jury's.

1. Its orders are understood, and what they move is worked out, before anything is changed.
2. They are carried out, each named by the decision.
3. What was ordered, what it moves and the paper's facts are signed and kept with the decision.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, insert, update

from app.access.pen import Pen
from app.access.queries import Caller
from app.appeals.bench import Bench, Understood, bench_for
from app.appeals.carrying import shown_for
from app.appeals.decision_papers import decided_paper, paper_digest
from app.appeals.decision_queries import next_decision, standing_decision, untold_orders
from app.appeals.hearing_again import shown_again
from app.appeals.left_as_decided import insist_left_by_jury, insist_left_by_referee
from app.appeals.ordered import Ordered
from app.appeals.orders import OrderIn
from app.appeals.queries import appeal_row, protest_row
from app.appeals.states import ProtestState
from app.appeals.tables import decisions, protests
from app.appeals.wire import Instance, OrdersIn
from app.clock import rfc3339
from app.ids import (
    AppealId,
    HeatId,
    MeetId,
    ProtestId,
)
from app.meets.queries import MeetFacts, meet_facts
from app.record.canonical import digest_of
from app.refusals import Stale
from app.rounds.wire import ConsequencesOut
from app.store.action import Unit
from app.store.rows import AnyRow


def shown_on_protest(
    bench: Bench, sent: Sequence[OrderIn]
) -> tuple[list[Understood], ConsequencesOut]:
    """What the referee's decision orders, understood, and what it would move; StateConflict where
    that would take away what the jury has found done already.
    """
    understood, shown = shown_for(bench, sent)
    insist_left_by_referee(bench, understood)
    return understood, shown


def shown_on_appeal(
    bench: Bench, row: AnyRow, sent: Sequence[OrderIn], *, is_done: bool
) -> tuple[list[Understood], ConsequencesOut]:
    """What a decision on an appeal orders, understood, and what it would move; `is_done` where it
    says that all has been done already.
    """
    earlier = standing_decision(bench.conn, bench.meet_id, AppealId(row.id))
    if earlier is None or earlier.sitting == row.sitting:
        understood, shown = shown_for(bench, sent)
        insist_left_by_jury(bench, understood, row.number)
        return understood, shown
    return shown_again(bench, earlier, sent, is_done=is_done)


def look_at_protest(
    conn: Connection, meet_id: MeetId, protest_id: ProtestId, sent: OrdersIn
) -> ConsequencesOut:
    """What orders would move, before the referee signs."""
    heat_id = HeatId(protest_row(conn, meet_id, protest_id).heat_id)
    bench = bench_for(conn, meet_facts(conn, meet_id), heat_id, Instance.REFEREE)
    return shown_on_protest(bench, sent.orders)[1]


def look_at_appeal(
    conn: Connection, meet_id: MeetId, appeal_id: AppealId, sent: OrdersIn
) -> ConsequencesOut:
    """What orders would move, before the jury signs."""
    row = appeal_row(conn, meet_id, appeal_id)
    bench = bench_for(conn, meet_facts(conn, meet_id), HeatId(row.heat_id), Instance.JURY)
    return shown_on_appeal(bench, row, sent.orders, is_done=bool(sent.done_already))[1]


def is_same(known: AnyRow, caller: Caller, content: Mapping[str, Any]) -> bool:
    """Whether this very decision was sent before, by the same official."""
    return bool(known.official_id == caller.official_id and known.content == content)


def insist_first(known: AnyRow | None, *, is_seen: bool, what: str, way_out: str) -> None:
    """Stale for whoever comes second, who gets the first one's decision shown."""
    if known is None and not is_seen:
        raise Stale(f"Something about {what} was changed meanwhile. Read it again, then decide.")
    if known is not None:
        raise Stale(
            f"{known.official_name} has decided {what} meanwhile: {known.verdict}. {way_out}",
            decision=known.id,
            verdict=known.verdict,
            decided_by=known.official_name,
            reasons=known.reasons,
        )


def put_decision(
    unit: Unit,
    meet: MeetFacts,
    bench: Bench,
    decided: Ordered,
    pen: Pen,
    content: Mapping[str, Any],
) -> dict[str, Any]:
    """Carry a decision out, sign and store it; returns what the record keeps."""
    carried_out = [
        {**one.carry_out(unit, decided.id), **one.noted, "words": one.words}
        for one in decided.understood
    ]
    paper = decided_paper(unit, meet, bench, decided, pen.caller.official_id)
    said = {**_said(meet, decided, paper), "run": bench.heat.present_run}
    signed = pen.sign(unit, "decision", decided.id, said)
    unit.conn.execute(
        insert(decisions).values(
            id=decided.id,
            meet_id=unit.meet_id,
            seq=next_decision(unit.conn, unit.meet_id),
            heat_id=decided.protest.heat_id,
            protest_id=decided.protest.id,
            appeal_id=decided.appeal.id if decided.appeal is not None else None,
            sitting=decided.appeal.sitting if decided.appeal is not None else 1,
            instance=decided.instance.value,
            verdict=decided.verdict.value,
            reasons=decided.reasons,
            heard_because=decided.heard_because,
            orders=signed.statement["orders"],
            carried_out=carried_out,
            moves=decided.shown.model_dump(mode="json"),
            official_id=pen.caller.official_id,
            decided_at=unit.now,
            advised_at=decided.advised_at,
            edition=meet.book.key,
            statement=signed.statement,
            statement_digest=signed.sha256,
            form_facts=paper,
            is_news=int(_is_news(unit.conn, bench, carried_out)),
            content=dict(content),
        )
    )
    return {
        **signed.body,
        "decision": decided.id,
        "facts_sha256": digest_of(paper),
        "advised_at": rfc3339(decided.advised_at) if decided.advised_at else None,
    }


def _is_news(conn: Connection, bench: Bench, carried_out: Sequence[Mapping[str, Any]]) -> bool:
    """Whether there is anything to announce: not where a decision after reopening keeps all that
    was ordered, as it was announced before.
    """
    keeps_all = bool(carried_out) and all(one.get("is_kept") for one in carried_out)
    return not keeps_all or bool(untold_orders(conn, [HeatId(bench.heat.id)]))


def _said(meet: MeetFacts, decided: Ordered, paper: Mapping[str, Any]) -> dict[str, Any]:
    """What is signed: all that the decision says, rests on and was shown to move. Neither when it
    is stored nor under which id, which nobody can be shown before; the advice as it was given.
    """
    return {
        "advised_at": rfc3339(decided.advised_as) if decided.advised_as else None,
        "appeal": decided.appeal.id if decided.appeal is not None else None,
        "done_already": decided.done_already,
        "edition": meet.book.key,
        "form_sha256": paper_digest(paper),
        "heard_because": decided.heard_because,
        "heat": decided.protest.heat_id,
        "instance": decided.instance.value,
        "moves": [move.sentence for move in decided.shown.moves],
        "ordered": decided.words,
        "orders": [order.model_dump(mode="json") for order in decided.sent],
        "protest": decided.protest.id,
        "reasons": decided.reasons,
        "sitting": decided.appeal.sitting if decided.appeal is not None else None,
        "verdict": decided.verdict.value,
        **decided.more,
    }


def move_protest(unit: Unit, protest: AnyRow, state: ProtestState, **more: Any) -> None:
    """Store a protest's new state; somebody else may have been first."""
    claimed = unit.conn.execute(
        update(protests)
        .where(protests.c.id == protest.id, protests.c.version == protest.version)
        .values(state=state.value, version=protest.version + 1, **more)
    )
    if claimed.rowcount != 1:
        raise Stale("This protest was changed meanwhile. Read it again.")
