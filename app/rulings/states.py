"""The states of a disqualification: in force ⇄ set aside, each change by a named ruling."""

from __future__ import annotations

from enum import StrEnum

from app.roles import Role
from app.transitions import Need, StateTable, Step


class DisqualificationState(StrEnum):
    """Whether a disqualification counts."""

    IN_FORCE = "in force"
    SET_ASIDE = "set aside"


class DisqualificationAct(StrEnum):
    """What can happen to a disqualification."""

    SET_ASIDE = "set aside"
    REINSTATE = "reinstate"


HEAD = frozenset({Role.REFEREE, Role.CHIEF_UMPIRE})
SIGNED = frozenset({Need.REASON, Need.PIN})

DISQUALIFICATION_TABLE = StateTable(
    "disqualification",
    [
        Step(
            DisqualificationState.IN_FORCE,
            DisqualificationAct.SET_ASIDE,
            DisqualificationState.SET_ASIDE,
            HEAD,
            SIGNED,
        ),
        Step(
            DisqualificationState.SET_ASIDE,
            DisqualificationAct.REINSTATE,
            DisqualificationState.IN_FORCE,
            HEAD,
            SIGNED,
        ),
    ],
)
