"""Where a post stands on the track, and how far it is from one to another.

The edges of a zone lie at another place in each lane, up to some forty metres on; a post of several
lanes stands in the middle of theirs. Whoever goes from one post to another keeps along the track,
by the shorter way: inside along lane 1, else along the outermost lane, and never across the infield
(common practice). All places are metres past the finish line in lane 1, straight across from where
they lie in their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from statistics import fmean

from app.rules.book import book_on
from app.rules.relay import Edge, Relay, Side
from app.rules.track import Track, abreast, lap_length, zone_on_track

EDITION = "world-athletics-2025"
"""Editions differ in where a zone starts, by ten metres; no crew plan hangs on that."""


@dataclass(frozen=True, slots=True)
class Stand:
    """Where somebody stands for a race: at its first take-over and at its last, and which side."""

    relay: Relay
    take_overs: tuple[int, ...]
    edge: Edge
    lanes: tuple[int, ...]
    side: Side

    def is_within_sight_of(self, other: Stand) -> bool:
        """Whether both are of one zone: nobody has to walk from one of its posts to another."""
        return (self.relay, self.take_overs) == (other.relay, other.take_overs)


@lru_cache(maxsize=65_536)
def way_m(track: Track, leaves: Stand, arrives: Stand) -> float:
    """How far somebody has to walk between two races, in metres."""
    if leaves.is_within_sight_of(arrives):
        return 0.0
    is_inside = leaves.side is arrives.side is Side.INSIDE
    lane = 1 if is_inside else track.lanes
    here = abreast(track, _place_m(track, leaves, leaves.take_overs[-1]), lane, 1)
    there = abreast(track, _place_m(track, arrives, arrives.take_overs[0]), lane, 1)
    apart = abs(here - there) % lap_length(track, lane)
    return min(apart, lap_length(track, lane) - apart)


def longest_way_m(track: Track) -> float:
    """Half a lap, outside."""
    return lap_length(track, track.lanes) / 2


def _place_m(track: Track, stand: Stand, take_over: int) -> float:
    return fmean(_edge_m(track, stand, take_over, lane) for lane in stand.lanes)


def _edge_m(track: Track, stand: Stand, take_over: int, lane: int) -> float:
    lane = min(lane, track.lanes)  # on a common line there may be more places than lanes
    rule = book_on(EDITION, track.lap_m).zone(stand.relay, take_over)
    zone = zone_on_track(track, stand.relay, take_over, lane, rule)
    place = zone.start if stand.edge is Edge.START else zone.end
    return abreast(track, place.past_finish_m, 1, lane)
