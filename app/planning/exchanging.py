"""A plan made better without any solver, by exchanging people.

Two people exchange their posts through a few spells, or one of them hands theirs over to the other
who was off; a zone has more people, or fewer, or others. Each step keeps all that is firm, makes
the first wish that it touches better and worsens none before it, so the plan only becomes better;
of the load, the squares count. It ends when a round of steps has changed nothing: that is not the
best plan there is, but a good one, in less time than a solver takes for one part of the day.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

from app.planning.model import Model, Placed, Post
from app.planning.seats import Seat, Seating
from app.planning.tally import Crew, Row, crews_of, faults_at, faults_of, rows_of
from app.planning.weighing import APART, Weighing
from app.planning.wishes import Wish
from app.rules.relay import Edge

WIDTHS = (1, 3)
"""Through so many spells people exchange their posts: soon better, and then as far as it helps."""

GoOn: TypeAlias = "Callable[[Exchanging], bool]"


def exchanged(
    model: Model, placed: Placed, go_on: GoOn = lambda _: True, first: Wish | None = None
) -> Placed:
    """The plan that such steps make of one, or as far as `go_on` lets it come: that is asked before
    each of them. `first` is a wish that is to count before all others.
    """
    weighing = Weighing(model, first)
    exchanging = Exchanging(weighing, go_on, rows_of(model, placed), crews_of(model, placed))
    exchanging.run()
    return exchanging.placed


class _Step(NamedTuple):
    """Other posts for some people, other crews for some zones, and how the weight changes."""

    change: int
    rows: Mapping[int, Row]
    crews: Mapping[int, Crew]


class _Off(NamedTuple):
    """Somebody's posts with one spell off, their heats, and what they weigh then."""

    row: Row
    heats: int
    weight: int


@dataclass(slots=True)
class Exchanging:
    """A plan on its way, and what each of its people and zones weighs by now."""

    weighing: Weighing
    go_on: GoOn
    rows: list[dict[int, Post]]
    crews: list[dict[Seat, int]]
    model: Model = field(init=False)
    _of_rows: list[int] = field(init=False)
    _of_crews: list[int] = field(init=False)
    _changed: Counter[int] = field(default_factory=Counter)
    _tried: dict[tuple[int, int, range], tuple[int, int]] = field(default_factory=dict)
    _is_over: bool = False

    def __post_init__(self) -> None:
        self.model = self.weighing.model
        self._of_rows = [self.weighing.of_row(*one) for one in enumerate(self.rows)]
        self._of_crews = [self.weighing.of_crew(*one) for one in enumerate(self.crews)]

    @property
    def placed(self) -> Placed:
        """Who stands where by now."""
        return {
            (person, spell): post
            for person, row in enumerate(self.rows)
            for spell, post in row.items()
        }

    def run(self) -> None:
        """Step by step until there is none left; first of all where an edge is unwatched."""
        for zone in self._unwatched():
            self._staff_anew(zone)
        before = None
        while before != (before := self._of_rows + self._of_crews) and not self._is_over:
            self._tried.clear()
            for width in WIDTHS:
                while self._exchange(width):
                    pass
            for zone in range(len(self.crews)):
                self._staff_anew(zone)

    def _unwatched(self) -> list[int]:
        """The zones with an edge of a lane that nobody watches."""
        return [
            zone
            for zone, crew in enumerate(self.crews)
            if any(one.wish is Wish.WATCHED for one in faults_at(self.model, zone, crew))
        ]

    def _take(self, step: _Step) -> None:
        for person, row in step.rows.items():
            self.rows[person] = dict(row)
            self._changed[person] += 1
            self._of_rows[person] = self.weighing.of_row(person, row)
        for zone, crew in step.crews.items():
            self.crews[zone] = dict(crew)
            self._of_crews[zone] = self.weighing.of_crew(zone, crew)

    def _has_ended(self) -> bool:
        self._is_over = self._is_over or not self.go_on(self)
        return self._is_over

    def _exchange(self, width: int) -> bool:
        """Whether a post short of a wish went to somebody else, and what is better for it."""
        is_better = False
        for person, spell in self._short():
            if self._has_ended():
                return False
            steps = (step for step in self._ways_out(person, spell, width) if step is not None)
            best = min(steps, key=lambda step: step.change, default=None)
            if best is not None and best.change < 0:
                self._take(best)
                is_better = True
        return is_better

    def _ways_out(self, person: int, spell: int, width: int) -> Iterator[_Step | None]:
        yield self._leaving(person, spell)
        for other in range(len(self.rows)):
            for spells in self._around(spell, width) if other != person else ():
                if self._is_news(person, other, spells):
                    yield self._exchanging(person, other, spells)

    def _short(self) -> list[tuple[int, int]]:
        """Persons and spells that fall short of a wish, the worst first."""
        found: Counter[tuple[int, int]] = Counter()
        for person, row in enumerate(self.rows):
            for fault in faults_of(self.model, person, row):
                found[person, fault.spell] += self.weighing.weights[fault.wish] * fault.times
        return [one for one, _ in found.most_common()]

    def _around(self, spell: int, width: int) -> Iterator[range]:
        """Rows of up to so many spells with this one among them."""
        for first in range(max(0, spell - width + 1), spell + 1):
            for last in range(spell, min(first + width, len(self.model.spells))):
                yield range(first, last + 1)

    def _is_news(self, person: int, other: int, spells: range) -> bool:
        """Whether either has other posts than when they were to exchange these in this round."""
        key, stamp = (person, other, spells), (self._changed[person], self._changed[other])
        was, self._tried[key] = self._tried.get(key), stamp
        return was != stamp

    def _leaving(self, person: int, spell: int) -> _Step | None:
        """Somebody's post stays empty: that helps where another wish than coverage counts first."""
        if (person, spell) in self.weighing.held or spell not in self.rows[person]:
            return None
        zone, seat = self.rows[person][spell]
        off = self._off(person, spell)
        crew = {one: who for one, who in self.crews[zone].items() if one != seat}
        if not self.weighing.can_be(person, off.row, (spell,)):
            return None
        change = off.weight - self._of_rows[person] + self._change_of({zone: crew})
        return _Step(change, {person: off.row}, {zone: crew})

    def _exchanging(self, person: int, other: int, spells: range) -> _Step | None:
        """Each has the other's posts in these spells; None where something firm is against it."""
        mine, theirs = dict(self.rows[person]), dict(self.rows[other])
        for spell in spells:
            if {(person, spell), (other, spell)} & self.weighing.held:
                return None
            _swap(mine, theirs, spell)
        can_be, of_row, weights = self.weighing.can_be, self.weighing.of_row, self.weighing.weights
        if not can_be(person, mine, spells) or not can_be(other, theirs, spells):
            return None
        was = self._of_rows[person] + self._of_rows[other]
        change = of_row(person, mine) + of_row(other, theirs) - was
        if change >= weights.get(Wish.EXPERIENCE, 0) * APART:
            return None  # experience is all that the crews could win by it
        rows = {person: mine, other: theirs}
        crews = self._crews_with(rows, spells)
        return _Step(change + self._change_of(crews), rows, crews)

    def _crews_with(self, rows: Mapping[int, Row], spells: range) -> Mapping[int, Crew]:
        """The crews of the zones to which these people come."""
        crews: dict[int, dict[Seat, int]] = {}
        for person, row in rows.items():
            for spell in spells:
                if spell in row:
                    zone, seat = row[spell]
                    crews.setdefault(zone, dict(self.crews[zone]))[seat] = person
        return crews

    def _change_of(self, crews: Mapping[int, Crew]) -> int:
        return sum(
            self.weighing.of_crew(zone, crew) - self._of_crews[zone] for zone, crew in crews.items()
        )

    def _staff_anew(self, zone: int) -> None:
        """Give a zone the best crew that can be had for it, whatever their number."""
        spell = self.model.spell_of(zone).number
        crew = self.crews[zone].values()
        if self._has_ended() or any((one, spell) in self.weighing.held for one in crew):
            return
        off = {
            person: self._off(person, spell)
            for person in range(len(self.rows))
            if (spell not in self.rows[person] or person in crew)
            and (person, spell) not in self.weighing.held
        }
        steps = [self._staffing(zone, one, off) for one in self.model.staffings[zone].seatings]
        can_be = self.weighing.can_be
        for step in sorted(steps, key=lambda step: step.change):
            if step.change < 0 and all(can_be(*one, (spell,)) for one in step.rows.items()):
                self._take(step)
                return

    def _off(self, person: int, spell: int) -> _Off:
        if spell not in (row := self.rows[person]):
            return _Off(row, self.weighing.heats_in(row), self._of_rows[person])
        row = {at: post for at, post in row.items() if at != spell}
        return _Off(row, self.weighing.heats_in(row), self.weighing.of_row(person, row))

    def _staffing(self, zone: int, seating: Seating, off: Mapping[int, _Off]) -> _Step:
        """Seat after seat, the end first, goes to whoever weighs least there."""
        spell = self.model.spell_of(zone)
        crew: dict[Seat, int] = {}
        for seat in sorted(seating.seats, key=lambda seat: (seat.edge is not Edge.END, seat)):
            free = {person: one for person, one in off.items() if person not in crew.values()}
            best = self._best_for((zone, seat), free, self._gain(zone, seat, crew))
            if best is not None and self._is_worth_it(best, (zone, seat), off[best], crew):
                crew[seat] = best
        rows: dict[int, Row] = {person: off[person].row for person in self.crews[zone].values()}
        for seat, person in crew.items():
            rows[person] = {**off[person].row, spell.number: (zone, seat)}
        change = sum(self.weighing.of_row(*one) - self._of_rows[one[0]] for one in rows.items())
        return _Step(change + self._change_of({zone: crew}), rows, {zone: crew})

    def _best_for(self, post: Post, free: Mapping[int, _Off], gain: int) -> int | None:
        """Who of those who are free weighs least more at a post, less what experience gains."""
        spell = self.model.spell_of(post[0]).number
        floors = sorted(
            (self.weighing.at_least(person, one.heats, post) - gained, gained, person)
            for person, one in free.items()
            if (person, *post) in self.model.taken
            for gained in [gain * self.model.is_experienced(person)]
        )
        best: tuple[int, int] | None = None
        for floor, gained, person in floors:
            if best is not None and floor >= best[0]:
                break
            row = {**free[person].row, spell: post}
            if self.weighing.can_be(person, row, (spell,)):
                more = self.weighing.of_row(person, row) - free[person].weight - gained
                best = min(best or (more, person), (more, person))
        return None if best is None else best[1]

    def _is_worth_it(self, person: int, post: Post, off: _Off, crew: Crew) -> bool:
        """Whether a post is better filled than empty: not where coverage does not count first."""
        zone, seat = post
        row = {**off.row, self.model.spell_of(zone).number: post}
        of_crew = self.weighing.of_crew
        gained = of_crew(zone, crew) - of_crew(zone, {**crew, seat: person})
        return self.weighing.of_row(person, row) - off.weight < gained

    def _gain(self, zone: int, seat: Seat, crew: Crew) -> int:
        """What somebody experienced would gain there, as far as the end is short of them."""
        there = [one for one, person in crew.items() if self.model.is_experienced(person)]
        short = sum(
            len(one.heats)
            for one in self.model.experienced_ends[zone]
            if seat in one.seats and one.people > one.taken(there)
        )
        return short * self.weighing.weights.get(Wish.EXPERIENCE, 0)


def _swap(mine: dict[int, Post], theirs: dict[int, Post], spell: int) -> None:
    """Each has what the other had in a spell, be it nothing."""
    was, becomes = mine.pop(spell, None), theirs.pop(spell, None)
    if becomes is not None:
        mine[spell] = becomes
    if was is not None:
        theirs[spell] = was
