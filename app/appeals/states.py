"""The states of protests and appeals, as the design page has them.

Protest: `lodged` → `upheld` | `rejected` | `referred` | `withdrawn`; one that was referred is
upheld or rejected by the jury, and one that was rejected as late by a time typed wrongly is decided
once more (`once_more.py`). Appeal: `lodged` → `admitted` | `late` → `upheld` | `rejected` |
`withdrawn`.

Whether an open appeal is `late` or `admitted` is derived from its window, its deposit and the
jury's word: a corrected announcement can make a late one timely. Stored is only that it is open.
"""

from __future__ import annotations

from enum import StrEnum

from app.transitions import StateTable, Step


class ProtestState(StrEnum):
    """Where a protest stands."""

    LODGED = "lodged"
    REFERRED = "referred"
    UPHELD = "upheld"
    REJECTED = "rejected"
    WITHDRAWN = "withdrawn"


class ProtestAct(StrEnum):
    """What can happen to a protest."""

    UPHOLD = "uphold"
    REJECT = "reject"
    REFER = "refer to the jury"
    WITHDRAW = "withdraw"
    JURY_UPHOLDS = "jury upholds"
    JURY_REJECTS = "jury rejects"


PROTEST_TABLE = StateTable(
    "protest",
    [
        Step(ProtestState.LODGED, ProtestAct.UPHOLD, ProtestState.UPHELD),
        Step(ProtestState.LODGED, ProtestAct.REJECT, ProtestState.REJECTED),
        Step(ProtestState.LODGED, ProtestAct.REFER, ProtestState.REFERRED),
        Step(ProtestState.LODGED, ProtestAct.WITHDRAW, ProtestState.WITHDRAWN),
        Step(ProtestState.REFERRED, ProtestAct.WITHDRAW, ProtestState.WITHDRAWN),
        Step(ProtestState.REFERRED, ProtestAct.JURY_UPHOLDS, ProtestState.UPHELD, follows=True),
        Step(ProtestState.REFERRED, ProtestAct.JURY_REJECTS, ProtestState.REJECTED, follows=True),
        # Only one that was rejected as late and is in time by a time that was put right since.
        Step(ProtestState.REJECTED, ProtestAct.UPHOLD, ProtestState.UPHELD),
        Step(ProtestState.REJECTED, ProtestAct.REJECT, ProtestState.REJECTED),
        Step(ProtestState.REJECTED, ProtestAct.REFER, ProtestState.REFERRED),
        # A reopened appeal on a referred protest may end otherwise than before.
        Step(ProtestState.UPHELD, ProtestAct.JURY_REJECTS, ProtestState.REJECTED, follows=True),
        Step(ProtestState.UPHELD, ProtestAct.JURY_UPHOLDS, ProtestState.UPHELD, follows=True),
        Step(ProtestState.REJECTED, ProtestAct.JURY_UPHOLDS, ProtestState.UPHELD, follows=True),
        Step(ProtestState.REJECTED, ProtestAct.JURY_REJECTS, ProtestState.REJECTED, follows=True),
    ],
)


class AppealState(StrEnum):
    """Where an appeal stands."""

    LODGED = "lodged"
    LATE = "late"
    ADMITTED = "admitted"
    UPHELD = "upheld"
    REJECTED = "rejected"
    WITHDRAWN = "withdrawn"


class AppealAct(StrEnum):
    """What can happen to an appeal."""

    ADMIT = "admit"
    TURN_AWAY = "turn away"
    UPHOLD = "uphold"
    REJECT = "reject"
    WITHDRAW = "withdraw"
    REOPEN = "reopen"


OPEN = (AppealState.LODGED, AppealState.LATE, AppealState.ADMITTED)

APPEAL_TABLE = StateTable(
    "appeal",
    [
        Step(AppealState.LODGED, AppealAct.ADMIT, AppealState.ADMITTED),
        Step(AppealState.LODGED, AppealAct.TURN_AWAY, AppealState.REJECTED),
        Step(AppealState.LODGED, AppealAct.WITHDRAW, AppealState.WITHDRAWN),
        Step(AppealState.LATE, AppealAct.ADMIT, AppealState.ADMITTED),
        Step(AppealState.LATE, AppealAct.TURN_AWAY, AppealState.REJECTED),
        Step(AppealState.LATE, AppealAct.WITHDRAW, AppealState.WITHDRAWN),
        Step(AppealState.ADMITTED, AppealAct.UPHOLD, AppealState.UPHELD),
        Step(AppealState.ADMITTED, AppealAct.REJECT, AppealState.REJECTED),
        Step(AppealState.ADMITTED, AppealAct.WITHDRAW, AppealState.WITHDRAWN),
        # World Athletics TR8.9 (from memory): on new conclusive evidence, while practicable.
        Step(AppealState.UPHELD, AppealAct.REOPEN, AppealState.ADMITTED),
        Step(AppealState.REJECTED, AppealAct.REOPEN, AppealState.ADMITTED),
    ],
)
