"""Who has the last word: the jury over the referee, a decision over a file, nobody over a vote."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.ids import new_id
from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    announced,
    appeal,
    cast,
    decide,
    decided,
    jurors,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
    team,
)
from tests.builders import PIN, Json, MeetAtHand, a_problem, add_official
from tests.rounds.builders import by_name, two_heats


def annotation(meet: MeetAtHand, lane: int = 4) -> str:
    lines = meet.desk.get(f"heats/{meet.heat()}/result").json()["lines"]
    return str(next(line["annotation"] for line in lines if line["lane"] == lane))


def a_rejected_appeal(meet: MeetAtHand) -> Json:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    answer = jury_decides(meet, lodged, names[0], "rejected")
    assert answer.status_code == 201, answer.text
    return {**answer.json(), "ruled": protest["ruled"], "names": names}


def reconsider(meet: MeetAtHand, ruled: Json):  # type: ignore[no-untyped-def]
    return meet.rule(ruled["case"], verdict="dismissed", reconsiders=ruled["id"])


def test_the_referee_does_not_reconsider_what_the_jury_has_let_stand(meet: MeetAtHand) -> None:
    """World Athletics TR8.11: the jury's decision is final."""
    out = a_rejected_appeal(meet)
    told = a_problem(reconsider(meet, out["ruled"]), 409, "conflict")
    assert "TR8.11" in told["detail"]
    second = lodge(meet, a_protest(meet, out["ruled"], team=team(meet, 5)))
    again = decide(meet, second, "upheld", orders=set_aside(out["ruled"]))
    assert "final" in a_problem(again, 409, "conflict")["detail"]
    assert annotation(meet).startswith("DQ")


def test_a_ruling_is_not_made_again_once_a_protest_has_moved_it(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    told = a_problem(reconsider(meet, ruling), 409, "conflict")
    assert "referee on protest 1" in told["detail"]


def test_a_file_does_not_overwrite_what_was_decided(meet: MeetAtHand) -> None:
    an_announced_disqualification(meet)
    order = {"order": "correct", "team": team(meet, 1), "time": "45.00"}
    protest = lodge(meet, a_protest(meet, team=team(meet, 2)))
    out = decided(meet, protest, "upheld", orders=[order])
    seen = meet.desk.get(f"heats/{meet.heat()}/result").headers["ETag"]
    rows = "\n".join(["lane,time", *(f"{lane},{42 + lane / 10:.2f}" for lane in range(1, 9))])
    address = f"heats/{meet.heat()}/result"
    told = a_problem(meet.desk.put(address, content=rows, etag=seen), 409, "conflict")
    assert told["teams"] == ["Tern 1"]
    right = rows.replace("1,42.10", "1,45.00")
    assert meet.desk.put(address, content=right, etag=seen).status_code == 200
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    decided(meet, lodge(meet, a_protest(meet, team=team(meet, 3))), "upheld", orders=undo)
    seen = meet.desk.get(address).headers["ETag"]
    assert meet.desk.put(address, content=rows, etag=seen).status_code == 200


def test_what_is_done_already_can_still_be_upheld(meet: MeetAtHand) -> None:
    """Two teams appeal against one disqualification: the second is right too."""
    ruling = an_announced_disqualification(meet)
    first = lodge(meet, a_protest(meet, ruling))
    second = lodge(meet, a_protest(meet, ruling, team=team(meet, 5)))
    decided(meet, first, "upheld", orders=set_aside(ruling))
    refused = decide(meet, second, "upheld", orders=set_aside(ruling))
    a_problem(refused, 409, "conflict")
    out = decided(meet, second, "upheld", done_already="Protest 1 has set it aside.")
    assert out["state"] == "upheld"
    assert out["decision"]["done_already"] == "Protest 1 has set it aside."
    assert out["decision"]["consequences"]["moves"] == []
    neither = decide(meet, lodge(meet, a_protest(meet, ruling)), "upheld")
    a_problem(neither, 422, "malformed")


def test_the_chair_signs_nothing_that_touches_its_own_club(meet: MeetAtHand) -> None:
    version = meet.organiser.get(f"/api/meets/{meet.id}").headers["ETag"]
    document = {**_meet_document(meet), "terms": {"jury": {"size": 3, "quorum": 2}}}
    changed = meet.organiser.put(f"/api/meets/{meet.id}", document, etag=version)
    assert changed.status_code == 200, changed.text
    lodged = appeal(meet, a_rejected_protest(meet))
    names = jurors(meet, "Club 5", "Near Club", "")
    assert name_panel(meet, lodged, names).status_code == 200
    for name in names[1:]:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    a_problem(jury_decides(meet, lodged, names[0], "rejected"), 403, "affected")


def _meet_document(meet: MeetAtHand) -> Json:
    told = meet.organiser.get(f"/api/meets/{meet.id}").json()
    names = ("name", "venue", "first_day", "last_day", "time_zone", "edition")
    return {name: told[name] for name in names}


def test_the_quorum_is_that_of_when_the_panel_was_named(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    names = a_panel(meet, lodged)
    assert cast(meet, lodged, names[0], "upheld").status_code == 201
    version = meet.organiser.get(f"/api/meets/{meet.id}").headers["ETag"]
    document = {**_meet_document(meet), "terms": {"jury": {"size": 3, "quorum": 1}}}
    changed = meet.organiser.put(f"/api/meets/{meet.id}", document, etag=version)
    assert changed.status_code == 200, changed.text
    told = a_problem(jury_decides(meet, lodged, names[0], "rejected"), 409, "conflict")
    assert told["quorum"] == 3


def test_what_was_voted_is_in_the_record_only_once_it_is_decided(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    voted = [line for line in _record(meet) if "vote cast" in line]
    assert len(voted) == 3
    assert not [line for line in voted if "rejected" in line]
    assert jury_decides(meet, lodged, names[0], "rejected").status_code == 201
    (signed,) = [line for line in _record(meet) if "appeal decided" in line]
    assert all(meet[name].id in signed for name in names)


def _record(meet: MeetAtHand) -> list[str]:
    return meet["jury"].get("record").text.splitlines()


def test_only_the_desk_takes_a_withdrawal_in(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    seen = meet["jury"].get(f"appeals/{lodged['id']}").headers["ETag"]
    by_jury = meet["jury"].post(f"appeals/{lodged['id']}/withdraw", {"by": "Mira"}, etag=seen)
    a_problem(by_jury, 403, "role-missing")
    assert meet.desk.post(
        f"appeals/{lodged['id']}/withdraw", {"by": "Mira Anchor"}, etag=seen
    ).is_success


def test_the_organiser_reads_no_protests(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    for path in (f"protests/{protest['id']}", "protests", "appeals"):
        a_problem(meet.organiser.get(path), 403, "role-missing")


def test_a_juror_who_voted_on_a_decided_appeal_is_not_asked_to_withdraw(meet: MeetAtHand) -> None:
    out = an_upheld_appeal(meet)
    announced(meet)
    seen = meet["jury"].get(f"appeals/{out['id']}").json()
    sitting = [one for one in seen["panel"]["members"] if one["part"] != "substitute"]
    assert {one["state"] for one in sitting} == {"sits"}
    assert "Club 1" not in seen["panel"]["affected"]


def test_what_cannot_be_ordered_cannot_be_sought(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    sought = [{"order": "set aside", "disqualification": new_id()}]
    document = {
        "protest": protest["id"],
        "team": protest["team"],
        "lodged_by": "Mira Anchor",
        "words": "The video was not looked at.",
        "sought": sought,
    }
    told = a_problem(meet.desk.put(f"appeals/{new_id()}", document), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/sought"


def test_an_advancement_can_be_taken_back_alone(meet: MeetAtHand) -> None:
    an_announced_disqualification(meet)
    event = meet.heats[0]["event"]
    setting = {"event": event, "round": "heats", "next_round": "final"}
    numbers = {"by_place": 1, "by_time": 0, "lanes": 8}
    put = meet.organiser.put(f"rounds/{new_id()}", {**setting, **numbers})
    assert put.status_code == 201, put.text
    orders = [{"order": "advance", "team": team(meet, 7)}]
    decided(meet, lodge(meet, a_protest(meet, team=team(meet, 7))), "upheld", orders=orders)
    back = [{"order": "recall", "team": team(meet, 7)}]
    out = decided(meet, lodge(meet, a_protest(meet, team=team(meet, 8))), "upheld", orders=back)
    assert out["decision"]["ordered"] == ["That Dunlin 1 goes on (qR) is taken back."]
    standing = meet.desk.get(f"heats/{meet.heat()}/round/now").json()
    assert next(one for one in standing["teams"] if one["name"] == "Dunlin 1")["letter"] != "qR"


def test_leave_is_the_referees_and_only_where_it_is_needed(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    sent = a_protest(meet, ruling, allowed_because="I say so.")
    told = a_problem(meet.desk.put(f"protests/{new_id()}", sent), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/allowed_because"


def test_a_further_official_is_no_juror(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    add_official(meet, "outsider", "umpire")
    names = [*jurors(meet, "", ""), "outsider"]
    a_problem(name_panel(meet, lodged, names), 422, "malformed")
    vote = {"vote": "upheld", "pin": PIN}
    a_problem(
        meet["outsider"].put(f"appeals/{lodged['id']}/votes/{new_id()}", vote), 403, "role-missing"
    )


def test_what_bears_the_jurys_letter_only_the_jury_takes_back(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    event = meet.heats[0]["event"]
    setting = {"event": event, "round": "heats", "next_round": "final"}
    put = meet.organiser.put(
        f"rounds/{new_id()}", {**setting, "by_place": 1, "by_time": 0, "lanes": 8}
    )
    assert put.status_code == 201, put.text
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    orders = [*set_aside(protest["ruled"]), {"order": "advance", "team": protest["team"]}]
    answer = jury_decides(meet, lodged, names[0], orders=orders)
    assert answer.status_code == 201, answer.text
    second = lodge(meet, a_protest(meet, team=team(meet, 5)))
    back = [{"order": "recall", "team": protest["team"]}]
    told = a_problem(decide(meet, second, "upheld", orders=back), 409, "conflict")
    assert "TR8.11" in told["detail"]


def test_nobody_else_appeals_once_the_jury_has_decided(meet: MeetAtHand) -> None:
    out = a_rejected_appeal(meet)
    document = {
        "protest": out["protest"],
        "team": team(meet, 5),
        "lodged_by": "Mira Anchor",
        "words": "We see it otherwise.",
    }
    told = a_problem(meet.desk.put(f"appeals/{new_id()}", document), 409, "not-protestable")
    assert "TR8.11" in told["detail"]


def test_nothing_is_lodged_before_what_it_is_about(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    early = (meet.service.clock.now() - timedelta(hours=1)).isoformat()
    for document in (
        a_protest(meet, ruling, lodged_at=early),
        a_protest(meet, lodged_at=early),
    ):
        told = a_problem(meet.desk.put(f"protests/{new_id()}", document), 422, "malformed")
        assert told["errors"][0]["pointer"] == "/lodged_at"


def again(meet: MeetAtHand, out: Json, vote: str, **decision: object) -> Json:
    """The jury sits again on new evidence, and decides by these votes."""
    seen = meet[out["names"][0]].get(f"appeals/{out['id']}").headers["ETag"]
    sent = {"evidence": "A second camera.", "allowed_by": "Ines Compass", "reasons": "It is clear."}
    chair = meet[out["names"][0]]
    opened = chair.post(f"appeals/{out['id']}/reopen", {**sent, "pin": PIN}, etag=seen)
    assert opened.status_code == 200, opened.text
    for name in out["names"]:
        assert cast(meet, out, name, vote).status_code == 201
    answer = jury_decides(meet, out, out["names"][0], vote, **decision)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def test_a_third_sitting_can_uphold_again_what_the_second_took_back(meet: MeetAtHand) -> None:
    out = an_upheld_appeal(meet)
    assert again(meet, out, "rejected")["state"] == "rejected"
    assert annotation(meet).startswith("DQ")
    third = again(meet, out, "upheld", orders=set_aside(out["ruled"]))
    (ordered,) = third["decision"]["ordered"]
    assert ordered == "The disqualification of Plover 1 (DQ TR24.7) is set aside."
    assert annotation(meet) == ""


@pytest.mark.parametrize("heat", ["heats 1", "heats 2"])
def test_a_recall_that_is_taken_back_gives_the_letter_back_that_was(
    meet: MeetAtHand, heat: str
) -> None:
    """A decision and its reversal give back the same result (common practice). The letters qR and
    qJ say who let a team go on: World Athletics CR25.4, by a federation's list of 2023.
    """
    event = two_heats(meet)
    event.set(lanes=6)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")

    def a_protest_of(name: str, where: str) -> Json:
        sent = {"heat": event.heat(where), "team": event.team(name), "about": "other"}
        return lodge(meet, {**sent, "lodged_by": "Mira Anchor"})

    def standing() -> Json:
        return {name: one["letter"] for name, one in by_name(event.now()).items()}

    advance = {"order": "advance", "team": event.team("Heron")}
    decided(meet, a_protest_of("Heron", "heats 1"), "upheld", orders=[advance])
    before = standing()
    assert before["Heron"] == "qR"
    # The recall may be ordered in another heat of the round than the team's own.
    protest = a_protest_of("Gull" if heat == "heats 1" else "Curlew", heat)
    decided(meet, protest)
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    recall = {"order": "recall", "team": event.team("Heron")}
    upheld = jury_decides(meet, lodged, names[0], orders=[recall])
    assert upheld.status_code == 201, upheld.text
    assert standing()["Heron"] == ""
    out = again(meet, {**upheld.json(), "names": names}, "rejected")
    assert out["decision"]["ordered"] == ["Heron goes on to the final (qR)."]
    assert standing() == before


def test_what_can_still_be_taken_back_is_where_something_else_can_not(meet: MeetAtHand) -> None:
    """The final has begun, so its lane stays given; the disqualification counts again."""
    protest = a_rejected_protest(meet)
    event = meet.heats[0]["event"]
    leads_on = {"next_round": "final", "by_place": 8, "by_time": 0, "lanes": 9}
    setting = {"event": event, "round": "heats", **leads_on}
    draw = "event,round,heat,lane,team\nWomen 4x100 m,final,1,1,Tern 1"
    assert meet.organiser.post("start-lists", content=draw).status_code == 200
    meet.heats = meet.organiser.get("heats").json()["heats"]
    put = meet.organiser.put(f"rounds/{new_id()}", {**setting, "by_place": 4})
    assert put.status_code == 201, put.text
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    orders = [
        *set_aside(protest["ruled"]),
        {"order": "extra lane", "team": protest["team"], "lane": 5},
    ]
    upheld = jury_decides(meet, lodged, names[0], orders=orders)
    assert upheld.status_code == 201, upheld.text
    meet.start(2)
    out = again(meet, {**upheld.json(), "names": names}, "rejected")
    assert annotation(meet).startswith("DQ")
    (stays, *_more) = out["decision"]["consequences"]["too_late"]
    assert stays.startswith(
        "This stays as it was ordered before: Plover 1 has lane 5 of the final."
    )


def test_a_member_who_has_left_is_replaced_once_the_organiser_has_taken_the_role(
    meet: MeetAtHand,
) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    assert name_panel(meet, lodged, names[:3]).status_code == 200
    assert cast(meet, lodged, "juror 1", "rejected").status_code == 201
    a_problem(name_panel(meet, lodged, ["juror 1", "juror 2", "juror 4"]), 409, "conflict")
    gone = meet.organiser.get(f"officials/{meet['juror 3'].id}")
    document = {"name": "juror 3", "affiliation": "", "roles": ["umpire"]}
    left = meet.organiser.put(
        f"officials/{meet['juror 3'].id}", document, etag=gone.headers["ETag"]
    )
    assert left.status_code == 200, left.text
    assert name_panel(meet, lodged, ["juror 1", "juror 2", "juror 4"]).status_code == 200
    for name in ("juror 2", "juror 4"):
        assert cast(meet, lodged, name, "rejected").status_code == 201
    assert jury_decides(meet, lodged, "juror 1", "rejected").status_code == 201
