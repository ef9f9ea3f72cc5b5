"""Which posts a zone has for a number of people, and how its lanes are shared out among them.

The handbook's crew of six for eight lanes: one on each side watches the start for half of the
lanes, two on each side the end for a quarter each. Fewer people have merged posts, down to one an
edge. All of it is common practice; a meet may bring a template of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from app.planning.facts import PostShape, Template
from app.rules.relay import Edge, Side

_INSIDE_FIRST = {Side.INSIDE: 0, Side.OUTSIDE: 1}


def default_template(lanes: int) -> Template:
    """For a track with so many lanes, from six people a zone down to one an edge."""
    inside, outside = Side.INSIDE, Side.OUTSIDE
    starts = {1: (inside,), 2: (inside, outside)}
    ends = {**starts, 3: (inside, inside, outside), 4: (inside, inside, outside, outside)}
    crews = {6: (2, 4), 5: (2, 3), 4: (2, 2), 3: (1, 2), 2: (1, 1)}
    return Template(
        {
            people: (
                *_shapes(Edge.START, starts[at_start], lanes),
                *_shapes(Edge.END, ends[at_end], lanes),
            )
            for people, (at_start, at_end) in crews.items()
        }
    )


def _shapes(edge: Edge, sides: Sequence[Side], lanes: int) -> tuple[PostShape, ...]:
    most = ceil(lanes / len(sides))
    return tuple(PostShape(edge, side, most) for side in sides)


def shared_out(posts: Sequence[PostShape], lanes: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """The lanes of each post, in the order of the posts; `lanes` has those first that are to be
    watched where the posts cannot take all.

    Each edge is shared out on its own: spans without a gap among the lanes that are taken, the
    inner lanes to the posts inside, as even as the posts allow.
    """
    shares: list[tuple[int, ...]] = [()] * len(posts)
    for edge in Edge:
        numbers = sorted(
            (number for number, post in enumerate(posts) if post.edge is edge),
            key=lambda number: _INSIDE_FIRST[posts[number].side],
        )
        counts = _counts([posts[number].most_lanes for number in numbers], len(lanes))
        rest = sorted(lanes[: sum(counts)])
        for number, count in zip(numbers, counts, strict=True):
            shares[number], rest = tuple(rest[:count]), rest[count:]
    return tuple(shares)


def _counts(most: Sequence[int], lanes: int) -> list[int]:
    """How many lanes each post takes: one after another to whoever has fewest and may have more."""
    counts = [0] * len(most)
    for _ in range(min(lanes, sum(most))):
        open_posts = [number for number, limit in enumerate(most) if counts[number] < limit]
        counts[min(open_posts, key=lambda number: (counts[number], number))] += 1
    return counts
