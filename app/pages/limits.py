"""Until when can a protest or an appeal be lodged at this meet, how, and by which rule?

From the meet's edition and its own terms, as the windows themselves are opened
(`app/rules/windows.py`); the page says it in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from app.appeals.deposits import Asked, asked_by
from app.ids import MeetId
from app.meets.queries import MeetFacts, meet_facts
from app.rules.windows import Remedy, WindowOpener

BY_WORD_OF_MOUTH = frozenset({"world-athletics"})
"""The codes under which a protest is made orally to the referee, and an appeal in writing and
signed (World Athletics TR8.3 and TR8.7, in published summaries). Of the others no source that was
found says in which form."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A time limit: None minutes where the edition sets none."""

    kind: str
    minutes: int | None
    opens: WindowOpener
    rule: str
    is_meets_own: bool


@dataclass(frozen=True, slots=True)
class Limits:
    """All limits of a meet, its deposit, and what its edition says of the form."""

    protests: Sequence[Limit]
    appeals: Sequence[Limit]
    minutes_before_next_round: int | None
    deposit: Asked | None
    is_deposit_forfeited: bool
    is_judgement_protestable: bool
    is_form_known: bool
    final_by: str


def limits_of(conn: Connection, meet_id: MeetId) -> Limits:
    """The limits as they hold for what is announced from now on."""
    meet = meet_facts(conn, meet_id)
    book = meet.book
    return Limits(
        protests=_limits(meet, Remedy.PROTEST),
        appeals=_limits(meet, Remedy.APPEAL),
        minutes_before_next_round=meet.terms.protest_minutes_before_next_round,
        deposit=asked_by(meet),
        is_deposit_forfeited=book.appeal_deposit is not None
        and book.appeal_deposit.forfeited_if_rejected,
        is_judgement_protestable=book.protestable_judgement,
        is_form_known=book.code in BY_WORD_OF_MOUTH,
        final_by=book.jury_final_by,
    )


def _limits(meet: MeetFacts, remedy: Remedy) -> list[Limit]:
    own = meet.window_terms.minutes_for(remedy)
    found = []
    for rule in meet.book.windows:
        if rule.remedy is remedy:
            is_own = rule.meet_may_set and own is not None
            minutes = own if is_own else rule.minutes
            found.append(Limit(rule.kind, minutes, rule.opens, rule.rule, is_own))
    return found
