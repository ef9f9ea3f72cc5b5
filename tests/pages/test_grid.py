"""The grid of a heat's posts, without a service."""

from __future__ import annotations

from datetime import UTC, datetime

from app.crew.queries import Post
from app.crew.wire import Side
from app.ids import OfficialId, PostId
from app.pages.grid import Grid, Shown, Watched, grid_of
from app.reports.wire import Flag, PostLine
from app.rules.relay import Edge

AT = datetime(2026, 6, 13, 12, 0, tzinfo=UTC)
BO = OfficialId("bo")


def a_post(key: str, *lanes: int, take_over: int = 1, edge: Edge = Edge.END) -> Post:
    return Post(PostId(key), BO, take_over, edge, frozenset(lanes), Side.INSIDE, frozenset())


def a_line(key: str, flag: Flag | None, *, withdrawn: bool = False, by: str = "bo") -> PostLine:
    called = None if flag is None else OfficialId(by)
    return PostLine(
        post=PostId(key),
        official=BO,
        official_name="Bo",
        words="",
        take_over=1,
        flag=flag,
        withdrawn=withdrawn,
        called_at=AT if flag else None,
        called_by=called,
        called_by_name=called,
    )


def a_grid(posts: list[Post], *lines: PostLine, to_come: bool = False) -> Grid:
    named = {PostId("a"): frozenset({4})}
    known = {line.post: line for line in lines}
    return grid_of(Watched(tuple(posts), known, tuple(range(1, 9)), named, to_come))


def test_every_edge_of_every_lane_stands_in_a_block() -> None:
    grid = a_grid([a_post("a", 3, 4)], a_line("a", Flag.YELLOW))
    assert [(row.take_over, row.edge) for row in grid.rows] == [
        (take_over, edge) for take_over in (1, 2, 3) for edge in (Edge.START, Edge.END)
    ]
    for row in grid.rows:
        lanes = [lane for block in row.blocks for lane in block.lanes]
        assert lanes == list(range(1, 9)), row


def test_a_post_is_one_block_over_its_lanes_and_names_those_it_reported() -> None:
    grid = a_grid([a_post("a", 3, 4)], a_line("a", Flag.YELLOW))
    (block,) = grid.of("yellow")
    assert (block.first, block.span, block.named, block.numbers) == (3, 2, (4,), "3–4")
    assert [one.numbers for one in grid.rows[1].blocks] == ["1–2", "3–4", "5–8"]


def test_lanes_that_do_not_lie_side_by_side_are_told_one_by_one() -> None:
    grid = a_grid([a_post("a", 1, 2, 5)], a_line("a", Flag.WHITE))
    (block,) = grid.of("white")
    assert (block.first, block.span, block.numbers) == (1, 5, "1–2, 5")
    gaps = [one.numbers for one in grid.rows[1].blocks if one.shown is Shown.UNWATCHED]
    assert gaps == ["3–4", "6–8"]


def test_a_post_is_silent_once_the_heat_was_started_and_awaited_before() -> None:
    posts, line = [a_post("a", 3)], a_line("a", None)
    assert [one.key for one in a_grid(posts, line).of("silent")] == ["a"]
    before = a_grid(posts, line, to_come=True)
    assert [one.key for one in before.of("awaited")] == ["a"]
    assert before.of("silent") == ()


def test_a_flag_that_was_taken_back_is_neither_yellow_nor_silence() -> None:
    grid = a_grid([a_post("a", 3)], a_line("a", Flag.YELLOW, withdrawn=True))
    assert [one.key for one in grid.of("taken back")] == ["a"]
    assert grid.of("yellow") == grid.of("silent") == ()


def test_a_flag_called_by_somebody_else_says_so() -> None:
    grid = a_grid([a_post("a", 3)], a_line("a", Flag.WHITE, by="chief"))
    assert grid.of("white")[0].is_by_another
    assert not a_grid([a_post("a", 3)], a_line("a", Flag.WHITE)).of("white")[0].is_by_another


def test_two_posts_on_one_lane_both_stand_in_the_row() -> None:
    grid = a_grid(
        [a_post("a", 3, 4), a_post("b", 4, 5)], a_line("a", Flag.WHITE), a_line("b", None)
    )
    there = [(one.key, one.numbers) for one in grid.rows[1].blocks if one.post]
    assert there == [("a", "3–4"), ("b", "4–5")]
