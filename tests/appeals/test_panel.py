"""Who sits on the jury of one appeal, who does not, and who takes a place that is left."""

from __future__ import annotations

import httpx
import pytest

from app.ids import new_id
from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    appeal,
    cast,
    decided,
    jurors,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
)
from tests.builders import (
    Json,
    MeetAtHand,
    a_meet,
    a_meet_document,
    a_problem,
    add_official,
    founder,
)
from tests.running import Service


def step_aside(
    meet: MeetAtHand, lodged: Json, name: str, instead: str | None, by: str = ""
) -> Json:
    asked = ask_aside(meet, lodged, name, instead, by)
    assert asked.status_code == 200, asked.text
    return dict(asked.json())


def ask_aside(
    meet: MeetAtHand, lodged: Json, name: str, instead: str | None, by: str = ""
) -> httpx.Response:
    seen = meet["jury"].get(f"appeals/{lodged['id']}").headers["ETag"]
    sent = {"reasons": "My club would gain the lane."}
    if instead is not None:
        sent["replaced_by"] = meet[instead].id
    address = f"appeals/{lodged['id']}/panel/{meet[name].id}/withdraw"
    return meet[by or name].post(address, sent, etag=seen)


def an_open_appeal(meet: MeetAtHand) -> Json:
    protest = a_rejected_protest(meet)
    return {**appeal(meet, protest), "ruled": protest["ruled"]}


def seats(out: Json) -> dict[str, tuple[str, str]]:
    return {one["name"]: (one["part"], one["state"]) for one in out["panel"]["members"]}


def test_a_panel_has_a_chair_members_a_secretary_and_substitutes(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    out = name_panel(meet, lodged, names[:3], names[3:]).json()
    assert seats(out) == {
        "juror 1": ("chair", "sits"),
        "juror 2": ("member", "sits"),
        "juror 3": ("member", "sits"),
        "juror 4": ("substitute", "waits"),
    }
    assert out["panel"]["secretary"] == "Noor Quill"
    assert (out["panel"]["size"], out["panel"]["quorum"], out["panel"]["votes"]) == (3, 3, 0)


def test_a_panel_of_the_wrong_size_is_refused_with_the_meets_size(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "", "", "", "", "")
    told = a_problem(name_panel(meet, lodged, names), 422, "malformed")
    assert "has 3 members with the chair; this names 5" in told["detail"]
    a_problem(name_panel(meet, lodged, names[:2]), 422, "malformed")


@pytest.mark.parametrize("size", [3, 5, 7])
def test_the_size_is_the_meets(service: Service, size: int) -> None:
    meet = a_meet(service, terms={"jury": {"size": size}})
    lodged = an_open_appeal(meet)
    names = jurors(meet, *[""] * size)
    out = name_panel(meet, lodged, names)
    assert out.status_code == 200, out.text
    assert out.json()["panel"]["size"] == size


def test_a_jury_of_an_even_size_is_no_jury(service: Service) -> None:
    document = a_meet_document(terms={"jury": {"size": 4}})
    sent = service.http.put(f"/api/meets/{new_id()}", json=document, headers=founder(service))
    a_problem(sent, 422, "malformed")


def test_nobody_stands_twice_in_a_panel(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "", "", "")
    a_problem(name_panel(meet, lodged, [names[0], names[0], names[1]]), 422, "malformed")
    a_problem(name_panel(meet, lodged, names, [names[2]]), 422, "malformed")


def test_only_who_holds_the_role_sits(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "", "")
    told = a_problem(name_panel(meet, lodged, [*names, "second"]), 422, "malformed")
    assert "does not hold the role jury" in told["detail"]
    gone = meet["jury"]
    meet.people["nobody"] = type(gone)(new_id(), "nobody", gone.token, gone.http, gone.meet)
    a_problem(name_panel(meet, lodged, [*names, "nobody"]), 422, "malformed")


def test_who_reported_ruled_or_decided_in_the_matter_does_not_sit(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "", "")
    for name, why in (("umpire", "wrote a report"), ("referee", "decided the protest")):
        document = {"name": name, "roles": [name, "jury"]}
        seen = meet.organiser.get(f"officials/{meet[name].id}").headers.get("ETag")
        given = meet.organiser.put(f"officials/{meet[name].id}", document, etag=seen)
        assert given.status_code == 200, given.text
        told = a_problem(name_panel(meet, lodged, [*names, name]), 422, "malformed")
        assert why in told["detail"]


def test_who_ruled_does_not_sit_also_where_another_decided(meet: MeetAtHand) -> None:
    add_official(meet, "other referee", "referee")
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, about="placing"))
    out = decided(meet, protest, by="other referee")
    meet.desk.put(f"protests/{protest['id']}/advice", {})
    lodged = appeal(meet, out)
    document = {"name": "referee", "roles": ["referee", "jury"]}
    seen = meet.organiser.get(f"officials/{meet.referee.id}").headers.get("ETag")
    assert (
        meet.organiser.put(f"officials/{meet.referee.id}", document, etag=seen).status_code == 200
    )
    told = a_problem(name_panel(meet, lodged, [*jurors(meet, "", ""), "referee"]), 422, "malformed")
    assert "ruled in this matter" in told["detail"]
    assert ruling["official"] == meet.referee.id


def test_a_member_whom_the_consequence_touches_is_asked_to_withdraw(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    # Club 5 finished behind lane 4, and loses a place if lane 4 has its own back.
    names = jurors(meet, "Far Club", "Club 5", "", "Club 6", "Near Club")
    out = name_panel(meet, lodged, names[:3], names[3:]).json()
    assert "Club 5" in out["panel"]["affected"]
    assert "Club 3" not in out["panel"]["affected"], "who was before lane 4 loses nothing"
    assert seats(out)["juror 2"] == ("member", "asked to withdraw")
    # World Athletics CR12, by its consequence; from memory.
    told = a_problem(cast(meet, lodged, "juror 2"), 403, "affected")
    assert "Club 5" in told["detail"]
    told = a_problem(ask_aside(meet, lodged, "juror 2", "juror 4"), 403, "affected")
    assert "cannot take the place either" in told["detail"]
    after = step_aside(meet, lodged, "juror 2", "juror 5")
    assert seats(after)["juror 5"] == ("member", "sits")
    assert seats(after)["juror 2"] == ("member", "withdrawn")


def test_affiliations_are_the_same_however_they_are_written(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "CLUB 5", "Far Club", "")
    out = name_panel(meet, lodged, names).json()
    assert seats(out)["juror 1"] == ("chair", "asked to withdraw")


def test_a_substitute_takes_the_chair_with_the_place(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    name_panel(meet, lodged, names[:3], names[3:])
    after = step_aside(meet, lodged, "juror 1", "juror 4")
    assert seats(after)["juror 4"] == ("chair", "sits")
    for name in ("juror 4", "juror 2", "juror 3"):
        assert cast(meet, lodged, name).status_code == 201
    refused = jury_decides(meet, lodged, "juror 1", orders=set_aside(lodged["ruled"]))
    a_problem(refused, 403, "not-yours")
    out = jury_decides(meet, lodged, "juror 4", orders=set_aside(lodged["ruled"]))
    assert out.status_code == 201, out.text


def test_a_seat_that_was_left_empty_is_filled_by_naming_the_panel_again(meet: MeetAtHand) -> None:
    """Who forgot the substitute and sends it again is told the way (common practice)."""
    lodged = an_open_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    name_panel(meet, lodged, names[:3], names[3:])
    step_aside(meet, lodged, "juror 2", None)
    told = a_problem(ask_aside(meet, lodged, "juror 2", "juror 4"), 409, "conflict")
    assert told["detail"] == (
        "This official has withdrawn from this panel, and the seat was left empty. Name the panel "
        "again (PUT …/panel) to fill it."
    )
    again = name_panel(meet, lodged, ["juror 1", "juror 4", "juror 3"])
    assert seats(again.json())["juror 4"] == ("member", "sits")
    told = a_problem(ask_aside(meet, lodged, "juror 2", "juror 4"), 409, "conflict")
    assert told["detail"].endswith("the place is taken.")


def test_only_the_member_says_that_it_withdraws_or_the_chair_of_one_who_is_concerned(
    meet: MeetAtHand,
) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "Far Club", "Club 5", "", "Other Club")
    name_panel(meet, lodged, names[:3], names[3:])
    a_problem(ask_aside(meet, lodged, "juror 2", "juror 4", by="juror 3"), 403, "not-yours")
    # Nobody is struck out for how they might vote: nothing concerns this one.
    a_problem(ask_aside(meet, lodged, "juror 3", "juror 4", by="juror 1"), 403, "not-yours")
    a_problem(ask_aside(meet, lodged, "juror 4", None), 409, "conflict")
    told = a_problem(ask_aside(meet, lodged, "juror 2", "juror 3"), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/replaced_by"
    assert seats(step_aside(meet, lodged, "juror 2", "juror 4", by="juror 1"))["juror 4"]


def test_once_votes_are_cast_nobody_is_exchanged_but_empty_seats_are_filled(
    meet: MeetAtHand,
) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    name_panel(meet, lodged, names[:3])
    assert cast(meet, lodged, "juror 1").status_code == 201
    packed = name_panel(meet, lodged, ["juror 1", "juror 2", "juror 4"])
    assert "who sits on the panel stays" in a_problem(packed, 409, "conflict")["detail"]
    chair = name_panel(meet, lodged, ["juror 2", "juror 1", "juror 3"])
    a_problem(chair, 409, "conflict")
    step_aside(meet, lodged, "juror 3", None)
    back = name_panel(meet, lodged, names[:3])
    assert "has withdrawn from this appeal" in a_problem(back, 422, "malformed")["detail"]
    filled = name_panel(meet, lodged, ["juror 1", "juror 2", "juror 4"])
    assert filled.status_code == 200, filled.text
    assert filled.json()["panel"]["votes"] == 1
    assert seats(filled.json())["juror 3"] == ("member", "withdrawn")


def test_a_panel_that_lost_everybody_is_named_anew(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "", "", "")
    name_panel(meet, lodged, names[:3])
    assert cast(meet, lodged, "juror 1").status_code == 201
    for name in names[:3]:
        step_aside(meet, lodged, name, None)
    a_problem(jury_decides(meet, lodged, "juror 1", "rejected"), 403, "not-yours")
    anew = name_panel(meet, lodged, names[3:])
    assert anew.status_code == 200, anew.text
    for name in names[3:]:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    assert jury_decides(meet, lodged, "juror 4", "rejected").status_code == 201


def test_nobody_votes_before_an_appeal_is_admitted_and_no_panel_is_named_after_it_is_decided(
    meet: MeetAtHand,
) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest, deposit=None)
    names = jurors(meet, "", "", "")
    assert name_panel(meet, lodged, names).status_code == 200
    told = a_problem(cast(meet, lodged, "juror 1", "rejected"), 409, "conflict")
    assert "awaits its deposit" in told["detail"]
    deposit = {"amount": 100, "currency": "USD", "receipt": "R-1"}
    assert meet.desk.put(f"appeals/{lodged['id']}/deposit", deposit).status_code == 200
    a_panel(meet, {"id": lodged["id"]})
    for name in ("juror 1", "juror 2", "juror 3"):
        cast(meet, lodged, name, "rejected")
    assert jury_decides(meet, lodged, "juror 1", "rejected").status_code == 201
    told = a_problem(name_panel(meet, lodged, names), 409, "conflict")
    assert "reopened" in told["detail"]


def test_an_appeal_whose_re_run_was_called_off_is_still_read_and_rejected(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    first = lodge(meet, a_protest(meet, ruling))
    again = {"order": "run again", "teams": [first["team"]], "time_to_beat": "42.30"}
    orders = [*set_aside(ruling), again]
    ordered = decided(meet, first, "upheld", orders=orders)
    re_run = meet.organiser.get("heats").json()["heats"][-1]
    about_it = lodge(meet, a_protest(meet, heat=re_run["id"]))
    out = decided(meet, about_it)
    lodged = appeal(meet, out)
    a_panel(meet, lodged)
    second = lodge(meet, a_protest(meet))
    undo = [{"order": "undo", "decision": ordered["decision"]["id"]}]
    decided(meet, second, "upheld", orders=undo)
    for address in ("appeals", f"appeals/{lodged['id']}", f"appeals/{lodged['id']}/dossier"):
        answer = meet["jury"].get(address)
        assert answer.status_code == 200, answer.text
    for name in ("juror 1", "juror 2", "juror 3"):
        assert cast(meet, lodged, name, "rejected").status_code == 201
    assert jury_decides(meet, lodged, "juror 1", "rejected").status_code == 201
    assert meet["jury"].get(f"appeals/{lodged['id']}/form.pdf").status_code == 200
