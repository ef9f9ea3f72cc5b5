"""Who can be named for a panel is told before anybody is: whom it concerns, and who had a part."""

from __future__ import annotations

from app.ids import new_id
from tests.appeals.desk import a_rejected_protest, appeal, jurors, name_panel
from tests.appeals.test_panel import step_aside
from tests.builders import Json, MeetAtHand, a_problem, add_official


def candidates(meet: MeetAtHand, lodged: Json) -> Json:
    answer = meet["jury"].get(f"appeals/{lodged['id']}/panel/candidates")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def an_open_appeal(meet: MeetAtHand) -> Json:
    return appeal(meet, a_rejected_protest(meet))


def test_the_jury_reads_who_can_sit_and_whom_the_consequence_touches(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    jurors(meet, "Far Club", "club  4")
    told = candidates(meet, lodged)
    assert told["size"] == 3
    said = {one["name"]: (one["can_sit"], one["because"]) for one in told["jurors"]}
    assert said["juror 1"] == ("yes", "")
    can, because = said["juror 2"]
    assert can == "asked to withdraw"
    assert because == "The consequence touches a team of club  4."


def test_who_ruled_can_neither_sit_nor_write_the_minutes(meet: MeetAtHand) -> None:
    add_official(meet, "both", "referee", "jury")
    lodged = an_open_appeal(meet)
    told = candidates(meet, lodged)
    writes = {one["name"]: one for one in told["secretaries"]}
    assert writes["referee"]["can_sit"] == "no"
    assert writes["referee"]["because"] == "referee decided the protest."
    assert writes["both"]["can_sit"] == "yes"
    assert "umpire" not in writes


def test_who_has_withdrawn_is_not_named_again(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    assert name_panel(meet, lodged, names[:3], names[3:]).status_code == 200
    step_aside(meet, lodged, "juror 2", "juror 4")
    said = {one["name"]: one for one in candidates(meet, lodged)["jurors"]}
    assert said["juror 2"]["can_sit"] == "no"
    assert said["juror 2"]["because"] == "juror 2 has withdrawn from this appeal."


def test_what_is_told_of_candidates_is_what_naming_them_says(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    add_official(meet, "typist", "jury", "results")
    lodged = appeal(meet, protest, by="typist", lodged_at=protest["decision"]["advised_at"])
    names = [*jurors(meet, "Far Club", "Near Club", "")]
    known = {one["name"]: one["can_sit"] for one in candidates(meet, lodged)["jurors"]}
    assert known["typist"] == "no"
    for name in (*names, "typist", "jury"):
        others = [one for one in (*names, "jury") if one != name][:2]
        answer = name_panel(meet, lodged, [name, *others])
        assert (answer.status_code == 200) == (known[name] != "no"), (name, answer.text)


def test_candidates_are_for_the_jury_and_for_an_appeal_of_this_meet(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    refused = meet.referee.get(f"appeals/{lodged['id']}/panel/candidates")
    a_problem(refused, 403, "role-missing")
    a_problem(meet["jury"].get(f"appeals/{new_id()}/panel/candidates"), 404, "not-found")
