"""What the jury gets for an appeal: all of it, in one document, and nothing to others."""

from __future__ import annotations

from app.ids import new_id
from tests.appeals.desk import (
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_appeal,
    announced,
    appeal,
    decided,
    lodge,
    set_aside,
    team,
)
from tests.appeals.test_affected import a_protest_in, a_round_with_a_disqualification
from tests.builders import Json, MeetAtHand, a_problem


def dossier(meet: MeetAtHand, lodged: Json) -> Json:
    answer = meet["jury"].get(f"appeals/{lodged['id']}/dossier")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def test_the_result_before_and_after_and_every_window_are_in_it(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    announced(meet)
    lodged = appeal(meet, out, team=team(meet, 5))
    told = dossier(meet, lodged)
    assert [one["number"] for one in sorted(told["announcements"], key=lambda a: a["number"])] == [
        1,
        2,
    ]
    assert sum(one["remedy"] == "protest" for one in told["windows"]) == 2
    assert sum(one["remedy"] == "appeal" for one in told["windows"]) == 1
    (aside,) = told["disqualifications"]
    assert aside["state"] == "set aside"
    assert aside["set_aside_by"] == out["decision"]["id"]
    # Nothing was sought in so many words: that the referee's orders are undone.
    moved = {move["name"] for move in told["if_granted"]["moves"]}
    assert {"Plover 1", "Curlew 1"} <= moved
    case = told["cases"][0]
    assert case["reports"][0]["observation"]["seen"] == "pass_completed_beyond_zone"


def test_other_heats_of_the_round_that_it_can_move_are_in_it(meet: MeetAtHand) -> None:
    event, ruling = a_round_with_a_disqualification(meet)
    protest = a_protest_in(event, ruling)
    decided(meet, protest)
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    told = dossier(meet, appeal(meet, protest))
    # With Tern back, Curlew of the second heat no longer goes on by time.
    assert "Curlew" in {move["name"] for move in told["if_granted"]["moves"]}
    both = {event.heat("heats 1"), event.heat("heats 2")}
    assert {one["heat"] for one in told["windows"]} == both
    assert {one["heat"] for one in told["announcements"]} == both
    assert told["result_now"]["heat"] == event.heat("heats 1")
    (other,) = told["other_results_now"]
    assert other["heat"] == event.heat("heats 2")


def test_a_heat_that_it_cannot_move_is_not_in_it(meet: MeetAtHand) -> None:
    told = dossier(meet, appeal(meet, a_rejected_protest(meet)))
    assert told["other_results_now"] == []
    assert {one["heat"] for one in told["windows"]} == {meet.heat()}


def test_what_is_sought_is_shown_as_if_it_were_granted(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    sought = [{"order": "correct", "team": team(meet, 8), "time": "41.00"}]
    lodged = appeal(meet, protest, sought=sought)
    told = dossier(meet, lodged)
    assert "Petrel 1" in {move["name"] for move in told["if_granted"]["moves"]}
    # What was asked for can come to nothing meanwhile; the dossier is read all the same.
    meet.hold_back()
    assert dossier(meet, lodged)["if_granted"] is None


def test_what_cannot_be_ordered_is_not_sought(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    impossible = [{"order": "correct", "team": team(meet, 4, heat=1), "time": "41.00"}]
    sent = an_appeal(meet, protest, sought=impossible)
    told = a_problem(meet.desk.put(f"appeals/{new_id()}", sent), 422, "malformed")
    assert "does not run in the heat" in told["detail"]


def test_a_heat_without_a_result_has_a_dossier_too(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, number=1, team=team(meet, 4, heat=1)))
    out = decided(meet, protest)
    lodged = appeal(meet, out)
    told = dossier(meet, lodged)
    assert told["result_now"] is None
    assert told["announcements"] == []


def test_a_ruling_that_was_reconsidered_is_in_it_with_the_one_that_stands(
    meet: MeetAtHand,
) -> None:
    protest = a_rejected_protest(meet)
    ruling = protest["ruled"]
    lodged = appeal(meet, protest)
    later = meet.rule(ruling["case"], verdict="dismissed", reconsiders=ruling["id"])
    assert later.status_code == 201, later.text
    told = dossier(meet, lodged)
    assert [one["id"] for one in told["rulings"]] == [ruling["id"], later.json()["id"]]


def test_the_dossier_is_for_the_jury_and_the_head_officials(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    address = f"appeals/{lodged['id']}/dossier"
    assert meet.referee.get(address).status_code == 200
    for who in ("results", "umpire", "organiser"):
        a_problem(meet[who].get(address), 403, "role-missing")
    a_problem(meet["jury"].get(f"appeals/{new_id()}/dossier"), 404, "not-found")
