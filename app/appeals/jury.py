"""What the jury does with an appeal besides voting: admit it, decide it, look at it again.

The votes decide (`counting.py`); the referee's decision stands where the evidence does not settle
it (World Athletics TR8.8, from memory). The deposit is returned where an appeal is upheld, and
otherwise goes as the edition says (TR8.7).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import update

from app.access.pen import Pen, as_recorded
from app.access.queries import Caller, official_row, signatures_on
from app.access.sign_wire import Signable
from app.appeals.awaiting import deposit_can_come
from app.appeals.bench import Bench, bench_for
from app.appeals.counting import Counted, count
from app.appeals.deciding import insist_first, is_same, move_protest, put_decision, shown_on_appeal
from app.appeals.decision_queries import decisions_of_appeal
from app.appeals.jury_wire import AdmissionIn, AppealOut, JuryDecisionIn, ReopenIn
from app.appeals.ordered import Ordered
from app.appeals.panel import (
    change_appeal,
    insist_open,
    insist_unconcerned,
    insist_version,
    is_juror,
    panel_of,
)
from app.appeals.queries import appeal_row, protest_row, votes_of
from app.appeals.settled import keep_what_is_settled
from app.appeals.showing import appeal_shown
from app.appeals.standing import (
    is_turned_away,
    marks_of_appeal,
    measured_appeal,
    state_now,
    touched_with,
)
from app.appeals.states import (
    APPEAL_TABLE,
    PROTEST_TABLE,
    AppealAct,
    AppealState,
    ProtestAct,
    ProtestState,
)
from app.appeals.tables import decisions
from app.appeals.wire import Instance, Verdict, WithdrawIn
from app.clock import rfc3339
from app.ids import AppealId, DecisionId, HeatId, OfficialId, ProtestId, new_id
from app.meets.queries import MeetFacts, meet_facts
from app.record.kinds import Kind
from app.refusals import Malformed, NotYours, StateConflict
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow

ACTS = {Verdict.UPHELD: AppealAct.UPHOLD, Verdict.REJECTED: AppealAct.REJECT}
ON_PROTEST = {
    Verdict.UPHELD: ProtestAct.JURY_UPHOLDS,
    Verdict.REJECTED: ProtestAct.JURY_REJECTS,
}


def admit(appeal_id: AppealId, sent: AdmissionIn, pen: Pen, version: int) -> Action[AppealOut]:
    """The jury's word on an appeal that is late, from outside or without deposit."""
    caller = pen.caller

    def act(unit: Unit) -> Done[AppealOut]:
        pen.insist_may_sign(unit)
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)
        insist_version(row, version)
        meet = meet_facts(unit.conn, unit.meet_id)
        what = AppealAct.ADMIT if sent.admit else AppealAct.TURN_AWAY
        step = APPEAL_TABLE.step(_state_to_admit(unit, meet, row), what)
        _insist_chair(row, caller, "admits an appeal or turns it away")
        insist_unconcerned(unit, meet, row, [caller.official_id])
        if not sent.admit:
            _insist_deposit_cannot_come(unit, meet, row)
        person = official_row(unit.conn, unit.meet_id, caller.official_id)
        said = {
            "admit": sent.admit,
            "reasons": sent.reasons,
            "by": caller.official_id,
            "by_name": person.name,
            "at": rfc3339(unit.now),
        }
        signed = pen.sign(unit, "admission", appeal_id, _of_appeal(row, sent))
        values: dict[str, Any] = {"admitted": said}
        if step.becomes is AppealState.REJECTED:
            # It was never heard: the deposit goes back (common practice), and the decision stands.
            deposit = row.deposit and {**row.deposit, "outcome": "returned"}
            values |= {"state": AppealState.REJECTED.value, "deposit": deposit}
        elif row.state == AppealState.REJECTED:
            deposit = row.deposit and {**row.deposit, "outcome": "held"}
            values |= {"state": AppealState.LODGED.value, "deposit": deposit}
        change_appeal(unit, row, **values)
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        kind = Kind.APPEAL_ADMITTED if sent.admit else Kind.APPEAL_TURNED_AWAY
        return Done(out, Deed(kind, appeal_id, {**said, **signed.body}))

    return act


def _of_appeal(row: AnyRow, sent: Signable) -> dict[str, Any]:
    """What is signed about an appeal as it was read, in the words in which it was sent."""
    return {
        "appeal": row.id,
        "said": sent.content(),
        "sitting": row.sitting,
        "version": row.version,
    }


def _state_to_admit(unit: Unit, meet: MeetFacts, row: AnyRow) -> AppealState:
    """Where an appeal stands; one that was turned away unheard can be admitted after all, where it
    shows that it was in time.
    """
    if is_turned_away(row):
        return AppealState.LATE
    return state_now(unit.conn, meet, row)


def _insist_chair(row: AnyRow, caller: Caller, does: str) -> None:
    if caller.official_id != panel_of(row)["chair"]:
        raise NotYours(f"The chair of this appeal's panel {does}.")


def _insist_deposit_cannot_come(unit: Unit, meet: MeetFacts, row: AnyRow) -> None:
    """A team has its whole window for the deposit too (World Athletics TR8.7)."""
    timely = measured_appeal(unit.conn, row, meet.time_zone)
    marks = marks_of_appeal(unit.conn, meet, row, timely)
    if deposit_can_come(marks, timely, unit.now):
        raise StateConflict(
            f"Only its deposit is missing, and the window is open until {timely.closes_at_local}: "
            "until then it can still come."
        )


def decide_appeal(
    appeal_id: AppealId, sent: JuryDecisionIn, pen: Pen, version: int
) -> Action[Put[AppealOut]]:
    """The jury's decision, signed by its chair with this pen."""
    caller = pen.caller

    def act(unit: Unit) -> Done[Put[AppealOut]]:
        content = sent.content()
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)
        known = _decided_in_this_sitting(unit, row)
        is_new = known is None or not is_same(known, caller, content)
        if is_new:
            pen.insist_may_sign(unit)
            insist_first(
                known,
                is_seen=version == row.version,
                what=f"appeal {row.number}",
                way_out="It is final; with new conclusive evidence it can be reopened.",
            )
        deed = _decide(unit, row, sent, pen, content) if is_new else None
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        return Done(Put(out, created=is_new), deed)

    return act


def _decide(
    unit: Unit, row: AnyRow, sent: JuryDecisionIn, pen: Pen, content: Mapping[str, Any]
) -> Deed:
    caller = pen.caller
    meet = meet_facts(unit.conn, unit.meet_id)
    insist_open(unit, meet, row)
    verdict = Verdict(sent.verdict)
    step = APPEAL_TABLE.step(AppealState.ADMITTED, ACTS[verdict])
    _insist_chair(row, caller, "signs its decision")
    counted = count(unit, row, panel_of(row))
    counted.insist_on(verdict)
    bench = bench_for(unit.conn, meet, HeatId(row.heat_id), Instance.JURY)
    decided = _ordered(unit, meet, bench, row, sent, counted)
    concerned = touched_with(unit.conn, meet, row, bench, decided.shown)
    insist_unconcerned(unit, meet, row, [caller.official_id, *counted.voters], concerned)
    body = put_decision(unit, meet, bench, decided, pen, content)
    _replace_earlier(unit, row, decided.id)
    keep_what_is_settled(unit, HeatId(row.heat_id))
    deposit = row.deposit and {**row.deposit, "outcome": decided.more["deposit"]}
    change_appeal(unit, row, state=step.becomes.value, deposit=deposit)
    if row.is_referred:
        answer = PROTEST_TABLE.step(ProtestState(decided.protest.state), ON_PROTEST[verdict])
        move_protest(unit, decided.protest, answer.becomes)
    return Deed(Kind.APPEAL_DECIDED, row.id, {**body, "ballots": _ballots(unit, row)})


def _ballots(unit: Unit, row: AnyRow) -> list[dict[str, Any]]:
    """The signed votes of a sitting, which come into the record once it has decided."""
    cast = [one.id for one in votes_of(unit.conn, AppealId(row.id), row.sitting)]
    return [as_recorded(one) for one in signatures_on(unit.conn, unit.meet_id, "vote", cast)]


def _ordered(
    unit: Unit, meet: MeetFacts, bench: Bench, row: AnyRow, sent: JuryDecisionIn, counted: Counted
) -> Ordered:
    """The decision as it is signed, with what it would move."""
    is_done = bool(sent.done_already)
    understood, shown = shown_on_appeal(bench, row, sent.orders, is_done=is_done)
    deposit = _deposit_after(meet, row, sent, counted.verdict)
    return Ordered(
        id=DecisionId(new_id()),
        instance=Instance.JURY,
        verdict=counted.verdict,
        reasons=sent.reasons,
        heard_because=None,
        sent=sent.orders,
        protest=protest_row(unit.conn, unit.meet_id, ProtestId(row.protest_id)),
        appeal=row,
        understood=understood,
        shown=shown,
        advised_at=None,
        more={"votes": counted.told, "deposit": deposit},
        done_already=sent.done_already,
    )


def _decided_in_this_sitting(unit: Unit, row: AnyRow) -> AnyRow | None:
    found = decisions_of_appeal(unit.conn, unit.meet_id, AppealId(row.id))
    return found[-1] if found and found[-1].sitting == row.sitting else None


def _deposit_after(
    meet: MeetFacts, row: AnyRow, sent: JuryDecisionIn, verdict: Verdict
) -> str | None:
    """What becomes of the deposit, None where none was received."""
    if row.deposit is None:
        if sent.deposit is not None:
            raise Malformed("No deposit was received for this appeal.", field="/deposit")
        return None
    books = meet.book.appeal_deposit
    goes = books.forfeited_if_rejected if books is not None else False
    by_rule = "forfeited" if verdict is Verdict.REJECTED and goes else "returned"
    if verdict is Verdict.UPHELD and sent.deposit == "forfeited":
        rule = books.rule if books is not None else "common practice"
        raise Malformed(
            f"The appeal is upheld, so its deposit is returned ({rule}).", field="/deposit"
        )
    return sent.deposit or by_rule


def _replace_earlier(unit: Unit, row: AnyRow, decision: DecisionId) -> None:
    unit.conn.execute(
        update(decisions)
        .where(
            decisions.c.appeal_id == row.id,
            decisions.c.sitting < row.sitting,
            decisions.c.replaced_by.is_(None),
        )
        .values(replaced_by=decision)
    )


def withdraw_appeal(appeal_id: AppealId, sent: WithdrawIn, version: int) -> Action[AppealOut]:
    """The team takes its appeal back before it is decided; the deposit is returned (common
    practice).
    """

    def act(unit: Unit) -> Done[AppealOut]:
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)
        insist_version(row, version)
        meet = meet_facts(unit.conn, unit.meet_id)
        if row.reopened is not None:
            raise StateConflict("A reopened appeal is the jury's own matter: it decides again.")
        if row.is_referred:
            raise StateConflict("The protest itself was referred: withdraw the protest.")
        step = APPEAL_TABLE.step(state_now(unit.conn, meet, row), AppealAct.WITHDRAW)
        withdrawn = {"by": sent.by, "reason": sent.reason, "at": rfc3339(unit.now)}
        deposit = row.deposit and {**row.deposit, "outcome": "returned"}
        change_appeal(unit, row, state=step.becomes.value, withdrawn=withdrawn, deposit=deposit)
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        return Done(out, Deed(Kind.APPEAL_WITHDRAWN, appeal_id, withdrawn))

    return act


def reopen(appeal_id: AppealId, sent: ReopenIn, pen: Pen, version: int) -> Action[AppealOut]:
    """The jury looks at its decision again: a further sitting, in which everybody votes anew.

    The decision stands until the next one replaces it (World Athletics TR8.9, from memory).
    """
    caller = pen.caller

    def act(unit: Unit) -> Done[AppealOut]:
        pen.insist_may_sign(unit)
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)
        insist_version(row, version)
        APPEAL_TABLE.step(AppealState(row.state), AppealAct.REOPEN)
        earlier = decisions_of_appeal(unit.conn, unit.meet_id, appeal_id)
        if not earlier:
            raise StateConflict(
                "This appeal was turned away without a decision: there is none to look at again."
            )
        panel = panel_of(row)
        has_chair = is_juror(unit, OfficialId(panel["chair"]))
        may = {panel["chair"]} if has_chair else set(panel["members"])
        if caller.official_id not in may:
            raise NotYours("The chair of the panel reopens its decision.")
        person = official_row(unit.conn, unit.meet_id, OfficialId(caller.official_id))
        said = {
            "evidence": sent.evidence,
            "allowed_by": sent.allowed_by,
            "reasons": sent.reasons,
            "by": caller.official_id,
            "by_name": person.name,
            "at": rfc3339(unit.now),
            "decision": earlier[-1].id,
        }
        signed = pen.sign(unit, "reopening", appeal_id, _of_appeal(row, sent))
        change_appeal(
            unit,
            row,
            state=AppealState.LODGED.value,
            sitting=row.sitting + 1,
            reopened=said,
        )
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        return Done(out, Deed(Kind.APPEAL_REOPENED, appeal_id, {**said, **signed.body}))

    return act
