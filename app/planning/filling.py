"""A first plan without any search: the smallest crew of each zone, filled in the order of time.

Whoever is pinned stands where the pins leave a post; of all others, whoever has stood least goes
first, of those who may, can walk there and are due no break. Nothing of it is best; but every later
step has something to make better, however little time there is.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from app.planning.model import Model, Placed, Post
from app.planning.pinning import chosen_by
from app.planning.seats import Seat, Seating
from app.planning.tally import crews_of


def filled(model: Model) -> Placed | None:
    """A plan that heeds hours, bars, ways and pins, of a model in which nothing else is firm. None
    where the first post that each pin leaves does not do: that asks for a search.
    """
    pinned = Pinned(model)
    return Filling(model, pinned).fill() if pinned.find() else None


@dataclass(slots=True)
class Pinned:
    """Where people are pinned to, and when they are off."""

    model: Model
    placed: dict[tuple[int, int], Post] = field(default_factory=dict)
    off: set[tuple[int, int]] = field(default_factory=set)
    at: defaultdict[int, set[Seat]] = field(default_factory=lambda: defaultdict(set))
    _spells: defaultdict[int, list[int]] = field(default_factory=lambda: defaultdict(list))

    def find(self) -> bool:
        """Whether everybody who is pinned has a post that their pins leave, and can walk to it."""
        for (person, spell), posts in sorted(self._left().items()):
            open_ones = (post for post in posts if self._is_open(*post))
            post = min(open_ones, key=lambda post: self._crew_with(*post), default=None)
            if post is None or (person, spell) in self.off:
                return False
            self.placed[person, spell] = post
            self.at[post[0]].add(post[1])
            self._spells[person].append(spell)
        return all(
            self.model.can_walk(self.placed[person, here], self.placed[person, there])
            for person, spells in self._spells.items()
            for here, there in pairwise(spells)
        )

    def _left(self) -> Mapping[tuple[int, int], list[Post]]:
        """The posts that all pins of a person in a spell leave."""
        left: dict[tuple[int, int], set[int]] = {}
        for one in chosen_by(self.model):
            if one.pin.take_over is None:
                self.off.add((one.person, one.spell))
            else:
                left.setdefault((one.person, one.spell), {*one.columns}).intersection_update(
                    one.columns
                )
        posts = {column: (zone, seat) for (_, zone, seat), column in self.model.taken.items()}
        return {who: [posts[column] for column in sorted(columns)] for who, columns in left.items()}

    def _is_open(self, zone: int, seat: Seat) -> bool:
        return seat not in self.at[zone] and bool(self.seatings(zone, {*self.at[zone], seat}))

    def _crew_with(self, zone: int, seat: Seat) -> int:
        """The fewest people of a crew that has this seat too."""
        return min(len(one.seats) for one in self.seatings(zone, {*self.at[zone], seat}))

    def seatings(self, zone: int, seats: set[Seat]) -> list[Seating]:
        """Those of a zone that have all of these seats."""
        return [one for one in self.model.staffings[zone].seatings if seats <= {*one.seats}]

    def next_post(self, person: int, spell: int) -> Post | None:
        """Where somebody is pinned to after a spell."""
        later = (at for at in self._spells.get(person, ()) if at > spell)
        then = next(later, None)
        return None if then is None else self.placed[person, then]


@dataclass(slots=True)
class Filling:
    """Who stands where by now, since when their stint lasts, and how many heats they have stood."""

    model: Model
    pinned: Pinned
    placed: dict[tuple[int, int], Post] = field(default_factory=dict)
    _last: dict[int, int] = field(default_factory=dict)
    _since: dict[int, int] = field(default_factory=dict)
    _stood: Counter[int] = field(default_factory=Counter)

    def fill(self) -> Placed:
        """All spells, one after the other."""
        pinned = sorted(self.pinned.placed.items(), key=lambda one: (one[0][1], one[0][0]))
        for spell in range(len(self.model.spells)):
            while pinned and pinned[0][0][1] == spell:
                (person, _), post = pinned.pop(0)
                self._take(person, spell, post)
            for zone in self.model.zones_in(spell):
                seatings = self.pinned.seatings(zone, self.pinned.at[zone])
                for seat in min((one.seats for one in seatings), key=len):
                    if seat not in self.pinned.at[zone]:
                        self._fill(spell, (zone, seat))
        return self.placed

    def _fill(self, spell: int, post: Post) -> None:
        people = sorted(range(len(self.model.task.people)), key=lambda one: self._stood[one])
        for person in people:
            if (person, *post) in self.model.taken and self._can(person, spell, post):
                self._take(person, spell, post)
                return

    def _can(self, person: int, spell: int, post: Post) -> bool:
        if (person, spell) in self.placed or (person, spell) in self.pinned.off:
            return False
        then = self.pinned.next_post(person, spell)
        if then is not None and not self.model.can_walk(post, then):
            return False
        last = self._last.get(person)
        if last is None:
            return True
        can_walk = self.model.can_walk(self.placed[person, last], post)
        return can_walk and self._is_rested(person, last, spell)

    def _is_rested(self, person: int, last: int, spell: int) -> bool:
        if self.model.timing.is_break(last, spell):
            return True
        return not self.model.timing.is_too_long(self._since[person], spell)

    def _take(self, person: int, spell: int, post: Post) -> None:
        last = self._last.get(person)
        if last is None or self.model.timing.is_break(last, spell):
            self._since[person] = spell
        self.placed[person, spell] = post
        self._last[person] = spell
        self._stood[person] += len(self.model.spells[spell].heats)


def chosen(model: Model, placed: Placed) -> list[float]:
    """A plan as values of the columns that are chosen; 0 for all others."""
    values = [0.0] * len(model.linear.lower)
    for (person, _), (zone, seat) in placed.items():
        values[model.taken[person, zone, seat]] = 1.0
    for zone, crew in enumerate(crews_of(model, placed)):
        if zone in model.begun:
            continue
        fitting = (one for one in model.staffings[zone].seatings if crew.keys() <= {*one.seats})
        people = min(one.people for one in fitting)
        values[model.sized[zone, people]] = 1.0
    return values
