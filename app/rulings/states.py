"""The states of a disqualification: in force → set aside, by a named ruling.

A ruling that disqualifies again makes a new one, so that each names the ruling it comes from.
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


DISQUALIFICATION_TABLE = StateTable(
    "disqualification",
    [
        Step(
            DisqualificationState.IN_FORCE,
            DisqualificationAct.SET_ASIDE,
            DisqualificationState.SET_ASIDE,
        ),
    ],
)
