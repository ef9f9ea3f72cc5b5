"""The position of the baton decides whether a pass was made in the zone.

World Athletics TR24.7 in secondary texts; the reading of edges and possession is common practice;
old and new zones: IAAF Rule 170 (2012), German federation notice of 19 Sep 2017.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.book import editions
from app.rules.finding import Outcome
from app.rules.observation import (
    Holder,
    Infringement,
    Mark,
    PassBegunBeforeZone,
    PassCompletedBeforeZone,
    PassCompletedBeyondZone,
    Seen,
)
from app.rules.relay import Relay
from tests.rules.builders import (
    NEW,
    NFHS,
    OLD,
    at,
    begun,
    completed_before,
    completed_beyond,
    found,
)

YES, NO, OPEN = Outcome.INFRINGEMENT, Outcome.NO_INFRINGEMENT, Outcome.CANNOT_TELL
every_edition = pytest.mark.parametrize("key", editions())


@every_edition
def test_a_first_touch_short_of_the_zone_infringes(key: str) -> None:
    finding = found(begun(at(-0.6)), key)
    assert (finding.outcome, finding.infringement) == (YES, Infringement.PASS_BEGUN_BEFORE_ZONE)
    assert "0.60 m short of the start" in finding.reason


@every_edition
def test_a_first_touch_with_the_leading_end_past_the_start_is_in_order(key: str) -> None:
    # common practice: even if both runners are still outside
    assert found(begun(at(0.3)), key).outcome is NO


@every_edition
def test_sole_possession_short_of_the_start_infringes(key: str) -> None:
    finding = found(completed_before(at(-0.5)), key)
    assert finding.infringement is Infringement.PASS_COMPLETED_BEFORE_ZONE
    assert finding.outcome is YES


@every_edition
def test_sole_possession_past_the_end_infringes(key: str) -> None:
    assert found(completed_beyond(at(0.5)), key).outcome is YES
    assert found(completed_beyond(at(-0.5)), key).outcome is NO


@pytest.mark.parametrize("holder", [Holder.BOTH, Holder.INCOMING])
def test_a_baton_still_held_by_the_incoming_runner_in_the_zone_has_done_nothing(
    holder: Holder,
) -> None:
    # common practice
    finding = found(PassCompletedBeyondZone(baton=at(-2), held_by=holder))
    assert finding.outcome is OPEN
    assert "Nothing had happened yet" in finding.reason
    assert found(PassCompletedBeforeZone(baton=at(2), held_by=Holder.INCOMING)).outcome is NO


@pytest.mark.parametrize("holder", [Holder.BOTH, Holder.INCOMING])
def test_a_baton_still_held_past_the_end_can_only_be_passed_beyond(holder: Holder) -> None:
    finding = found(PassCompletedBeyondZone(baton=at(0.5), held_by=holder))
    assert finding.outcome is YES


def test_a_baton_that_both_hold_short_of_the_start_was_touched_there() -> None:
    finding = found(PassCompletedBeforeZone(baton=at(-1), held_by=Holder.BOTH))
    assert (finding.outcome, finding.infringement) == (YES, Infringement.PASS_BEGUN_BEFORE_ZONE)


def test_a_first_touch_past_the_end_is_completed_beyond() -> None:
    finding = found(begun(at(0.5, mark=Mark.ZONE_END)))
    assert finding.outcome is YES
    assert finding.infringement is Infringement.PASS_COMPLETED_BEYOND_ZONE


def test_a_hand_that_did_not_touch_began_nothing() -> None:
    assert found(PassBegunBeforeZone(baton=at(-3), touched=Seen.NO)).outcome is NO
    assert found(PassBegunBeforeZone(baton=at(-3), touched=Seen.UNSURE)).outcome is OPEN


def test_an_unknown_holder_leaves_it_open() -> None:
    finding = found(PassCompletedBeyondZone(baton=at(3), held_by=Holder.UNSURE))
    assert finding.outcome is OPEN
    assert "whether only the receiver held it" in finding.reason


@pytest.mark.parametrize("metres", [-0.2, -0.1, 0.0, 0.1, 0.19])
def test_within_the_uncertainty_nobody_can_tell(metres: float) -> None:
    assert found(begun(at(metres))).outcome is OPEN
    assert found(completed_before(at(metres))).outcome is OPEN
    assert found(completed_beyond(at(-metres))).outcome is OPEN


def test_an_edge_itself_has_not_been_passed() -> None:
    assert found(begun(at(0, 0))).outcome is NO
    assert found(completed_beyond(at(0, 0))).outcome is NO
    assert found(begun(at(-0.01, 0))).outcome is YES
    assert found(completed_beyond(at(0.01, 0))).outcome is YES


def test_the_same_touch_is_inside_the_new_zone_and_before_the_old_one() -> None:
    # 15 m before the leg line: 5 m into the 30 m zone, 5 m short of the old 20 m zone
    touch = begun(at(-15, mark=Mark.LEG_LINE))
    assert found(touch, NEW).outcome is NO
    assert found(touch, NFHS).outcome is NO
    old = found(touch, OLD)
    assert (old.outcome, old.rule) == (YES, "R170.7")
    assert "5.00 m short of the start of the zone of 20 m" in old.reason


def test_old_and_new_zones_agree_at_the_end_that_they_share() -> None:
    for metres, outcome in ((9, NO), (11, YES)):
        pass_seen = completed_beyond(at(metres, mark=Mark.LEG_LINE))
        assert found(pass_seen, OLD).outcome is found(pass_seen, NEW).outcome is outcome


def test_the_acceleration_zone_does_not_count_for_the_baton() -> None:
    # IAAF Rule 170.3 and 170.7 (2012)
    on_the_line = begun(at(0.5, mark=Mark.ACCELERATION_LINE))
    assert found(on_the_line, OLD).outcome is YES
    assert found(on_the_line, NEW).outcome is NO


def test_zones_of_a_medley_differ_by_take_over() -> None:
    # World Athletics TR24.3, from memory: 30 m, 30 m, 20 m
    touch = begun(at(-15, mark=Mark.LEG_LINE))
    outcomes = [found(touch, NEW, Relay.MEDLEY, take_over).outcome for take_over in (1, 2, 3)]
    assert outcomes == [NO, NO, YES]
    unnamed = found(touch, NEW, Relay.MEDLEY, None)
    assert unnamed.outcome is OPEN
    assert "take-over is not said" in unnamed.reason


def test_a_take_over_need_not_be_named_where_all_zones_are_alike() -> None:
    assert found(begun(at(-1)), NEW, Relay.FOUR_BY_400, None).outcome is YES


@pytest.mark.parametrize(
    "kind", [PassBegunBeforeZone, PassCompletedBeforeZone, PassCompletedBeyondZone]
)
def test_a_report_without_metres_rests_on_the_umpires_word(
    kind: type[PassBegunBeforeZone | PassCompletedBeforeZone | PassCompletedBeyondZone],
) -> None:
    assert found(kind(clearly=Seen.YES)).outcome is YES
    assert found(kind(clearly=Seen.NO)).outcome is NO
    bare = found(kind())
    assert bare.outcome is OPEN
    assert "Give metres from a mark" in bare.reason


@pytest.mark.parametrize(
    ("kind", "held_by", "by_answer"),
    [
        # common practice; outcomes for clearly outside, clearly not, and unsure
        (PassCompletedBeforeZone, Holder.RECEIVER, (YES, NO, OPEN)),
        (PassCompletedBeforeZone, Holder.INCOMING, (NO, NO, NO)),
        (PassCompletedBeforeZone, Holder.BOTH, (YES, NO, OPEN)),
        (PassCompletedBeforeZone, Holder.UNSURE, (OPEN, OPEN, OPEN)),
        (PassCompletedBeyondZone, Holder.RECEIVER, (YES, NO, OPEN)),
        (PassCompletedBeyondZone, Holder.INCOMING, (YES, OPEN, OPEN)),
        (PassCompletedBeyondZone, Holder.BOTH, (YES, OPEN, OPEN)),
        (PassCompletedBeyondZone, Holder.UNSURE, (OPEN, OPEN, OPEN)),
    ],
)
@every_edition
def test_without_metres_who_held_the_baton_decides_what_the_umpires_word_means(
    kind: type[PassCompletedBeforeZone | PassCompletedBeyondZone],
    held_by: Holder,
    by_answer: tuple[Outcome, Outcome, Outcome],
    key: str,
) -> None:
    answers = (Seen.YES, Seen.NO, Seen.UNSURE)
    told = [found(kind(clearly=answer, held_by=held_by), key).outcome for answer in answers]
    assert told == list(by_answer)


@pytest.mark.parametrize("held_by", Holder)
@pytest.mark.parametrize(
    ("kind", "outside"), [(PassCompletedBeforeZone, -3), (PassCompletedBeyondZone, 3)]
)
def test_the_umpires_word_means_the_same_as_metres(
    kind: type[PassCompletedBeforeZone | PassCompletedBeyondZone], outside: int, held_by: Holder
) -> None:
    for clearly, metres in ((Seen.YES, outside), (Seen.NO, -outside)):
        by_word = found(kind(clearly=clearly, held_by=held_by))
        by_metres = found(kind(baton=at(metres), held_by=held_by))
        assert by_word.outcome is by_metres.outcome
        assert by_word.infringement is by_metres.infringement


def test_a_baton_that_both_hold_clearly_short_of_the_start_was_touched_there() -> None:
    finding = found(PassCompletedBeforeZone(clearly=Seen.YES, held_by=Holder.BOTH))
    assert (finding.outcome, finding.infringement) == (YES, Infringement.PASS_BEGUN_BEFORE_ZONE)


def test_words_that_contradict_the_metres_leave_it_open() -> None:
    for report in (
        PassBegunBeforeZone(baton=at(5), clearly=Seen.YES),
        PassBegunBeforeZone(baton=at(-5), clearly=Seen.NO),
        PassCompletedBeforeZone(baton=at(5), clearly=Seen.YES),
        PassCompletedBeyondZone(baton=at(-5), clearly=Seen.YES),
        PassCompletedBeyondZone(baton=at(5), clearly=Seen.NO),
    ):
        finding = found(report)
        assert finding.outcome is OPEN
        assert "contradicts itself" in finding.reason


@pytest.mark.parametrize("key", [NEW, OLD, NFHS])
@pytest.mark.parametrize(
    ("report", "said", "mark"),
    [
        (begun(at(0.5)), "before", "zone start"),
        (begun(at(-3, mark=Mark.LEG_LINE)), "before", "leg line"),
        (begun(at(0.5, mark=Mark.ZONE_END)), "before", "zone end"),
        (completed_before(at(0.5)), "before", "zone start"),
        (PassCompletedBeforeZone(baton=at(2), held_by=Holder.INCOMING), "before", "zone start"),
        (PassBegunBeforeZone(baton=at(5), clearly=Seen.YES), "before", "zone start"),
        (completed_beyond(at(-0.5)), "beyond", "zone end"),
        (PassCompletedBeyondZone(baton=at(-2), held_by=Holder.BOTH), "beyond", "zone end"),
    ],
)
def test_a_distance_that_contradicts_what_was_seen_says_what_its_sign_means(
    report: PassBegunBeforeZone, said: str, mark: str, key: str
) -> None:
    reason = found(report, key).reason
    assert f"But the report says “{said} the zone”." in reason
    assert f"Metres short of the {mark} have a minus sign, metres past it have none" in reason


@pytest.mark.parametrize(
    "report",
    [
        begun(at(-0.5)),
        begun(at(0.1)),
        completed_before(at(-0.5)),
        completed_beyond(at(0.5)),
        PassBegunBeforeZone(baton=at(-5), clearly=Seen.NO),
        PassBegunBeforeZone(baton=at(5), touched=Seen.NO),
        PassCompletedBeyondZone(clearly=Seen.NO),
    ],
)
def test_a_distance_that_fits_or_does_not_tell_says_nothing_of_signs(
    report: PassBegunBeforeZone,
) -> None:
    assert "minus sign" not in found(report).reason


metres = st.floats(-40, 40)


@given(key=st.sampled_from(editions()), where=metres, farther=st.floats(0, 20), doubt=metres)
@settings(max_examples=200, deadline=None)
def test_moving_the_baton_farther_outside_never_clears_an_infringement(
    key: str, where: float, farther: float, doubt: float
) -> None:
    uncertainty = abs(doubt) / 4
    if found(completed_beyond(at(where, uncertainty)), key).outcome is YES and where > 0:
        assert found(completed_beyond(at(where + farther, uncertainty)), key).outcome is YES
    for report in (begun, completed_before):
        if found(report(at(where, uncertainty)), key).outcome is YES and where < 0:
            assert found(report(at(where - farther, uncertainty)), key).outcome is YES


@given(where=metres, less=st.floats(0, 1), uncertainty=st.floats(0, 10))
@settings(max_examples=100, deadline=None)
def test_a_better_measurement_never_overturns_a_certain_finding(
    where: float, less: float, uncertainty: float
) -> None:
    rough = found(completed_beyond(at(where, uncertainty))).outcome
    if rough is not OPEN:
        assert found(completed_beyond(at(where, uncertainty * less))).outcome is rough
