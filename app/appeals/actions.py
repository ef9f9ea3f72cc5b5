"""What is done about protests: the referee decides, the protesters are told, or take it back.

Whoever is first decides; a second gets that decision shown, save where a protest that was rejected
as late is in time after all (`once_more.py`). The next window opens by the amended
announcement where something changed, else by the advice given (World Athletics TR8.7).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy import update

from app.access.pen import Pen
from app.access.queries import Caller
from app.appeals.bench import Bench, bench_for
from app.appeals.deciding import (
    insist_first,
    is_same,
    move_protest,
    put_decision,
    shown_on_protest,
)
from app.appeals.decision_queries import referees_decision, referees_decisions
from app.appeals.in_round import cases_about
from app.appeals.lodging import store_appeal
from app.appeals.once_more import may_be_decided_again, replace_decision
from app.appeals.ordered import Ordered
from app.appeals.queries import appeals_on, protest_out, protest_row
from app.appeals.showing import protest_shown
from app.appeals.states import PROTEST_TABLE, AppealState, ProtestAct, ProtestState
from app.appeals.tables import appeals, decisions
from app.appeals.wire import AdviceIn, Instance, ProtestOut, RefereeDecisionIn, Verdict, WithdrawIn
from app.clock import in_zone, rfc3339
from app.ids import (
    AppealId,
    DecisionId,
    HeatId,
    ProtestId,
    new_id,
)
from app.meets.queries import MeetFacts, meet_facts
from app.record.kinds import Kind
from app.refusals import Malformed, NeedsWord, OwnReport, Stale, StateConflict
from app.results.correction_wire import Mistyped
from app.results.corrections import said_before
from app.results.opening import open_windows
from app.results.queries import last_announcement
from app.results.remeasuring import insist_not_on_panel
from app.rules.windows import WindowOpener
from app.rulings.queries import authors_in
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow

JUST_BEFORE = timedelta(minutes=2)
TELL_LATER = "Look at the time; or leave it out, and say when they were told once they are."

ACTS = {
    Verdict.UPHELD: ProtestAct.UPHOLD,
    Verdict.REJECTED: ProtestAct.REJECT,
    Verdict.REFERRED: ProtestAct.REFER,
}


def decide_protest(
    protest_id: ProtestId, sent: RefereeDecisionIn, pen: Pen, version: int
) -> Action[Put[ProtestOut]]:
    """The referee's decision, signed with this pen."""
    caller = pen.caller

    def act(unit: Unit) -> Done[Put[ProtestOut]]:
        content = sent.content()
        seen = _protest_now(unit, protest_id)
        is_seen = version == seen.row.version
        # The same words once more are a decision of their own where the protest as it is now was
        # read: sent again by a device, they name it as it was.
        is_new = (seen.again and is_seen) or not any(
            is_same(one, caller, content) for one in seen.made
        )
        if is_new:
            pen.insist_may_sign(unit)
            insist_first(
                None if seen.again else seen.last,
                is_seen=is_seen,
                what=f"protest {seen.row.number}",
                way_out="Whoever disagrees can appeal to the jury.",
            )
        deed = _decide(unit, seen, sent, pen, content) if is_new else None
        out = protest_shown(unit.conn, unit.meet_id, protest_id, unit.now)
        return Done(Put(out, created=is_new), deed)

    return act


class _Seen(NamedTuple):
    """A protest before it is decided, what was decided on it, and whether it is decided `again`."""

    row: AnyRow
    out: ProtestOut
    made: Sequence[AnyRow]
    again: bool

    @property
    def last(self) -> AnyRow | None:
        return self.made[-1] if self.made else None


def _protest_now(unit: Unit, protest_id: ProtestId) -> _Seen:
    row = protest_row(unit.conn, unit.meet_id, protest_id)
    out = protest_out(unit.conn, unit.meet_id, protest_id)
    made = referees_decisions(unit.conn, unit.meet_id, protest_id)
    last = made[-1] if made else None
    return _Seen(row, out, made, may_be_decided_again(unit.conn, row, last, out.timeliness))


def _decide(
    unit: Unit,
    seen: _Seen,
    sent: RefereeDecisionIn,
    pen: Pen,
    content: Mapping[str, Any],
) -> Deed:
    protest, is_passed_on, caller = seen.row, sent.verdict is Verdict.REFERRED, pen.caller
    step = PROTEST_TABLE.step(ProtestState(protest.state), ACTS[sent.verdict])
    if not is_passed_on:
        _insist_second_person(unit, protest, caller)
    _insist_may_be_heard(seen.out, sent)
    meet = meet_facts(unit.conn, unit.meet_id)
    bench = bench_for(unit.conn, meet, HeatId(protest.heat_id), Instance.REFEREE)
    decided = _ordered(unit, bench, seen, sent)
    if sent.orders:
        _insist_second_person(unit, protest, caller, [one.team for one in decided.shown.named])
    body = put_decision(unit, meet, bench, decided, pen, content)
    if seen.last is not None:
        replace_decision(unit, DecisionId(seen.last.id), decided.id)
    move_protest(unit, protest, step.becomes)
    if is_passed_on:
        body = {**body, "appeal": _refer(unit, protest, caller, decided)}
    if decided.advised_at is not None:
        _open_by_advice(unit, meet, protest, decided.id, decided.advised_at)
    return Deed(Kind.PROTEST_DECIDED, protest.id, body)


def _ordered(unit: Unit, bench: Bench, seen: _Seen, sent: RefereeDecisionIn) -> Ordered:
    """The decision as it is signed, with what it would move."""
    understood, shown = shown_on_protest(bench, sent.orders)
    replaces = {} if seen.last is None else {"replaces": seen.last.id}
    return Ordered(
        id=DecisionId(new_id()),
        instance=Instance.REFEREE,
        verdict=sent.verdict,
        reasons=sent.reasons,
        heard_because=sent.heard_because,
        sent=sent.orders,
        protest=seen.row,
        appeal=None,
        understood=understood,
        shown=shown,
        advised_at=sent.advised_at and insist_told_after(unit, sent.advised_at, unit.now),
        more={"marks": [mark.value for mark in seen.out.marks], **replaces},
        done_already=sent.done_already,
        advised_as=sent.advised_at,
    )


def _insist_second_person(
    unit: Unit, protest: AnyRow, caller: Caller, ordered: Iterable[str] = ()
) -> None:
    """Nobody decides on their own report, also where only the orders name the team that it is
    about; a referee may decide on a protest against their ruling (World Athletics TR8.3), from
    which the appeal to the jury lies.
    """
    cases = cases_about(unit.conn, unit.meet_id, protest, ordered)
    if any(caller.official_id in authors_in(unit.conn, unit.meet_id, case) for case in cases):
        raise OwnReport(
            "You wrote a report in a case that this is about, so another referee decides it; or "
            "refer it to the jury."
        )


def _insist_may_be_heard(out: ProtestOut, sent: RefereeDecisionIn) -> None:
    """Late or from outside: it can be rejected for that; to hear it needs a reason."""
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


def insist_told_after(
    unit: Unit, at: datetime, decided_at: datetime, way_out: str = TELL_LATER
) -> datetime:
    """When the protesters were told: Malformed in the future, and before the decision.

    A time is typed to the minute, and somebody may be told just before the PIN is given: then the
    time for an appeal runs from the signing, so that nobody loses any of it.
    """
    if at > unit.now:
        raise Malformed("This advice lies in the future.", field="/advised_at")
    if at < decided_at - JUST_BEFORE:
        zone = meet_facts(unit.conn, unit.meet_id).time_zone
        raise Malformed(
            f"This advice lies before the decision, which is signed at {in_zone(decided_at, zone)}:"
            f" what is told is the decision. {way_out}",
            field="/advised_at",
        )
    return max(at, decided_at)


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
        "asked": {},
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
        if known is None or known.verdict == Verdict.REFERRED or known.carried_out:
            raise StateConflict(
                "Only where the referee's decision amends nothing does the time for an appeal run "
                "from the advice; where something was amended, it runs from the announcement."
            )
        if known.advised_at is not None:
            _insist_same_advice(unit, known, sent.advised_at)
            out = protest_shown(unit.conn, unit.meet_id, protest_id, unit.now)
            return Done(out, None)
        if sent.advised_at is not None:
            insist_not_on_panel(unit, appeals_on(unit.conn, unit.meet_id, protest_id))
        at = insist_told_after(unit, sent.advised_at or unit.now, known.decided_at)
        unit.conn.execute(update(decisions).where(decisions.c.id == known.id).values(advised_at=at))
        meet = meet_facts(unit.conn, unit.meet_id)
        _open_by_advice(unit, meet, protest, DecisionId(known.id), at)
        move_protest(unit, protest, ProtestState(protest.state))
        out = protest_shown(unit.conn, unit.meet_id, protest_id, unit.now)
        body = {"decision": known.id, "advised_at": rfc3339(at)}
        return Done(out, Deed(Kind.ADVICE_GIVEN, protest_id, body))

    return act


def _insist_same_advice(unit: Unit, known: AnyRow, given: datetime | None) -> None:
    if given is None:
        return
    before = said_before(unit.conn, Mistyped.ADVICE, known.id)
    same = insist_told_after(unit, given, known.decided_at)
    if same != known.advised_at and rfc3339(same) not in before:
        raise StateConflict(
            f"The advice was given at {rfc3339(known.advised_at)} already. Where that was typed "
            "wrongly, correct it."
        )


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
        out = protest_shown(unit.conn, unit.meet_id, protest_id, unit.now)
        return Done(out, Deed(Kind.PROTEST_WITHDRAWN, protest_id, withdrawn))

    return act
