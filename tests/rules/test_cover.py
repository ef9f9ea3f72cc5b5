"""An edge of a lane that nobody watches is named.

The crew of six a zone is one workable default of common practice: each side watches the start for
half of the lanes, and two on each side the end for two lanes each.
"""

from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.cover import Gap, PostPlace, uncovered, watchers
from app.rules.relay import TAKE_OVERS, Edge


def _post(name: str, take_over: int, edge: Edge, *lanes: int) -> PostPlace:
    return PostPlace(name, take_over, edge, frozenset(lanes))


def _crew_of_six(take_over: int) -> list[PostPlace]:
    return [
        _post("start inside", take_over, Edge.START, 1, 2, 3, 4),
        _post("start outside", take_over, Edge.START, 5, 6, 7, 8),
        _post("end inside 1", take_over, Edge.END, 1, 2),
        _post("end inside 2", take_over, Edge.END, 3, 4),
        _post("end outside 1", take_over, Edge.END, 5, 6),
        _post("end outside 2", take_over, Edge.END, 7, 8),
    ]


def test_six_umpires_a_zone_watch_every_edge_of_eight_lanes() -> None:
    posts = [place for take_over in TAKE_OVERS for place in _crew_of_six(take_over)]
    assert uncovered(posts, range(1, 9)) == ()
    assert watchers(posts, 2, Edge.END, 4) == ("end inside 2",)


def test_a_lane_beyond_the_plan_is_named_with_both_its_edges() -> None:
    gaps = uncovered(_crew_of_six(1), range(1, 10), take_overs=(1,))
    assert gaps == (Gap(1, Edge.START, 9), Gap(1, Edge.END, 9))


def test_a_zone_without_anybody_is_named_lane_by_lane() -> None:
    gaps = uncovered(_crew_of_six(1), [3, 3], take_overs=(2, 1))
    assert gaps == (Gap(2, Edge.START, 3), Gap(2, Edge.END, 3))


def test_several_posts_may_watch_the_same_edge_and_each_is_named_once() -> None:
    posts = [
        _post("A", 1, Edge.START, 1),
        _post("B", 1, Edge.START, 1, 2),
        _post("A", 1, Edge.START, 1, 3),
    ]
    assert watchers(posts, 1, Edge.START, 1) == ("A", "B")
    assert watchers(posts, 1, Edge.END, 1) == ()


places = st.builds(
    PostPlace,
    post=st.sampled_from(["A", "B", "C"]),
    take_over=st.sampled_from(TAKE_OVERS),
    edge=st.sampled_from(Edge),
    lanes=st.frozensets(st.integers(1, 10), max_size=5),
)


@given(st.lists(places, max_size=12), st.sets(st.integers(1, 10)))
@settings(max_examples=60, deadline=None)
def test_an_edge_is_a_gap_exactly_when_it_has_no_watcher(
    posts: list[PostPlace], lanes: set[int]
) -> None:
    gaps = uncovered(posts, lanes)
    for take_over in TAKE_OVERS:
        for edge in Edge:
            for lane in lanes:
                is_gap = Gap(take_over, edge, lane) in gaps
                assert is_gap is (not watchers(posts, take_over, edge, lane))
