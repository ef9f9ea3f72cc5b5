"""The deposit of an appeal is received: with the appeal, or later, which completes it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import bindparam, select

from app.appeals.deposits import Asked, asked_of
from app.appeals.handing_in import taken_at
from app.appeals.jury_wire import AppealOut, DepositPaidIn
from app.appeals.panel import change_appeal
from app.appeals.queries import appeal_row
from app.appeals.showing import appeal_shown
from app.appeals.states import AppealState
from app.appeals.tables import appeals
from app.clock import rfc3339
from app.ids import AppealId
from app.meets.queries import meet_facts
from app.record.kinds import Kind
from app.refusals import Malformed, StateConflict
from app.results.correction_wire import Mistyped
from app.results.corrections import said_before
from app.results.remeasuring import insist_not_on_panel
from app.store.action import Action, Deed, Done, Unit
from app.visible import likeness

_PAID = (
    select(appeals.c.id, appeals.c.number, appeals.c.deposit)
    .where(
        appeals.c.meet_id == bindparam("meet"),
        appeals.c.deposit.is_not(None),
        appeals.c.state != AppealState.WITHDRAWN.value,
    )
    .order_by(appeals.c.number)
)


def receive_deposit(appeal_id: AppealId, sent: DepositPaidIn) -> Action[AppealOut]:
    """The deposit comes after the appeal; the appeal is complete with it."""

    def act(unit: Unit) -> Done[AppealOut]:
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)
        meet = meet_facts(unit.conn, unit.meet_id)
        if row.is_referred:
            raise StateConflict("The referee referred this to the jury: it needs no deposit.")
        if row.deposit is not None and _same_deposit(unit, appeal_id, row.deposit, sent):
            return Done(appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now), None)
        deposit = paid(unit, appeal_id, asked_of(meet, row), sent)
        if row.deposit is not None:
            raise StateConflict(
                f"The deposit was received already, receipt {row.deposit['receipt']}. Where its "
                "number or its time was typed wrongly, correct that."
            )
        if row.state != AppealState.LODGED:
            raise StateConflict(f"This appeal is “{row.state}”: it takes no deposit any more.")
        if sent.received_at is not None:
            insist_not_on_panel(unit, [row])
        change_appeal(unit, row, deposit=deposit)
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        return Done(out, Deed(Kind.DEPOSIT_RECEIVED, appeal_id, deposit))

    return act


def _same_deposit(
    unit: Unit, appeal: AppealId, known: Mapping[str, Any], sent: DepositPaidIn
) -> bool:
    """Whether this was sent before, perhaps before it was corrected; a time that is left out is the
    one that is known.
    """
    receipts = {known["receipt"], *said_before(unit.conn, Mistyped.RECEIPT, appeal)}
    times = {known["received_at"], *said_before(unit.conn, Mistyped.DEPOSIT, appeal)}
    same_sum = (known["amount"], known["currency"]) == (sent.amount, sent.currency)
    same_time = sent.received_at is None or rfc3339(sent.received_at) in times
    return same_sum and same_time and sent.receipt in receipts


def paid(
    unit: Unit, appeal: AppealId, asked: Asked | None, sent: DepositPaidIn, within: str = ""
) -> dict[str, Any]:
    """A deposit as it is kept; refused in another currency or another amount than is asked, and
    with a receipt that stands for another appeal. `within` is where it stands in what was sent.
    """
    if asked is None:
        raise Malformed(
            "This meet asks for no deposit for this appeal. Leave it out.", field=within
        )
    if (sent.amount, sent.currency) != (asked.amount, asked.currency):
        is_other_money = sent.currency != asked.currency
        raise Malformed(
            f"The deposit is {asked.words} ({asked.rule}), not {sent.amount} {sent.currency}. "
            "Where its equivalent in another currency is taken, the organiser sets that in the "
            "meet's terms (“appeal_deposit”), for the appeals that are lodged from then on.",
            field=f"{within}/currency" if is_other_money else f"{within}/amount",
        )
    at = taken_at(unit, sent.received_at, f"{within}/received_at")
    insist_own_receipt(unit, appeal, sent.receipt, f"{within}/receipt")
    return {
        "amount": asked.amount,
        "currency": asked.currency,
        "receipt": sent.receipt,
        "received_at": rfc3339(at),
        "outcome": "held",
    }


def insist_own_receipt(unit: Unit, appeal: AppealId, receipt: str, field: str) -> None:
    """StateConflict for a receipt that stands for another appeal: its money was paid once.

    Not for one that was taken back: lodged anew, an appeal comes with the same receipt.
    """
    named = likeness(receipt)
    for other in unit.conn.execute(_PAID, {"meet": unit.meet_id}):
        if other.id != appeal and likeness(other.deposit["receipt"]) == named:
            raise StateConflict(
                f"Receipt {receipt} stands for the deposit of appeal {other.number} already. Look "
                "at its number: each deposit has a receipt of its own.",
                field=field,
                appeal=other.id,
            )
