"""Windows count elapsed minutes from what opened them, the last instant included."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.book import editions, load_book
from app.rules.windows import (
    MeetTerms,
    Remedy,
    Window,
    WindowOpener,
    close_from,
    is_open,
    windows_opened,
)
from tests.rules.builders import NEW, NFHS

NOON = datetime(2026, 6, 20, 12, 0, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
NO_TERMS = MeetTerms()


def _opened(
    opener: WindowOpener, key: str = NEW, terms: MeetTerms = NO_TERMS, when: datetime = NOON
) -> tuple[Window, ...]:
    return windows_opened(opener, when, load_book(key), terms)


def test_an_announcement_opens_thirty_minutes_for_protests() -> None:
    # World Athletics TR8.2
    (window,) = _opened(WindowOpener.ANNOUNCEMENT)
    assert (window.kind, window.minutes, window.rule) == ("protest", 30, "TR8.2")
    assert (window.origin, window.remedy) == ("edition", Remedy.PROTEST)
    assert window.closes_at == NOON + timedelta(minutes=30)


@pytest.mark.parametrize(
    ("opener", "rule"),
    [(WindowOpener.AMENDED_ANNOUNCEMENT, "TR8.7.1"), (WindowOpener.ADVICE, "TR8.7.2")],
)
def test_a_decision_opens_thirty_minutes_for_an_appeal(opener: WindowOpener, rule: str) -> None:
    # World Athletics TR8.7: amended result announced, or advice that nothing is amended
    (window,) = _opened(opener)
    assert (window.kind, window.minutes, window.rule) == ("appeal", 30, rule)
    assert window.remedy is Remedy.APPEAL


def test_nfhs_windows_are_those_of_rule_3_5_3() -> None:
    # NFHS 3-5-3a to 3-5-3d
    (misapplied,) = _opened(WindowOpener.ANNOUNCEMENT, NFHS)
    assert (misapplied.kind, misapplied.minutes) == ("misapplication of rules", 30)
    assert misapplied.rule == "3-5-3a"
    (clerical,) = _opened(WindowOpener.END_OF_MEET, NFHS)
    assert (clerical.closes_at, clerical.minutes) == (None, 48 * 60)
    assert clerical.counts_from == "end of meet"
    at_any_time = _opened(WindowOpener.ANY_TIME, NFHS)
    assert "ineligible participant" in [window.kind for window in at_any_time]
    assert all(window.closes_at is None for window in at_any_time)


def test_an_appeal_without_a_limit_in_the_edition_closes_only_by_the_meets_own_terms() -> None:
    # NFHS 3-5: left to the games committee
    (unset,) = _opened(WindowOpener.ADVICE, NFHS)
    assert (unset.closes_at, unset.minutes) == (None, None)
    assert is_open(unset, NOON + timedelta(days=400))
    (own,) = _opened(WindowOpener.ADVICE, NFHS, MeetTerms(appeal_minutes=20))
    assert (own.closes_at, own.origin) == (NOON + timedelta(minutes=20), "meet")


def test_the_meets_own_minutes_take_the_place_of_the_editions_and_say_so() -> None:
    terms = MeetTerms(protest_minutes=15)
    (protest,) = _opened(WindowOpener.ANNOUNCEMENT, NEW, terms)
    assert (protest.minutes, protest.origin, protest.rule) == (15, "meet", "TR8.2")
    (appeal,) = _opened(WindowOpener.ADVICE, NEW, terms)
    assert (appeal.minutes, appeal.origin) == (30, "edition")


def test_the_meets_protest_minutes_leave_the_other_nfhs_windows_alone() -> None:
    (clerical,) = _opened(WindowOpener.END_OF_MEET, NFHS, MeetTerms(protest_minutes=15))
    assert (clerical.minutes, clerical.origin) == (2880, "edition")


def test_the_last_microsecond_is_inside_and_the_next_is_not() -> None:
    # no code found says whether "within 30 minutes" includes its last instant: read as inclusive
    (window,) = _opened(WindowOpener.ANNOUNCEMENT)
    end = NOON + timedelta(minutes=30)
    assert is_open(window, end)
    assert not is_open(window, end + MICROSECOND)
    assert is_open(window, NOON)
    assert not is_open(window, NOON - MICROSECOND)


@pytest.mark.parametrize(
    "announced",
    [
        datetime(2026, 3, 29, 1, 45, tzinfo=ZoneInfo("Europe/Berlin")),  # clocks go forward at 2
        datetime(2026, 10, 25, 2, 45, tzinfo=ZoneInfo("Europe/Berlin")),  # clocks go back at 3
        datetime(2026, 11, 1, 1, 45, tzinfo=ZoneInfo("America/New_York")),
    ],
)
def test_a_window_survives_the_hour_change(announced: datetime) -> None:
    (window,) = _opened(WindowOpener.ANNOUNCEMENT, when=announced)
    start = announced.astimezone(UTC)
    assert window.opened_at == start
    assert window.closes_at == start + timedelta(minutes=30)
    local_end = (start + timedelta(minutes=30)).astimezone(announced.tzinfo)
    assert is_open(window, local_end)
    assert not is_open(window, (start + timedelta(minutes=31)).astimezone(announced.tzinfo))


def test_a_time_without_a_zone_is_refused() -> None:
    naive = NOON.replace(tzinfo=None)
    with pytest.raises(ValueError, match="no time zone"):
        _opened(WindowOpener.ANNOUNCEMENT, when=naive)
    (window,) = _opened(WindowOpener.ANNOUNCEMENT)
    with pytest.raises(ValueError, match="no time zone"):
        is_open(window, naive)


@pytest.mark.parametrize("minutes", [0, -1, 7 * 24 * 60 + 1])
def test_terms_that_leave_no_time_or_no_end_are_refused(minutes: int) -> None:
    with pytest.raises(ValueError, match="not possible"):
        MeetTerms(protest_minutes=minutes)
    with pytest.raises(ValueError, match="not possible"):
        MeetTerms(appeal_minutes=minutes)
    with pytest.raises(ValueError, match="not possible"):
        MeetTerms(protest_minutes_before_next_round=minutes)


def test_a_window_that_counts_from_the_end_of_the_meet_closes_once_that_is_known() -> None:
    # NFHS 3-5-3b: up to 48 hours after the meet
    ended_at = NOON + timedelta(hours=5)
    (window,) = windows_opened(
        WindowOpener.END_OF_MEET, NOON, load_book(NFHS), NO_TERMS, ended_at=ended_at
    )
    assert window.closes_at == close_from(48 * 60, ended_at) == ended_at + timedelta(hours=48)
    assert (window.opened_at, window.counts_from) == (NOON, "end of meet")


def test_a_window_that_would_be_over_before_it_opens_is_not_opened() -> None:
    long_ago = NOON - timedelta(hours=48)
    for ended_at, count in ((long_ago, 1), (long_ago - MICROSECOND, 0)):
        opened = windows_opened(
            WindowOpener.END_OF_MEET, NOON, load_book(NFHS), NO_TERMS, ended_at=ended_at
        )
        assert len(opened) == count


def test_a_result_waits_for_what_can_lapse_and_not_for_what_never_closes() -> None:
    # NFHS 3-5-3c: ineligibility, at any time when it is discovered
    waits = {
        opener: {window.can_lapse for window in _opened(opener, NFHS)}
        for opener in (WindowOpener.ANNOUNCEMENT, WindowOpener.END_OF_MEET, WindowOpener.ANY_TIME)
    }
    assert waits == {
        WindowOpener.ANNOUNCEMENT: {True},
        WindowOpener.END_OF_MEET: {True},
        WindowOpener.ANY_TIME: {False},
    }


@given(
    usual=st.none() | st.integers(1, 600),
    shorter=st.none() | st.integers(1, 600),
    appeal=st.none() | st.integers(1, 600),
    leads_on=st.booleans(),
)
def test_minutes_before_a_next_round_are_for_protests_about_a_round_that_leads_on(
    usual: int | None, shorter: int | None, appeal: int | None, leads_on: bool
) -> None:
    terms = MeetTerms(usual, appeal, protest_minutes_before_next_round=shorter)
    own = shorter if leads_on and shorter is not None else usual
    book = load_book(NEW)
    (protest,) = windows_opened(WindowOpener.ANNOUNCEMENT, NOON, book, terms, leads_on=leads_on)
    assert (protest.minutes, protest.origin) == ((30, "edition") if own is None else (own, "meet"))
    (advised,) = windows_opened(WindowOpener.ADVICE, NOON, book, terms, leads_on=leads_on)
    assert advised.minutes == (appeal or 30)


@pytest.mark.parametrize("key", editions())
def test_every_edition_names_the_rule_by_which_the_jury_is_final(key: str) -> None:
    # World Athletics TR8.11 (published summary), IAAF Rule 146, NFHS 3-5
    assert load_book(key).jury_final_by in {"TR8.11", "R146", "3-5"}


@given(
    key=st.sampled_from(editions()),
    opener=st.sampled_from(WindowOpener),
    minutes=st.none() | st.integers(1, 600),
    later=st.timedeltas(timedelta(0), timedelta(days=4)),
)
@settings(max_examples=100, deadline=None)
def test_a_window_is_open_exactly_until_it_closes(
    key: str, opener: WindowOpener, minutes: int | None, later: timedelta
) -> None:
    for window in _opened(opener, key, MeetTerms(minutes, minutes)):
        ends = window.closes_at
        assert is_open(window, NOON + later) is (ends is None or NOON + later <= ends)
        if window.minutes is not None and opener is not WindowOpener.END_OF_MEET:
            assert ends == NOON + timedelta(minutes=window.minutes)
