"""What the heats that have begun come to, zone by zone.

Who stood there is no choice any more, and may be what no template knows: one for each take-over of
a place, two at one post, one at both edges. So it is counted here, heat by heat and post by post,
as the plan before has it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from app.planning.facts import Assignment, PlannedHeat, Task
from app.planning.spells import Spell, Zone
from app.rules.relay import Edge


@dataclass(frozen=True, slots=True)
class Begun:
    """By how many edges of lanes, experienced people at the end and people of full crews a zone
    fell short, over the heats of its spell.
    """

    unwatched: int
    experienced: int
    people: int


def begun_zones(task: Task, spells: Sequence[Spell], zones: Sequence[Zone]) -> Mapping[int, Begun]:
    """Each zone of the spells that have begun, by its number."""
    stood: dict[str, list[Assignment]] = defaultdict(list)
    for one in task.stood():
        for heat in one.heats:
            stood[heat].append(one)
    return {
        at: _begun(task, zone, spells[zone.spell].heats, stood)
        for at, zone in enumerate(zones)
        if task.has_begun(spells[zone.spell].heats[0])
    }


def _begun(
    task: Task,
    zone: Zone,
    heats: Sequence[PlannedHeat],
    stood: Mapping[str, Sequence[Assignment]],
) -> Begun:
    unwatched = experienced = people = 0
    for heat in heats:
        here = [one for one in stood[heat.id] if {*one.take_overs} & {*zone.take_overs}]
        watching = [one for one in here if heat.lanes.keys() & {*one.lanes}]
        unwatched += _unwatched(heat, zone, here)
        experienced += _short_of_experience(task, heat, watching)
        full = task.template.full_crew(len(heat.lanes))
        people += max(0, full - len({one.person for one in watching}))
    return Begun(unwatched, experienced, people)


def _unwatched(heat: PlannedHeat, zone: Zone, here: Collection[Assignment]) -> int:
    """Each take-over by itself: one for the first has not watched the second."""
    watched = {
        (take_over, one.edge, lane)
        for one in here
        for take_over in one.take_overs
        for lane in one.lanes
    }
    wanted = {
        (take_over, edge, lane)
        for take_over in zone.take_overs
        for edge in Edge
        for lane in heat.lanes
    }
    return len(wanted - watched)


def _short_of_experience(task: Task, heat: PlannedHeat, here: Collection[Assignment]) -> int:
    if not task.has_experienced:
        return 0
    at_end = {one.person for one in here if one.edge is Edge.END}
    there = sum(
        person.id in at_end and person.experience >= task.settings.experienced
        for person in task.people
    )
    return max(0, task.template.experienced_ends(len(heat.lanes)) - there)
