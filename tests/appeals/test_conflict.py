"""Who is concerned by what an appeal is about, also where nobody knows yet how it ends.

World Athletics CR12, read by its consequence; from memory.
"""

from __future__ import annotations

from tests.appeals.desk import (
    appeal,
    cast,
    decided,
    jurors,
    jury_decides,
    lodge,
    name_panel,
)
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import Event, two_heats


def two_heats_run(meet: MeetAtHand, third: str = "42.30") -> Event:
    """Both heats are announced: only the first of each goes on, so Gull and Heron are out."""
    event = two_heats(meet)
    event.set(by_time=0, lanes=8)
    event.run("heats 1", "42.10", "42.20", third)
    event.run("heats 2", "42.15", "42.25", "42.35")
    return event


def an_appeal_of(event: Event, name: str, **changes: object) -> tuple[MeetAtHand, Json]:
    """A protest of a team of the first heat was rejected, and it appeals; gives the heat's hand."""
    hand = event.hand("heats 1")
    protest = lodge(
        hand,
        {
            "heat": event.heat(),
            "team": event.team(name),
            "about": "placing",
            "lodged_by": "Mira Anchor",
        },
    )
    protest = decided(hand, protest)
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    return hand, appeal(hand, protest, **changes)


def states(meet: MeetAtHand, lodged: Json) -> dict[str, str]:
    told = meet["jury"].get(f"appeals/{lodged['id']}").json()
    return {one["affiliation"]: one["state"] for one in told["panel"]["members"]}


def test_who_would_run_again_is_touched_though_nobody_moves_yet(meet: MeetAtHand) -> None:
    event = two_heats_run(meet)
    teams = [event.team("Heron"), event.team("Gull")]
    orders = [{"order": "run again", "teams": teams, "added_places": 1}]
    hand, lodged = an_appeal_of(event, "Heron", sought=orders)
    names = jurors(meet, "Gull Club", "Far Club", "")
    name_panel(meet, lodged, names)
    assert states(meet, lodged)["Gull Club"] == "asked to withdraw"
    a_problem(cast(hand, lodged, names[0]), 403, "affected")


def test_who_is_ordered_to_run_again_is_touched_though_nobody_asked_for_it(
    meet: MeetAtHand,
) -> None:
    event = two_heats_run(meet)
    wanted = [{"order": "correct", "team": event.team("Heron"), "time": "42.25"}]
    hand, lodged = an_appeal_of(event, "Heron", sought=wanted)
    names = jurors(meet, "Gull Club", "Far Club", "")
    name_panel(meet, lodged, names)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    orders = [{"order": "run again", "teams": [event.team("Gull")], "added_places": 1}]
    told = a_problem(jury_decides(hand, lodged, names[0], orders=orders), 403, "affected")
    assert "Gull Club" in told["detail"]


def test_where_the_whole_heat_runs_again_all_its_teams_are_touched(meet: MeetAtHand) -> None:
    event = two_heats_run(meet, third="DNF")
    hand, lodged = an_appeal_of(event, "Gull", sought=[{"order": "run again"}])
    names = jurors(meet, "Heron Club", "Far Club", "")
    name_panel(meet, lodged, names)
    a_problem(cast(hand, lodged, names[0]), 403, "affected")


def test_a_decision_lists_whom_it_names_among_those_affected(meet: MeetAtHand) -> None:
    event = two_heats_run(meet, third="DNF")
    orders = [{"order": "run again"}]
    hand, lodged = an_appeal_of(event, "Gull", sought=orders)
    names = jurors(meet, "Far Club", "Near Club", "")
    name_panel(meet, lodged, names)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    out = jury_decides(hand, lodged, names[0], orders=orders)
    assert out.status_code == 201, out.text
    decision = out.json()["decision"]
    assert {one["team_name"] for one in decision["affected"]} >= {"Tern", "Gull", "Heron"}
    assert [one["name"] for one in decision["consequences"]["named"]] == ["Gull", "Heron", "Tern"]
