"""What a plan comes to, wish by wish, counted from who stands where and from nothing else.

The solver's own sums are bounds of these: a column may stand higher than it must. So a plan is
judged, and explained, by this count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

from app.planning.facts import MINUTE_S
from app.planning.model import Model, Placed
from app.planning.seats import Seat
from app.planning.spells import in_use
from app.planning.wishes import Wish, own_at, wanted_at_end, wishes_of
from app.rules.relay import Edge


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing short of a wish: how much, in which spell, and whom it concerns if anybody."""

    wish: Wish
    spell: int
    times: int
    person: int | None = None
    zone: int | None = None


def placed_by(model: Model, values: list[float]) -> Placed:
    """Who stands where by a solution of the linear programme."""
    return {
        (person, model.staffings[zone].zone.spell): (zone, seat)
        for (person, zone, seat), column in model.taken.items()
        if values[column] > 0.5
    }


def tally(model: Model, placed: Placed) -> dict[Wish, int]:
    """The count of each wish, in their order; less is better."""
    counts = dict.fromkeys(wishes_of(model), 0)
    for fault in faults(model, placed):
        counts[fault.wish] += fault.times
    counts[Wish.EVEN_LOAD] = max(loads(model, placed).values(), default=0)
    return counts


def loads(model: Model, placed: Placed) -> Counter[int]:
    """The heats that each person stands."""
    heats: Counter[int] = Counter()
    for person, spell in placed:
        heats[person] += len(model.spells[spell].heats)
    return heats


def faults(model: Model, placed: Placed) -> Iterator[Fault]:
    """Everything that falls short of a wish, the load of the busiest aside."""
    yield from _at_zones(model, placed)
    for person in range(len(model.task.people)):
        served = sorted(spell for who, spell in placed if who == person)
        yield from _past_the_stint(model, person, served, placed)
        yield from _moves(model, person, served, placed)
    yield from _over_own_club(model, placed)
    yield from _changes(model, placed)


def _at_zones(model: Model, placed: Placed) -> Iterator[Fault]:
    crews: dict[int, list[tuple[int, Seat]]] = {}
    for (person, _), (zone, seat) in placed.items():
        crews.setdefault(zone, []).append((person, seat))
    for zone, one in enumerate(model.staffings):
        crew, spell = crews.get(zone, []), model.spell_of(zone)
        watched = sum(in_use(spell, seat.lanes) for _, seat in crew)
        unwatched = len(one.zone.take_overs) * (len(Edge) * in_use(spell, spell.lanes) - watched)
        if unwatched:
            yield Fault(Wish.WATCHED, spell.number, unwatched, zone=zone)
        experienced = _experienced(model, crew)
        wanted = model.heats_by(zone, partial(wanted_at_end, model.task))
        if short := _short(wanted, experienced):
            yield Fault(Wish.EXPERIENCE, spell.number, short, zone=zone)
        if missing := _short(model.heats_by(zone, model.task.template.full_crew), len(crew)):
            yield Fault(Wish.FULL_CREWS, spell.number, missing, zone=zone)


def _short(wanted: Mapping[int, int], there: int) -> int:
    return sum(max(0, number - there) * heats for number, heats in wanted.items())


def _experienced(model: Model, crew: list[tuple[int, Seat]]) -> int:
    enough = model.task.settings.experienced
    return sum(
        seat.edge is Edge.END and model.task.people[person].experience >= enough
        for person, seat in crew
    )


def _past_the_stint(
    model: Model, person: int, served: list[int], placed: Placed
) -> Iterator[Fault]:
    longest_s = model.task.settings.longest_stint_min * MINUTE_S
    since = served[0] if served else 0
    for before, spell in zip([None, *served], served, strict=False):
        if before is None or model.timing.is_break(before, spell):
            since = spell
        elif model.spells[spell].ends_s - model.spells[since].begins_s > longest_s:
            yield Fault(Wish.BREAKS, spell, 1, person, placed[person, spell][0])


def _moves(model: Model, person: int, served: list[int], placed: Placed) -> Iterator[Fault]:
    for first, then in pairwise(served):
        here, there = (placed[person, at][0] for at in (first, then))
        is_elsewhere = model.staffings[here].zone.place_m != model.staffings[there].zone.place_m
        if is_elsewhere and not model.timing.is_break(first, then):
            yield Fault(Wish.FEW_MOVES, then, 1, person, there)


def _over_own_club(model: Model, placed: Placed) -> Iterator[Fault]:
    for (person, spell), (zone, seat) in placed.items():
        own = model.task.people[person].affiliation
        if heats := own_at(model, zone, seat, own):
            yield Fault(Wish.OWN_CLUB, spell, heats, person, zone)


def _changes(model: Model, placed: Placed) -> Iterator[Fault]:
    """Posts that differ from the plan before; whoever dropped out had no choice."""
    if model.before is None:
        return
    known = model.known()
    for person, spell in sorted(model.before.keys() | placed.keys()):
        differs = model.before.get((person, spell)) != placed.get((person, spell))
        if differs and person not in model.dropped and spell in known:
            heats = len(model.spells[spell].heats)
            yield Fault(Wish.UNCHANGED, spell, heats, person)
