"""The best plan of a small case, by looking at every plan there is.

Of each spell all crews that break nothing by themselves are listed, then all rows of them are
counted by the verifier.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from app.planning.facts import Assignment, Task
from app.rules.relay import Edge
from tests.planning.verifier import PLACES, Turn, Verifier, _even_shares

MOST_PLANS = 60_000


def best_counts(task: Task) -> list[int] | None:
    """The smallest counts, the more important first; None where no plan is firm."""
    verifier = Verifier(task)
    crews = [list(_crews(verifier, turn)) for turn in verifier.turns]
    size = 1
    for one in crews:
        size *= len(one)
    assert size <= MOST_PLANS, f"{size} plans are no small case"
    best: list[int] | None = None
    for row in product(*crews):
        plan = [one for crew in row for one in crew]
        counts = verifier.counts(plan)
        if (best is None or counts < best) and not verifier.broken(plan):
            best = counts
    return best


def _crews(verifier: Verifier, turn: Turn) -> Iterator[list[Assignment]]:
    posts = sorted(set(_posts(verifier, turn)), key=repr)
    for chosen in product([None, *posts], repeat=len(verifier.task.people)):
        crew = [
            Assignment(person.id, turn.ids, turn.relay, *post)
            for person, post in zip(verifier.task.people, chosen, strict=True)
            if post is not None
        ]
        if _is_possible(verifier, turn, crew):
            yield crew


def _is_possible(verifier: Verifier, turn: Turn, crew: list[Assignment]) -> bool:
    alone = any(list(verifier._alone(turn, one)) for one in crew)
    return not alone and not list(verifier._crews(turn, crew))


def _posts(verifier: Verifier, turn: Turn) -> Iterator[tuple]:
    for edges in verifier._templates(turn):
        for edge in Edge:
            shares = _even_shares(turn.lanes, [most for _, most in edges[edge]])
            for (side, _), share in zip(edges[edge], shares, strict=True):
                for take_overs in PLACES[turn.relay].values():
                    if share:
                        yield take_overs, edge, share, side
