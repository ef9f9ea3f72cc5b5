"""What can be done with an appeal now, and what is missing before it is decided?

The table of states says what may follow; here stands what the act itself would refuse: without a
panel nobody admits or decides, and without the quorum there is no decision. How the votes go is
not told: which of upholding and rejecting it will be, everybody learns with the decision.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from app.appeals.jury_wire import AppealOut, DepositOut, PanelMember, PanelOut
from app.appeals.states import APPEAL_TABLE, AppealAct, AppealState
from app.appeals.wire import Mark, Timeliness

BY_CHAIR = frozenset({AppealAct.ADMIT, AppealAct.TURN_AWAY})
BY_VOTES = frozenset({AppealAct.UPHOLD, AppealAct.REJECT})
OUTSIDE_WORDS = {Mark.LATE: "late", Mark.OUTSIDE: "from outside the round"}


def possible_now(state: AppealState, panel: PanelOut | None, *, stays: bool) -> list[str]:
    """What people can do with an appeal; one that `stays` is not taken back by the team."""
    barred: set[str] = {AppealAct.WITHDRAW} if stays else set()
    if not _chair_sits(panel):
        barred |= BY_CHAIR
    if not _can_decide(panel):
        barred |= BY_VOTES
    return [act.value for act in APPEAL_TABLE.possible(state) if act not in barred]


def _chair_sits(panel: PanelOut | None) -> bool:
    seats = () if panel is None else panel.members
    return any(one.part == "chair" and one.state == "sits" for one in seats)


def _can_decide(panel: PanelOut | None) -> bool:
    if panel is None or panel.votes < panel.quorum:
        return False
    concerned = any(one.has_voted and one.state == "asked to withdraw" for one in panel.members)
    return _chair_sits(panel) and not concerned


def deposit_can_come(marks: Sequence[Mark], timely: Timeliness, now: datetime) -> bool:
    """Whether only the deposit is missing, and the window that it has too is open."""
    is_open = timely.closes_at is not None and timely.closes_at >= now
    return list(marks) == [Mark.NO_DEPOSIT] and is_open


def possible_at(out: AppealOut, now: datetime) -> list[str]:
    """What is possible at this instant: nobody is turned away for what can still come."""
    if not deposit_can_come(out.marks, out.timeliness, now):
        return out.possible
    return [act for act in out.possible if act != AppealAct.TURN_AWAY]


def awaited(
    state: AppealState, marks: Sequence[Mark], deposit: DepositOut, panel: PanelOut | None
) -> list[str]:
    """What an open appeal waits for before it is decided, a sentence each."""
    match state:
        case AppealState.LODGED | AppealState.LATE:
            return [*_before_it_is_heard(marks, deposit), *_panel_to_come(panel)]
        case AppealState.ADMITTED:
            return [*_panel_to_come(panel), *(_of_panel(panel) if panel is not None else ())]
        case _:
            return []


def _before_it_is_heard(marks: Sequence[Mark], deposit: DepositOut) -> Iterator[str]:
    if Mark.NO_DEPOSIT in marks:
        yield f"Its deposit of {deposit.asked} is to come, or the chair's word without it."
    odd = " and ".join(words for mark, words in OUTSIDE_WORDS.items() if mark in marks)
    if odd:
        yield f"It is {odd}: the chair of its panel admits it or turns it away."


def _panel_to_come(panel: PanelOut | None) -> Iterator[str]:
    if panel is None:
        yield "A panel is to be named."


def _of_panel(panel: PanelOut) -> Iterator[str]:
    seated = [one for one in panel.members if one.state in {"sits", "asked to withdraw"}]
    for one in seated:
        yield from _of_seat(one)
    if panel.votes >= panel.quorum:
        if _can_decide(panel):
            yield "The chair is to sign the decision."
        return
    empty = panel.size - len(seated)
    if empty:
        stands, them = ("stands", "it") if empty == 1 else ("stand", "them")
        seats = f"{empty} of the {panel.size} seats of the panel"
        yield f"{seats} {stands} empty: name who takes {them}."
    have = "has" if panel.votes == 1 else "have"
    yield f"{panel.votes} of the panel {have} voted, and its quorum is {panel.quorum}."


def _of_seat(one: PanelMember) -> Iterator[str]:
    if one.state == "asked to withdraw":
        yield f"{one.name} is asked to withdraw."
    if not one.is_juror and (one.part == "chair" or not one.has_voted):
        yield (
            f"{one.name} is no member of the jury any more: name the panel again, with somebody in "
            "this place."
        )
