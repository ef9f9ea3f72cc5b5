"""The best plan of a small case, by looking at every plan there is.

Posts change where the planner's spells do: that is what a plan is. Of each spell all crews that
break nothing by themselves are listed, then all rows of them are counted by the verifier.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from app.planning.cuts import cuts_of
from app.planning.facts import Assignment, Task
from app.planning.spells import Spell, cut_into_spells
from app.rules.relay import Edge, Side
from tests.planning.verifier import PLACES, Verifier

MOST_PLANS = 60_000


def best_counts(task: Task) -> list[int] | None:
    """The smallest counts, the more important first; None where no plan is firm."""
    verifier = Verifier(task)
    spells = cut_into_spells(task.heats, task.settings, task.template, cuts_of(task))
    crews = [list(_crews(verifier, spell)) for spell in spells]
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


def _crews(verifier: Verifier, spell: Spell) -> Iterator[list[Assignment]]:
    posts = sorted(set(_posts(verifier, spell)), key=repr)
    ids = tuple(heat.id for heat in spell.heats)
    for chosen in product([None, *posts], repeat=len(verifier.task.people)):
        crew = [
            Assignment(person.id, ids, spell.relay, *post)
            for person, post in zip(verifier.task.people, chosen, strict=True)
            if post is not None
        ]
        if _is_possible(verifier, spell, crew):
            yield crew


def _is_possible(verifier: Verifier, spell: Spell, crew: list[Assignment]) -> bool:
    """Shares of two numbers of people are never mixed at a zone."""
    duties = [duty for one in verifier.people for duty in verifier.duties(crew, one)]
    alone = any(list(verifier._alone(verifier.people[d.post.person], d)) for d in duties)
    if alone or any(list(verifier._crews(heat, crew)) for heat in spell.heats):
        return False
    for take_overs in PLACES[spell.relay].values():
        here = {(one.edge, one.lanes, one.side) for one in crew if one.take_overs == take_overs}
        if not any(here <= set(shares) for shares in _shares(verifier, spell)):
            return False
    return True


def _posts(
    verifier: Verifier, spell: Spell
) -> Iterator[tuple[tuple[int, ...], Edge, tuple[int, ...], Side]]:
    for shares in _shares(verifier, spell):
        for edge, share, side in shares:
            for take_overs in PLACES[spell.relay].values():
                yield take_overs, edge, share, side


def _shares(verifier: Verifier, spell: Spell) -> Iterator[list[tuple[Edge, tuple[int, ...], Side]]]:
    """The posts of each number of people, inside first."""
    for posts in verifier.task.template.posts.values():
        found = []
        for edge in Edge:
            here = sorted((one.side, one.most_lanes) for one in posts if one.edge == edge)
            shares = _even_shares(spell.lanes, [most for _, most in here])
            pairs = zip(here, shares, strict=True)
            found += [(edge, share, side) for (side, _), share in pairs if share]
        yield found


def _even_shares(lanes: tuple[int, ...], most: list[int]) -> list[tuple[int, ...]]:
    """As even as the posts allow, the inner posts one more where it does not come out even."""
    counts = [0] * len(most)
    for _ in lanes:
        least = min(count for count, limit in zip(counts, most, strict=True) if count < limit)
        taker = next(n for n, c in enumerate(counts) if c == least and c < most[n])
        counts[taker] += 1
    ends = [sum(counts[: number + 1]) for number in range(len(counts))]
    return [lanes[end - count : end] for end, count in zip(ends, counts, strict=True)]
