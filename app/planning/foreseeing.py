"""What no plan can go below, known without solving: where there are too few people at a time,
however they stand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil

from app.planning.model import Model
from app.planning.spells import in_use
from app.planning.tally import faults_at
from app.planning.wishes import Wish
from app.rules.relay import Edge


def foreseen(model: Model, wish: Wish) -> int:
    """How much every plan falls short of a wish at least. Of the load it holds for plans with full
    crews alone.
    """
    match wish:
        case Wish.EVEN_LOAD:
            return _load(model)
        case Wish.WATCHED | Wish.EXPERIENCE | Wish.FULL_CREWS:
            to_come = (at for at in range(len(model.spells)) if not model.has_begun(at))
            return _begun(model, wish) + sum(_short_of(model, wish, spell) for spell in to_come)
        case _:
            return 0


def _begun(model: Model, wish: Wish) -> int:
    """What is known of the heats that have begun."""
    return sum(
        fault.times
        for zone in model.begun
        for fault in faults_at(model, zone, {})
        if fault.wish is wish
    )


def _short_of(model: Model, wish: Wish, spell: int) -> int:
    there = [at for at in range(len(model.task.people)) if model.serves(at, spell)]
    zones = model.zones_in(spell)
    if wish is Wish.WATCHED:
        return _unwatched(model, spell, len(there))
    if wish is Wish.EXPERIENCE:
        experienced = sum(model.is_experienced(at) for at in there)
        return _people_short([model.experienced_ends[zone] for zone in zones], experienced)
    return _people_short([model.full_crews[zone] for zone in zones], len(there))


def _unwatched(model: Model, spell: int, people: int) -> int:
    """By how many edges so many people fall short where each has one of the posts that watch most.
    Posts of several numbers of people may share lanes, so that it may be more in truth.
    """
    of, wanted, watched = model.spells[spell], 0, []
    for zone in model.zones_in(spell):
        take_overs = len(model.staffings[zone].zone.take_overs)
        wanted += take_overs * len(Edge) * in_use(of, of.lanes)
        watched += [take_overs * in_use(of, seat.lanes) for seat in model.seats(zone)]
    return max(0, wanted - sum(sorted(watched, reverse=True)[:people]))


def _people_short(wanted: Sequence[Mapping[int, int]], there: int) -> int:
    """By how many people a spell's zones fall short, heat by heat: its heats of as many lanes want
    the same at each.
    """
    if not wanted:
        return 0
    return sum(heats * max(0, len(wanted) * number - there) for number, heats in wanted[0].items())


def _load(model: Model) -> int:
    heats = sum(people * times for wanted in model.full_crews for people, times in wanted.items())
    return ceil(heats / max(1, len(model.task.people)))
