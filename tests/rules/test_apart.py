"""Whoever would have to be at two places of the track during one race is named."""

from collections.abc import Sequence
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.apart import Apart, Stands, place_on_lap, wanted_apart, way_on_lap
from app.rules.book import load_book
from app.rules.relay import TAKE_OVERS, Relay
from app.rules.track import Track, lap_length, zone_on_track

BOOK = load_book("world-athletics-2025")
TRACK = Track()
ONE_PLACE_M = 1.0
"""A lap in lane 1 is 3 mm short of 400 m, which adds up over a race of eight laps."""

crews = st.lists(
    st.builds(Stands, official=st.sampled_from("ABC"), take_over=st.sampled_from(TAKE_OVERS)),
    max_size=9,
)
relays = st.sampled_from(Relay)


def on_lap(relay: Relay, take_over: int) -> float:
    """Where lane 1 has the middle of a zone on a track as it is painted, in metres."""
    zone = zone_on_track(TRACK, relay, take_over, 1, BOOK.zone(relay, take_over))
    return zone.leg_line.past_finish_m


def way_between(relay: Relay, one: int, other: int) -> float:
    """The shorter way along lane 1."""
    lap = lap_length(TRACK, 1)
    there = abs(on_lap(relay, one) - on_lap(relay, other)) % lap
    return min(there, lap - there)


def take_overs_of(crew: Sequence[Stands], official: str) -> set[int]:
    return {one.take_over for one in crew if one.official == official}


@given(relays, crews)
def test_whoever_is_named_has_zones_that_lie_apart_on_the_track_and_nobody_else_has(
    relay: Relay, crew: list[Stands]
) -> None:
    named = {one.official for one in wanted_apart(relay, crew)}
    for official in "ABC":
        ways = [
            way_between(relay, *pair) for pair in combinations(take_overs_of(crew, official), 2)
        ]
        assert (official in named) == any(way > ONE_PLACE_M for way in ways), official


@given(relays, crews)
def test_each_is_named_once_with_every_take_over_that_is_theirs(
    relay: Relay, crew: list[Stands]
) -> None:
    named = wanted_apart(relay, crew)
    assert len({one.official for one in named}) == len(named)
    for one in named:
        assert one.take_overs == tuple(sorted(take_overs_of(crew, one.official)))


@given(relays, crews, crews)
def test_further_posts_take_nobody_off_the_list(
    relay: Relay, crew: list[Stands], further: list[Stands]
) -> None:
    before = {one.official for one in wanted_apart(relay, crew)}
    assert before <= {one.official for one in wanted_apart(relay, [*crew, *further])}


@given(relays, relays, st.sampled_from(TAKE_OVERS), st.sampled_from(TAKE_OVERS))
def test_places_and_ways_of_the_lap_are_those_of_a_track_as_it_is_painted(
    relay: Relay, other: Relay, here: int, there: int
) -> None:
    lap = lap_length(TRACK, 1)
    painted = [on_lap(relay, here) % lap, on_lap(other, there) % lap]
    apart = abs(painted[0] - painted[1])
    place, next_place = place_on_lap(relay, here), place_on_lap(other, there)
    assert min(abs(place - painted[0]), lap - abs(place - painted[0])) < ONE_PLACE_M
    assert abs(way_on_lap(place, next_place) - min(apart, lap - apart)) < ONE_PLACE_M


@pytest.mark.parametrize(
    ("relay", "take_overs", "is_apart"),
    [
        (Relay.FOUR_BY_100, (1, 2), True),
        (Relay.FOUR_BY_200, (1, 2), True),
        (Relay.FOUR_BY_200, (1, 3), False),
        (Relay.FOUR_BY_400, (1, 3), False),
        (Relay.FOUR_BY_800, (1, 2), False),
        (Relay.MEDLEY, (1, 3), True),
    ],
)
def test_take_overs_a_whole_lap_apart_are_one_place(
    relay: Relay, take_overs: tuple[int, int], is_apart: bool
) -> None:
    crew = [Stands("A", take_overs[1]), Stands("A", take_overs[0]), Stands("B", take_overs[0])]
    assert wanted_apart(relay, crew) == ((Apart("A", take_overs),) if is_apart else ())
