"""Observations travel as JSON and come back the same; what cannot be is refused."""

import math
from typing import Annotated, Any, Literal, get_args, get_type_hints

import pytest
from hypothesis import given, settings
from pydantic import Field, TypeAdapter, ValidationError

from app.rules.observation import (
    Infringement,
    LaneInfringement,
    Observation,
    PassCompletedBeyondZone,
    Position,
)
from tests.rules.builders import OBSERVATION_OF, observations

WIRE: TypeAdapter[Observation] = TypeAdapter(Annotated[Observation, Field(discriminator="seen")])


def test_every_infringement_has_its_class_and_every_class_its_infringement() -> None:
    assert set(OBSERVATION_OF) == set(Infringement)
    assert len(get_args(Observation)) == len(Infringement)
    for infringement, kind in OBSERVATION_OF.items():
        assert get_type_hints(kind)["seen"] == Literal[infringement.value]
        assert kind().seen == infringement


@given(observations())
@settings(max_examples=150, deadline=None)
def test_an_observation_comes_back_from_json_unchanged(observation: Observation) -> None:
    assert WIRE.validate_python(WIRE.dump_python(observation, mode="json")) == observation
    assert WIRE.validate_json(WIRE.dump_json(observation)) == observation


@pytest.mark.parametrize("infringement", Infringement)
def test_a_report_of_nothing_but_its_kind_can_be_read(infringement: Infringement) -> None:
    read = WIRE.validate_json(f'{{"seen": "{infringement}"}}')
    assert read == OBSERVATION_OF[infringement]()


@pytest.mark.parametrize("infringement", Infringement)
def test_a_field_that_nobody_knows_is_refused(infringement: Infringement) -> None:
    with pytest.raises(ValidationError, match="colour"):
        WIRE.validate_python({"seen": infringement.value, "colour": "red"})


def test_a_position_with_a_field_that_nobody_knows_is_refused() -> None:
    baton = {"metres": 1, "uncertainty": 0.2, "height": 1}
    with pytest.raises(ValidationError, match="height"):
        WIRE.validate_python({"seen": "pass_completed_beyond_zone", "baton": baton})


def test_a_kind_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValidationError, match="seen"):
        WIRE.validate_python({"seen": "flying_start"})


@pytest.mark.parametrize(
    ("metres", "uncertainty", "sentence"),
    [
        (math.nan, 0.2, "A position lies within 60 m"),
        (math.inf, 0.2, "A position lies within 60 m"),
        (-60.1, 0.2, "A position lies within 60 m"),
        (60.1, 0.2, "A position lies within 60 m"),
        (1, math.nan, "uncertainty of a position is 0 to 10 m"),
        (1, math.inf, "uncertainty of a position is 0 to 10 m"),
        (1, -0.1, "uncertainty of a position is 0 to 10 m"),
        (1, 10.1, "uncertainty of a position is 0 to 10 m"),
    ],
)
def test_absurd_metres_are_refused_with_a_sentence(
    metres: float, uncertainty: float, sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        Position(metres, uncertainty)
    report: dict[str, Any] = {"metres": metres, "uncertainty": uncertainty}
    with pytest.raises(ValidationError, match=sentence):
        WIRE.validate_python({"seen": "pass_completed_beyond_zone", "baton": report})


def test_json_that_says_nan_is_refused() -> None:
    text = '{"seen": "pass_completed_beyond_zone", "baton": {"metres": NaN, "uncertainty": 0}}'
    with pytest.raises(ValidationError):
        WIRE.validate_json(text)


@pytest.mark.parametrize("steps", [0, -1, 51])
def test_steps_that_nobody_can_count_are_refused(steps: int) -> None:
    with pytest.raises(ValueError, match="Steps out of the lane"):
        LaneInfringement(steps=steps)


def test_an_observation_cannot_be_changed() -> None:
    observation = PassCompletedBeyondZone()
    with pytest.raises(AttributeError):
        observation.baton = Position(1, 0)  # type: ignore[misc]
