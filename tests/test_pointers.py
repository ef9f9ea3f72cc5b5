"""Pointers of problem documents lead into what was sent (RFC 6901), whatever it reports."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, get_type_hints

import pytest

from app.rules.observation import Infringement, Position
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.rules.builders import OBSERVATION_OF
from tests.running import Service
from tests.sendings import DOCUMENTS

KINDS = {str(seen): kind for seen, kind in OBSERVATION_OF.items()}
FIELDS = [
    (seen, field.name)
    for seen, kind in KINDS.items()
    for field in fields(kind)
    if field.name != "seen"
]
POSITIONS = [
    (seen, name) for seen, name in FIELDS if get_type_hints(KINDS[seen])[name] == Position | None
]
NONSENSE = ["nonsense"]


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    """The same for all tests: what is refused leaves nothing behind."""
    return stadium


def look_up(document: Any, pointer: str) -> Any:
    """What a pointer leads to, after RFC 6901, section 4."""
    for token in pointer.split("/")[1:]:
        name = token.replace("~1", "/").replace("~0", "~")
        document = document[int(name) if isinstance(document, list) else name]
    return document


def pointers(meet: MeetAtHand, observation: Json) -> list[str]:
    sending = DOCUMENTS["report"](meet).changed(observation=observation)
    problem = a_problem(sending.send(meet.service.http), 422, "malformed")
    return [error["pointer"] for error in problem["errors"]]


def test_every_kind_of_observation_is_walked() -> None:
    assert set(KINDS) == set(Infringement)


@pytest.mark.parametrize(("seen", "field"), FIELDS)
def test_a_bad_field_of_an_observation_is_pointed_at(
    meet: MeetAtHand, seen: str, field: str
) -> None:
    observation = {"seen": seen, field: NONSENSE}
    (pointer,) = pointers(meet, observation)
    assert pointer == f"/observation/{field}"
    assert look_up({"observation": observation}, pointer) == NONSENSE


@pytest.mark.parametrize("part", ["metres", "uncertainty", "measured_from"])
@pytest.mark.parametrize(("seen", "field"), POSITIONS)
def test_a_bad_part_of_a_position_is_pointed_at(
    meet: MeetAtHand, seen: str, field: str, part: str
) -> None:
    observation = {"seen": seen, field: {"metres": 1.0, "uncertainty": 0.3} | {part: NONSENSE}}
    (pointer,) = pointers(meet, observation)
    assert look_up({"observation": observation}, pointer) == NONSENSE


@pytest.mark.parametrize("seen", KINDS)
@pytest.mark.parametrize("name", ["colour", "a/b", "~", *list(Infringement)[:1], "observation"])
def test_an_unknown_field_of_an_observation_is_pointed_at(
    meet: MeetAtHand, seen: str, name: str
) -> None:
    observation = {"seen": seen, name: NONSENSE}
    (pointer,) = pointers(meet, observation)
    assert look_up({"observation": observation}, pointer) == NONSENSE


def test_a_field_named_like_its_observation_is_pointed_at(meet: MeetAtHand) -> None:
    observation = {"seen": "dropped_baton", "dropped_baton": NONSENSE}
    assert pointers(meet, observation) == ["/observation/dropped_baton"]


def test_what_is_wrong_with_an_observation_as_a_whole_points_at_it(meet: MeetAtHand) -> None:
    assert pointers(meet, {"seen": "lane_infringement", "steps": 51}) == ["/observation"]
    assert pointers(meet, {"seen": "flying_start"}) == ["/observation"]
    far = {"metres": 61, "uncertainty": 0.3}
    assert pointers(meet, {"seen": "pass_begun_before_zone", "baton": far}) == [
        "/observation/baton"
    ]
