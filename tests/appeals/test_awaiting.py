"""What can be done with an appeal now, and what it says is missing before it is decided.

Windows and the deposit: World Athletics TR8.7 (30 minutes, 100 USD), number from memory. That a
panel needs a quorum, that its chair alone hears a late appeal and signs, that a member who is
concerned withdraws, and that a vote is not told before the decision, is common practice.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from tests.appeals.desk import (
    a_disqualification,
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    announced,
    appeal,
    cast,
    decided,
    jurors,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
    team,
)
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.running import Service


def now(meet: MeetAtHand, lodged: Json) -> tuple[set[str], list[str]]:
    """What is possible, and what is awaited."""
    out = meet["jury"].get(f"appeals/{lodged['id']}").json()
    return set(out["possible"]), out["awaits"]


def vote(meet: MeetAtHand, lodged: Json, *names: str) -> None:
    for name in names:
        assert cast(meet, lodged, name, "rejected").status_code == 201


def take_role(meet: MeetAtHand, name: str) -> None:
    """The organiser takes the role jury from a member who has left."""
    document = {"name": name, "affiliation": "", "roles": ["umpire"]}
    seen = meet.organiser.get(f"officials/{meet[name].id}").headers["ETag"]
    taken = meet.organiser.put(f"officials/{meet[name].id}", document, etag=seen)
    assert taken.status_code == 200, taken.text


def test_nobody_is_told_to_uphold_or_reject_before_a_panel_has_its_quorum(
    meet: MeetAtHand,
) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    assert lodged["state"] == "admitted"
    assert now(meet, lodged) == ({"withdraw"}, ["A panel is to be named."])
    names = a_panel(meet, lodged)
    vote(meet, lodged, names[0])
    assert now(meet, lodged)[1] == ["1 of the panel has voted, and its quorum is 3."]
    vote(meet, lodged, names[1])
    possible, awaits = now(meet, lodged)
    assert possible == {"withdraw"}
    assert awaits == ["2 of the panel have voted, and its quorum is 3."]
    vote(meet, lodged, names[2])
    assert now(meet, lodged) == (
        {"withdraw", "uphold", "reject"},
        ["The chair is to sign the decision."],
    )
    assert jury_decides(meet, lodged, names[0], "rejected").status_code == 201
    assert now(meet, lodged) == ({"reopen"}, [])


def test_what_the_jury_changed_is_said_to_be_announced(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    said = ["The amended result is to be announced."]
    assert now(meet, heard) == ({"reopen"}, said)
    protest = f"protests/{heard['protest']}"
    assert meet.desk.get(protest).json()["awaits"] == said
    listed = meet.desk.get("appeals").json()["appeals"]
    assert [one["awaits"] for one in listed if one["id"] == heard["id"]] == [said]
    announced(meet)
    assert now(meet, heard) == ({"reopen"}, [])
    assert meet.desk.get(protest).json()["awaits"] == []


def test_what_the_jury_changed_before_the_first_result_is_to_be_announced_with_it(
    meet: MeetAtHand,
) -> None:
    meet.start()
    ruling = a_disqualification(meet)
    protest = decided(meet, lodge(meet, a_protest(meet, ruling)))
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    orders = set_aside(ruling)
    assert jury_decides(meet, lodged, names[0], orders=orders).status_code == 201
    assert now(meet, lodged) == ({"reopen"}, ["The result is to be announced."])
    assert meet.load_result().status_code == 201
    announced(meet)
    assert now(meet, lodged) == ({"reopen"}, [])


def test_a_race_that_the_jury_has_run_again_is_said_to_be_announced_after_it(
    meet: MeetAtHand,
) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    again = [{"order": "run again"}]
    assert jury_decides(meet, lodged, names[0], orders=again).status_code == 201
    said = ["The heat is to be run again, and its result is to be announced."]
    assert now(meet, lodged) == ({"reopen"}, said)


def test_a_protest_says_what_the_jury_decided_on_it(meet: MeetAtHand) -> None:
    """World Athletics TR8.11: the jury's decision is final, whatever the referee's was."""
    protest = a_rejected_protest(meet)
    address = f"protests/{protest['id']}"
    lodged = appeal(meet, protest)
    assert meet.desk.get(address).json()["jury"] == []
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    orders = set_aside(protest["ruled"])
    out = jury_decides(meet, lodged, names[0], orders=orders).json()
    told = meet.desk.get(address).json()
    assert told["state"] == "rejected"
    (jury,) = told["jury"]
    assert (jury["appeal"], jury["appeal_number"]) == (lodged["id"], lodged["number"])
    assert (jury["verdict"], jury["decided_at"]) == ("upheld", out["decision"]["decided_at"])
    assert jury["decided_at_local"] == out["decision"]["decided_at_local"]
    assert meet.desk.get(jury["form_path"]).headers["content-type"] == "application/pdf"
    listed = meet.desk.get("protests").json()["protests"]
    assert [one["jury"] for one in listed if one["id"] == protest["id"]] == [[jury]]


def test_a_late_appeal_awaits_its_panel_and_the_chairs_word(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    meet.service.clock.move(timedelta(minutes=40))
    lodged = appeal(meet, protest)
    late = "It is late: the chair of its panel admits it or turns it away."
    assert now(meet, lodged) == ({"withdraw"}, [late, "A panel is to be named."])
    a_panel(meet, lodged)
    assert now(meet, lodged) == ({"admit", "turn away", "withdraw"}, [late])


def test_an_appeal_whose_deposit_can_still_come_is_not_turned_away(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet), deposit=None)
    a_panel(meet, lodged)
    missing = "Its deposit of 100 USD is to come, or the chair's word without it."
    assert now(meet, lodged) == ({"admit", "withdraw"}, [missing])
    page = meet["jury"].get("appeals").json()["appeals"]
    assert set(page[0]["possible"]) == {"admit", "withdraw"}
    meet.service.clock.move(timedelta(minutes=31))
    assert "turn away" in now(meet, lodged)[0]


def test_a_member_who_is_concerned_is_named_among_what_is_awaited(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    names = jurors(meet, "Club 5", "Far Club", "")
    assert name_panel(meet, lodged, names).status_code == 200
    vote(meet, lodged, *names[1:])
    assert now(meet, lodged)[1] == [
        "juror 1 is asked to withdraw.",
        "2 of the panel have voted, and its quorum is 3.",
    ]
    seen = meet["jury"].get(f"appeals/{lodged['id']}").headers["ETag"]
    address = f"appeals/{lodged['id']}/panel/{meet['juror 1'].id}/withdraw"
    gone = meet["juror 1"].post(address, {"reasons": "My club gains."}, etag=seen)
    assert gone.status_code == 200, gone.text
    assert gone.json()["awaits"] == [
        "1 of the 3 seats of the panel stands empty: name who takes it.",
        "2 of the panel have voted, and its quorum is 3.",
    ]


def test_a_quorum_that_left_with_a_member_is_found_again_by_the_way_that_the_refusal_names(
    meet: MeetAtHand,
) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    names = a_panel(meet, lodged)
    vote(meet, lodged, *names[:2])
    told = a_problem(jury_decides(meet, lodged, names[0], "rejected"), 409, "conflict")
    assert "left for good" in told["detail"]
    assert "takes the role jury" in told["detail"]
    take_role(meet, "juror 3")
    assert now(meet, lodged)[1][0] == (
        "juror 3 is no member of the jury any more: name the panel again, with somebody in this "
        "place."
    )
    jurors(meet, "Far Club", "Near Club", "", "Other Club")
    anew = name_panel(meet, lodged, [*names[:2], "juror 4"])
    assert anew.status_code == 200, anew.text
    vote(meet, lodged, "juror 4")
    assert jury_decides(meet, lodged, names[0], "rejected").status_code == 201


def test_a_quorum_below_the_size_is_enough_to_decide(service: Service) -> None:
    terms: dict[str, Any] = {"jury": {"size": 3, "quorum": 2}}
    meet = a_meet(service, terms=terms)
    lodged = appeal(meet, a_rejected_protest(meet))
    names = a_panel(meet, lodged)
    vote(meet, lodged, *names[:2])
    assert now(meet, lodged)[0] >= {"uphold", "reject"}


def test_what_is_possible_does_not_tell_how_the_votes_go(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    vote(meet, lodged, *a_panel(meet, lodged))
    out = meet.desk.get(f"appeals/{lodged['id']}").json()
    assert {"uphold", "reject"} <= set(out["possible"])


def test_a_protest_says_what_is_next_and_until_when_the_decision_can_be_appealed(
    meet: MeetAtHand,
) -> None:
    """World Athletics TR8.7: 30 minutes from the advice, where nothing is amended."""
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    assert protest["awaits"] == ["The referee is to decide."]
    out = decided(meet, protest)
    assert out["awaits"] == [
        "The protesters are to be told: the time for an appeal runs from that."
    ]
    told = meet.desk.put(f"protests/{protest['id']}/advice", {}).json()
    assert told["awaits"] == []
    assert told["appeals_until"].startswith("Appeals until ")
    assert "30 minutes (TR8.7.2)" in told["appeals_until"]
    time = told["appeal_time"]
    assert (time["minutes"], time["rule"], time["origin"]) == (30, "TR8.7.2", "edition")
    assert time["opened_at"] == told["decision"]["advised_at"]
    assert time["opened_by"] == f"advice on protest {protest['number']}"
    assert out["appeal_time"] is None, "nobody has been told"
    second = lodge(meet, a_protest(meet, ruling, team=team(meet, 5)))
    upheld = decided(meet, second, "upheld", orders=set_aside(ruling))
    assert upheld["awaits"] == [
        "The amended result is to be announced: the time for appeals runs from that."
    ]
    announced(meet)
    now = meet.desk.get(f"protests/{second['id']}").json()
    assert "(TR8.7.1)" in now["appeals_until"]
