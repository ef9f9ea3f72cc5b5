"""What an umpire reads in a finding, and in the description of the fields that it rests on."""

from __future__ import annotations

from app.rules.observation import Infringement
from tests.builders import Json, MeetAtHand

ONE_STEP: Json = {
    "seen": "lane_infringement",
    "on_bend": "yes",
    "inner_line": "yes",
    "steps": 1,
    "distance_gained": "no",
    "other_team_impeded": "no",
}


def told(meet: MeetAtHand, observation: Json) -> Json:
    return dict(meet.report(observation=observation)["finding"])


def described(meet: MeetAtHand, thing: str, field: str) -> str:
    """What the service's description says of a field."""
    schemas = meet.umpire.get("/openapi.json").json()["components"]["schemas"]
    return str(schemas[thing]["properties"][field]["description"])


def test_a_distance_with_the_wrong_sign_says_what_signs_mean(meet: MeetAtHand) -> None:
    # World Athletics TR24.7 in secondary texts: the position of the baton decides.
    baton = {"metres": 0.5, "uncertainty": 0.2}
    found = told(meet, {"seen": "pass_begun_before_zone", "baton": baton})
    assert found["outcome"] == "no infringement"
    assert "But the report says “before the zone”" in found["reason"]
    assert "Metres short of the zone start have a minus sign" in found["reason"]
    right = told(meet, {"seen": "pass_begun_before_zone", "baton": baton | {"metres": -0.5}})
    assert right["outcome"] == "infringement"
    assert "minus sign" not in right["reason"]


def test_the_description_says_what_the_sign_of_a_distance_means(meet: MeetAtHand) -> None:
    words = described(meet, "Position", "metres")
    assert "negative short of the mark" in words
    assert "positive past it" in words
    assert "negative metres lie before it" in described(meet, "PassBegunBeforeZone", "baton")
    assert "positive metres lie beyond it" in described(meet, "PassCompletedBeyondZone", "baton")
    assert "negative metres lie before it" in described(meet, "ReceiverWaitingOutside", "foot")


def test_a_further_lane_infringement_says_that_it_is_one(meet: MeetAtHand) -> None:
    # Counted per team over all rounds since 1 Nov 2021 (federation notice of 31 Oct 2023).
    first = meet.report(observation=ONE_STEP)
    assert first["finding"]["consequence"] == "noted"
    assert "None has been noted against the team in this event so far" in first["finding"]["reason"]
    assert meet.rule(first["case"]).json()["effect"] == "L"
    second = told(meet, ONE_STEP)
    assert (second["consequence"], second["rule"]) == ("disqualification", "TR17.2.1")
    assert (
        "One has been noted against the team in this event so far, so this one disqualifies by "
        "TR17.2.1: World Athletics, from 2025-11-01, tolerates a single step"
    ) in second["reason"]


def test_the_one_fact_that_a_finding_rests_on_is_asked_for_by_name(meet: MeetAtHand) -> None:
    asked = {
        Infringement.HELP_GIVEN: ("HelpGiven", "helped"),
        Infringement.BATON_NOT_IN_HAND: ("BatonNotInHand", "carried_otherwise"),
        Infringement.OTHER_TEAMS_BATON: ("OtherTeamsBaton", "taken"),
        Infringement.ANOTHER_TEAM_OBSTRUCTED: ("AnotherTeamObstructed", "obstructed"),
    }
    for seen, (thing, field) in asked.items():
        found = told(meet, {"seen": seen.value})
        assert found["outcome"] == "cannot tell"
        assert f"“{field}” was left open" in found["reason"]
        assert "without it the finding is “cannot tell”" in described(meet, thing, field)
