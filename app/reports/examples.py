"""Examples of calls and reports for the description of the service: one of each infringement."""

from __future__ import annotations

from typing import Any, Final

_HEAT: Final = "01890a5d-ac96-774b-bcce-b302099a8057"
_POST: Final = "01890a5d-ac96-7ab2-80e2-4536629c90de"
_REPORT: Final = "01890a5d-ac97-7ef0-9b1e-22f0a4c5d6e7"
_CLOCK: Final = {"at": "2026-06-13T14:02:09+02:00", "offset_ms": 150, "error_ms": 40}

OBSERVATIONS: Final[tuple[dict[str, Any], ...]] = (
    {"seen": "pass_begun_before_zone", "baton": {"metres": -0.8, "uncertainty": 0.2}},
    {"seen": "pass_completed_before_zone", "baton": {"metres": -0.4, "uncertainty": 0.3}},
    {"seen": "pass_completed_beyond_zone", "baton": {"metres": 1.2, "uncertainty": 0.3}},
    {"seen": "receiver_waiting_outside", "foot": {"metres": -1.0, "uncertainty": 0.2}},
    {"seen": "receiver_starting_outside", "foot": {"metres": -1.5, "uncertainty": 0.3}},
    {"seen": "waiting_order_changed", "changed": "yes", "order_fixed": "yes"},
    {
        "seen": "dropped_baton",
        "held_by": "incoming runner",
        "fetched_by": "receiver",
        "distance_shortened": "no",
        "other_team_impeded": "no",
    },
    {"seen": "other_teams_baton", "taken": "yes"},
    {"seen": "help_given", "helped": "yes"},
    {"seen": "hindered_after_pass", "hindered": "yes", "wilful": "unsure"},
    {"seen": "another_team_obstructed", "obstructed": "yes"},
    {"seen": "left_lane_after_pass", "left_before_clear": "yes", "hindered": "no"},
    {"seen": "baton_not_in_hand", "carried_otherwise": "yes"},
    {
        "seen": "lane_infringement",
        "on_bend": "yes",
        "inner_line": "yes",
        "steps": 1,
        "distance_gained": "no",
        "other_team_impeded": "no",
    },
)

CALLS: Final = (
    {"heat": _HEAT, "post": _POST, "flag": "white", "clock": _CLOCK},
    {
        "heat": _HEAT,
        "post": _POST,
        "flag": "yellow",
        "lane": 4,
        "report": _REPORT,
        "clock": _CLOCK,
    },
)

REPORTS: Final = (
    *(
        {
            "heat": _HEAT,
            "post": _POST,
            "lane": 4,
            "observation": observation,
            "words": "I stood level with the line.",
            "clock": _CLOCK,
        }
        for observation in OBSERVATIONS
    ),
    {
        "heat": _HEAT,
        "lane": 4,
        "take_over": 1,
        "observation": {"seen": "help_given", "helped": "yes"},
        "words": "An own observation, without a post.",
        "clock": _CLOCK,
    },
)
