"""Who has the last word: the jury over the referee, a decision over a file, nobody over a vote."""

from __future__ import annotations

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
