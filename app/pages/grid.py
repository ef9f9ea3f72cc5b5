"""Who watches which edge of which zone in a heat, what they have shown, and who is missing?

Pure: from the posts that are expected, and what each has shown, to the rows of a page. A post is
one block over its lanes, since a flag is a post's; which of its lanes it named stands within it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from app.crew.queries import Post
from app.ids import PostId
from app.plurals import spans
from app.reports.wire import Flag, PostLine
from app.rules.cover import PostPlace, uncovered
from app.rules.relay import Edge, Side


class Shown(StrEnum):
    """What stands in a block: the post's flag, that none came yet, or that nobody watches."""

    WHITE = "white"
    YELLOW = "yellow"
    TAKEN_BACK = "taken back"
    SILENT = "silent"
    AWAITED = "awaited"
    UNWATCHED = "unwatched"


@dataclass(frozen=True, slots=True)
class Block:
    """A post over its lanes, or a run of lanes that nobody watches (then without `post`). `named`
    are the lanes that its flags and reports are about.
    """

    key: str
    lanes: tuple[int, ...]
    shown: Shown
    named: tuple[int, ...] = ()
    post: PostLine | None = None
    side: Side | None = None

    @property
    def first(self) -> int:
        """The lane at which it begins."""
        return self.lanes[0]

    @property
    def span(self) -> int:
        """Over how many lanes it reaches."""
        return self.lanes[-1] - self.lanes[0] + 1

    @property
    def numbers(self) -> str:
        """Its lanes in figures: 3–4, or 1–2, 5."""
        return spans(self.lanes)

    @property
    def is_by_another(self) -> bool:
        """Whether somebody else has called for this post."""
        return self.post is not None and self.post.called_by not in {None, self.post.official}


@dataclass(frozen=True, slots=True)
class Row:
    """One edge of a take-over's zone."""

    take_over: int
    edge: Edge
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """All edges of a heat, its lanes, and how many posts have shown what."""

    lanes: int
    rows: tuple[Row, ...]

    @property
    def blocks(self) -> tuple[Block, ...]:
        """All blocks, edge by edge."""
        return tuple(block for row in self.rows for block in row.blocks)

    def of(self, shown: str) -> tuple[Block, ...]:
        """The blocks in which this stands."""
        return tuple(block for block in self.blocks if block.shown == shown)


@dataclass(frozen=True, slots=True)
class Watched:
    """What a grid is made of: posts, what they have shown, the lanes in use and those named."""

    posts: tuple[Post, ...]
    lines: Mapping[PostId, PostLine]
    lanes: tuple[int, ...]
    named: Mapping[PostId, frozenset[int]]
    is_to_come: bool


def grid_of(watched: Watched) -> Grid:
    """The grid of a heat; its edges in the order in which they are run."""
    gaps = uncovered(
        (PostPlace(one.id, one.take_over, one.edge, one.lanes) for one in watched.posts),
        watched.lanes,
    )
    edges = [(take_over, edge) for take_over in (1, 2, 3) for edge in (Edge.START, Edge.END)]
    rows = []
    for take_over, edge in edges:
        there = [one for one in watched.posts if (one.take_over, one.edge) == (take_over, edge)]
        blocks = [_block(one, watched) for one in there]
        open_lanes = [one.lane for one in gaps if (one.take_over, one.edge) == (take_over, edge)]
        blocks += _unwatched(take_over, edge, open_lanes)
        ordered = sorted(blocks, key=lambda block: (block.first, block.key))
        rows.append(Row(take_over, edge, tuple(ordered)))
    highest = [lane for row in rows for block in row.blocks for lane in block.lanes]
    return Grid(max([*watched.lanes, *highest], default=0), tuple(rows))


def _block(post: Post, watched: Watched) -> Block:
    line = watched.lines[post.id]
    named = tuple(sorted(watched.named.get(post.id, frozenset())))
    shown = _shown(line, is_to_come=watched.is_to_come)
    return Block(post.id, tuple(sorted(post.lanes)), shown, named, line, post.side)


def _shown(line: PostLine, *, is_to_come: bool) -> Shown:
    if line.withdrawn:
        return Shown.TAKEN_BACK
    if line.flag is None:
        return Shown.AWAITED if is_to_come else Shown.SILENT
    return Shown.YELLOW if line.flag is Flag.YELLOW else Shown.WHITE


def _unwatched(take_over: int, edge: Edge, lanes: Iterable[int]) -> Iterator[Block]:
    """The lanes that nobody watches, one block for lanes side by side."""
    run: list[int] = []
    for lane in [*sorted(lanes), None]:
        if run and (lane is None or lane != run[-1] + 1):
            yield Block(f"none-{take_over}-{edge}-{run[0]}", tuple(run), Shown.UNWATCHED)
            run = []
        if lane is not None:
            run.append(lane)
