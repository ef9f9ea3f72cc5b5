"""The states of protests and appeals, held against the design page (section 2)."""

from __future__ import annotations

import pytest

from app.appeals.states import (
    APPEAL_TABLE,
    PROTEST_TABLE,
    AppealAct,
    AppealState,
    ProtestAct,
    ProtestState,
)
from app.refusals import NotPossible

# Design page, section 2: lodged → upheld | rejected | referred | withdrawn. What the jury makes of
# a referred one follows from its decision, and so is no act that anybody asks for.
PROTESTS = {
    ProtestState.LODGED: {
        ProtestAct.UPHOLD: ProtestState.UPHELD,
        ProtestAct.REJECT: ProtestState.REJECTED,
        ProtestAct.REFER: ProtestState.REFERRED,
        ProtestAct.WITHDRAW: ProtestState.WITHDRAWN,
    },
    ProtestState.REFERRED: {ProtestAct.WITHDRAW: ProtestState.WITHDRAWN},
    ProtestState.UPHELD: {},
    # Once more where it was rejected as late and is in time by a corrected time: that who made a
    # mistaken refusal puts it right is common practice (test_once_more.py).
    ProtestState.REJECTED: {
        ProtestAct.UPHOLD: ProtestState.UPHELD,
        ProtestAct.REJECT: ProtestState.REJECTED,
        ProtestAct.REFER: ProtestState.REFERRED,
    },
    ProtestState.WITHDRAWN: {},
}
# lodged → admitted | late → upheld | rejected | withdrawn; reopening by handbook, section 2, 11.
APPEALS = {
    AppealState.LODGED: {
        AppealAct.ADMIT: AppealState.ADMITTED,
        AppealAct.TURN_AWAY: AppealState.REJECTED,
        AppealAct.WITHDRAW: AppealState.WITHDRAWN,
    },
    AppealState.LATE: {
        AppealAct.ADMIT: AppealState.ADMITTED,
        AppealAct.TURN_AWAY: AppealState.REJECTED,
        AppealAct.WITHDRAW: AppealState.WITHDRAWN,
    },
    AppealState.ADMITTED: {
        AppealAct.UPHOLD: AppealState.UPHELD,
        AppealAct.REJECT: AppealState.REJECTED,
        AppealAct.WITHDRAW: AppealState.WITHDRAWN,
    },
    AppealState.UPHELD: {AppealAct.REOPEN: AppealState.ADMITTED},
    AppealState.REJECTED: {AppealAct.REOPEN: AppealState.ADMITTED},
    AppealState.WITHDRAWN: {},
}


@pytest.mark.parametrize("state", list(ProtestState))
@pytest.mark.parametrize("act", list(ProtestAct))
def test_a_protest_goes_only_where_the_design_lets_it(state: ProtestState, act: ProtestAct) -> None:
    asked_for = set(PROTEST_TABLE.possible(state))
    assert asked_for == set(PROTESTS[state])
    if act in PROTESTS[state]:
        assert PROTEST_TABLE.step(state, act).becomes is PROTESTS[state][act]
    elif act not in {ProtestAct.JURY_UPHOLDS, ProtestAct.JURY_REJECTS}:
        with pytest.raises(NotPossible):
            PROTEST_TABLE.step(state, act)


@pytest.mark.parametrize("state", list(AppealState))
@pytest.mark.parametrize("act", list(AppealAct))
def test_an_appeal_goes_only_where_the_design_lets_it(state: AppealState, act: AppealAct) -> None:
    if act in APPEALS[state]:
        assert APPEAL_TABLE.step(state, act).becomes is APPEALS[state][act]
    else:
        with pytest.raises(NotPossible):
            APPEAL_TABLE.step(state, act)


@pytest.mark.parametrize("state", [ProtestState.LODGED, ProtestState.WITHDRAWN])
def test_the_jury_answers_only_what_was_referred(state: ProtestState) -> None:
    for act in (ProtestAct.JURY_UPHOLDS, ProtestAct.JURY_REJECTS):
        with pytest.raises(NotPossible):
            PROTEST_TABLE.step(state, act)
