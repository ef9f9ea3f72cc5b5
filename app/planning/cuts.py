"""Where a row of heats is cut, so that somebody may take over a post within it.

Posts change where they did in the plan before, and where it may be changed; around what is pinned
for a heat; and where anybody's hours begin or end. Of the latter those that give most heats to
most people: each cut makes the plan larger, and the last ones help nobody (common practice).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from app.planning.facts import PlannedHeat, Span, Task
from app.planning.spells import begins_s, ends_s, rows_of

MOST_BY_HOURS = 16


def cuts_of(task: Task) -> frozenset[int]:
    """The starts of the heats with which another part of a row begins."""
    return frozenset({*_by_before(task), *_by_pins(task), *_by_hours(task)})


def _by_before(task: Task) -> Iterator[int]:
    """From when on it may be changed, and between two heats for which it has not the same."""
    if task.before is None:
        return
    yield task.before.from_s
    stood: dict[str, set[object]] = defaultdict(set)
    for one in task.before.assignments:
        for heat in one.heats:
            stood[heat].add((one.person, one.take_overs, one.edge, one.lanes, one.side))
    yield from _where_changed(task, stood)


def _by_pins(task: Task) -> Iterator[int]:
    """Between two heats for which not the same is pinned."""
    pinned: dict[str, set[object]] = defaultdict(set)
    for pin in task.pins:
        pinned[pin.heat].add((pin.person, pin.take_over, pin.edge, pin.lanes))
    yield from _where_changed(task, pinned)


def _where_changed(task: Task, of_heats: Mapping[str, set[object]]) -> Iterator[int]:
    in_order = sorted(task.heats, key=lambda heat: heat.starts_s)
    for before, heat in pairwise(in_order):
        if of_heats.get(before.id) != of_heats.get(heat.id):
            yield heat.starts_s


def _by_hours(task: Task) -> Iterator[int]:
    gained: Counter[int] = Counter()
    for row in rows_of(task.heats, task.settings, task.template):
        for person in task.people:
            for span in person.hours:
                gained.update(_gained(task, row, span))
    most_first = sorted(gained.items(), key=lambda one: (-one[1], one[0]))
    return (cut for cut, _ in most_first[:MOST_BY_HOURS])


def _gained(task: Task, row: Sequence[PlannedHeat], span: Span) -> dict[int, int]:
    """The cuts that give part of a row to whoever is there for a span, with its heats."""
    there = [span.holds(begins_s(heat, task.settings), ends_s(heat, task.settings)) for heat in row]
    changes = [n for n, (before, now) in enumerate(pairwise(there), 1) if before != now]
    return {row[n].starts_s: sum(there) for n in changes}
