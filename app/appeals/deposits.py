"""Which deposit is asked of an appellant, and what was received?

The appeal keeps what it was asked for: terms that the meet changes later ask nothing else of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from app.appeals.jury_wire import DepositOut
from app.appeals.states import AppealState
from app.meets.queries import MeetFacts
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Asked:
    """The deposit that an appellant is asked to lay down, and the rule that asks for it."""

    amount: int
    currency: str
    rule: str

    @property
    def words(self) -> str:
        return f"{self.amount} {self.currency}"


def asked_by(meet: MeetFacts) -> Asked | None:
    """The deposit that the meet asks for now: its own terms first, then the edition's."""
    own, books = meet.terms.appeal_deposit, meet.book.appeal_deposit
    of = own or books
    if of is None:
        return None
    rule = books.rule if books is not None else ""
    rules = [rule, "the meet's own terms" if own is not None else ""]
    return Asked(of.amount, of.currency, ", ".join(filter(None, rules)))


def asked_of(meet: MeetFacts, appeal: AnyRow) -> Asked | None:
    """The deposit that this appeal needs: as it was asked for when the appeal was lodged."""
    if appeal.is_referred:
        return None
    if appeal.asked is None:  # lodged before that was kept
        return asked_by(meet)
    return Asked(**appeal.asked) if appeal.asked else None


def _unpaid(appeal: AnyRow) -> Literal["to come", "not received"]:
    """Whether the deposit can still come: an appeal takes it for as long as it is open."""
    return "to come" if appeal.state == AppealState.LODGED else "not received"


def deposit_decided(appeal: AnyRow, outcome: str) -> str:
    """What a decision does with the deposit, in a sentence; after reopening also against what the
    earlier sitting did with it.
    """
    before = appeal.deposit["outcome"]
    if appeal.sitting == 1 or before == outcome:
        return f"The deposit is {outcome}."
    follows = "so it is due again" if before == "returned" else "which no longer counts"
    return f"The deposit is {outcome}. Sitting {appeal.sitting - 1} had it {before}, {follows}."


def deposit_out(meet: MeetFacts, row: AnyRow) -> DepositOut:
    """The deposit of an appeal; one that the referee referred needs none."""
    asked = asked_of(meet, row)
    paid: Mapping[str, Any] | None = row.deposit
    return DepositOut(
        asked=asked.words if asked else "",
        rule=asked.rule if asked else "",
        received=f"{paid['amount']} {paid['currency']}" if paid else "",
        receipt=paid["receipt"] if paid else "",
        received_at=paid["received_at"] if paid else None,
        outcome=paid["outcome"] if paid else _unpaid(row) if asked else "not asked",
    )
