"""What the jury gets for an appeal: all of it, in one document, and nothing to others."""

from __future__ import annotations

from app.ids import new_id
from tests.appeals.desk import (
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_appeal,
    an_upheld_appeal,
    announced,
    appeal,
    cast,
    decided,
    jury_decides,
    lodge,
    set_aside,
    team,
)
from tests.appeals.test_affected import a_protest_in, a_round_with_a_disqualification
from tests.appeals.test_reopening import reopen
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


def a_referred_protest(meet: MeetAtHand) -> Json:
    """About conduct, where no report was written; gives the appeal that came of it."""
    meet.start()
    assert meet.call("white", by="umpire").status_code == 201
    assert meet.load_result().status_code == 201
    announced(meet)
    against = {"about": "conduct", "against": team(meet, 5), "ruling": None}
    protest = lodge(meet, a_protest(meet, **against))
    out = decided(meet, protest, "referred")
    (lodged,) = out["appeals"]
    return {"id": lodged}


def test_what_each_post_showed_is_in_it_where_nobody_wrote_a_report(meet: MeetAtHand) -> None:
    told = dossier(meet, a_referred_protest(meet))
    assert told["cases"] == []
    (here,) = told["posts"]
    assert (here["heat"], here["silent"]) == (meet.heat(), 1)
    shown = {one["official_name"]: one for one in here["posts"]}
    assert shown["umpire"]["flag"] == "white"
    assert shown["umpire"]["called_by_name"] == "umpire"
    assert shown["umpire"]["called_at"] is not None
    assert (shown["second"]["flag"], shown["second"]["called_at"]) == (None, None)
    assert shown["second"]["words"]


def test_posts_of_the_other_heats_that_it_can_move_are_in_it(meet: MeetAtHand) -> None:
    event, ruling = a_round_with_a_disqualification(meet)
    protest = a_protest_in(event, ruling)
    decided(meet, protest)
    told = dossier(meet, appeal(meet, protest))
    assert [one["heat"] for one in told["posts"]] == [event.heat("heats 1"), event.heat("heats 2")]


def test_it_says_why_it_does_not_show_what_granting_would_move(meet: MeetAtHand) -> None:
    told = dossier(meet, a_referred_protest(meet))
    assert (told["if_granted"], told["if_rejected"]) == (None, None)
    assert told["note"] == (
        "The referee passed the protest on, and nobody has asked for an order. What orders would "
        "move can be tried before anything is decided."
    )


def test_a_team_that_names_no_order_is_told_apart_from_one_that_asks_too_late(
    meet: MeetAtHand,
) -> None:
    meet.start()
    assert meet.load_result().status_code == 201
    protest = decided(meet, lodge(meet, a_protest(meet)))
    told = dossier(meet, appeal(meet, protest))
    assert told["if_granted"] is None
    assert told["note"].startswith("The team names no order, and there is no order")
    sought = [{"order": "correct", "team": team(meet, 8), "time": "41.00"}]
    lodged = appeal(meet, protest, team=team(meet, 8), sought=sought)
    assert dossier(meet, lodged)["note"] == ""
    meet.hold_back()
    told = dossier(meet, lodged)
    assert told["if_granted"] is None
    assert told["note"].startswith("What is asked for cannot be ordered now: ")


def test_of_a_reopened_appeal_it_shows_what_rejecting_it_would_move(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    assert dossier(meet, heard)["if_rejected"] is None
    assert reopen(meet, heard, heard["names"][0]).status_code == 200
    told = dossier(meet, heard)
    foreseen = meet["jury"].post(f"appeals/{heard['id']}/consequences", {"orders": []}).json()
    assert told["if_rejected"] == foreseen
    assert {"Plover 1", "Curlew 1"} <= {move["name"] for move in told["if_rejected"]["moves"]}
    assert told["note"] == (
        "It was reopened: what the jury ordered before stays until it decides anew, so what is "
        "ordered again the same moves nothing. The team names no order, and there is no order and "
        "no disqualification that granting it would undo. What orders would move can be tried "
        "before anything is decided."
    )
    for name in heard["names"]:
        assert cast(meet, heard, name, "rejected").status_code == 201
    again = jury_decides(meet, heard, heard["names"][0], "rejected")
    assert again.status_code == 201, again.text
    assert again.json()["decision"]["consequences"] == foreseen
    assert dossier(meet, heard)["if_rejected"] is None


def test_the_dossier_is_for_the_jury_and_the_head_officials(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    address = f"appeals/{lodged['id']}/dossier"
    assert meet.referee.get(address).status_code == 200
    for who in ("results", "umpire", "organiser"):
        a_problem(meet[who].get(address), 403, "role-missing")
    a_problem(meet["jury"].get(f"appeals/{new_id()}/dossier"), 404, "not-found")
