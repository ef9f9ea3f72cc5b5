"""The rulings that stand in a heat, as the results desk looks for the one that is protested.

A rival may protest against a ruling as well as the team that it is about (World Athletics TR8.3:
whoever takes part in the same round); the desk reads no cases (the project's own rule).
"""

from __future__ import annotations

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_problem


def rulings(meet: MeetAtHand, by: str = "results") -> list[Json]:
    """Those that stand in the first heat, as an official reads them."""
    answer = meet[by].get(f"heats/{meet.heat()}/rulings")
    assert answer.status_code == 200, answer.text
    return list(answer.json()["rulings"])


def test_the_desk_finds_a_dismissal_and_takes_in_a_rivals_protest_against_it(
    meet: MeetAtHand,
) -> None:
    case = meet.report()["case"]
    meet.rule(case, verdict="dismissed", reasons="The line hid the baton.")
    (found,) = rulings(meet)
    assert (found["verdict"], found["effect"]) == ("dismissed", "no disqualification")
    assert (found["lane"], found["team_name"]) == (4, "Plover 1")
    assert (found["case"], found["case_number"]) == (case, meet.case(case)["number"])
    assert (found["rule"], found["infringement_title"]) == (None, None)
    rival = next(line["team"] for line in meet.heats[0]["lanes"] if line["lane"] == 5)
    protest = {
        "heat": meet.heat(),
        "team": rival,
        "about": "ruling",
        "ruling": found["id"],
        "lodged_by": "Mira Anchor",
    }
    lodged = meet.desk.put(f"protests/{new_id()}", protest)
    assert lodged.status_code == 201, lodged.text


def test_they_stand_in_the_order_of_lanes_with_rule_and_who_ruled_when(meet: MeetAtHand) -> None:
    confirmed = meet.rule(meet.report(lane=5, by="second")["case"]).json()
    dismissed = meet.rule(meet.report(lane=3)["case"], verdict="dismissed").json()
    first, second = rulings(meet)
    assert (first["id"], second["id"]) == (dismissed["id"], confirmed["id"])
    assert (second["effect"], second["rule"]) == ("DQ TR24.7", "TR24.7")
    assert second["infringement_title"] == confirmed["infringement_title"]
    assert (second["official_name"], second["ruled_at"]) == ("referee", confirmed["ruled_at"])
    assert second["ruled_at_local"].endswith("(Europe/Paris)")


def test_one_that_was_replaced_stands_no_more(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    first = meet.rule(case).json()
    again = meet.rule(case, verdict="dismissed", reconsiders=first["id"]).json()
    assert [one["id"] for one in rulings(meet)] == [again["id"]]


def test_none_of_another_heat_stands_there_and_its_heat_is_named(meet: MeetAtHand) -> None:
    meet.rule(meet.report(heat=1)["case"])
    assert rulings(meet) == []
    told = meet.desk.get(f"heats/{meet.heat(1)}/rulings").json()
    assert len(told["rulings"]) == 1
    assert (told["heat"], told["round"], told["heat_number"]) == (meet.heat(1), "heats", 2)
    assert told["event_name"] == meet.heats[1]["event_name"]


def test_whoever_takes_in_or_decides_protests_reads_them_and_no_umpire_does(
    meet: MeetAtHand,
) -> None:
    meet.rule(meet.report()["case"], verdict="dismissed", reasons="The line hid the baton.")
    for role in ("results", "referee", "chief_umpire", "jury"):
        assert len(rulings(meet, role)) == 1
    a_problem(meet.umpire.get(f"heats/{meet.heat()}/rulings"), 403, "role-missing")
    a_problem(meet.desk.get(f"heats/{new_id()}/rulings"), 404, "not-found")


def test_what_was_reported_stands_in_none_of_them(meet: MeetAtHand) -> None:
    meet.rule(meet.report(words="Both hands on the baton at the line.")["case"])
    answer = meet.desk.get(f"heats/{meet.heat()}/rulings")
    assert "Both hands" not in answer.text


def test_a_disqualification_names_its_event_round_and_heat(meet: MeetAtHand) -> None:
    ruled = meet.rule(meet.report(heat=1)["case"]).json()
    found = meet.desk.get("disqualifications").json()
    one = next(each for each in found if each["by_ruling"] == ruled["id"])
    assert (one["event_name"], one["round"], one["heat_number"]) == (
        meet.heats[1]["event_name"],
        "heats",
        2,
    )
