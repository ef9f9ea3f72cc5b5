"""What a plan is wished to be, as sums to be made small, in the order in which they count.

Each wish is counted in whole things that people can check by hand, heat by heat where it can be:
lanes unwatched, heats stood otherwise than before, heats over the own club's lane, end posts short
of experienced people, people short of the full template, the heats of whoever has most; and spells
served past the longest stint, and moves. That order is the plan's own; the wishes are common
practice.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping
from enum import StrEnum

from app.planning.linear import Sum, sum_of
from app.planning.model import Model
from app.planning.seats import Seat
from app.planning.spells import in_use
from app.planning.timing import TooLong
from app.rules.relay import Edge


class Wish(StrEnum):
    """What is wished, the most important first."""

    WATCHED = "every edge of every lane watched"
    UNCHANGED = "the plan before kept"
    BREAKS = "breaks"
    OWN_CLUB = "no post over the own club's lane"
    EXPERIENCE = "experience at the end of the zone"
    FULL_CREWS = "as many people a zone as the template knows"
    FEW_MOVES = "few moves"
    EVEN_LOAD = "even load"


def wishes_of(model: Model) -> tuple[Wish, ...]:
    """The wishes that count for this model: without a plan before there is none to keep, and of
    experience nothing is wished where nobody has any.
    """
    counts = {
        Wish.UNCHANGED: model.before is not None,
        Wish.EXPERIENCE: model.task.has_experienced,
    }
    return tuple(wish for wish in Wish if counts.get(wish, True))


def measure(model: Model) -> dict[Wish, Sum]:
    """A sum for each wish, in their order. New columns go into the model."""
    return {wish: _MEASURES[wish](model) for wish in wishes_of(model)}


def unwatched(model: Model) -> Sum:
    """Lanes in use whose start or end nobody watches, over all heats and take-overs."""
    everything = 0
    terms: dict[int, float] = {}
    for zone, one in enumerate(model.staffings):
        if zone in model.begun:
            everything += model.begun[zone].unwatched
            continue
        spell, times = model.spell_of(zone), len(one.zone.take_overs)
        everything += times * len(Edge) * in_use(spell, spell.lanes)
        for seating in one.seatings:
            for seat in seating.seats:
                filled = model.filled[zone, seating.people, seat]
                terms[filled] = -float(times * in_use(spell, seat.lanes))
    return Sum(terms, everything)


def changes(model: Model) -> Sum:
    """Heats that somebody stands otherwise than by the plan before, those who drop out aside."""
    before = model.before or {}
    constant = 0
    terms: dict[int, float] = {}
    for spell in model.known:
        heats = len(model.spells[spell].heats)
        for person in set(range(len(model.task.people))) - model.dropped:
            post = before.get((person, spell))
            kept = None if post is None else model.taken.get((person, *post))
            constant += heats * (post is not None)
            if kept is not None:
                terms[kept] = -float(heats)
            elif post is None:
                terms.update(dict.fromkeys(model.serves(person, spell), float(heats)))
    return Sum(terms, constant)


def _past_the_stint(model: Model) -> Sum:
    """Spells that somebody serves though a break was due before."""
    pairs = tuple(model.timing.too_long())
    past: list[int] = []
    for person in range(len(model.task.people)):
        breaks: dict[tuple[int, int], Mapping[int, float]] = {}
        over: dict[int, int] = {}
        for pair in pairs:
            first, last = (model.serves(person, at) for at in (pair.first, pair.last))
            if first and last:
                column = over.setdefault(pair.last, -1)
                if column < 0:
                    column = over[pair.last] = model.linear.column()
                _insist_on_break(model, person, pair, column, breaks)
        past.extend(over.values())
    return sum_of(past)


def _insist_on_break(
    model: Model,
    person: int,
    pair: TooLong,
    over: int,
    breaks: dict[tuple[int, int], Mapping[int, float]],
) -> None:
    """That first + last - 1 <= over + the breaks between: a spell off, or a row of short ones."""
    terms = dict.fromkeys(model.serves(person, pair.first) + model.serves(person, pair.last), 1.0)
    terms[over] = -1.0
    at_most = 1.0
    for stretch in model.timing.stretches(pair.first, pair.last):
        if stretch.first == stretch.last:
            terms.update(dict.fromkeys(model.serves(person, stretch.first), 1.0))
            at_most += 1
            continue
        key = (stretch.first, stretch.last)
        if key not in breaks:
            breaks[key] = _long_break(model, person, *key)
        terms.update(breaks[key])
    model.linear.row(terms, at_most=at_most)


def _long_break(model: Model, person: int, first: int, last: int) -> Mapping[int, float]:
    """A column that can be 1 only where somebody has all of these spells off."""
    rests = model.linear.column()
    for spell in range(first, last + 1):
        terms = dict.fromkeys(model.serves(person, spell), 1.0)
        model.linear.row({**terms, rests: 1.0}, at_most=1)
    return {rests: -1.0}


def _over_own_club(model: Model) -> Sum:
    """Heats in which somebody's post watches a lane of their own club, while they have lanes."""
    terms: dict[int, float] = {}
    for (person, zone, seat), column in model.taken.items():
        if heats := model.own_at(person, zone, seat):
            terms[column] = float(heats)
    return Sum(terms)


def _ends_short_of_experience(model: Model) -> Sum:
    """By how many experienced people the end of each zone falls short of half its full posts, heat
    by heat.
    """
    short: dict[int, float] = {}
    constant = sum(one.experienced for one in model.begun.values())
    for zone in range(len(model.staffings)):
        for wanted in model.experienced_ends[zone] if zone not in model.begun else ():
            there = list(_experienced_at(model, zone, wanted.seats))
            short[_short(model, there, wanted.people)] = float(len(wanted.heats))
    return Sum(short, constant)


def _short(model: Model, there: Collection[int], wanted: int) -> int:
    """A column for how many of them are missing."""
    column = model.linear.column(upper=wanted)
    model.linear.row({**dict.fromkeys(there, 1.0), column: 1.0}, at_least=wanted)
    return column


def _experienced_at(model: Model, zone: int, seats: Collection[Seat]) -> Iterator[int]:
    for seat in model.seats(zone):
        if seat in seats:
            for at in range(len(model.task.people)):
                if model.is_experienced(at) and (at, zone, seat) in model.taken:
                    yield model.taken[at, zone, seat]


def _people_short(model: Model) -> Sum:
    """How many people the zones lack of the largest crew that has something to watch there, heat by
    heat.
    """
    terms: dict[int, float] = defaultdict(float)
    constant = sum(one.people for one in model.begun.values())
    for zone, one in enumerate(model.staffings):
        for wanted in model.full_crews[zone] if zone not in model.begun else ():
            counting = (seat for seat in one.seats if seat in wanted.seats)
            there = [column for seat in counting for column in _sitting(model, zone, seat)]
            heats = len(wanted.heats)
            if wanted.people < one.most_of(wanted.seats):
                terms[_short(model, there, wanted.people)] += heats
                continue
            constant += wanted.people * heats
            for column in there:
                terms[column] -= heats
    return Sum(terms, constant)


def _sitting(model: Model, zone: int, seat: Seat) -> Iterator[int]:
    people = range(len(model.task.people))
    found = (model.taken.get((person, zone, seat)) for person in people)
    return (column for column in found if column is not None)


def _moves(model: Model) -> Sum:
    """Two spells served by one person at two places, without a break or a spell between."""
    moves = []
    for first, then in model.timing.follow_soon():
        for person in range(len(model.task.people)):
            rows = list(_rows_of_moves(model, person, first, then))
            if rows:
                column = model.linear.column()
                for terms in rows:
                    model.linear.row({**terms, column: -1.0}, at_most=1)
                moves.append(column)
    return sum_of(moves)


def _rows_of_moves(
    model: Model, person: int, first: int, then: int
) -> Iterator[Mapping[int, float]]:
    """For each place of the first spell: being there, elsewhere then, and nowhere between."""
    between = [c for spell in range(first + 1, then) for c in model.serves(person, spell)]
    for here in model.zones_in(first):
        place_m = model.staffings[here].zone.place_m
        elsewhere = [
            column
            for there in model.zones_in(then)
            if model.staffings[there].zone.place_m != place_m
            for column in model.present(person, there)
        ]
        if elsewhere and model.present(person, here):
            moved = dict.fromkeys([*model.present(person, here), *elsewhere], 1.0)
            yield {**moved, **dict.fromkeys(between, -1.0)}


def _busiest(model: Model) -> Sum:
    """The heats of whoever stands most."""
    most = model.linear.column(upper=len(model.task.heats), whole=True)
    for person in range(len(model.task.people)):
        terms = {
            column: float(len(model.spells[spell].heats))
            for spell in range(len(model.spells))
            for column in model.serves(person, spell)
        }
        if terms:
            model.linear.row({**terms, most: -1.0}, at_most=0)
    return sum_of([most])


_MEASURES: Mapping[Wish, Callable[[Model], Sum]] = {
    Wish.WATCHED: unwatched,
    Wish.UNCHANGED: changes,
    Wish.BREAKS: _past_the_stint,
    Wish.OWN_CLUB: _over_own_club,
    Wish.EXPERIENCE: _ends_short_of_experience,
    Wish.FULL_CREWS: _people_short,
    Wish.FEW_MOVES: _moves,
    Wish.EVEN_LOAD: _busiest,
}
