"""Lane, help, hindrance and the baton in the hand.

IAAF Rule 170.15, 170.16 and 163.3 (2012); the lane rule since 1 Nov 2021 in a federation notice
of 31 Oct 2023; NFHS steps in umpires' rules information.
"""

from dataclasses import replace

import pytest

from app.rules.book import editions, load_book
from app.rules.finding import Consequence, Outcome, consequence_of
from app.rules.observation import (
    AnotherTeamObstructed,
    BatonNotInHand,
    HelpGiven,
    HinderedAfterPass,
    Infringement,
    LaneInfringement,
    LeftLaneAfterPass,
    Observation,
    OtherTeamsBaton,
    Seen,
)
from tests.rules.builders import BEFORE_2025, NEW, NFHS, OLD, found

YES, NO, OPEN = Outcome.INFRINGEMENT, Outcome.NO_INFRINGEMENT, Outcome.CANNOT_TELL
every_edition = pytest.mark.parametrize("key", editions())


def _on_the_line(steps: int | None = 1, forced_out: Seen = Seen.NO) -> LaneInfringement:
    return LaneInfringement(
        on_bend=Seen.YES, inner_line=Seen.YES, steps=steps, forced_out=forced_out
    )


@every_edition
@pytest.mark.parametrize(
    ("seen", "not_seen", "unsure"),
    [
        (OtherTeamsBaton(taken=Seen.YES), OtherTeamsBaton(taken=Seen.NO), OtherTeamsBaton()),
        (HelpGiven(helped=Seen.YES), HelpGiven(helped=Seen.NO), HelpGiven()),
        (
            AnotherTeamObstructed(obstructed=Seen.YES),
            AnotherTeamObstructed(obstructed=Seen.NO),
            AnotherTeamObstructed(),
        ),
        (
            BatonNotInHand(carried_otherwise=Seen.YES),
            BatonNotInHand(carried_otherwise=Seen.NO),
            BatonNotInHand(),
        ),
    ],
)
def test_a_single_fact_decides(
    key: str, seen: Observation, not_seen: Observation, unsure: Observation
) -> None:
    assert found(seen, key).outcome is YES
    assert found(not_seen, key).outcome is NO
    assert found(unsure, key).outcome is OPEN


def test_hindrance_had_to_be_wilful_under_the_older_rule() -> None:
    # IAAF Rule 170.15 (2012) against TR17.1
    careless = HinderedAfterPass(hindered=Seen.YES, wilful=Seen.NO)
    assert found(careless, OLD).outcome is NO
    assert found(careless, NEW).outcome is YES
    wilful = HinderedAfterPass(hindered=Seen.YES, wilful=Seen.YES)
    assert found(wilful, OLD).outcome is YES
    unsure = HinderedAfterPass(hindered=Seen.YES)
    assert found(unsure, OLD).outcome is OPEN
    assert found(unsure, NEW).outcome is YES


@every_edition
def test_nobody_hindered_is_in_order_and_a_doubt_is_left_open(key: str) -> None:
    assert found(HinderedAfterPass(hindered=Seen.NO), key).outcome is NO
    assert found(HinderedAfterPass(), key).outcome is OPEN
    assert found(HinderedAfterPass(wilful=Seen.YES), key).outcome is OPEN


@every_edition
def test_leaving_the_lane_after_the_pass_costs_only_when_it_hinders(key: str) -> None:
    left = LeftLaneAfterPass(left_before_clear=Seen.YES, hindered=Seen.YES)
    assert found(left, key).outcome is YES
    harmless = LeftLaneAfterPass(left_before_clear=Seen.YES, hindered=Seen.NO)
    assert found(harmless, key).outcome is NO
    assert found(LeftLaneAfterPass(left_before_clear=Seen.YES), key).outcome is OPEN


def test_the_first_lane_infringement_is_noted_and_the_second_disqualifies() -> None:
    # since 1 Nov 2021, counted per team over all rounds
    for key in (BEFORE_2025, NEW):
        first, second = found(_on_the_line(), key), found(_on_the_line(), key, earlier=1)
        assert (first.outcome, first.consequence) == (YES, Consequence.NOTED)
        assert (second.outcome, second.consequence) == (YES, Consequence.DISQUALIFICATION)


def test_a_lane_infringement_says_how_many_were_noted_before_and_whether_it_is_tolerated() -> None:
    # since 1 Nov 2021, counted per team over all rounds; a single step: from memory
    edition = "World Athletics, from 2025-11-01, tolerates a single step of a team in an event"
    first, second, third = (found(_on_the_line(), earlier=earlier).reason for earlier in (0, 1, 2))
    assert first.endswith(
        "None has been noted against the team in this event so far, so this one is only noted: "
        f"{edition}."
    )
    assert second.endswith(
        "One has been noted against the team in this event so far, so this one disqualifies by "
        f"TR17.2.1: {edition}, no more."
    )
    assert "2 have been noted against the team in this event so far" in third
    assert found(_on_the_line(3)).reason.endswith(
        f"{edition}, not 3 in a row: TR17.2.1 disqualifies."
    )


@pytest.mark.parametrize("key", [OLD, "world-athletics-2017", NFHS])
def test_an_edition_that_tolerates_no_lane_infringement_says_nothing_of_earlier_ones(
    key: str,
) -> None:
    assert "noted" not in found(_on_the_line(3), key, earlier=1).reason


def test_what_was_left_open_is_named_by_its_field() -> None:
    assert "“helped” was left open" in found(HelpGiven()).reason
    assert "“taken” was left open" in found(OtherTeamsBaton()).reason
    assert "“carried_otherwise” was left open" in found(BatonNotInHand()).reason


def test_before_november_2021_the_first_lane_infringement_disqualified() -> None:
    for key in ("world-athletics-2017", OLD):
        assert found(_on_the_line(), key).consequence is Consequence.DISQUALIFICATION


def test_a_tolerated_step_must_be_a_single_one_without_gain() -> None:
    # a single step: from memory
    assert found(_on_the_line(2)).consequence is Consequence.DISQUALIFICATION
    gained = replace(_on_the_line(), distance_gained=Seen.YES)
    assert found(gained).consequence is Consequence.DISQUALIFICATION


def test_nfhs_counts_three_steps_in_a_row() -> None:
    assert [found(_on_the_line(steps), NFHS).outcome for steps in (1, 2, 3)] == [NO, NO, YES]
    assert found(_on_the_line(None), NFHS).outcome is OPEN
    assert found(_on_the_line(None), NEW).outcome is YES


@every_edition
def test_a_runner_who_was_forced_out_has_not_infringed(key: str) -> None:
    assert found(_on_the_line(9, forced_out=Seen.YES), key).outcome is NO
    assert found(_on_the_line(9, forced_out=Seen.UNSURE), key).outcome is OPEN


@every_edition
def test_on_a_straight_only_gain_and_hindrance_count(key: str) -> None:
    harmless = LaneInfringement(
        on_bend=Seen.NO, distance_gained=Seen.NO, other_team_impeded=Seen.NO
    )
    assert found(harmless, key).outcome is NO
    assert found(LaneInfringement(on_bend=Seen.NO), key).outcome is OPEN
    impeding = LaneInfringement(on_bend=Seen.NO, other_team_impeded=Seen.YES)
    assert found(impeding, key).outcome is YES


@every_edition
def test_a_lane_report_that_names_no_place_is_left_open(key: str) -> None:
    assert found(LaneInfringement(), key).outcome is OPEN


def test_only_the_lane_rule_tolerates_anything() -> None:
    book = load_book(NEW)
    for infringement in Infringement:
        noted = consequence_of(infringement, book, 0) is Consequence.NOTED
        assert noted is (infringement is Infringement.LANE_INFRINGEMENT)
        assert consequence_of(infringement, book, 1) is Consequence.DISQUALIFICATION
