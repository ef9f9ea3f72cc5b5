"""What a plan comes to, wish by wish, counted from who stands where and from nothing else.

The solver's own sums are bounds of these: a column may stand higher than it must. So a plan is
judged, and explained, by this count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

from app.planning.begun import Begun
from app.planning.model import Model, Placed, Post
from app.planning.seats import Seat, watched
from app.planning.spells import in_use
from app.planning.wishes import Wish, wishes_of
from app.rules.relay import Edge

Row: TypeAlias = Mapping[int, Post]
"""The posts of one person, by spell."""
Crew: TypeAlias = Mapping[Seat, int]
"""Who has which seat of one zone."""


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


def rows_of(model: Model, placed: Placed) -> list[dict[int, Post]]:
    """The posts of each person."""
    rows: list[dict[int, Post]] = [{} for _ in model.task.people]
    for (person, spell), post in placed.items():
        rows[person][spell] = post
    return rows


def crews_of(model: Model, placed: Placed) -> list[dict[Seat, int]]:
    """The crew of each zone."""
    crews: list[dict[Seat, int]] = [{} for _ in model.staffings]
    for (person, _), (zone, seat) in placed.items():
        crews[zone][seat] = person
    return crews


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
    for zone, crew in enumerate(crews_of(model, placed)):
        yield from faults_at(model, zone, crew)
    for person, row in enumerate(rows_of(model, placed)):
        yield from faults_of(model, person, row)


def faults_at(model: Model, zone: int, crew: Crew) -> Iterator[Fault]:
    """What falls short at one zone with this crew, whoever they are."""
    spell, take_overs = model.spell_of(zone), model.staffings[zone].zone.take_overs
    if zone in model.begun:
        yield from _faults_begun(model.begun[zone], spell.number, zone)
        return
    wanted = len(Edge) * in_use(spell, spell.lanes)
    unwatched = len(take_overs) * (wanted - watched(spell, crew))
    if unwatched:
        yield Fault(Wish.WATCHED, spell.number, unwatched, zone=zone)
    experienced = [seat for seat, person in crew.items() if model.is_experienced(person)]
    if short := sum(one.short(experienced) for one in model.experienced_ends[zone]):
        yield Fault(Wish.EXPERIENCE, spell.number, short, zone=zone)
    if missing := sum(one.short(crew) for one in model.full_crews[zone]):
        yield Fault(Wish.FULL_CREWS, spell.number, missing, zone=zone)


def _faults_begun(begun: Begun, spell: int, zone: int) -> Iterator[Fault]:
    """The same where it is no choice any more."""
    short = {
        Wish.WATCHED: begun.unwatched,
        Wish.EXPERIENCE: begun.experienced,
        Wish.FULL_CREWS: begun.people,
    }
    for wish, times in short.items():
        if times:
            yield Fault(wish, spell, times, zone=zone)


def faults_of(model: Model, person: int, row: Row) -> Iterator[Fault]:
    """What falls short for one person with these posts."""
    served = sorted(row)
    yield from _past_the_stint(model, person, row, served)
    yield from _moves(model, person, row, served)
    for spell, (zone, seat) in row.items():
        if heats := model.own_at(person, zone, seat):
            yield Fault(Wish.OWN_CLUB, spell, heats, person, zone)
    if model.before is not None:
        yield from _changes(model, model.before, person, row)


def _past_the_stint(model: Model, person: int, row: Row, served: Sequence[int]) -> Iterator[Fault]:
    since = served[0] if served else 0
    for before, spell in pairwise(served):
        if model.timing.is_break(before, spell):
            since = spell
        elif model.timing.is_too_long(since, spell):
            yield Fault(Wish.BREAKS, spell, 1, person, row[spell][0])


def _moves(model: Model, person: int, row: Row, served: Sequence[int]) -> Iterator[Fault]:
    for first, then in pairwise(served):
        here, there = row[first][0], row[then][0]
        is_elsewhere = model.staffings[here].zone.place_m != model.staffings[there].zone.place_m
        if is_elsewhere and not model.timing.is_break(first, then):
            yield Fault(Wish.FEW_MOVES, then, 1, person, there)


def _changes(model: Model, before: Placed, person: int, row: Row) -> Iterator[Fault]:
    """Posts that differ from the plan before; whoever dropped out had no choice."""
    if person in model.dropped:
        return
    for spell in sorted(model.known):
        if before.get((person, spell)) != row.get(spell):
            yield Fault(Wish.UNCHANGED, spell, len(model.spells[spell].heats), person)
