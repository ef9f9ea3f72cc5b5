"""Where receivers may wait and start, and in which order.

World Athletics TR24.19 as quoted on 30 Jul 2021; IAAF Rule 170.7 to 170.9 (2012).
"""

import pytest

from app.rules.book import book_on, editions
from app.rules.finding import Circumstances, Consequence, Outcome, judge
from app.rules.observation import (
    Infringement,
    Mark,
    ReceiverStartingOutside,
    ReceiverWaitingOutside,
    Seen,
    WaitingOrderChanged,
)
from app.rules.relay import Relay
from app.rules.track import LAP_M, OVAL_M
from tests.rules.builders import BEFORE_2025, NEW, OLD, at, found

YES, NO, OPEN = Outcome.INFRINGEMENT, Outcome.NO_INFRINGEMENT, Outcome.CANNOT_TELL
both_kinds = pytest.mark.parametrize("kind", [ReceiverWaitingOutside, ReceiverStartingOutside])
Kind = type[ReceiverWaitingOutside | ReceiverStartingOutside]
CHANGED = WaitingOrderChanged(changed=Seen.YES, order_fixed=Seen.YES)


@both_kinds
def test_a_receiver_in_the_old_acceleration_zone_is_in_order(kind: Kind) -> None:
    # IAAF Rule 170.7 (2012): up to 10 m before the zone, in races up to 4x200 m
    foot = kind(foot=at(-5, mark=Mark.ZONE_START))
    assert found(foot, OLD).outcome is NO
    assert found(foot, NEW).outcome is YES
    assert found(foot, OLD, Relay.FOUR_BY_400).outcome is YES


@both_kinds
def test_a_foot_on_the_acceleration_line_is_inside_and_one_over_it_is_not(kind: Kind) -> None:
    # common practice; the line's edge nearer the start counts (Athletics Victoria 2015)
    assert found(kind(foot=at(0, 0, Mark.ACCELERATION_LINE)), OLD).outcome is NO
    assert found(kind(foot=at(0.05, 0, Mark.ACCELERATION_LINE)), OLD).outcome is NO
    assert found(kind(foot=at(-0.01, 0, Mark.ACCELERATION_LINE)), OLD).outcome is YES


def test_the_new_zone_begins_where_the_old_acceleration_zone_began() -> None:
    # German federation notice of 19 Sep 2017: leg line unchanged
    for metres, outcome in ((-19, NO), (-21, YES)):
        foot = ReceiverStartingOutside(foot=at(metres, mark=Mark.LEG_LINE))
        assert found(foot, OLD).outcome is found(foot, NEW).outcome is outcome


def test_a_receiver_ten_metres_off_in_the_mixed_4x400_infringes_tr24_19() -> None:
    # Tokyo 2020, mixed 4x400 m heat of 30 Jul 2021 (press reports quoting TR24.19)
    off = at(10, 1, Mark.ZONE_END)
    finding = found(ReceiverStartingOutside(foot=off), "world-athletics-2017", Relay.FOUR_BY_400)
    assert (finding.outcome, finding.rule) == (YES, "TR24.19")
    assert finding.consequence is Consequence.DISQUALIFICATION


def test_a_receiver_whom_an_official_placed_there_is_for_the_referee() -> None:
    # Tokyo 2020: the jury reinstated the team because officials had placed the runner wrongly
    placed = ReceiverStartingOutside(foot=at(10, 1, Mark.ZONE_END), placed_by_official=Seen.YES)
    finding = found(placed, "world-athletics-2017", Relay.FOUR_BY_400)
    assert (finding.outcome, finding.consequence) == (OPEN, Consequence.NONE)
    assert "an official put the runner there" in finding.reason


def test_a_receiver_over_the_line_before_taking_the_baton_infringes() -> None:
    # Tokyo 2025, men's 4x400 m heat: third runner stepped over the zone line (press reports)
    foot = ReceiverStartingOutside(clearly=Seen.YES)
    finding = found(foot, BEFORE_2025, Relay.FOUR_BY_400, 2)
    assert (finding.outcome, finding.rule) == (YES, "TR24.19")


@both_kinds
def test_within_the_uncertainty_of_the_foot_nobody_can_tell(kind: Kind) -> None:
    assert found(kind(foot=at(-0.1))).outcome is OPEN
    assert found(kind(foot=at(0.1))).outcome is OPEN


@both_kinds
def test_a_receiver_without_metres_rests_on_the_umpires_word(kind: Kind) -> None:
    assert found(kind(clearly=Seen.YES)).outcome is YES
    assert found(kind(clearly=Seen.NO)).outcome is NO
    assert "Give metres from a mark" in found(kind()).reason
    assert found(kind()).outcome is OPEN


@both_kinds
def test_words_that_contradict_the_foot_leave_it_open(kind: Kind) -> None:
    assert found(kind(foot=at(-3), clearly=Seen.NO)).outcome is OPEN
    assert found(kind(foot=at(3), clearly=Seen.YES)).outcome is OPEN


def test_a_foot_in_an_unnamed_zone_of_a_medley_is_left_open() -> None:
    report = ReceiverWaitingOutside(foot=at(-3, mark=Mark.LEG_LINE))
    assert found(report, NEW, Relay.MEDLEY, None).outcome is OPEN


@pytest.mark.parametrize("key", editions())
def test_places_swapped_after_the_200_m_point_infringe(key: str) -> None:
    # IAAF Rule 170.9 (2012); TR24.20
    for take_over in (2, 3):
        finding = found(CHANGED, key, Relay.FOUR_BY_400, take_over)
        assert finding.outcome is YES
        assert finding.infringement is Infringement.WAITING_ORDER_CHANGED


@pytest.mark.parametrize(
    ("relay", "outcomes"),
    [
        (Relay.FOUR_BY_200, [NO, YES, YES]),  # Irish federation's document: the first leg in lanes
        (Relay.FOUR_BY_400, [YES, YES, YES]),  # from memory: two bends in lanes
        (Relay.FOUR_BY_800, [YES, YES, YES]),  # from memory: one bend in lanes
    ],
)
def test_on_an_oval_there_is_a_waiting_order_as_soon_as_lanes_are_left(
    relay: Relay, outcomes: list[Outcome]
) -> None:
    on_oval = book_on(NEW, OVAL_M)
    judged = [judge(CHANGED, Circumstances(relay, number, 0), on_oval) for number in (1, 2, 3)]
    assert [one.outcome for one in judged] == outcomes


def test_on_an_oval_a_zone_is_twenty_metres_long() -> None:
    # Irish federation's relay document, as quoted by a club: all exchanges indoors within 20 m
    foot = ReceiverWaitingOutside(foot=at(-12, mark=Mark.LEG_LINE))
    circumstances = Circumstances(Relay.FOUR_BY_200, 2, 0)
    assert judge(foot, circumstances, book_on(NEW, OVAL_M)).outcome is YES
    assert judge(foot, circumstances, book_on(NEW, LAP_M)).outcome is NO


def test_there_is_no_waiting_order_in_lanes() -> None:
    # IAAF Rule 170.8, 170.9 (2012): the order binds the third and fourth runner of a 4x400 m
    assert found(CHANGED, NEW, Relay.FOUR_BY_400, 1).outcome is NO
    assert found(CHANGED, NEW, Relay.FOUR_BY_100, 3).outcome is NO
    assert found(CHANGED, NEW, Relay.FOUR_BY_100, None).outcome is NO
    assert found(CHANGED, NEW, Relay.FOUR_BY_400, None).outcome is OPEN
    assert found(CHANGED, NEW, Relay.FOUR_BY_800, None).outcome is YES


def test_a_medley_leaves_its_lanes_before_the_third_take_over() -> None:
    # two bends in lanes: from memory
    outcomes = [found(CHANGED, NEW, Relay.MEDLEY, take_over).outcome for take_over in (1, 2, 3)]
    assert outcomes == [NO, NO, YES]


def test_an_order_not_yet_fixed_or_not_changed_is_in_order() -> None:
    for report in (
        WaitingOrderChanged(changed=Seen.YES, order_fixed=Seen.NO),
        WaitingOrderChanged(changed=Seen.NO, order_fixed=Seen.YES),
        WaitingOrderChanged(changed=Seen.NO),
    ):
        assert found(report, NEW, Relay.FOUR_BY_400, 2).outcome is NO


def test_an_order_that_nobody_is_sure_of_is_left_open() -> None:
    for report in (WaitingOrderChanged(), WaitingOrderChanged(changed=Seen.YES)):
        assert found(report, NEW, Relay.FOUR_BY_400, 2).outcome is OPEN
