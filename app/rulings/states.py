"""The states of a disqualification: in force ⇄ set aside, each by a named ruling or decision.

A ruling that disqualifies again makes a new one, so that each names the ruling it comes from; only
a decision on a protest or an appeal puts one in force that was set aside.
"""

from __future__ import annotations

from enum import StrEnum

from app.transitions import StateTable, Step


class DisqualificationState(StrEnum):
    """Whether a disqualification counts."""

    IN_FORCE = "in force"
    SET_ASIDE = "set aside"


class DisqualificationAct(StrEnum):
    """What can happen to a disqualification."""

    SET_ASIDE = "set aside"
    RESTORE = "restore"


DISQUALIFICATION_TABLE = StateTable(
    "disqualification",
    [
        Step(
            DisqualificationState.IN_FORCE,
            DisqualificationAct.SET_ASIDE,
            DisqualificationState.SET_ASIDE,
        ),
        Step(
            DisqualificationState.SET_ASIDE,
            DisqualificationAct.RESTORE,
            DisqualificationState.IN_FORCE,
        ),
    ],
)
