"""Posts that reports keep in words: told again in the page's language, whatever the plan was."""

from __future__ import annotations

from itertools import product

import pytest

from app.crew.queries import Post, lanes_in_words
from app.crew.wire import Side
from app.ids import OfficialId, PostId
from app.pages.post_words import KeptPost, kept_post
from app.reports.arriving import post_words
from app.rules.relay import Edge

LANES = ((3,), (3, 4), (1, 2, 5), (1, 2, 3, 6, 7, 8))


@pytest.mark.parametrize(
    ("take_over", "edge", "lanes", "side"), list(product((1, 2, 3), Edge, LANES, Side))
)
def test_every_post_of_a_plan_is_read_from_its_words(
    take_over: int, edge: Edge, lanes: tuple[int, ...], side: Side
) -> None:
    post = Post(PostId("p"), OfficialId("o"), take_over, edge, frozenset(lanes), side, frozenset())
    figures = lanes_in_words(lanes).partition(" ")[2]
    kept = kept_post(post_words(post, None))
    assert kept == KeptPost(str(take_over), edge, figures, side)
    assert kept.is_one_lane == (len(lanes) == 1)


def test_an_own_observation_has_a_take_over_alone() -> None:
    assert kept_post(post_words(None, 2)) == KeptPost("2", None, None, None)


@pytest.mark.parametrize("words", [post_words(None, None), "at the tower", "", "take-over 1, end"])
def test_words_of_another_shape_are_left_as_they_are(words: str) -> None:
    assert kept_post(words) is None
