"""The meets of a season, ready before the clock starts: their people joined, their heats drawn.

A PIN's hash is slow on purpose, and here is one PIN for all: it is made once in earnest, so that
the servers have the full work of each signature, and the setting up has not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache

from argon2 import PasswordHasher

from app.access import secrets
from app.ids import new_id
from tests.bench.meets import PLACES
from tests.bench.season.plan import Season
from tests.builders import (
    Json,
    MeetAtHand,
    Person,
    a_bare_meet,
    a_post,
    a_start_list,
    add_officials,
    all_heats,
)
from tests.people import Newcomer
from tests.running import a_service

JURORS = 3


@dataclass(frozen=True, slots=True)
class Post:
    """An umpire's place, and the session of the phone there."""

    id: str
    token: str
    take_over: int
    edge: str
    lanes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SeasonMeet:
    """A meet before its first heat; `size` is that of its record."""

    id: str
    size: int
    heats: tuple[Json, ...]
    posts: tuple[Post, ...]
    referee: str
    desk: str
    jury: tuple[tuple[str, str], ...]
    """Each member's id and session; the first one is the chair."""


class _OneHash(PasswordHasher):
    """Hashes each PIN once."""

    hash = cache(PasswordHasher.hash)


@contextmanager
def _pins_hashed_once() -> Iterator[None]:
    real = secrets._hasher
    secrets._hasher = _OneHash(
        time_cost=real.time_cost, memory_cost=real.memory_cost, parallelism=real.parallelism
    )
    try:
        yield
    finally:
        secrets._hasher = real


def set_up(database_url: str, season: Season) -> list[SeasonMeet]:
    """All meets, by way of the service."""
    with _pins_hashed_once(), a_service(database_url) as service:
        return [
            _ready(a_bare_meet(service, name=f"Harbour Relays {number + 1}"), season)
            for number in range(season.meets)
        ]


def _ready(hand: MeetAtHand, season: Season) -> SeasonMeet:
    places = [(take_over, *place) for take_over in range(1, season.zones + 1) for place in PLACES]
    umpires = [Newcomer(f"umpire {number}", ("umpire",)) for number in range(len(places))]
    jurors = [Newcomer(f"juror {number}", ("jury",)) for number in range(JURORS)]
    desks = [Newcomer("referee", ("referee",)), Newcomer("desk", ("results",))]
    add_officials(hand, *umpires, *jurors, *desks)
    loaded = hand.organiser.post("start-lists", content=a_start_list(season.heats))
    assert loaded.status_code == 200, loaded.text
    posts = [_post(hand[one.name], *place) for one, place in zip(umpires, places, strict=True)]
    _plan_crew(hand, umpires, places, posts)
    return SeasonMeet(
        id=hand.id,
        size=hand.head()["size"],
        heats=tuple(all_heats(hand)),
        posts=tuple(posts),
        referee=hand["referee"].token,
        desk=hand["desk"].token,
        jury=tuple((one.id, hand[one.name].token) for one in jurors),
    )


def _post(umpire: Person, take_over: int, edge: str, lanes: tuple[int, ...], _side: str) -> Post:
    return Post(new_id(), umpire.token, take_over, edge, lanes)


def _plan_crew(
    hand: MeetAtHand,
    umpires: Sequence[Newcomer],
    places: Sequence[tuple[int, str, tuple[int, ...], str]],
    posts: Sequence[Post],
) -> None:
    planned = [
        a_post(post.id, one.id, take_over=take_over, edge=edge, lanes=list(lanes), side=side)
        for one, (take_over, edge, lanes, side), post in zip(umpires, places, posts, strict=True)
    ]
    answer = hand.organiser.put("crew", {"posts": planned})
    assert answer.status_code == 201, answer.text
