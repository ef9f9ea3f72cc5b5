"""Taking a protest in: who for, about what, and whether it is in time; odd ones are kept."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import (
    a_protest,
    an_announced_disqualification,
    announced,
    decide,
    decided,
    lodge,
    set_aside,
    team,
)
from tests.builders import PIN, Json, MeetAtHand, a_problem

HALF_AN_HOUR = timedelta(minutes=30)


def read(meet: MeetAtHand, protest: Json) -> Json:
    answer = meet.desk.get(f"protests/{protest['id']}")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def correct_time(meet: MeetAtHand, told: Json, at: str) -> None:
    sent = {"announced_at": at, "reasons": "Typed wrongly.", "remark": "Heard", "pin": PIN}
    answer = meet.desk.put(f"announcements/{told['id']}/time-corrections/{new_id()}", sent)
    assert answer.status_code == 201, answer.text


def test_the_last_instant_is_in_time_and_the_next_one_is_late(meet: MeetAtHand) -> None:
    now = meet.service.clock.now().replace(microsecond=0)
    meet.service.clock.stand_at(now)
    ruling = an_announced_disqualification(meet)
    # World Athletics TR8.2: within 30 minutes; inclusive by the handbook, section 5.
    meet.service.clock.stand_at(now + HALF_AN_HOUR)
    last = lodge(meet, a_protest(meet, ruling))
    assert last["marks"] == []
    assert last["timeliness"]["margin_seconds"] == 0
    assert last["timeliness"]["words"] == "in time by less than 1 s"
    meet.service.clock.stand_at(now + HALF_AN_HOUR + timedelta(microseconds=1))
    late = lodge(meet, a_protest(meet, ruling, team=team(meet, 5)))
    assert late["marks"] == ["late"]
    assert late["timeliness"]["margin_seconds"] == pytest.approx(-1e-6)
    meet.service.clock.stand_at(now + HALF_AN_HOUR + timedelta(minutes=4, seconds=10))
    later = lodge(meet, a_protest(meet, ruling, team=team(meet, 6)))
    assert later["timeliness"]["words"] == "LATE by 4 min 10 s"


def test_when_a_protest_was_lodged_counts_and_not_when_it_was_entered(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    lodged_at = meet.service.clock.now() + timedelta(minutes=29)
    meet.service.clock.move(timedelta(minutes=35))
    kept = lodge(meet, a_protest(meet, ruling, lodged_at=rfc3339(lodged_at)))
    assert kept["marks"] == []
    ahead = meet.service.clock.now() + timedelta(minutes=1)
    sent = a_protest(meet, ruling, lodged_at=rfc3339(ahead))
    refused = meet.desk.put(f"protests/{new_id()}", sent)
    assert a_problem(refused, 422, "malformed")["errors"][0]["pointer"] == "/lodged_at"


def test_a_late_protest_needs_a_reason_to_be_heard_and_none_to_be_rejected(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    meet.service.clock.move(timedelta(minutes=40))
    late = lodge(meet, a_protest(meet, ruling))
    told = a_problem(decide(meet, late, "upheld", orders=set_aside(ruling)), 409, "needs-word")
    assert "LATE by" in told["detail"]
    assert a_problem(decide(meet, late, "referred"), 409, "needs-word")["marks"] == ["late"]
    why = "The desk was closed."
    out = decided(meet, late, "upheld", orders=set_aside(ruling), heard_because=why)
    assert out["decision"]["heard_because"] == why
    other = lodge(meet, a_protest(meet, team=team(meet, 5)))
    assert decided(meet, other)["state"] == "rejected"


def test_a_protest_in_time_needs_no_reason_to_be_heard(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    refused = decide(meet, protest, heard_because="Let us be kind.")
    assert "in time" in a_problem(refused, 422, "malformed")["detail"]


def test_a_protest_from_outside_the_round_is_kept_and_marked(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    same = meet.heats[0]["event_name"]
    listed = f"event,round,heat,lane,team\n{same},final,1,4,Stray\n{same},final,1,5,Tern 1\n"
    assert meet.organiser.post("start-lists", content=listed).status_code == 200
    final = next(
        one for one in meet.organiser.get("heats").json()["heats"] if one["round"] == "final"
    )
    stray = next(lane["team"] for lane in final["lanes"] if lane["name"] == "Stray")
    # World Athletics TR8.3: by or for who takes part in the same round.
    outside = lodge(meet, a_protest(meet, ruling, team=stray))
    assert outside["marks"] == ["outside"]
    assert outside["took_part"] is False
    assert outside["lane"] is None
    refused = decide(meet, outside, "upheld", orders=set_aside(ruling))
    assert a_problem(refused, 409, "needs-word")["marks"] == ["outside"]
    neighbour = lodge(meet, a_protest(meet, ruling, team=team(meet, 4, heat=1)))
    assert neighbour["took_part"] is True


def test_a_team_that_is_not_entered_in_the_event_does_not_protest_in_it(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    listed = "event,round,heat,lane,team\nMen 4x100 m no other,heats,1,4,Stray\n"
    assert meet.organiser.post("start-lists", content=listed).status_code == 200
    heats = meet.organiser.get("heats").json()["heats"]
    other = next(one for one in heats if one["event_name"] == "Men 4x100 m no other")
    sent = a_protest(meet, ruling, team=other["lanes"][0]["team"])
    before = meet.head()
    told = a_problem(meet.desk.put(f"protests/{new_id()}", sent), 422, "malformed")
    assert told["detail"].startswith("Stray is not entered in Women 4x100 m")
    assert meet.head() == before


def test_late_and_from_outside_are_both_named(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    same = meet.heats[0]["event_name"]
    listed = f"event,round,heat,lane,team\n{same},final,1,4,Stray\n{same},final,1,5,Tern 1\n"
    assert meet.organiser.post("start-lists", content=listed).status_code == 200
    final = next(
        one for one in meet.organiser.get("heats").json()["heats"] if one["round"] == "final"
    )
    stray = next(lane["team"] for lane in final["lanes"] if lane["name"] == "Stray")
    meet.service.clock.move(timedelta(minutes=31))
    both = lodge(meet, a_protest(meet, ruling, team=stray))
    assert both["marks"] == ["late", "outside"]


def test_a_corrected_announcement_makes_a_protest_late_and_in_time_again(meet: MeetAtHand) -> None:
    now = meet.service.clock.now().replace(microsecond=0)
    meet.service.clock.stand_at(now)
    meet.start()
    assert meet.load_result().status_code == 201
    meet.service.clock.move(timedelta(minutes=10))
    told = announced(meet)
    meet.service.clock.move(timedelta(minutes=25))
    protest = lodge(meet, a_protest(meet))
    assert protest["marks"] == []
    correct_time(meet, told, rfc3339(now + timedelta(minutes=2)))
    measured = read(meet, protest)
    assert measured["marks"] == ["late"]
    assert measured["timeliness"]["margin_seconds"] == -180
    correct_time(meet, told, rfc3339(now + timedelta(minutes=12)))
    measured = read(meet, protest)
    assert measured["marks"] == []
    assert measured["timeliness"]["margin_seconds"] == 7 * 60


def test_a_protest_before_any_announcement_is_measured_by_one_that_is_corrected_before_it(
    meet: MeetAtHand,
) -> None:
    now = meet.service.clock.now().replace(microsecond=0)
    meet.service.clock.stand_at(now)
    meet.start()
    assert meet.load_result().status_code == 201
    meet.service.clock.move(timedelta(minutes=40))
    early = lodge(meet, a_protest(meet))
    assert early["marks"] == []
    assert early["timeliness"]["words"] == "in time: no window had opened yet"
    meet.service.clock.move(timedelta(minutes=1))
    told = announced(meet)
    assert read(meet, early)["timeliness"]["window"] is None
    correct_time(meet, told, rfc3339(now + timedelta(minutes=1)))
    measured = read(meet, early)
    assert measured["marks"] == ["late"]
    assert measured["timeliness"]["margin_seconds"] == -9 * 60


def test_the_same_protest_again_is_the_same_and_another_under_its_id_is_refused(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    ident, document = new_id(), a_protest(meet, ruling)
    first = meet.desk.put(f"protests/{ident}", document)
    again = meet.desk.put(f"protests/{ident}", document)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    other = meet.desk.put(f"protests/{ident}", {**document, "words": "It was lane 5."})
    a_problem(other, 409, "id-taken")


def test_a_protest_names_what_exists_here(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    nobody = meet.desk.put(f"protests/{new_id()}", a_protest(meet, ruling, team=new_id()))
    assert nobody.status_code in {404, 422}
    a_problem(nobody, nobody.status_code, str(nobody.json()["type"]).rsplit("/", 1)[1])
    no_heat = meet.desk.put(f"protests/{new_id()}", a_protest(meet, ruling, heat=new_id()))
    a_problem(no_heat, 404, "not-found")
    no_ruling = meet.desk.put(
        f"protests/{new_id()}", {**a_protest(meet, ruling), "ruling": new_id()}
    )
    a_problem(no_ruling, 404, "not-found")
    elsewhere = a_protest(meet, ruling, heat=meet.heat(1))
    told = a_problem(meet.desk.put(f"protests/{new_id()}", elsewhere), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/ruling"
    against = a_protest(meet, about="conduct", against=team(meet, 4, heat=1))
    told = a_problem(meet.desk.put(f"protests/{new_id()}", against), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/against"


def test_a_team_of_another_event_is_refused(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    listed = "event,round,heat,lane,team\nMen 4x400 m,final,1,4,Skua\n"
    assert meet.organiser.post("start-lists", content=listed).status_code == 200
    heats = meet.organiser.get("heats").json()["heats"]
    skua = next(one for one in heats if one["event_name"] == "Men 4x400 m")["lanes"][0]["team"]
    sent = a_protest(meet, ruling, team=skua)
    told = a_problem(meet.desk.put(f"protests/{new_id()}", sent), 422, "malformed")
    assert "not entered" in told["detail"]


def test_a_protest_on_a_heat_without_result_or_one_to_come_is_kept(meet: MeetAtHand) -> None:
    to_come = lodge(meet, a_protest(meet, number=1, team=team(meet, 4, heat=1)))
    assert to_come["timeliness"]["in_time"] is True
    meet.start()
    running = lodge(meet, a_protest(meet))
    shown = meet.referee.post(f"protests/{running['id']}/consequences", {"orders": []})
    assert shown.status_code == 200, shown.text
    whole = {"orders": [{"order": "run again"}]}
    refused = meet.referee.post(f"protests/{running['id']}/consequences", whole)
    assert "no finish list" in a_problem(refused, 409, "conflict")["detail"]
    correct = {"orders": [{"order": "correct", "team": team(meet), "time": "41.00"}]}
    refused = meet.referee.post(f"protests/{running['id']}/consequences", correct)
    assert "no finish list" in a_problem(refused, 409, "conflict")["detail"]
    assert decided(meet, running)["state"] == "rejected"
    assert decided(meet, to_come)["state"] == "rejected"


def test_a_ruling_that_was_reconsidered_cannot_be_protested_and_the_one_that_stands_is_named(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    later = meet.rule(ruling["case"], verdict="dismissed", reconsiders=ruling["id"])
    assert later.status_code == 201, later.text
    refused = meet.desk.put(f"protests/{new_id()}", a_protest(meet, ruling))
    assert later.json()["id"] in a_problem(refused, 409, "conflict")["detail"]


def test_a_protest_outlives_the_reconsidering_of_its_ruling(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    meet.rule(ruling["case"], verdict="dismissed", reconsiders=ruling["id"])
    refused = decide(meet, protest, "upheld", orders=set_aside(ruling))
    assert "not in force" in a_problem(refused, 409, "conflict")["detail"]
    assert decided(meet, protest)["state"] == "rejected"


def test_a_withdrawn_protest_is_not_decided_and_a_decided_one_not_withdrawn(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    back = {"by": "Mira Anchor", "reason": "The video was conclusive."}
    answer = meet.desk.post(f"protests/{protest['id']}/withdraw", back, etag='"v1"')
    assert answer.json()["state"] == "withdrawn"
    a_problem(decide(meet, protest), 409, "not-possible")
    other = lodge(meet, a_protest(meet, ruling, team=team(meet, 5)))
    decided(meet, other)
    answer = meet.desk.post(f"protests/{other['id']}/withdraw", back, etag='"v2"')
    assert "appeal" not in answer.json().get("possible", [])
    a_problem(answer, 409, "not-possible")


def test_protests_are_listed_with_the_last_first(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    for lane in (4, 5, 6):
        lodge(meet, a_protest(meet, ruling, team=team(meet, lane)))
    page = meet.desk.get("protests").json()
    assert [one["number"] for one in page["protests"]] == [3, 2, 1]
    assert page["next"] is None
    older = meet.desk.get("protests", params={"before": "2"}).json()
    assert [one["number"] for one in older["protests"]] == [1]
