"""Making a crew plan: from a task to who stands where, and how good that is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from time import perf_counter

from app.planning.building import build
from app.planning.effort import Effort, NoPlan
from app.planning.facts import Assignment, Task
from app.planning.model import Model, Placed
from app.planning.pinning import contradiction, told
from app.planning.results import Concern, Counted, CrewPlan, Unwatched
from app.planning.search import Search
from app.planning.seats import Seat
from app.planning.settling import settled
from app.planning.tally import Fault, faults, tally
from app.planning.wanted import Wanted
from app.planning.wishes import Wish
from app.rules.relay import Edge

NAMING_S = 5.0
"""However short the time: so long it is looked for which pins contradict each other."""
UNNAMED = (
    "The pins cannot all hold; which of them was not found in the time. Search for longer, or take "
    "some of them back."
)


def plan_crew(
    task: Task, effort: Effort | None = None, begin: Sequence[Assignment] = ()
) -> CrewPlan:
    """The best plan that is found in time, or until somebody stops it. `begin` is a plan of the
    same task to begin with.

    Raises ValueError for a task that contradicts itself, NoPlan where nothing satisfies what is
    firm.
    """
    effort = effort or Effort()
    began = perf_counter()
    model = build(task)
    started = placed_of(model, begin) if begin else None
    try:
        best = Search(model, effort, begin=started, began=began).run()
    except NoPlan as none:
        if not (none.is_proven and task.pins):
            raise
        left = replace(effort, limit_s=max(began + effort.limit_s - perf_counter(), NAMING_S))
        pins = contradiction(build(task, is_pinned=False), left)
        why = told(task, pins) if pins else UNNAMED
        raise NoPlan(is_proven=True, why=why) from none
    return _plan(model, settled(model, best.placed), best.counted, best.seconds, best.stopped)


def taking_place_of(plan: CrewPlan, model: Model, placed: Placed) -> CrewPlan:
    """A better plan of the same task. What was proven of the other holds of this one too: as far as
    that was the best, this one is as good.
    """
    counts = tally(model, placed)
    counted = (
        Counted(one.wish, counts[one.wish], min(one.bound, counts[one.wish]))
        for one in plan.counted
    )
    return _plan(model, settled(model, placed), tuple(counted), plan.seconds, plan.stopped)


def _plan(
    model: Model, placed: Placed, counted: tuple[Counted, ...], seconds: float, stopped: bool
) -> CrewPlan:
    found = list(faults(model, placed))
    return CrewPlan(
        assignments=tuple(assignments(model, placed)),
        counted=counted,
        unwatched=tuple(_unwatched(model, placed)),
        concerns=_concerns(model, [one for one in found if not model.has_begun(one.spell)]),
        seconds=seconds,
        stopped=stopped,
        run=_sums([one for one in found if model.has_begun(one.spell)]),
        idle={
            Wish.EXPERIENCE: _idle(model, model.experienced_ends),
            Wish.FULL_CREWS: _idle(model, model.full_crews),
        },
    )


def placed_of(model: Model, plan: Sequence[Assignment]) -> Placed:
    """A plan of the same task in the numbers of its model; who stood where is known of the plan
    before.
    """
    begun = {heat.id for heat in model.task.heats if model.task.has_begun(heat)}
    people = {person.id: at for at, person in enumerate(model.task.people)}
    spells = {spell.heats[0].id: spell.number for spell in model.spells}
    zones = {(one.zone.spell, one.zone.take_overs): at for at, one in enumerate(model.staffings)}
    placed = dict(model.stood)
    for one in plan:
        if one.heats[0] in begun:
            continue
        spell = spells[one.heats[0]]
        zone = zones[spell, one.take_overs]
        placed[people[one.person], spell] = (zone, Seat(one.edge, one.side, one.lanes))
    return placed


def assignments(model: Model, placed: Placed) -> Iterator[Assignment]:
    """Who stands where, spell by spell; at a zone from its start to its end, inside first. Heats
    that have begun are given back as the plan before has them.
    """
    yield from model.task.stood()
    to_come = (one for one in placed.items() if not model.has_begun(one[0][1]))
    in_order = sorted(to_come, key=lambda one: (one[1], one[0]))
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
        for edge in Edge if not model.has_begun(spell.number) else ():
            lanes = tuple(sorted(spell.run_in - watched.get((zone, edge), set())))
            if lanes:
                heats = tuple(heat.id for heat in spell.heats if heat.lanes.keys() & set(lanes))
                yield Unwatched(heats, spell.relay, one.zone.take_overs, edge, lanes)


def _concerns(model: Model, found: Sequence[Fault]) -> dict[Wish, tuple[Concern, ...]]:
    concerns: dict[Wish, list[Concern]] = {}
    for fault in found:
        concerns.setdefault(fault.wish, []).append(_concern(model, fault))
    return {wish: tuple(theirs) for wish, theirs in concerns.items()}


def _concern(model: Model, fault: Fault) -> Concern:
    person = None if fault.person is None else model.task.people[fault.person].id
    relay = model.spells[fault.spell].relay
    take_overs = () if fault.zone is None else model.staffings[fault.zone].zone.take_overs
    return Concern(person, _heats(model, fault.spell), fault.times, relay, take_overs)


def _idle(model: Model, wished: Sequence[Sequence[Wanted]]) -> int:
    """How many people are wished for who could have no lane in use, in the heats to come."""
    return sum(
        (one.people - one.can_be(model.staffings[zone])) * len(one.heats)
        for zone, wanted in enumerate(wished)
        for one in (wanted if zone not in model.begun else ())
    )


def _sums(found: Sequence[Fault]) -> dict[Wish, int]:
    sums: Counter[Wish] = Counter()
    for fault in found:
        sums[fault.wish] += fault.times
    return dict(sums)
