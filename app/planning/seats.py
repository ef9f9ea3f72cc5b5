"""Which posts each zone of each spell can have: by number of people, with the lanes of each.

A seat is a post with its lanes. Where two numbers of people have the same post with the same lanes
it is one seat, so that a person is chosen for a seat, and whose lanes it watches is known with it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cached_property

from app.planning.facts import PostShape, Template
from app.planning.spells import Spell, Zone, in_use
from app.planning.templates import shared_out
from app.rules.relay import Edge, Side


@dataclass(frozen=True, order=True)
class Seat:
    """A post of a zone: the edge it watches, the side it stands on, and its lanes."""

    edge: Edge
    side: Side
    lanes: tuple[int, ...]

    def __hash__(self) -> int:
        return self._hashed

    @cached_property
    def _hashed(self) -> int:
        """Reckoned once: a search looks seats up some millions of times."""
        return hash((self.edge, self.side, self.lanes))

    def __reduce__(self) -> tuple[type[Seat], tuple[Edge, Side, tuple[int, ...]]]:
        return Seat, (self.edge, self.side, self.lanes)  # texts hash otherwise in another process


@dataclass(frozen=True, slots=True)
class Seating:
    """The seats of a zone that has so many people by the template."""

    people: int
    seats: tuple[Seat, ...]


@dataclass(frozen=True)
class Staffing:
    """A zone and all the seatings that it can have, the largest of the template first."""

    zone: Zone
    seatings: tuple[Seating, ...]

    @cached_property
    def seats(self) -> tuple[Seat, ...]:
        """All seats that any of the seatings has."""
        return tuple(sorted({seat for one in self.seatings for seat in one.seats}))

    def most_seats(self) -> int:
        """How many people the largest seating takes."""
        return max(len(one.seats) for one in self.seatings)

    def most_of(self, seats: Collection[Seat]) -> int:
        """How many of these seats can be taken at once."""
        return max(sum(seat in seats for seat in one.seats) for one in self.seatings)


def watched(spell: Spell, seats: Iterable[Seat]) -> int:
    """How often a start or an end of a lane in use is watched, over the heats of the spell; once
    where two watch it.
    """
    lanes: dict[Edge, set[int]] = {}
    for seat in seats:
        lanes.setdefault(seat.edge, set()).update(seat.lanes)
    return sum(in_use(spell, tuple(its)) for its in lanes.values())


def by_template(spell: Spell, template: Template) -> tuple[Seating, ...]:
    """How a zone can be staffed; posts that cannot take all lanes take their most."""
    return tuple(_seating(people, spell, template) for people in template.sizes())


def is_of(template: Template, seats: Collection[Seat]) -> bool:
    """Whether these are posts of one of its crews, none of them with more lanes than it may have,
    and no lane of an edge watched twice.
    """
    lanes = Counter((seat.edge, lane) for seat in seats for lane in seat.lanes)
    if any(times > 1 for times in lanes.values()):
        return False
    return any(_fit(posts, seats) for posts in template.posts.values())


def _fit(posts: Collection[PostShape], seats: Collection[Seat]) -> bool:
    """The fewest lanes that suffice are taken first."""
    left = sorted(posts, key=lambda post: post.most_lanes)
    for seat in sorted(seats, key=lambda seat: len(seat.lanes)):
        for post in left:
            is_alike = (post.edge, post.side) == (seat.edge, seat.side)
            if is_alike and len(seat.lanes) <= post.most_lanes:
                left.remove(post)
                break
        else:
            return False
    return True


def _seating(people: int, spell: Spell, template: Template) -> Seating:
    posts = template.posts[people]
    shares = shared_out(posts, spell.by_use)
    seats = (Seat(post.edge, post.side, share) for post, share in zip(posts, shares, strict=True))
    # Fewer lanes than posts leave some with nothing to watch.
    return Seating(people, tuple(seat for seat in seats if seat.lanes))
