"""Which posts each zone of each spell can have: by number of people, with the lanes of each.

A seat is a post with its lanes. Where two numbers of people have the same post with the same lanes
it is one seat, so that a person is chosen for a seat, and whose lanes it watches is known with it.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.planning.facts import Template
from app.planning.spells import Spell, Zone
from app.planning.templates import shared_out
from app.rules.relay import Edge, Side


@dataclass(frozen=True, slots=True, order=True)
class Seat:
    """A post of a zone: the edge it watches, the side it stands on, and its lanes."""

    edge: Edge
    side: Side
    lanes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Seating:
    """The seats of a zone that has so many people by the template."""

    people: int
    seats: tuple[Seat, ...]


@dataclass(frozen=True, slots=True)
class Staffing:
    """A zone and all the seatings that can take the lanes in use there, the largest first."""

    zone: Zone
    seatings: tuple[Seating, ...]

    def seats(self) -> tuple[Seat, ...]:
        """All seats that any of the seatings has."""
        return tuple(sorted({seat for one in self.seatings for seat in one.seats}))

    def most_seats(self) -> int:
        """How many people the largest seating takes."""
        return max((len(one.seats) for one in self.seatings), default=0)

    def end_seats(self) -> int:
        """The most posts of a seating that watch the end."""
        ends = (sum(seat.edge is Edge.END for seat in one.seats) for one in self.seatings)
        return max(ends, default=0)


def staffing(spell: Spell, zone: Zone, template: Template) -> Staffing:
    """How the zone can be staffed. Without seatings where the template cannot take the lanes."""
    found = (_seating(people, spell, template) for people in template.sizes())
    return Staffing(zone, tuple(one for one in found if one is not None))


def _seating(people: int, spell: Spell, template: Template) -> Seating | None:
    posts = template.posts[people]
    shares = shared_out(posts, spell.lanes)
    if shares is None:
        return None
    seats = (Seat(post.edge, post.side, share) for post, share in zip(posts, shares, strict=True))
    # Fewer lanes than posts leave some with nothing to watch.
    return Seating(people, tuple(seat for seat in seats if seat.lanes))
