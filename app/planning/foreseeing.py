"""What no plan can go below, known without solving: where there are too few people at a time,
however they stand.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from math import ceil

from app.planning.model import Model
from app.planning.spells import in_use
from app.planning.tally import faults_at
from app.planning.wanted import Wanted
from app.planning.wishes import Wish
from app.rules.relay import Edge


def foreseen(model: Model, wish: Wish, short: int = 0) -> int:
    """How much every plan falls short of a wish at least. Of the load it holds for plans that are
    `short` of full crews by no more people than that.
    """
    match wish:
        case Wish.EVEN_LOAD:
            return _load(model, short)
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
        return _people_short(model, zones, model.experienced_ends, experienced)
    return _people_short(model, zones, model.full_crews, len(there))


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


def _people_short(
    model: Model, zones: Sequence[int], wanted: Sequence[Sequence[Wanted]], there: int
) -> int:
    """By how many people a spell's zones fall short, heat by heat: nobody is at two of them, and
    some have nothing to watch where lanes of the spell are empty.
    """
    wished: Counter[int] = Counter()
    can_be: Counter[int] = Counter()
    for zone in zones:
        for one in wanted[zone]:
            most = one.can_be(model.staffings[zone])
            wished.update(dict.fromkeys(one.heats, one.people))
            can_be.update(dict.fromkeys(one.heats, most))
    return sum(people - min(there, can_be[heat]) for heat, people in wished.items())


def _load(model: Model, short: int) -> int:
    """The heats that were stood, and those that full crews would stand, but for whom they lack."""
    begun = sum(len(model.spells[spell].heats) for _, spell in model.stood)
    to_come = sum(
        one.people * len(one.heats)
        for zone, wanted in enumerate(model.full_crews)
        for one in wanted
        if zone not in model.begun
    )
    lacking = short - sum(one.people for one in model.begun.values())
    return ceil((begun + to_come - lacking) / max(1, len(model.task.people)))
