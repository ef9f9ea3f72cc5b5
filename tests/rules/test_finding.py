"""Every observation gets a finding under every edition, with its rule."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.book import Book, editions, load_book
from app.rules.finding import Circumstances, Consequence, Outcome, judge, title_of
from app.rules.observation import Infringement, Observation
from app.rules.relay import Relay
from tests.rules.builders import OBSERVATION_OF, all_books, circumstances, found, observations

books = st.sampled_from(all_books())


@given(observation=observations(), around=circumstances(), book=books)
@settings(max_examples=600, deadline=None)
def test_judging_never_fails_and_always_says_why(
    observation: Observation, around: Circumstances, book: Book
) -> None:
    finding = judge(observation, around, book)
    assert finding.reason.endswith((".", "decides."))
    assert finding.rule == book.reference(finding.infringement)
    assert finding.edition == book.key
    infringes = finding.outcome is Outcome.INFRINGEMENT
    assert (finding.consequence is not Consequence.NONE) is infringes


@given(observation=observations(), around=circumstances(), book=books)
@settings(max_examples=100, deadline=None)
def test_the_same_facts_always_give_the_same_finding(
    observation: Observation, around: Circumstances, book: Book
) -> None:
    assert judge(observation, around, book) == judge(observation, around, book)


@pytest.mark.parametrize("key", editions())
@pytest.mark.parametrize("infringement", Infringement)
def test_a_bare_report_is_never_guessed_into_an_infringement(
    key: str, infringement: Infringement
) -> None:
    finding = found(OBSERVATION_OF[infringement](), key, Relay.FOUR_BY_400, 2)
    assert (finding.outcome, finding.consequence) == (Outcome.CANNOT_TELL, Consequence.NONE)
    assert finding.infringement is infringement
    assert finding.rule == load_book(key).infringements[infringement].rule


def test_the_words_for_outcomes_and_consequences_are_those_of_the_trade() -> None:
    assert [*Outcome] == ["infringement", "no infringement", "cannot tell"]
    assert [*Consequence] == ["disqualification", "noted", "none"]


def test_every_infringement_has_a_title_and_books_use_the_same() -> None:
    for infringement in Infringement:
        titles = {book.infringements[infringement].title for book in all_books()}
        assert titles == {title_of(infringement)}


@pytest.mark.parametrize("take_over", [0, 4, -1])
def test_a_take_over_that_does_not_exist_is_refused(take_over: int) -> None:
    with pytest.raises(ValueError, match="choose 1, 2 or 3"):
        Circumstances(Relay.FOUR_BY_100, take_over)
    with pytest.raises(ValueError, match="choose 1, 2 or 3"):
        load_book("nfhs-2019").zone(Relay.FOUR_BY_100, take_over)


def test_a_negative_count_of_lane_infringements_is_refused() -> None:
    with pytest.raises(ValueError, match="fewer than no"):
        Circumstances(Relay.FOUR_BY_100, 1, -1)
