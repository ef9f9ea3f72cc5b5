"""Making a crew plan: from a task to who stands where, and how good that is."""

from __future__ import annotations

from collections.abc import Iterator

from app.planning.building import build
from app.planning.effort import Effort
from app.planning.facts import Assignment, Task
from app.planning.model import Model, Placed
from app.planning.results import Concern, CrewPlan, Unwatched
from app.planning.search import Search
from app.planning.tally import Fault, faults
from app.planning.wishes import Wish
from app.rules.relay import Edge


def plan_crew(task: Task, effort: Effort | None = None) -> CrewPlan:
    """The best plan that is found in time, or until somebody stops it.

    Raises ValueError for a task that contradicts itself, NoPlan where nothing satisfies what is
    firm.
    """
    model = build(task)
    best = Search(model, effort or Effort()).run()
    return CrewPlan(
        assignments=tuple(assignments(model, best.placed)),
        counted=best.counted,
        unwatched=tuple(_unwatched(model, best.placed)),
        concerns=_concerns(model, best.placed),
        seconds=best.seconds,
        stopped=best.stopped,
    )


def assignments(model: Model, placed: Placed) -> Iterator[Assignment]:
    """Who stands where, spell by spell; at a zone from its start to its end, inside first."""
    in_order = sorted(placed.items(), key=lambda one: (one[1], one[0]))
    for (person, spell), (zone, seat) in in_order:
        yield Assignment(
            person=model.task.people[person].id,
            heats=_heats(model, spell),
            relay=model.spells[spell].relay,
            take_overs=model.staffings[zone].zone.take_overs,
            edge=seat.edge,
            lanes=seat.lanes,
            side=seat.side,
        )


def _heats(model: Model, spell: int) -> tuple[str, ...]:
    return tuple(heat.id for heat in model.spells[spell].heats)


def _unwatched(model: Model, placed: Placed) -> Iterator[Unwatched]:
    watched: dict[tuple[int, Edge], set[int]] = {}
    for zone, seat in placed.values():
        watched.setdefault((zone, seat.edge), set()).update(seat.lanes)
    for zone, one in enumerate(model.staffings):
        spell = model.spell_of(zone)
        for edge in Edge:
            lanes = tuple(lane for lane in spell.lanes if lane not in watched.get((zone, edge), ()))
            if lanes:
                heats = tuple(heat.id for heat in spell.heats if heat.lanes.keys() & set(lanes))
                yield Unwatched(heats, spell.relay, one.zone.take_overs, edge, lanes)


def _concerns(model: Model, placed: Placed) -> dict[Wish, tuple[Concern, ...]]:
    found: dict[Wish, list[Concern]] = {}
    for fault in faults(model, placed):
        found.setdefault(fault.wish, []).append(_concern(model, fault))
    return {wish: tuple(concerns) for wish, concerns in found.items()}


def _concern(model: Model, fault: Fault) -> Concern:
    person = None if fault.person is None else model.task.people[fault.person].id
    return Concern(person, _heats(model, fault.spell), fault.times)
