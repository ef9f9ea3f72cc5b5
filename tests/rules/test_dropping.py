"""A dropped baton: who may fetch it, and where the race goes on.

TR24.6 in secondary texts; press accounts of the change of 1 Nov 2025; a state association's
account of NFHS 5-10 of 16 May 2023.
"""

from dataclasses import replace

import pytest

from app.rules.book import editions
from app.rules.finding import Consequence, Outcome
from app.rules.observation import DroppedBaton, DropPlace, Fetcher, Holder, Roll, Seen
from tests.rules.builders import BEFORE_2025, NEW, NFHS, OLD, found

YES, NO, OPEN = Outcome.INFRINGEMENT, Outcome.NO_INFRINGEMENT, Outcome.CANNOT_TELL
every_edition = pytest.mark.parametrize("key", editions())
IN_ORDER = DroppedBaton(
    held_by=Holder.INCOMING,
    fetched_by=Fetcher.INCOMING,
    distance_shortened=Seen.NO,
    other_team_impeded=Seen.NO,
    dropped_at=DropPlace.INSIDE_ZONE,
    went=Roll.SIDEWAYS_OR_FORWARD,
    returned_to_drop_point=Seen.YES,
    fetched_from_inner_lane=Seen.NO,
    own_lane_first=Seen.YES,
    rolled_out_of_zone=Seen.NO,
    returned_into_zone=Seen.YES,
)


@every_edition
def test_a_drop_alone_is_no_infringement(key: str) -> None:
    finding = found(IN_ORDER, key)
    assert (finding.outcome, finding.consequence) == (NO, Consequence.NONE)


@every_edition
def test_ground_gained_a_team_impeded_or_a_stranger_infringe_everywhere(key: str) -> None:
    for report in (
        replace(IN_ORDER, distance_shortened=Seen.YES),
        replace(IN_ORDER, other_team_impeded=Seen.YES),
        replace(IN_ORDER, fetched_by=Fetcher.SOMEBODY_ELSE),
    ):
        assert found(report, key).outcome is YES


@every_edition
def test_each_unknown_decisive_fact_leaves_it_open(key: str) -> None:
    for report in (
        DroppedBaton(),
        replace(IN_ORDER, distance_shortened=Seen.UNSURE),
        replace(IN_ORDER, other_team_impeded=Seen.UNSURE),
        replace(IN_ORDER, fetched_by=Fetcher.UNSURE),
    ):
        finding = found(report, key)
        assert finding.outcome is OPEN
        assert finding.reason.startswith("Not known: ")


@every_edition
def test_while_both_held_it_either_may_fetch_it(key: str) -> None:
    # common practice
    for fetcher in (Fetcher.INCOMING, Fetcher.RECEIVER):
        report = replace(IN_ORDER, held_by=Holder.BOTH, fetched_by=fetcher)
        assert found(report, key).outcome is NO


def test_the_wrong_runner_infringes_but_under_nfhs_not_inside_the_zone() -> None:
    # MHSAA 2023: dropped inside the zone and rolled out, either runner may fetch it
    report = replace(IN_ORDER, fetched_by=Fetcher.RECEIVER, rolled_out_of_zone=Seen.YES)
    for key in (NEW, BEFORE_2025, OLD):
        assert found(report, key).outcome is YES
    assert found(report, NFHS).outcome is NO


def test_under_nfhs_a_baton_that_rolled_out_comes_back_into_the_zone() -> None:
    # MHSAA 2023
    report = replace(IN_ORDER, rolled_out_of_zone=Seen.YES, returned_into_zone=Seen.NO)
    finding = found(report, NFHS)
    assert (finding.outcome, finding.rule) == (YES, "5-10")
    assert found(replace(report, returned_into_zone=Seen.UNSURE), NFHS).outcome is OPEN
    assert found(report, NEW).outcome is NO


def test_under_nfhs_a_drop_outside_the_zone_during_the_pass_infringes() -> None:
    # MHSAA 2023
    report = replace(IN_ORDER, dropped_at=DropPlace.OUTSIDE_ZONE)
    assert found(report, NFHS).outcome is YES
    assert found(replace(report, fetched_by=Fetcher.NOBODY), NFHS).outcome is YES
    assert found(report, NEW).outcome is NO
    assert found(replace(IN_ORDER, dropped_at=DropPlace.ON_THE_LEG), NFHS).outcome is NO


def test_under_nfhs_an_unknown_place_may_have_let_the_other_runner_fetch_it() -> None:
    report = replace(IN_ORDER, fetched_by=Fetcher.RECEIVER, dropped_at=DropPlace.UNSURE)
    assert found(report, NFHS).outcome is OPEN
    assert found(report, NEW).outcome is YES


def test_going_back_to_the_drop_point_was_asked_until_31_october_2025() -> None:
    # press accounts of the change of 1 Nov 2025
    report = replace(IN_ORDER, returned_to_drop_point=Seen.NO)
    assert found(report, "world-athletics-2017").outcome is YES
    assert found(report, BEFORE_2025).outcome is YES
    assert found(report, NEW).outcome is NO


def test_a_baton_from_an_inner_lane_comes_back_to_the_own_lane_since_1_november_2025() -> None:
    # press accounts of the change of 1 Nov 2025
    report = replace(IN_ORDER, fetched_from_inner_lane=Seen.YES, own_lane_first=Seen.NO)
    finding = found(report, NEW)
    assert (finding.outcome, finding.rule) == (YES, "TR24.6")
    assert finding.consequence is Consequence.DISQUALIFICATION
    assert found(report, BEFORE_2025).outcome is NO
    assert found(replace(report, own_lane_first=Seen.YES), NEW).outcome is NO
    assert found(replace(report, fetched_from_inner_lane=Seen.UNSURE), NEW).outcome is OPEN


def test_a_baton_that_went_backward_was_to_be_returned_under_the_oldest_rule_alone() -> None:
    # older practice: rejoin where it was last in the hand (IAAF Rule 170.6)
    report = replace(IN_ORDER, went=Roll.BACKWARD, returned_to_drop_point=Seen.NO)
    assert found(report, BEFORE_2025).outcome is NO
    assert found(report, OLD).outcome is YES
    unsure = replace(report, went=Roll.UNSURE)
    assert found(unsure, BEFORE_2025).outcome is OPEN
    returned = replace(unsure, returned_to_drop_point=Seen.YES)
    assert found(returned, BEFORE_2025).outcome is NO


def test_a_baton_that_nobody_fetched_was_not_fetched_wrongly() -> None:
    report = replace(IN_ORDER, fetched_by=Fetcher.NOBODY)
    for key in editions():
        assert found(report, key).outcome is NO


def test_one_known_breach_outweighs_what_is_not_known() -> None:
    assert found(DroppedBaton(other_team_impeded=Seen.YES)).outcome is YES
