"""The state table of a disqualification: in force ⇄ set aside, each change by a signed ruling."""

from __future__ import annotations

import pytest

from app.refusals import NotPossible
from app.roles import Role
from app.rulings.states import (
    DISQUALIFICATION_TABLE,
    DisqualificationAct,
    DisqualificationState,
)
from app.transitions import Need

STEPS = {
    (DisqualificationState.IN_FORCE, DisqualificationAct.SET_ASIDE): (
        DisqualificationState.SET_ASIDE
    ),
    (DisqualificationState.SET_ASIDE, DisqualificationAct.REINSTATE): (
        DisqualificationState.IN_FORCE
    ),
}


@pytest.mark.parametrize("state", list(DisqualificationState))
@pytest.mark.parametrize("act", list(DisqualificationAct))
def test_a_disqualification_goes_only_where_the_design_lets_it(
    state: DisqualificationState, act: DisqualificationAct
) -> None:
    if (state, act) in STEPS:
        assert DISQUALIFICATION_TABLE.step(state, act).becomes is STEPS[state, act]
    else:
        with pytest.raises(NotPossible):
            DISQUALIFICATION_TABLE.step(state, act)


def test_every_change_is_signed_by_the_head_official_with_a_reason() -> None:
    for step in DISQUALIFICATION_TABLE.steps:
        assert step.roles == {Role.REFEREE, Role.CHIEF_UMPIRE}
        assert step.needs == {Need.REASON, Need.PIN}
