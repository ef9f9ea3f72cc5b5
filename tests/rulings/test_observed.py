"""Each kind of observation is told in whole sentences, from what was answered and nothing else."""

from __future__ import annotations

import re
from typing import Any, get_type_hints

import pytest
from hypothesis import given
from hypothesis.strategies import (
    SearchStrategy,
    builds,
    floats,
    integers,
    none,
    one_of,
    sampled_from,
)

from app.reports.findings import OBSERVATIONS
from app.rules.observation import Infringement, Mark, Observation, Position
from app.rulings.observed import tell

POSITIONS = builds(
    Position, floats(-60, 60), floats(0, 10), measured_from=none() | sampled_from(list(Mark))
)
OPTIONAL = {
    "baton": none() | POSITIONS,
    "foot": none() | POSITIONS,
    "steps": none() | integers(1, 50),
}


def answers(kind: Infringement) -> SearchStrategy[Observation]:
    """Any answers to the questions about a kind of infringement."""
    asked = type(OBSERVATIONS.validate_python({"seen": kind}))
    hints = {name: hint for name, hint in get_type_hints(asked).items() if name != "seen"}
    chosen = {
        name: OPTIONAL[name] if name in OPTIONAL else sampled_from(list(hint))
        for name, hint in hints.items()
        if not name.startswith("_")
    }
    return builds(asked, **chosen)


def told(seen: str, **answers: Any) -> str:
    return tell(OBSERVATIONS.validate_python({"seen": seen, **answers}))


@pytest.mark.parametrize(
    ("seen", "said", "words"),
    [
        (
            "pass_completed_beyond_zone",
            {"baton": {"metres": 0.8, "uncertainty": 0.2}},
            "When only the receiver held the baton, its leading end was 0.80 m (±0.20 m) past the "
            "end of the zone.",
        ),
        (
            "pass_completed_before_zone",
            {"held_by": "both", "clearly": "yes"},
            "When both runners held the baton, it was clearly short of the zone.",
        ),
        (
            "pass_begun_before_zone",
            {"baton": {"metres": 0, "uncertainty": 0.3, "measured_from": "leg line"}},
            "When the receiver first touched the baton, its leading end was at the leg line "
            "(±0.30 m).",
        ),
        (
            "receiver_waiting_outside",
            {"clearly": "yes", "placed_by_official": "yes"},
            "When waiting, the receiver was clearly outside. An official had put the runner there.",
        ),
        (
            "receiver_starting_outside",
            {"foot": {"metres": -0.25, "uncertainty": 0.1}},
            "The receiver began to run with a foot 0.25 m (±0.10 m) short of the start of the "
            "zone. No official had put the runner there.",
        ),
        (
            "waiting_order_changed",
            {"changed": "yes"},
            "Waiting runners changed places. Whether their team-mates had passed the 200 m point "
            "by then was not seen.",
        ),
        (
            "dropped_baton",
            {"held_by": "incoming runner", "dropped_at": "inside the zone", "fetched_by": "nobody"},
            "The incoming runner dropped the baton inside the zone. Nobody fetched it.",
        ),
        (
            "dropped_baton",
            {"dropped_at": "away from the zone", "went": "backward"},
            "The baton fell away from the zone. Who held it last was not seen. It went backward. "
            "Who fetched it was not seen.",
        ),
        ("other_teams_baton", {"taken": "no"}, "No runner took the baton of another team."),
        ("help_given", {"helped": "yes"}, "A runner was pushed or helped in another way."),
        (
            "hindered_after_pass",
            {"hindered": "yes", "wilful": "no"},
            "Another team was hindered. The runner did not do so on purpose.",
        ),
        (
            "another_team_obstructed",
            {"obstructed": "yes"},
            "Another team was jostled or impeded in its running.",
        ),
        (
            "left_lane_after_pass",
            {"left_before_clear": "yes", "hindered": "no"},
            "After the pass the runner left the own lane or course before it was clear. No other "
            "team was hindered.",
        ),
        ("baton_not_in_hand", {}, "Whether the baton was carried in the hand was not seen."),
        (
            "lane_infringement",
            {"on_bend": "yes", "inner_line": "yes", "steps": 1, "distance_gained": "no"},
            "The runner took one step on or over the inner line of the lane on a bend. The runner "
            "gained no distance. Nobody forced the runner out of the lane.",
        ),
    ],
)
def test_an_observation_is_told_as_an_official_would_say_it(
    seen: str, said: dict[str, Any], words: str
) -> None:
    assert told(seen, **said) == words


@pytest.mark.parametrize("kind", list(Infringement))
def test_every_kind_can_be_told_with_nothing_answered(kind: Infringement) -> None:
    assert "_" not in told(kind)


@given(one_of(*map(answers, Infringement)))
def test_whatever_was_answered_gives_whole_sentences_with_metres_to_the_centimetre(
    observation: Observation,
) -> None:
    words = tell(observation)
    assert re.fullmatch(r"([A-Z][^.]*(\d\.\d\d m[^.]*)*\. ?)*", words), words
    assert "unsure" not in words
    distances = re.findall(r"[\d.]+(?= m\b)", words.replace("200 m point", ""))
    assert all(re.fullmatch(r"\d+\.\d\d", distance) for distance in distances)


def test_steps_are_told_as_they_were_counted() -> None:
    assert "took 3 steps in a row" in told("lane_infringement", steps=3)
    assert "The runner stepped on or over a line of the lane." in told("lane_infringement")
