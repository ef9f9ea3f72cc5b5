"""What was typed wrongly about a protest or an appeal is put right, with a reason and a PIN.

When it was lodged, when the protesters were told, when a deposit was received and under which
receipt. Each keeps the bounds that it had when it was first entered. Whether something is late
follows by itself; the answer and the record say what came to be in time by it, or late.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import update

from app.access.pen import Pen
from app.appeals.about_not_held import insist_still_before, is_decided_since
from app.appeals.actions import insist_told_after
from app.appeals.deciding import move_protest
from app.appeals.decision_queries import referees_decision, referees_decisions
from app.appeals.handing_in import insist_lodged_then, insist_received_then
from app.appeals.jury_wire import AppealOut, DepositCorrectionIn, ReceiptCorrectionIn
from app.appeals.lodging import earliest_protest
from app.appeals.panel import change_appeal
from app.appeals.paying import insist_own_receipt
from app.appeals.queries import appeal_row, appeals_on, protest_row
from app.appeals.showing import appeal_shown, protest_shown
from app.appeals.states import ProtestState
from app.appeals.tables import decisions
from app.appeals.wire import AdviceCorrectionIn, LodgedCorrectionIn, ProtestOut
from app.clock import in_zone, rfc3339
from app.ids import AppealId, CorrectionId, HeatId, ProtestId
from app.meets.queries import heat, meet_row
from app.record.kinds import Kind
from app.refusals import Malformed, StateConflict
from app.results.announced_time import (
    LOOK_AGAIN,
    insist_advice_leaves_time,
    move_windows_of_advice,
)
from app.results.correction_wire import Mistyped
from app.results.corrections import Act, about_before, is_known, keep
from app.results.remeasuring import insist_not_on_panel, moved_by
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow


class _Change(NamedTuple):
    """What a correction changes: from what to what, and the move that does it."""

    was: str
    becomes: str
    move: Callable[[], None]


def correct_protest(
    protest_id: ProtestId, correction_id: CorrectionId, sent: LodgedCorrectionIn, pen: Pen
) -> Action[Put[ProtestOut]]:
    """Correct when a protest was lodged. Signed with this pen, as all of these."""

    def act(unit: Unit) -> Done[Put[ProtestOut]]:
        row = protest_row(unit.conn, unit.meet_id, protest_id)
        content = sent.content()
        one = Act(correction_id, Mistyped.PROTEST, protest_id, pen, content)

        def change() -> _Change:
            insist_not_on_panel(unit, appeals_on(unit.conn, unit.meet_id, protest_id))
            facts = heat(unit.conn, unit.meet_id, HeatId(row.heat_id))
            earliest = earliest_protest(unit, row.ruling_id, facts)
            insist_lodged_then(unit, row, sent.lodged_at, earliest)
            insist_still_before(unit, HeatId(row.heat_id), sent.lodged_at)
            state = ProtestState(row.state)
            return _Change(
                rfc3339(row.lodged_at),
                rfc3339(sent.lodged_at),
                lambda: move_protest(unit, row, state, lodged_at=sent.lodged_at),
            )

        deed = _put_right(unit, one, row, change, Kind.PROTEST_CORRECTED)
        out = protest_shown(unit.conn, unit.meet_id, protest_id, unit.now)
        return Done(Put(out, created=deed is not None), deed)

    return act


def _put_right(
    unit: Unit, one: Act, row: AnyRow, change: Callable[[], _Change], kind: Kind
) -> Deed | None:
    """Make a correction and keep it; None where it was made before."""
    if is_known(unit, one):
        return None
    one.pen.insist_may_sign(unit)
    changed = change()
    moved = moved_by(unit, HeatId(row.heat_id), changed.move)
    return Deed(kind, row.id, keep(unit, one, changed.was, changed.becomes, moved))


def correct_advice(
    protest_id: ProtestId, correction_id: CorrectionId, sent: AdviceCorrectionIn, pen: Pen
) -> Action[Put[ProtestOut]]:
    """Correct when the protesters were told; the window that it opened follows."""

    def act(unit: Unit) -> Done[Put[ProtestOut]]:
        row = protest_row(unit.conn, unit.meet_id, protest_id)
        decided = _decision_told(unit, protest_id, correction_id)
        content = sent.content(exclude_defaults=True)
        one = Act(correction_id, Mistyped.ADVICE, decided.id, pen, content)

        def change() -> _Change:
            insist_not_on_panel(unit, appeals_on(unit.conn, unit.meet_id, protest_id))
            at = _told_at(unit, sent.advised_at, decided)
            insist_advice_leaves_time(unit, decided, at, sent.remark)
            return _Change(
                rfc3339(decided.advised_at), rfc3339(at), lambda: _tell(unit, row, decided, at)
            )

        deed = _put_right(unit, one, row, change, Kind.PROTEST_CORRECTED)
        out = protest_shown(unit.conn, unit.meet_id, protest_id, unit.now)
        return Done(Put(out, created=deed is not None), deed)

    return act


def _decision_told(unit: Unit, protest_id: ProtestId, correction_id: CorrectionId) -> AnyRow:
    """The referee's decision that stands, once the protesters were told; or the one of before whose
    advice this very correction was about.
    """
    made = referees_decisions(unit.conn, unit.meet_id, protest_id)
    about = about_before(unit.conn, correction_id)
    decided = next((one for one in made if one.id == about), made[-1] if made else None)
    if decided is None or decided.advised_at is None:
        raise StateConflict("Nobody has told the protesters yet: there is no time to correct.")
    return decided


def _told_at(unit: Unit, given: datetime, decided: AnyRow) -> datetime:
    """From when the time for an appeal runs; Malformed where that is nothing new."""
    at = insist_told_after(unit, given, decided.decided_at, LOOK_AGAIN)
    if at != decided.advised_at:
        return at
    if at == given:
        said = "The advice has that time already"
    else:
        zone = meet_row(unit.conn, unit.meet_id).time_zone
        said = (
            "This lies just before the decision was signed, so the time for an appeal runs from "
            f"the signing, at {in_zone(at, zone)}, as it does already"
        )
    raise Malformed(f"{said}: there is nothing to correct.", field="/advised_at")


def _tell(unit: Unit, protest: AnyRow, decided: AnyRow, at: datetime) -> None:
    unit.conn.execute(update(decisions).where(decisions.c.id == decided.id).values(advised_at=at))
    move_windows_of_advice(unit, decided, at)
    move_protest(unit, protest, ProtestState(protest.state))


def correct_appeal(
    appeal_id: AppealId, correction_id: CorrectionId, sent: LodgedCorrectionIn, pen: Pen
) -> Action[Put[AppealOut]]:
    """Correct when an appeal was lodged; not where the referee referred it, which nobody typed."""

    def change(unit: Unit, row: AnyRow) -> _Change:
        if row.is_referred:
            raise StateConflict("The referee referred this, and the server took the time of it.")
        decided = referees_decision(unit.conn, unit.meet_id, ProtestId(row.protest_id))
        earliest = None if decided is None else decided.decided_at
        insist_lodged_then(unit, row, sent.lodged_at, earliest)
        if decided is not None and not is_decided_since(unit.conn, decided):
            insist_still_before(unit, HeatId(row.heat_id), sent.lodged_at)
        return _Change(
            rfc3339(row.lodged_at),
            rfc3339(sent.lodged_at),
            lambda: change_appeal(unit, row, lodged_at=sent.lodged_at),
        )

    content = sent.content()
    return _of_appeal(Act(correction_id, Mistyped.APPEAL, appeal_id, pen, content), change)


def _of_appeal(one: Act, change: Callable[[Unit, AnyRow], _Change]) -> Action[Put[AppealOut]]:
    def act(unit: Unit) -> Done[Put[AppealOut]]:
        appeal_id = AppealId(one.subject)
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)

        def of_row() -> _Change:
            insist_not_on_panel(unit, [row])
            return change(unit, row)

        deed = _put_right(unit, one, row, of_row, Kind.APPEAL_CORRECTED)
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        return Done(Put(out, created=deed is not None), deed)

    return act


def correct_deposit(
    appeal_id: AppealId, correction_id: CorrectionId, sent: DepositCorrectionIn, pen: Pen
) -> Action[Put[AppealOut]]:
    """Correct when a deposit was received; an appeal is complete with it."""

    def change(unit: Unit, row: AnyRow) -> _Change:
        deposit = _deposit_of(row)
        was, at = datetime.fromisoformat(deposit["received_at"]), sent.received_at
        insist_received_then(unit, row, was, at)
        changed = {**deposit, "received_at": rfc3339(at)}
        return _Change(
            deposit["received_at"],
            changed["received_at"],
            lambda: change_appeal(unit, row, deposit=changed),
        )

    content = sent.content()
    return _of_appeal(Act(correction_id, Mistyped.DEPOSIT, appeal_id, pen, content), change)


def _deposit_of(row: AnyRow) -> dict[str, str]:
    if row.deposit is None:
        raise StateConflict("No deposit was received for this appeal: there is none to correct.")
    deposit: dict[str, str] = row.deposit
    return deposit


def correct_receipt(
    appeal_id: AppealId, correction_id: CorrectionId, sent: ReceiptCorrectionIn, pen: Pen
) -> Action[Put[AppealOut]]:
    """Correct the number of a deposit's receipt; not to one that stands for another appeal."""

    def change(unit: Unit, row: AnyRow) -> _Change:
        deposit = _deposit_of(row)
        if sent.receipt == deposit["receipt"]:
            raise Malformed(
                "The receipt has that number already: there is nothing to correct.",
                field="/receipt",
            )
        insist_own_receipt(unit, appeal_id, sent.receipt, "/receipt")
        changed = {**deposit, "receipt": sent.receipt}
        return _Change(
            deposit["receipt"], sent.receipt, lambda: change_appeal(unit, row, deposit=changed)
        )

    content = sent.content()
    return _of_appeal(Act(correction_id, Mistyped.RECEIPT, appeal_id, pen, content), change)
