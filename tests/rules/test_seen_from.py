"""What is seen from which edge: complete, and asking for nothing that a report cannot say."""

from __future__ import annotations

from typing import Annotated, get_args, get_origin, get_type_hints

import pytest

from app.rules.book import editions, load_book
from app.rules.facts import Means, Position, Seen
from app.rules.finding import judge
from app.rules.observation import FROM_END, FROM_START, Infringement
from app.rules.relay import Edge, Relay
from app.rules.seen_from import Asked, seen_from
from app.rules.verdict import Circumstances, Outcome
from tests.rules.builders import OBSERVATION_OF

FACTS = {
    Asked.BATON_FROM_START: ("baton", FROM_START, Edge.START),
    Asked.BATON_FROM_END: ("baton", FROM_END, Edge.END),
    Asked.FOOT_FROM_START: ("foot", FROM_START, Edge.START),
}
DECIDES = " Answer yes or no: without it the finding is “cannot tell”."


def facts_of(infringement: Infringement) -> dict[str, tuple[object, list[object]]]:
    """The facts of an observation with their types, and what is said about each."""
    hints = get_type_hints(OBSERVATION_OF[infringement], include_extras=True)
    return {
        name: (get_args(hint)[0], list(get_args(hint)[1:]))
        if get_origin(hint) is Annotated
        else (hint, [])
        for name, hint in hints.items()
    }


@pytest.mark.parametrize("infringement", Infringement)
def test_a_position_is_asked_for_where_a_report_has_one_and_from_its_own_edge(
    infringement: Infringement,
) -> None:
    sight, facts = seen_from(infringement), facts_of(infringement)
    positions = {name for name, (kind, _said) in facts.items() if kind == Position | None}
    if sight.position is Asked.NONE:
        assert not positions
        return
    name, said, edge = FACTS[sight.position]
    assert positions == {name}
    assert said in facts[name][1]
    assert sight.edges == (edge,), "what is measured from an edge is seen from there"


@pytest.mark.parametrize("infringement", Infringement)
def test_every_question_is_about_a_fact_that_is_answered_yes_or_no(
    infringement: Infringement,
) -> None:
    sight, facts = seen_from(infringement), facts_of(infringement)
    assert (sight.position is Asked.NONE) == bool(sight.questions)
    for question in sight.questions:
        kind, _said = facts[question.fact]
        assert kind is Seen
        assert question.words.endswith("?")


def test_where_one_fact_decides_it_is_the_one_question() -> None:
    deciding = {}
    for infringement in Infringement:
        for name, (_kind, said) in facts_of(infringement).items():
            words = [one.words for one in said if isinstance(one, Means)]
            if any(one.endswith(DECIDES) for one in words):
                deciding[infringement] = (name, words[0].removesuffix(DECIDES))
    assert len(deciding) == 4
    for infringement, (fact, words) in deciding.items():
        (question,) = seen_from(infringement).questions
        assert (question.fact, question.words) == (fact, words)


@pytest.mark.parametrize("edition", editions())
@pytest.mark.parametrize("infringement", [one for one in Infringement if seen_from(one).questions])
def test_answering_every_question_with_yes_leaves_no_infringement_as_none(
    infringement: Infringement, edition: str
) -> None:
    """What an edition asks besides may leave it open; it never speaks the other way."""
    yes = {question.fact: Seen.YES for question in seen_from(infringement).questions}
    observation = OBSERVATION_OF[infringement](**yes)
    circumstances = Circumstances(Relay.FOUR_BY_400, 2, 0)
    finding = judge(observation, circumstances, load_book(edition))
    assert finding.outcome is not Outcome.NO_INFRINGEMENT


def test_every_edge_has_something_to_watch_for() -> None:
    for edge in Edge:
        assert any(seen_from(one).edges == (edge,) for one in Infringement)
