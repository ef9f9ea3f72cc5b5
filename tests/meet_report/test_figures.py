"""Figures add up, and intervals and quantiles are those of the textbooks."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from app.meet_report.figures import (
    DECIDED,
    WITHOUT_WHITE,
    Facts,
    FlagShown,
    Outcome,
    Remedy,
    ReportMade,
    RulingMade,
    Section,
    Share,
    Step,
    Where,
    reckon,
)

NOON = datetime(2026, 6, 13, 12, tzinfo=UTC)
COUNTS = ("white", "yellow", "reports", "confirmed", "dismissed", "open", "withdrawn", "set_aside")

wheres = st.builds(
    Where,
    st.sampled_from([None, 1, 2, 3]),
    st.sampled_from([None, "start", "end"]),
    st.one_of(st.none(), st.integers(1, 10)),
)
officials = st.sampled_from(["a", "b", "c"])
seen = st.sampled_from(["", "dropped_baton", "help_given"])
instants = st.one_of(
    st.none(), st.integers(-600, 3600).map(lambda one: NOON + timedelta(seconds=one))
)
flags = st.builds(FlagShown, officials, wheres, seen, st.booleans())
cases = st.sampled_from(["case 1", "case 2", "case 3"])
reports = st.builds(
    ReportMade,
    officials,
    cases,
    wheres,
    seen,
    st.sampled_from(Outcome),
    st.booleans(),
    st.booleans(),
    instants,
    instants,
)
rulings = st.builds(RulingMade, cases, st.just(NOON), st.none())
remedies = st.builds(Remedy, st.just("protest"), st.just("rejected"), st.none() | cases)
facts = st.builds(
    Facts,
    st.lists(flags),
    st.lists(reports),
    st.lists(rulings),
    st.just([]),
    st.lists(remedies),
)


@given(facts)
def test_every_section_adds_up_to_the_whole(given_facts: Facts) -> None:
    figures = reckon(given_facts, by_official=True)
    for section in Section:
        for name in COUNTS:
            if name == "white" and section in WITHOUT_WHITE:
                assert {one.white for one in figures.by(section)} <= {None}
                continue
            added = sum(getattr(one, name) for one in figures.by(section))
            assert added == getattr(figures.whole, name), (section, name)


@given(facts)
def test_the_parts_of_every_bar_add_up_to_its_reports(given_facts: Facts) -> None:
    for one in reckon(given_facts, by_official=True).tallies:
        assert min(one.parts) >= 0
        assert sum(one.parts) == one.reports
        assert one.parts[2] == one.set_aside


@given(facts)
def test_rulings_are_counted_once_wherever_they_stand(given_facts: Facts) -> None:
    """Of the whole, each case once; of a section, under every key that one of its reports has."""
    figures = reckon(given_facts, by_official=True)
    ruled = {
        one.case
        for one in given_facts.reports
        if one.outcome in {Outcome.CONFIRMED, Outcome.DISMISSED}
    }
    assert figures.whole.rulings == len(ruled)
    for section in Section:
        counts = [one.rulings for one in figures.by(section)]
        assert max(counts, default=0) <= len(ruled) <= sum(counts)


@given(facts)
def test_the_own_figures_of_everybody_add_up_to_the_whole(given_facts: Facts) -> None:
    whole = reckon(given_facts, by_official=True).whole
    own = [reckon(given_facts.of(one), by_official=False).whole for one in ("a", "b", "c")]
    for name in COUNTS:
        assert sum(getattr(one, name) for one in own) == getattr(whole, name)


@given(facts, officials)
def test_own_figures_name_nobody_and_hold_nothing_of_others(
    given_facts: Facts, official: str
) -> None:
    own = given_facts.of(official)
    assert {one.official for one in (*own.flags, *own.reports)} <= {official}
    ruled_on = {one.case for one in own.reports if one.outcome in DECIDED}
    assert {one.case for one in (*own.rulings, *own.remedies)} <= ruled_on
    assert reckon(own, by_official=False).by(Section.OFFICIAL) == []


@given(st.integers(1, 400).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_intervals_are_those_of_scipy(counted: tuple[int, int]) -> None:
    expected = binomtest(*counted).proportion_ci(method="wilson")
    assert Share(*counted).interval == pytest.approx((expected.low, expected.high), abs=1e-12)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_intervals_are_those_of_the_literature(
    count: int, of: int, low: float, high: float
) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998), 857-872: table I, method 3 (from
    memory).
    """
    assert Share(count, of).interval == pytest.approx((low, high), abs=5e-5)


def test_of_nothing_there_is_no_share() -> None:
    assert Share(0, 0).interval is None


def ruled_after(*seconds: float) -> Facts:
    reports = [
        ReportMade("a", str(n), Where(1, "end", 4), "", Outcome.CONFIRMED, False, True, None, NOON)
        for n, _ in enumerate(seconds)
    ]
    rulings = [
        RulingMade(str(n), NOON + timedelta(seconds=one), None) for n, one in enumerate(seconds)
    ]
    return Facts([], reports, rulings, [], [])


@given(st.lists(st.integers(0, 7200), min_size=1, max_size=40))
def test_median_and_p90_are_those_of_numpy(seconds: list[int]) -> None:
    figures = reckon(ruled_after(*seconds), by_official=False)
    times = next(one for one in figures.times if one.step is Step.REPORT_TO_RULING)
    assert times.median == pytest.approx(np.quantile(seconds, 0.5))
    assert times.p90 == pytest.approx(np.quantile(seconds, 0.9))


def test_a_time_of_less_than_nothing_is_a_clock_that_was_off_and_is_not_reckoned() -> None:
    figures = reckon(ruled_after(60, -1, 120), by_official=False)
    times = next(one for one in figures.times if one.step is Step.REPORT_TO_RULING)
    assert (times.seconds, times.clock_off) == ((60.0, 120.0), 1)


def test_a_flag_whose_clock_was_never_compared_is_unknown_and_not_reckoned() -> None:
    figures = reckon(ruled_after(60), by_official=False)
    times = next(one for one in figures.times if one.step is Step.FLAG_TO_REPORT)
    assert (times.seconds, times.unknown) == ((), 1)


def test_a_report_without_a_flag_is_counted_as_such_and_not_as_a_clock_that_is_not_known() -> None:
    facts = ruled_after(60, 120)
    reports = [replace(one, is_flagged=one.case == "0") for one in facts.reports]
    from_flag, to_ruling, _ = reckon(replace(facts, reports=reports), by_official=False).times
    assert (from_flag.seconds, from_flag.unknown, from_flag.without_flag) == ((), 1, 1)
    assert (to_ruling.seconds, to_ruling.unknown, to_ruling.without_flag) == ((60, 120), 0, None)
