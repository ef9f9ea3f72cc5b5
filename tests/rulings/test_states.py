"""The states of a disqualification: in force ⇄ set aside; and what a signed act brings along."""

from __future__ import annotations

import pytest

from app.access.sign_wire import Signable
from app.appeals.jury_wire import AdmissionIn, JuryDecisionIn, ReopenIn, StepAsideIn, VoteIn
from app.appeals.wire import RefereeDecisionIn
from app.refusals import NotPossible
from app.reports.wire import ReasonIn
from app.results.announcement_wire import AnnouncementIn
from app.rulings.states import (
    DISQUALIFICATION_TABLE,
    DisqualificationAct,
    DisqualificationState,
)
from app.rulings.wire import RulingIn
from app.wire import Wire

STEPS = {
    (DisqualificationState.IN_FORCE, DisqualificationAct.SET_ASIDE): (
        DisqualificationState.SET_ASIDE
    ),
    (DisqualificationState.SET_ASIDE, DisqualificationAct.RESTORE): DisqualificationState.IN_FORCE,
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


@pytest.mark.parametrize(
    ("document", "brought"),
    [
        (RulingIn, {"reasons"}),
        (ReasonIn, {"reason"}),
        (RefereeDecisionIn, {"reasons"}),
        (JuryDecisionIn, {"reasons"}),
        (AdmissionIn, {"reasons"}),
        (ReopenIn, {"evidence", "allowed_by", "reasons"}),
        (StepAsideIn, {"reasons"}),
    ],
)
def test_what_needs_a_reason_brings_it(document: type[Wire], brought: set[str]) -> None:
    required = {name for name, field in document.model_fields.items() if field.is_required()}
    assert required >= brought


@pytest.mark.parametrize(
    "document",
    [RulingIn, AnnouncementIn, RefereeDecisionIn, JuryDecisionIn, AdmissionIn, ReopenIn, VoteIn],
)
def test_what_is_signed_takes_a_pin_or_a_passkey(document: type[Wire]) -> None:
    # That one of the two must come, tests/access/test_signing.py asks of the running service.
    assert issubclass(document, Signable)
