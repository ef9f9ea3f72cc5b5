"""The jury looks at its decision again: on new evidence, with new votes, and who allowed it."""

from __future__ import annotations

import httpx

from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    an_upheld_appeal,
    appeal,
    cast,
    decide,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
)
from tests.builders import PIN, Json, MeetAtHand, a_problem

WHY = {
    "evidence": "A second camera shows lane 4 from the side.",
    "allowed_by": "Ines Compass, chair of the jury",
    "reasons": "The final has not been run yet.",
    "pin": PIN,
}


def reopen(meet: MeetAtHand, heard: Json, by: str, **changes: object) -> httpx.Response:
    seen = meet["jury"].get(f"appeals/{heard['id']}").headers["ETag"]
    return meet[by].post(f"appeals/{heard['id']}/reopen", {**WHY, **changes}, etag=seen)


def annotation(meet: MeetAtHand) -> str:
    return meet.annotations().get(4, "")


def test_reopening_names_the_evidence_and_who_allowed_it(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    chair = heard["names"][0]
    for missing in ("evidence", "allowed_by", "reasons"):
        a_problem(reopen(meet, heard, chair, **{missing: ""}), 422, "malformed")
    a_problem(reopen(meet, heard, heard["names"][1]), 403, "not-yours")
    out = reopen(meet, heard, chair)
    assert out.status_code == 200, out.text
    told = out.json()
    assert (told["state"], told["sitting"]) == ("admitted", 2)
    assert told["reopened"]["allowed_by"] == WHY["allowed_by"]
    assert told["reopened"]["by_name"] == chair
    assert told["reopened"]["decision"] == heard["decision"]["id"]
    assert told["panel"]["votes"] == 0


def test_the_old_decision_stands_until_the_next_one_replaces_it(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    chair, first = heard["names"][0], heard["decision"]["id"]
    reopen(meet, heard, chair)
    assert annotation(meet) == "", "the disqualification is still set aside"
    printed = meet["jury"].get(f"decisions/{first}/form.pdf")
    assert printed.status_code == 200
    a_problem(jury_decides(meet, heard, chair, "rejected"), 409, "conflict")
    for name in heard["names"]:
        assert cast(meet, heard, name).status_code == 201
    orders = [{"order": "undo", "decision": first}]
    out = jury_decides(meet, heard, chair, "upheld", orders=orders)
    assert out.status_code == 201, out.text
    told = out.json()
    assert told["earlier_decisions"] == [first]
    assert told["decision"]["sitting"] == 2
    assert annotation(meet).startswith("DQ")
    dossier = meet["jury"].get(f"appeals/{heard['id']}/dossier").json()
    replaced = {one["id"]: one["replaced_by"] for one in dossier["decisions"]}
    assert replaced[first] == told["decision"]["id"]


def test_rejected_after_reopening_takes_back_what_the_first_decision_ordered(
    meet: MeetAtHand,
) -> None:
    """Rejected at last, the appeal has not succeeded: the referee's decision stands again."""
    heard = an_upheld_appeal(meet)
    chair, first = heard["names"][0], heard["decision"]["id"]
    assert annotation(meet) == ""
    reopen(meet, heard, chair)
    for name in heard["names"]:
        assert cast(meet, heard, name, "rejected").status_code == 201
    foreseen = meet["jury"].post(f"appeals/{heard['id']}/consequences", {"orders": []}).json()
    out = jury_decides(meet, heard, chair, "rejected")
    assert out.status_code == 201, out.text
    assert out.json()["decision"]["consequences"] == foreseen
    # Nothing is ordered by name: taking back what is replaced comes of the replacing.
    assert out.json()["decision"]["orders"] == []
    (ordered,) = out.json()["decision"]["ordered"]
    assert ordered == "The disqualification of Plover 1 (DQ TR24.7) counts again."
    assert out.json()["earlier_decisions"] == [first]
    assert out.json()["deposit"]["outcome"] == "forfeited"
    assert annotation(meet).startswith("DQ")
    assert out.json()["decision"]["consequences"]["moves"]


def test_upheld_again_replaces_the_orders_of_the_first_decision(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    chair = heard["names"][0]
    reopen(meet, heard, chair)
    for name in heard["names"]:
        cast(meet, heard, name)
    out = jury_decides(meet, heard, chair, orders=set_aside(heard["ruled"]))
    assert out.status_code == 201, out.text
    assert out.json()["decision"]["consequences"]["moves"] == []
    assert annotation(meet) == ""


def test_what_can_no_longer_be_taken_back_is_said_plainly(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        cast(meet, lodged, name)
    orders = [{"order": "run again"}]
    assert jury_decides(meet, lodged, names[0], orders=orders).status_code == 201
    meet.start()
    assert reopen(meet, lodged, names[0]).status_code == 200
    for name in names:
        cast(meet, lodged, name, "rejected")
    out = jury_decides(meet, lodged, names[0], "rejected")
    assert out.status_code == 201, out.text
    (said,) = out.json()["decision"]["consequences"]["too_late"]
    assert "started again" in said
    assert out.json()["decision"]["ordered"] == []


def test_who_sits_on_a_reopened_appeal_goes_by_what_it_would_take_back(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    told = reopen(meet, heard, heard["names"][0]).json()
    assert "Club 5" in told["panel"]["affected"]
    assert "Club 3" not in told["panel"]["affected"]


def test_a_reopened_appeal_can_have_another_panel_and_is_not_withdrawn(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    reopen(meet, heard, heard["names"][0])
    seen = meet.desk.get(f"appeals/{heard['id']}").headers["ETag"]
    back = meet.desk.post(f"appeals/{heard['id']}/withdraw", {"by": "Mira Anchor"}, etag=seen)
    assert "jury's own matter" in a_problem(back, 409, "conflict")["detail"]
    names = list(reversed(heard["names"]))
    assert name_panel(meet, heard, names).status_code == 200


def test_an_open_appeal_is_not_reopened(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    chair = heard["names"][0]
    assert reopen(meet, heard, chair).status_code == 200
    a_problem(reopen(meet, heard, chair), 409, "not-possible")


def test_a_ruling_is_not_reconsidered_past_the_jury(meet: MeetAtHand) -> None:
    """World Athletics TR8.11: the decision of the jury is final, also for the head official."""
    heard = an_upheld_appeal(meet)
    again = meet.rule(heard["ruled"]["case"], reconsiders=heard["ruled"]["id"])
    assert "final" in a_problem(again, 409, "conflict")["detail"]
    assert annotation(meet) == ""


def test_a_protest_after_the_jury_does_not_restore_what_it_set_aside(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    protest = lodge(meet, a_protest(meet, team=meet.heats[0]["lanes"][5]["team"]))
    back = [{"order": "restore", "disqualification": heard["ruled"]["disqualification"]}]
    told = a_problem(decide(meet, protest, "upheld", orders=back), 409, "conflict")
    assert "TR8.11" in told["detail"]
