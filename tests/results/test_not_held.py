"""A heat that nobody runs: its round was drawn into fewer, and waits for it no more.

That a round is drawn anew into fewer heats once teams are scratched is common practice; the rules
that were read say nothing of the heat that is left over.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest

from tests.appeals.desk import appeal, cast, decided, jury_decides, lodge
from tests.appeals.test_last_instance import the_jury
from tests.appeals.test_reopening import reopen
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.rounds.builders import Event, an_event, by_name, qualified
from tests.running import Service

NOON = datetime(2026, 6, 13, 10, 0, tzinfo=UTC)
LATER = NOON + timedelta(hours=2)
REASONS = "Two teams were scratched; the round has two heats now."
FIRST = "Heat 3 of this round: its result is to be announced."
NOT_HELD = "This heat is not held: nobody is drawn in it."
THREE = {
    "heats 1": ("Tern", "Gull"),
    "heats 2": ("Plover", "Curlew"),
    "heats 3": ("Heron", "Puffin"),
}
# The third heat's teams run in the first two, or not at all.
TWO = {"heats 1": ("Tern", "Gull", "Heron"), "heats 2": ("Plover", "Curlew")}


def not_held(event: Event, heat: str = "heats 3", **changes: Any) -> httpx.Response:
    """The organiser says that a heat is not held."""
    address = f"heats/{event.heat(heat)}"
    seen = event.meet.organiser.get(address).headers["ETag"]
    return event.meet.organiser.post(
        f"{address}/not-held", {"reasons": REASONS, **changes}, etag=seen
    )


def drawn_into_two(meet: MeetAtHand, **setting: Any) -> Event:
    """Three heats lead to a final; then the draw has two, and the third stays as it was."""
    event = an_event(meet, THREE)
    event.set(**{"lanes": 8, **setting})
    event.draw(TWO)
    return event


def run_both(event: Event) -> None:
    event.run("heats 1", "43.00", "44.00", "45.00")
    event.run("heats 2", "43.50", "44.50")


def last_entry(meet: MeetAtHand) -> tuple[Json, Json]:
    """The record's last entry and its body."""
    *_, last, _head = meet.referee.get("record").text.splitlines()
    line = json.loads(last)
    return json.loads(line["entry"]), json.loads(line["body"])


def final_of(event: Event, heat: str) -> tuple[str | None, list[str]]:
    """Since when a heat's result is final, and what it waits for."""
    told = event.result(heat)["announced"]
    return told["final_since"], told["pending"]


def test_a_round_waits_no_more_for_a_heat_that_is_not_held(service: Service) -> None:
    service.clock.stand_at(NOON)
    event = drawn_into_two(a_meet(service))
    run_both(event)
    service.clock.stand_at(LATER)
    assert final_of(event, "heats 1") == final_of(event, "heats 2") == (None, [FIRST])
    assert event.letters("heats 2") == {"Plover": "Q", "Curlew": None}
    assert "The result of heat 3 is awaited." in event.public()["sentences"]
    out = not_held(event)
    assert out.status_code == 200, out.text
    assert (out.json()["state"], out.json()["lanes"]) == ("not held", [])
    # Two of two heats go on by place, two more by time.
    letters = {name: team["letter"] for name, team in by_name(event.now()).items()}
    assert letters == {"Tern": "Q", "Plover": "Q", "Gull": "q", "Curlew": "q", "Heron": ""}
    assert event.now()["is_complete"] is event.public()["is_complete"] is True
    assert event.now()["sentences"] == event.public()["sentences"] == []
    assert FIRST not in final_of(event, "heats 1")[1]


ALL_FOUR = [("Tern", "Q"), ("Plover", "Q"), ("Gull", "q"), ("Curlew", "q")]


def test_what_it_makes_known_is_told_by_the_heat_that_was_announced_last(service: Service) -> None:
    service.clock.stand_at(NOON)
    event = drawn_into_two(a_meet(service))
    event.run("heats 1", "43.00", "44.00", "45.00")
    service.clock.move(timedelta(minutes=1))
    assert qualified(event.run("heats 2", "43.50", "44.50")) == []
    service.clock.stand_at(LATER)
    not_held(event)
    assert final_of(event, "heats 2") == (None, ["An amended result is to be announced."])
    waits = "Heat 2 of this round: an amended result is to be announced."
    assert final_of(event, "heats 1") == (None, [waits])
    assert [event.result(heat)["completes_round"] for heat in TWO] == [False, True]
    told = event.announce("heats 2")
    assert told.status_code == 201, told.text
    assert qualified(told.json()) == ALL_FOUR
    assert told.json()["because"] == [
        "A heat of this round is not held, so that this result makes the round complete."
    ]
    assert [window["remedy"] for window in told.json()["windows"]] == ["protest"]
    assert event.result("heats 2")["completes_round"] is False
    service.clock.move(timedelta(minutes=31))
    since = (LATER + timedelta(minutes=30)).isoformat().replace("+00:00", "Z")
    assert final_of(event, "heats 1") == final_of(event, "heats 2") == (since, [])


def test_a_heat_that_is_drawn_again_leaves_it_to_that_heat_to_tell(meet: MeetAtHand) -> None:
    event = drawn_into_two(meet)
    run_both(event)
    not_held(event)
    event.draw({"heats 3": ("Puffin",)})
    assert event.result("heats 2")["completes_round"] is False
    assert event.result("heats 2")["announced"]["holds"] is True
    told = event.run("heats 3", "46.00")
    assert qualified(told) == [("Tern", "Q"), ("Plover", "Q"), ("Puffin", "Q"), *ALL_FOUR[2:]]


def test_a_heat_that_is_not_held_before_the_others_run_is_missed_by_nobody(
    service: Service,
) -> None:
    service.clock.stand_at(NOON)
    event = drawn_into_two(a_meet(service))
    assert not_held(event).status_code == 200
    run_both(event)
    assert qualified(event.result("heats 2")) == ALL_FOUR
    assert event.result("heats 2")["completes_round"] is False
    service.clock.stand_at(LATER)
    assert final_of(event, "heats 1")[1] == final_of(event, "heats 2")[1] == []
    states = [heat["state"] for heat in event.meet.desk.get("heats").json()["heats"][-3:]]
    assert states == ["final", "final", "not held"]


def test_the_points_of_a_round_need_no_heat_that_is_not_held(service: Service) -> None:
    event = an_event(a_meet(service), THREE)
    event.set(next_round=None, by_place=None, by_time=None, lanes=None, points=["5", "3"])
    event.draw(TWO)
    run_both(event)
    scores = f"/api/meets/{event.meet.id}/scores"
    assert service.http.get(scores).json()["awaited"] == [f"{event.name}, heats"]
    assert not_held(event).status_code == 200
    told = service.http.get(scores).json()
    assert told["awaited"] == []
    earned = [(one["affiliation"], one["points"]) for one in told["scores"]]
    assert earned == [("Tern Club", "5"), ("Plover Club", "3")]
    assert event.result("heats 2")["announced"]["holds"] is False
    told = event.announce("heats 2")
    assert told.status_code == 201, told.text
    assert [line["points"] for line in told.json()["lines"]] == ["3", ""]
    assert event.result("heats 2")["announced"]["holds"] is True


def test_a_final_that_is_not_held_is_awaited_by_no_score(service: Service) -> None:
    event = an_event(a_meet(service), {"final 1": ("Tern", "Gull")})
    event.set(round="final", next_round=None, by_place=None, by_time=None, lanes=None, points=["5"])
    scores = f"/api/meets/{event.meet.id}/scores"
    assert service.http.get(scores).json()["awaited"] == [f"{event.name}, final"]
    assert not_held(event, "final 1").status_code == 200
    assert service.http.get(scores).json() == {"scores": [], "awaited": []}
    assert event.public("final 1")["teams"] == []


def test_how_many_may_go_on_counts_the_heats_that_are_held(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    told = {"by_place": 2, "by_time": 0, "lanes": 4}
    refused = meet.organiser.put(f"rounds/{event.round}", event.setting(**told))
    assert "from each of 3 heats" in a_problem(refused, 422, "malformed")["detail"]
    assert not_held(event).status_code == 200
    assert event.set(**told)["heats"] == 2


def test_it_is_recorded_once_with_the_lanes_it_had_and_everybody_sees_it(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    before = meet.head()["size"]
    assert not_held(event).status_code == 200
    entry, body = last_entry(meet)
    assert meet.head()["size"] == before + 1
    assert (entry["kind"], entry["subject"]) == ("heat not held", event.heat("heats 3"))
    assert body["reasons"] == REASONS
    assert [(lane["lane"], lane["name"]) for lane in body["lanes"]] == [(3, "Heron"), (4, "Puffin")]
    shown = meet.service.http.get(f"/api/meets/{meet.id}/heats/{event.heat('heats 3')}").json()
    assert (shown["state"], shown["does_not_count"]) == ("not held", NOT_HELD)


def test_it_names_the_version_that_was_seen_and_is_for_whoever_draws(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    address, sent = f"heats/{event.heat('heats 3')}/not-held", {"reasons": REASONS}
    before = meet.head()
    a_problem(meet.organiser.post(address, sent), 428, "precondition-missing")
    a_problem(meet.organiser.post(address, sent, etag='"v7"'), 412, "stale")
    for role in ("referee", "results", "umpire"):
        a_problem(meet[role].post(address, sent, etag='"v1"'), 403, "role-missing")
    assert meet.head() == before


def test_a_start_list_that_draws_it_again_makes_it_a_heat_as_before(meet: MeetAtHand) -> None:
    event = drawn_into_two(meet)
    not_held(event)
    rows = ["event,round,heat,lane,team", f"{event.name},heats,3,5,Puffin"]
    said = [f"{event.name}, heats, heat 3 was not to be held: this list draws it again."]
    looked = meet.organiser.post("start-lists", content="\n".join(rows), params={"check": "true"})
    assert looked.json()["drawn_again"] == said
    loaded = meet.organiser.post("start-lists", content="\n".join(rows))
    assert (loaded.json()["drawn_again"], loaded.json()["heats_changed"]) == (said, 1)
    event.read_again()
    heat = event.heats["heats 3"]
    assert (heat["state"], heat["does_not_count"]) == ("to come", "")
    assert "The result of heat 3 is awaited." in event.public()["sentences"]
    event.start("heats 3")
    assert event.run("heats 3", "46.00")["lines"][0]["team_name"] == "Puffin"


@pytest.mark.parametrize("act", ["start", "hold-back", "not-held"])
def test_a_heat_that_is_not_held_is_not_started(meet: MeetAtHand, act: str) -> None:
    event = an_event(meet, THREE)
    not_held(event)
    address = f"heats/{event.heat('heats 3')}"
    by = meet.organiser if act == "not-held" else meet.referee
    seen = by.get(address).headers["ETag"]
    sent = {"reasons": REASONS} if act == "not-held" else None
    told = by.post(f"{address}/{act}", sent, etag=seen)
    detail = a_problem(told, 409, "not-possible" if act == "not-held" else "conflict")["detail"]
    assert "A start list that draws it again makes it a heat as before." in detail


def test_a_heat_that_is_not_held_takes_no_finish_list_and_no_announcement(
    meet: MeetAtHand,
) -> None:
    event = an_event(meet, THREE)
    not_held(event)
    loaded = meet.desk.put(f"heats/{event.heat('heats 3')}/result", content="lane,time\n3,44.00")
    assert NOT_HELD in a_problem(loaded, 409, "conflict")["detail"]
    assert NOT_HELD in a_problem(event.announce("heats 3"), 409, "conflict")["detail"]


def test_what_umpires_send_of_it_is_kept_and_marked_and_awaited_by_nobody(
    service: Service,
) -> None:
    event = an_event(a_meet(service), {"heats 1": ("Tern", "Gull"), "heats 2": ("Heron", "Plover")})
    assert not_held(event, "heats 2").status_code == 200
    hand = event.hand("heats 2")
    posts = hand.desk.get(f"heats/{hand.heat()}/posts").json()["posts"]
    assert posts == []
    flag = hand.call("white")
    assert (flag.status_code, flag.json()["counts"]) == (201, False)
    report = hand.report(lane=3)
    assert report["marks"] == ["no team in this lane", "heat was not running"]
    assert hand.open_cases() == [report["case"]]


def in_the_next_round(event: Event) -> list[tuple[int, int]]:
    """The lanes of the next round that fall to somebody, drawn or free."""
    seats = [team["seat"] for team in event.now()["teams"] if team["seat"]]
    return sorted((seat["heat_number"], seat["lane"]) for seat in seats)


def test_no_lane_of_a_next_round_is_free_in_a_heat_that_is_not_held(meet: MeetAtHand) -> None:
    event = an_event(meet, {"heats 1": ("Tern", "Gull"), "heats 2": ("Plover", "Curlew")})
    event.draw({"semis 1": ("Tern", "Gull"), "semis 2": ("Plover",)})
    event.set(next_round="semis", by_place=2, by_time=0, lanes=6)
    assert not_held(event, "semis 2").status_code == 200
    event.run("heats 1", "43.00", "44.00")
    event.run("heats 2", "43.50", "44.50")
    assert {heat for heat, _lane in in_the_next_round(event)} == {1}
    # It has not begun either: whoever qualifies is still drawn.
    assert event.now()["sentences"] == [
        "Qualified and not drawn into the semis: Plover and Curlew."
    ]


def refusal(event: Event, heat: str = "heats 3", **changes: Any) -> str:
    """Why a heat stays in the draw; nothing is stored."""
    before = event.meet.head()
    detail = str(a_problem(not_held(event, heat, **changes), 409, "conflict")["detail"])
    assert detail.startswith("This heat stays in the draw. ")
    assert event.meet.head() == before
    return detail


def test_a_heat_that_runs_or_has_run_is_not_declared_not_held(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    event.start("heats 3")
    told = a_problem(not_held(event), 409, "not-possible")
    assert told["possible"] == ["announce", "hold back"]
    assert "If it was started by mistake, hold back the heat first." in told["detail"]
    event.run("heats 3", "43.00", "44.00")
    a_problem(not_held(event), 409, "not-possible")
    event.hand("heats 3").hold_back()
    assert "Its result was announced." in refusal(event)


def test_a_heat_with_a_report_or_a_ruling_stays_in_the_draw(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    hand = event.hand("heats 3")
    report = hand.report(lane=3)
    assert "A case of it is open. Have it ruled on first." in refusal(event)
    hand.rule(report["case"])
    assert "A team is disqualified or noted in it." in refusal(event)


def test_a_heat_whose_report_was_dismissed_stays_in_the_draw(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    hand = event.hand("heats 3")
    hand.rule(hand.report(lane=3)["case"], verdict="dismissed")
    assert "What an umpire reported of it stands." in refusal(event)


def test_a_mistaken_start_flag_or_list_needs_a_word_which_is_recorded(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    hand = event.hand("heats 3")
    event.start("heats 3")
    hand.call("white")
    hand.hold_back()
    event.load("heats 3", "43.00", "44.00")
    told = a_problem(not_held(event), 409, "needs-word")
    assert (
        "it was started and held back, a flag was shown in it, a finish list was loaded for it"
        in told["detail"]
    )
    word = "All of that was heat 2."
    assert not_held(event, despite=word).json()["state"] == "not held"
    _entry, body = last_entry(meet)
    assert (body["despite"], body["run"]) == (word, 1)


def test_no_word_is_given_where_nothing_needs_it(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    told = a_problem(not_held(event, despite="It rains."), 422, "malformed")
    assert "Leave “despite” out." in told["detail"]


def a_protest(event: Event, heat: str, team: str) -> dict[str, Any]:
    return lodge(
        event.hand(heat),
        {
            "heat": event.heat(heat),
            "team": event.team(team),
            "about": "placing",
            "lodged_by": "Mira Anchor",
            "words": "We were obstructed.",
        },
    )


def test_a_re_run_by_order_is_called_off_by_a_decision_alone(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    event.set(lanes=8)
    event.run("heats 1", "43.00", "44.00")
    order = {"order": "run again", "teams": [event.team("Gull")]}
    decided(event.hand("heats 1"), a_protest(event, "heats 1", "Gull"), "upheld", orders=[order])
    event.read_again()
    assert "only a decision calls it off." in refusal(event, "heats, re-run 1")
    assert not_held(event).status_code == 200


def test_a_whole_heat_that_runs_again_by_order_stays_in_the_draw(meet: MeetAtHand) -> None:
    event = an_event(meet, THREE)
    event.start("heats 3")
    event.load("heats 3", "43.00", "44.00")
    order = {"order": "run again"}
    decided(event.hand("heats 3"), a_protest(event, "heats 3", "Heron"), "upheld", orders=[order])
    assert "A decision has it run again" in refusal(event, despite="It rains.")


def test_where_that_order_was_taken_back_and_the_start_recalled_a_word_is_enough(
    meet: MeetAtHand,
) -> None:
    event = an_event(meet, THREE)
    hand = event.hand("heats 3")
    event.start("heats 3")
    event.load("heats 3", "43.00", "44.00")
    protest = a_protest(event, "heats 3", "Heron")
    made = decided(hand, protest, "upheld", orders=[{"order": "run again"}])["decision"]
    undone = [{"order": "undo", "decision": made["id"]}]
    protest = a_protest(event, "heats 3", "Puffin")
    decided(hand, protest, "upheld", orders=undone)
    hand.hold_back()
    word = "All of that was heat 2."
    # Taking back an order can be appealed like any other decision.
    why = refusal(event, despite=word)
    assert f"An appeal against the decision on protest {protest['number']} can be lodged" in why
    assert "ordered something" not in why
    meet.service.clock.move(timedelta(minutes=31))
    assert not_held(event, despite=word).status_code == 200


def test_a_heat_with_a_lane_by_decision_stays_until_that_team_is_drawn_elsewhere(
    meet: MeetAtHand,
) -> None:
    event = an_event(meet, {"heats 1": ("Tern", "Gull"), "heats 2": ("Plover", "Curlew")})
    event.draw({"semis 1": ("Tern",), "semis 2": ("Plover",)})
    event.set(next_round="semis", by_place=1, by_time=0, lanes=4)
    event.run("heats 1", "43.00", "44.00")
    gull = event.team("Gull")
    orders = [
        {"order": "advance", "team": gull},
        {"order": "extra lane", "team": gull, "heat": event.heat("semis 2"), "lane": 5},
    ]
    decided(event.hand("heats 1"), a_protest(event, "heats 1", "Gull"), "upheld", orders=orders)
    why = refusal(event, "semis 2")
    assert "Gull has a lane of it by the decision of the referee on protest" in why
    event.draw({"semis 1": ("Tern", "Plover", "Gull")})
    assert not_held(event, "semis 2").status_code == 200
    event.read_again()
    assert [lane["name"] for lane in event.heats["semis 1"]["lanes"]] == ["Tern", "Plover", "Gull"]


def an_appeal_decided(event: Event) -> tuple[MeetAtHand, Json]:
    """A protest about heat 3 was rejected, and the appeal on it, before the heat was declared not
    held; gives the officials at hand and the appeal.
    """
    hand = event.hand("heats 3")
    protest = decided(hand, a_protest(event, "heats 3", "Heron"))
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    lodged = appeal(hand, protest)
    the_jury(hand, lodged, "rejected")
    out = not_held(event)
    assert out.status_code == 200, out.text
    return hand, lodged


def test_an_appeal_about_a_heat_that_is_not_held_is_heard_again_without_orders_of_its_race(
    meet: MeetAtHand,
) -> None:
    event = an_event(meet, THREE)
    event.set(lanes=8)
    hand, lodged = an_appeal_decided(event)
    event.run("heats 1", "43.00", "44.00")
    seen = hand["jury"].get(f"appeals/{lodged['id']}").json()
    chair, *_others = names = [member["name"] for member in seen["panel"]["members"]]
    assert reopen(hand, lodged, chair).status_code == 200
    waits = f"Heat 3 of this round: appeal {lodged['number']} awaits the jury."
    assert waits in final_of(event, "heats 1")[1]
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    for order in ({"order": "run again"}, {"order": "run again", "teams": [event.team("Heron")]}):
        refused = jury_decides(hand, lodged, chair, orders=[order])
        assert NOT_HELD in a_problem(refused, 409, "conflict")["detail"]
    goes_on = [{"order": "advance", "team": event.team("Gull")}]
    assert jury_decides(hand, lodged, chair, orders=goes_on).status_code == 201
    assert by_name(event.now())["Tern"]["letter"] == "Q"
    assert by_name(event.now())["Gull"]["letter"] == "qJ"


def test_what_is_reported_late_of_a_start_that_was_recalled_can_be_ruled_on(
    meet: MeetAtHand,
) -> None:
    event = an_event(meet, THREE)
    event.set(lanes=8)
    event.draw(TWO)
    run_both(event)
    hand = event.hand("heats 3")
    event.start("heats 3")
    hand.hold_back()
    assert not_held(event, despite="The start was recalled.").status_code == 200
    report = hand.report(lane=3)
    assert report["team_name"] == "Heron"
    before = event.now()
    shown = meet.referee.get(f"cases/{report['case']}/consequences")
    assert shown.status_code == 200, shown.text
    assert shown.json()["if_confirmed"]["moves"] == []
    ruled = hand.rule(report["case"], earlier_run=True)
    assert ruled.status_code == 201, ruled.text
    form = meet.referee.get(f"rulings/{ruled.json()['id']}/form.pdf")
    assert form.status_code == 200
    assert event.now() == before
    assert meet.desk.get(f"heats/{hand.heat()}/result").status_code == 404


def test_an_appeal_about_a_heat_that_is_not_held_has_its_papers_and_its_dossier(
    meet: MeetAtHand,
) -> None:
    event = an_event(meet, THREE)
    event.set(lanes=8)
    hand, lodged = an_appeal_decided(event)
    for path in (f"appeals/{lodged['id']}/dossier", f"appeals/{lodged['id']}/form.pdf"):
        told = hand["jury"].get(path)
        assert told.status_code == 200, told.text
    orders = {"orders": [{"order": "advance", "team": event.team("Gull")}]}
    looked = hand["jury"].post(f"appeals/{lodged['id']}/consequences", orders)
    assert looked.status_code == 200, looked.text
