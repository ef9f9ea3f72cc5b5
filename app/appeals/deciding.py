"""Deciding: the referee on a protest, the jury on an appeal.

1. Whoever was first has decided; a second gets that decision shown.
2. The orders are understood, and what they move is worked out, before anything is changed.
3. They are carried out, each named by the decision.
4. What was ordered, what it moved, and the paper's facts are kept and signed with the decision.
5. The next window opens: by the amended announcement where something changed, else by the advice
   given (World Athletics TR8.7). Against the jury there is none (TR8.11).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, update

from app.access.queries import Caller
from app.access.signing import insist_may_sign, statement_digest
from app.appeals.carrying import Bench, Understood, bench_for, understand
from app.appeals.lodging import store_appeal
from app.appeals.orders import OrderIn
from app.appeals.papers import Decided, decided_paper
from app.appeals.queries import (
    protest_out,
    protest_row,
    referees_decision,
)
from app.appeals.states import PROTEST_TABLE, AppealState, ProtestAct, ProtestState
from app.appeals.tables import appeals, decisions, protests
from app.appeals.wire import (
    AdviceIn,
    Instance,
    OrdersIn,
    ProtestOut,
    RefereeDecisionIn,
    Verdict,
    WithdrawIn,
)
from app.clock import rfc3339
from app.ids import (
    AppealId,
    CaseId,
    DecisionId,
    HeatId,
    MeetId,
    ProtestId,
    RulingId,
    new_id,
)
from app.meets.queries import MeetFacts, meet_facts
from app.record.kinds import Kind
from app.refusals import Malformed, NeedsWord, OwnReport, Stale, StateConflict
from app.results.opening import open_windows
from app.results.queries import last_announcement
from app.rounds.consequences import consequences
from app.rounds.wire import ConsequencesOut
from app.rules.windows import WindowOpener
from app.rulings.queries import authors_in, ruling_out
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow

ACTS = {
    Verdict.UPHELD: ProtestAct.UPHOLD,
    Verdict.REJECTED: ProtestAct.REJECT,
    Verdict.REFERRED: ProtestAct.REFER,
}


@dataclass(frozen=True, slots=True)
class Ordered:
    """A decision in the making: who decides what, on which protest, with which orders."""

    id: DecisionId
    instance: Instance
    verdict: Verdict
    reasons: str
    heard_because: str | None
    sent: Sequence[OrderIn]
    protest: AnyRow
    appeal: AnyRow | None
    understood: Sequence[Understood]
    shown: ConsequencesOut
    advised_at: datetime | None
    more: Mapping[str, Any]

    @property
    def words(self) -> list[str]:
        return [one.words for one in self.understood]


def shown_for(bench: Bench, orders: Sequence[OrderIn]) -> tuple[list[Understood], ConsequencesOut]:
    """Orders understood, and what they would move."""
    understood = understand(bench, orders)
    effects = [effect for one in understood for effect in one.effect]
    return understood, consequences(bench.at_hand, effects)


def look_at(
    conn: Any, meet_id: MeetId, heat_id: HeatId, sent: OrdersIn, instance: Instance
) -> ConsequencesOut:
    """What orders would move, before anything is signed."""
    bench = bench_for(conn, meet_facts(conn, meet_id), heat_id, instance)
    return shown_for(bench, sent.orders)[1]


def decide_protest(
    protest_id: ProtestId, sent: RefereeDecisionIn, caller: Caller, version: int
) -> Action[Put[ProtestOut]]:
    """The referee's decision. The PIN was confirmed before, on the same request."""

    def act(unit: Unit) -> Done[Put[ProtestOut]]:
        content = sent.model_dump(mode="json", exclude={"pin"})
        protest = protest_row(unit.conn, unit.meet_id, protest_id)
        known = referees_decision(unit.conn, unit.meet_id, protest_id)
        if known is not None and _is_same(known, caller, content):
            return Done(Put(protest_out(unit.conn, unit.meet_id, protest_id), created=False), None)
        insist_may_sign(unit, caller)
        _insist_version(protest, known, version)
        step = PROTEST_TABLE.step(ProtestState(protest.state), ACTS[sent.verdict])
        _insist_second_person(unit, protest, caller)
        _insist_may_be_heard(unit, protest, sent)
        meet = meet_facts(unit.conn, unit.meet_id)
        bench = bench_for(unit.conn, meet, HeatId(protest.heat_id), Instance.REFEREE)
        understood, shown = shown_for(bench, sent.orders)
        decided = Ordered(
            id=DecisionId(new_id()),
            instance=Instance.REFEREE,
            verdict=sent.verdict,
            reasons=sent.reasons,
            heard_because=sent.heard_because,
            sent=sent.orders,
            protest=protest,
            appeal=None,
            understood=understood,
            shown=shown,
            advised_at=_advised_at(unit, sent.advised_at, unit.now),
            more={},
        )
        body = put_decision(unit, meet, bench, decided, caller, content)
        move_protest(unit, protest, step.becomes)
        if sent.verdict is Verdict.REFERRED:
            body = {**body, "appeal": _refer(unit, protest, caller, decided)}
        if decided.advised_at is not None:
            _open_by_advice(unit, meet, protest, decided.id, decided.advised_at)
        out = protest_out(unit.conn, unit.meet_id, protest_id)
        return Done(Put(out, created=True), Deed(Kind.PROTEST_DECIDED, protest_id, body))

    return act


def _is_same(known: AnyRow, caller: Caller, content: Mapping[str, Any]) -> bool:
    return bool(known.official_id == caller.official_id and known.content == content)


def _insist_version(protest: AnyRow, known: AnyRow | None, version: int) -> None:
    if version == protest.version and known is None:
        return
    if known is None:
        raise Stale("This protest was changed meanwhile. Read it again, then decide.")
    raise Stale(
        f"{known.official_name} has decided protest {protest.number} meanwhile: {known.verdict}. "
        "Read it again; whoever disagrees can appeal to the jury.",
        decision=known.id,
        verdict=known.verdict,
        decided_by=known.official_name,
        reasons=known.reasons,
    )


def _insist_second_person(unit: Unit, protest: AnyRow, caller: Caller) -> None:
    """Nobody decides on their own report; a referee may decide on a protest against their ruling
    (World Athletics TR8.3), from which the appeal to the jury lies.
    """
    if protest.ruling_id is None:
        return
    ruling = ruling_out(unit.conn, unit.meet_id, RulingId(protest.ruling_id))
    if caller.official_id in authors_in(unit.conn, CaseId(ruling.case)):
        raise OwnReport(
            "You wrote a report in the case that this protest is about, so another referee decides "
            "it, or it is referred to the jury by another referee."
        )


def _insist_may_be_heard(unit: Unit, protest: AnyRow, sent: RefereeDecisionIn) -> None:
    """Late or from outside: it can be rejected for that; to hear it needs a reason."""
    out = protest_out(unit.conn, unit.meet_id, ProtestId(protest.id))
    if not out.marks and sent.heard_because is not None:
        raise Malformed(
            "This protest is in time and from the round: leave “heard_because” out.",
            field="/heard_because",
        )
    if out.marks and sent.verdict is not Verdict.REJECTED and sent.heard_because is None:
        marks = " and ".join(out.marks)
        raise NeedsWord(
            f"This protest is marked {marks} ({out.timeliness.words}). To hear it all the same, "
            "say why in “heard_because”; or reject it for that.",
            field="/heard_because",
            marks=list(out.marks),
        )


def _advised_at(unit: Unit, given: datetime | None, earliest: datetime) -> datetime | None:
    """The protesters are told after the decision, at the earliest at the same instant."""
    if given is not None and given > unit.now:
        raise Malformed("This advice lies in the future.", field="/advised_at")
    if given is not None and given < earliest:
        # A referee who tells them first and signs a minute later: the time runs from the signing,
        # so that nobody loses any of it.
        return earliest
    return given


def put_decision(
    unit: Unit,
    meet: MeetFacts,
    bench: Bench,
    decided: Ordered,
    caller: Caller,
    content: Mapping[str, Any],
) -> dict[str, Any]:
    """Carry a decision out, sign and store it; returns what the record keeps."""
    carried_out = [
        {**one.carry_out(unit, decided.id), "words": one.words} for one in decided.understood
    ]
    paper = decided_paper(unit, meet, bench, _as_decided(unit, decided, caller))
    statement = _statement(unit, meet, decided, paper)
    digest = statement_digest(statement)
    unit.conn.execute(
        insert(decisions).values(
            id=decided.id,
            meet_id=unit.meet_id,
            heat_id=decided.protest.heat_id,
            protest_id=decided.protest.id,
            appeal_id=decided.appeal.id if decided.appeal is not None else None,
            sitting=decided.appeal.sitting if decided.appeal is not None else 1,
            instance=decided.instance.value,
            verdict=decided.verdict.value,
            reasons=decided.reasons,
            heard_because=decided.heard_because,
            orders=statement["orders"],
            carried_out=carried_out,
            moves=decided.shown.model_dump(mode="json"),
            official_id=caller.official_id,
            decided_at=unit.now,
            advised_at=decided.advised_at,
            edition=meet.book.key,
            statement=statement,
            statement_digest=digest,
            form_facts=paper,
            content=dict(content),
        )
    )
    return {**statement, "statement_sha256": digest}


def _as_decided(unit: Unit, decided: Ordered, caller: Caller) -> Decided:
    return Decided(
        instance=decided.instance,
        verdict=decided.verdict,
        reasons=decided.reasons,
        heard_because=decided.heard_because,
        orders=decided.words,
        shown=decided.shown,
        by=caller.official_id,
        at=unit.now,
        advised_at=decided.advised_at,
        protest=decided.protest,
        appeal=decided.appeal,
        more=decided.more,
    )


def _statement(
    unit: Unit, meet: MeetFacts, decided: Ordered, paper: Mapping[str, Any]
) -> dict[str, Any]:
    """What is signed: all that the decision says, rests on and was shown to move."""
    return {
        "act": "decision",
        "advised_at": rfc3339(decided.advised_at) if decided.advised_at else None,
        "appeal": decided.appeal.id if decided.appeal is not None else None,
        "decided_at": rfc3339(unit.now),
        "decision": decided.id,
        "edition": meet.book.key,
        "form_sha256": statement_digest(paper),
        "heard_because": decided.heard_because,
        "heat": decided.protest.heat_id,
        "instance": decided.instance.value,
        "meet": unit.meet_id,
        "moves": [move.sentence for move in decided.shown.moves],
        "official": unit.actor.id,
        "ordered": decided.words,
        "orders": [order.model_dump(mode="json") for order in decided.sent],
        "protest": decided.protest.id,
        "reasons": decided.reasons,
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


def _refer(unit: Unit, protest: AnyRow, caller: Caller, decided: Ordered) -> AppealId:
    """What the referee passes on lies before the jury like an appeal, without a deposit."""
    appeal_id = AppealId(new_id())
    row = {
        "heat_id": protest.heat_id,
        "protest_id": protest.id,
        "team_id": protest.team_id,
        "is_referred": 1,
        "lodged_by": protest.lodged_by,
        "lodged_at": unit.now,
        "words": protest.words,
        "sought": [],
    }
    store_appeal(unit, appeal_id, caller, row, {"referred": decided.id})
    return appeal_id


def _open_by_advice(
    unit: Unit, meet: MeetFacts, protest: AnyRow, decision: DecisionId, at: datetime
) -> None:
    announced = last_announcement(unit.conn, HeatId(protest.heat_id))
    if announced is None:
        return  # nothing was announced that an appeal could be about: its announcement opens one
    open_windows(
        unit,
        meet,
        WindowOpener.ADVICE,
        at,
        heat_id=HeatId(protest.heat_id),
        announcement_id=announced.id,
        opened_by=f"advice on protest {protest.number}",
        decision_id=decision,
        team_id=protest.team_id,
    )


def give_advice(protest_id: ProtestId, sent: AdviceIn) -> Action[ProtestOut]:
    """The protesters were told: the time for an appeal runs from it. Once, and then it stands."""

    def act(unit: Unit) -> Done[ProtestOut]:
        protest = protest_row(unit.conn, unit.meet_id, protest_id)
        known = referees_decision(unit.conn, unit.meet_id, protest_id)
        if known is None or known.verdict != Verdict.REJECTED:
            raise StateConflict(
                "Only where the referee has rejected a protest does the time for an appeal run "
                "from the advice; where something was amended, it runs from the announcement."
            )
        if known.advised_at is not None:
            if sent.advised_at in {None, known.advised_at}:
                return Done(protest_out(unit.conn, unit.meet_id, protest_id), None)
            raise StateConflict(
                f"The advice was given at {rfc3339(known.advised_at)} already; its time stands."
            )
        at = _advised_at(unit, sent.advised_at or unit.now, known.decided_at)
        assert at is not None
        unit.conn.execute(update(decisions).where(decisions.c.id == known.id).values(advised_at=at))
        meet = meet_facts(unit.conn, unit.meet_id)
        _open_by_advice(unit, meet, protest, DecisionId(known.id), at)
        move_protest(unit, protest, ProtestState(protest.state))
        out = protest_out(unit.conn, unit.meet_id, protest_id)
        body = {"decision": known.id, "advised_at": rfc3339(at)}
        return Done(out, Deed(Kind.ADVICE_GIVEN, protest_id, body))

    return act


def withdraw_protest(protest_id: ProtestId, sent: WithdrawIn, version: int) -> Action[ProtestOut]:
    """The team takes its protest back, before it is decided."""

    def act(unit: Unit) -> Done[ProtestOut]:
        protest = protest_row(unit.conn, unit.meet_id, protest_id)
        step = PROTEST_TABLE.step(ProtestState(protest.state), ProtestAct.WITHDRAW)
        if version != protest.version:
            raise Stale("This protest was changed meanwhile. Read it again.")
        withdrawn = {"by": sent.by, "reason": sent.reason, "at": rfc3339(unit.now)}
        move_protest(unit, protest, step.becomes, withdrawn=withdrawn)
        if ProtestState(protest.state) is ProtestState.REFERRED:
            unit.conn.execute(
                update(appeals)
                .where(appeals.c.protest_id == protest_id, appeals.c.is_referred == 1)
                .values(
                    state=AppealState.WITHDRAWN.value,
                    withdrawn=withdrawn,
                    version=appeals.c.version + 1,
                )
            )
        out = protest_out(unit.conn, unit.meet_id, protest_id)
        return Done(out, Deed(Kind.PROTEST_WITHDRAWN, protest_id, withdrawn))

    return act
