"""The jury looks at its decision again: on new evidence, with new votes, and who allowed it."""

from __future__ import annotations

from collections.abc import Callable

import httpx
import pytest

from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    an_upheld_appeal,
    appeal,
    cast,
    decide,
    decided,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
)
from tests.builders import PIN, Json, MeetAtHand, a_problem
from tests.rounds.builders import Event, two_heats

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
    (earlier,) = told["earlier_decisions"]
    assert (earlier["id"], earlier["sitting"], earlier["verdict"]) == (first, 1, "upheld")
    assert earlier["decided_at"] == heard["decision"]["decided_at"]
    assert earlier["decided_at_local"] == heard["decision"]["decided_at_local"]
    paper = meet["jury"].get(earlier["form_path"])
    assert paper.headers["content-type"] == "application/pdf"
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
    assert [one["id"] for one in out.json()["earlier_decisions"]] == [first]
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


Orders = Callable[[Event], list[Json]]


def advanced(event: Event) -> list[Json]:
    return [{"order": "advance", "team": event.team("Heron")}]


def in_lane(lane: int) -> Orders:
    return lambda event: [
        *advanced(event),
        {"order": "extra lane", "team": event.team("Heron"), "lane": lane},
    ]


def in_time(time: str) -> Orders:
    return lambda event: [{"order": "correct", "team": event.team("Heron"), "time": time}]


def run_again(event: Event) -> list[Json]:
    return [{"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.2"}]


def whole_heat(_event: Event) -> list[Json]:
    return [{"order": "run again"}]


def a_final_to_come(meet: MeetAtHand) -> Event:
    """Two heats are announced and the final is drawn with four; Heron of the first is out."""
    event = two_heats(meet)
    event.set(lanes=8)
    event.run("heats 1", "42.10", "42.20", "42.30")
    event.run("heats 2", "42.15", "42.25", "42.35")
    event.draw({"final 1": ("Tern", "Plover", "Gull", "Curlew")})
    return event


def an_appeal_upheld(event: Event, orders: list[Json]) -> Json:
    """Heron's appeal was upheld with these orders, and is open again; gives it with its names."""
    hand = event.hand("heats 1")
    sent = a_protest(hand, team=event.team("Heron"))
    protest = decided(hand, lodge(hand, sent))
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    lodged = appeal(hand, protest)
    names = a_panel(hand, lodged)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    out = jury_decides(hand, lodged, names[0], orders=orders)
    assert out.status_code == 201, out.text
    return open_again(event, {**out.json(), "names": names})


def open_again(event: Event, heard: Json, verdict: str = "upheld") -> Json:
    hand = event.hand("heats 1")
    assert reopen(hand, heard, heard["names"][0]).status_code == 200
    for name in heard["names"]:
        assert cast(hand, heard, name, verdict).status_code == 201
    return heard


def decide_again(
    event: Event, heard: Json, verdict: str = "upheld", **sent: object
) -> httpx.Response:
    """The chair signs, and what was foreseen before is what is decided, or is refused alike."""
    hand = event.hand("heats 1")
    asked = {"orders": sent.get("orders", []), "done_already": sent.get("done_already")}
    foreseen = hand["jury"].post(f"appeals/{heard['id']}/consequences", asked)
    out = jury_decides(hand, heard, heard["names"][0], verdict, **sent)
    assert (foreseen.status_code, out.status_code) in {(200, 201), (409, 409)}, out.text
    if out.status_code == 201:
        assert out.json()["decision"]["consequences"] == foreseen.json()
    event.read_again()
    return out


def as_it_is(event: Event) -> tuple[object, ...]:
    final = {lane["lane"]: lane["name"] for lane in event.heats["final 1"]["lanes"]}
    return event.result()["lines"], final, sorted(event.heats), event.heats["heats 1"]["state"]


@pytest.mark.parametrize("orders", [advanced, in_lane(1), in_time("41.00"), run_again, whole_heat])
def test_what_is_ordered_again_the_same_stays_as_it_is_and_can_be_taken_back_later(
    meet: MeetAtHand, orders: Orders
) -> None:
    event = a_final_to_come(meet)
    before = as_it_is(event)
    heard = an_appeal_upheld(event, orders(event))
    event.read_again()
    upheld = as_it_is(event)
    out = decide_again(event, heard, orders=orders(event))
    assert out.status_code == 201, out.text
    assert as_it_is(event) == upheld
    assert out.json()["decision"]["consequences"]["moves"] == []
    assert out.json()["decision"]["ordered"] == heard["decision"]["ordered"]
    open_again(event, heard, "rejected")
    assert decide_again(event, heard, "rejected").status_code == 201
    assert as_it_is(event)[:2] == before[:2]
    # Once rejected, it stays so: what was taken back is not taken back again.
    open_again(event, heard, "rejected")
    assert decide_again(event, heard, "rejected").json()["decision"]["ordered"] == []
    assert as_it_is(event)[:2] == before[:2]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (advanced, in_lane(1)),
        (in_lane(1), in_lane(2)),
        (in_lane(1), advanced),
        (in_time("41.00"), in_time("40.00")),
        (in_time("41.00"), whole_heat),
        (whole_heat, in_time("41.00")),
        (advanced, whole_heat),
    ],
)
def test_other_orders_take_the_place_of_those_of_the_first_sitting(
    meet: MeetAtHand, first: Orders, second: Orders
) -> None:
    """As if nothing had been ordered before: the same as by the second orders alone."""
    alone, again = a_final_to_come(meet), a_final_to_come(meet)
    an_appeal_upheld(alone, second(alone))
    alone.read_again()
    out = decide_again(again, an_appeal_upheld(again, first(again)), orders=second(again))
    assert out.status_code == 201, out.text
    _lines, *wanted = as_it_is(alone)
    _lines, *found = as_it_is(again)
    assert found == wanted
    assert again.letters() == alone.letters()


def test_undoing_the_own_decision_beside_what_it_ordered_is_ordering_it_again(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    heard = an_appeal_upheld(event, advanced(event))
    orders = [{"order": "undo", "decision": heard["decision"]["id"]}, *advanced(event)]
    assert decide_again(event, heard, orders=orders).status_code == 201
    assert event.letters()["Heron"] == "qJ"


def test_what_was_done_already_is_not_taken_back(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    before = as_it_is(event)
    heard = an_appeal_upheld(event, in_lane(1)(event))
    event.read_again()
    upheld = as_it_is(event)
    out = decide_again(event, heard, done_already="By the decision of the first sitting.")
    assert out.status_code == 201, out.text
    assert as_it_is(event) == upheld
    open_again(event, heard, "rejected")
    assert decide_again(event, heard, "rejected").status_code == 201
    assert as_it_is(event) == before


def test_orders_against_each_other_are_refused_where_they_are_foreseen_too(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    heard = an_appeal_upheld(event, advanced(event))
    recall = {"order": "recall", "team": event.team("Heron")}
    told = a_problem(decide_again(event, heard, orders=[recall, *advanced(event)]), 409, "conflict")
    assert "leave" in told["detail"].lower()


def test_a_lane_of_a_final_that_has_begun_can_be_upheld_again(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    heard = an_appeal_upheld(event, in_lane(1)(event))
    event.read_again()
    event.hand("final 1").start(0)
    out = decide_again(event, heard, orders=in_lane(1)(event))
    assert out.status_code == 201, out.text
    assert out.json()["decision"]["consequences"]["too_late"] == []


def test_an_order_that_is_kept_names_those_whom_it_moved_and_opens_no_window(
    meet: MeetAtHand,
) -> None:
    """What the jury decides is final (World Athletics TR8.11): hearing again what it had decided
    opens nothing.
    """
    event = a_final_to_come(meet)
    heard = an_appeal_upheld(event, in_time("41.00")(event))
    event.read_again()
    touched = {one["team"] for one in heard["decision"]["affected"]}
    assert len(touched) > 1
    assert event.announce("heats 1").status_code == 201
    out = decide_again(event, heard, orders=in_time("41.00")(event)).json()
    assert {one["team"] for one in out["decision"]["affected"]} == touched
    second = event.announce("heats 1", remark="The speaker was not heard.").json()
    assert second["windows"] == []
    assert "TR8.11" in second["no_windows_because"]


def test_the_announcement_says_that_an_appeal_was_decided_once_more(meet: MeetAtHand) -> None:
    """Else it tells that one appeal was upheld, and then that it was rejected: common practice."""
    event = a_final_to_come(meet)
    heard = an_appeal_upheld(event, in_time("41.00")(event))
    (first,) = event.announce("heats 1").json()["because"]
    assert first.startswith("Appeal 1 of Heron was upheld by the jury at ")
    event.read_again()
    orders = in_time("40.00")(event)
    assert decide_again(event, heard, orders=orders).status_code == 201
    (second,) = event.announce("heats 1").json()["because"]
    assert second.startswith(
        "Appeal 1 of Heron, reopened on new evidence, was upheld by the jury at "
    )


def pending(event: Event) -> list[str]:
    """What the first heat's result waits for, beside the time for protests and appeals."""
    out = event.result()["announced"]
    return [one for one in out["pending"] if "until" not in one and "is to be told" not in one]


@pytest.mark.parametrize("orders", [advanced, in_lane(1), in_time("41.00"), run_again])
def test_what_stays_as_it_was_announced_needs_no_amended_announcement(
    meet: MeetAtHand, orders: Orders
) -> None:
    event = a_final_to_come(meet)
    heard = an_appeal_upheld(event, orders(event))
    event.read_again()
    told = event.announce("heats 1").json()
    awaited = pending(event)
    through = event.hand("heats 1").desk.get(f"heats/{event.heat()}/round").json()
    assert decide_again(event, heard, orders=orders(event)).status_code == 201
    assert pending(event) == [one for one in awaited if one != "Appeal 1 awaits the jury."]
    assert event.result()["announced"]["holds"]
    again = event.hand("heats 1").desk.get(f"heats/{event.heat()}/round").json()
    assert again == through
    refused = a_problem(event.announce("heats 1"), 409, "needs-word")
    assert refused["detail"].endswith("To announce it again, say why in “remark”.")
    # Announced for another reason, it is told as what it is.
    second = event.announce("heats 1", remark="The speaker was not heard.").json()
    (why,) = second["because"]
    assert why.startswith("Appeal 1 of Heron, reopened on new evidence, was upheld by the jury at ")
    assert why.endswith(". All stays as it was decided before.")
    assert second["number"] == told["number"] + 1
    assert not second["is_ordered_here"]


def test_what_was_never_announced_is_still_to_be_after_it_was_decided_again(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    heard = an_appeal_upheld(event, advanced(event))
    assert decide_again(event, heard, orders=advanced(event)).status_code == 201
    assert "An amended result is to be announced." in pending(event)
    first, second = event.announce("heats 1").json()["because"]
    assert "reopened" not in first
    assert second.endswith(". All stays as it was decided before.")
    open_again(event, heard)
    assert decide_again(event, heard, orders=advanced(event)).status_code == 201
    assert "An amended result is to be announced." not in pending(event)


def test_what_stays_of_several_orders_is_told_apart_from_what_is_new(meet: MeetAtHand) -> None:
    event = a_final_to_come(meet)
    heard = an_appeal_upheld(event, in_time("41.00")(event))
    event.read_again()
    assert event.announce("heats 1").status_code == 201
    orders = [*in_time("41.00")(event), *in_lane(1)(event)]
    out = decide_again(event, heard, orders=orders)
    assert out.status_code == 201, out.text
    assert "An amended result is to be announced." in pending(event)
    (why,) = event.announce("heats 1").json()["because"]
    assert "41.00" not in why
    assert why.endswith(" The rest stays as it was decided before.")


def test_who_is_touched_by_a_reopened_appeal_stays_so_once_the_final_has_begun(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    hand = event.hand("heats 1")
    orders = [*in_time("41.00")(event), *in_lane(1)(event)]
    heard = an_appeal_upheld(event, orders)
    event.read_again()
    event.start("final 1")
    touched = set(hand["jury"].get(f"appeals/{heard['id']}").json()["panel"]["affected"])
    moved = {one["affiliation"] for one in heard["decision"]["consequences"]["moves"]}
    assert len(moved) > 1
    assert moved <= touched


def heard_against(event: Event, orders: list[Json], sought: list[Json]) -> Json:
    """The referee has ordered this for Heron; Gull's appeal against it was upheld, and is open
    again.
    """
    hand = event.hand("heats 1")
    first = lodge(hand, a_protest(hand, team=event.team("Heron")))
    decided(hand, first, "upheld", orders=orders)
    undo = {"order": "undo", "decision": decision_on(hand, first)}
    lodged = appeal(hand, first, team=event.team("Gull"), sought=[])
    names = a_panel(hand, lodged)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    given = sought or [undo]
    out = jury_decides(hand, lodged, names[0], orders=given)
    assert out.status_code == 201, out.text
    event.read_again()
    return {**open_again(event, {**out.json(), "names": names}), "orders": given}


def test_undone_again_what_the_referee_ordered_needs_no_amended_announcement_either(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    heard = heard_against(event, in_time("41.00")(event), [])
    assert event.announce("heats 1").status_code == 201
    assert decide_again(event, heard, orders=heard["orders"]).status_code == 201
    assert event.result()["announced"]["holds"]
    assert "An amended result is to be announced." not in pending(event)
    (why,) = event.announce("heats 1", remark="The speaker was not heard.").json()["because"]
    assert why.endswith(". All stays as it was decided before.")


def decision_on(hand: MeetAtHand, protest: Json) -> str:
    return str(hand.referee.get(f"protests/{protest['id']}").json()["decision"]["id"])


def test_that_a_heat_does_not_run_again_can_be_ordered_again_and_taken_back(
    meet: MeetAtHand,
) -> None:
    event = a_final_to_come(meet)
    heard = heard_against(event, whole_heat(event), [])
    counts = as_it_is(event)
    out = decide_again(event, heard, orders=heard["orders"])
    assert out.status_code == 201, out.text
    assert as_it_is(event) == counts
    assert out.json()["decision"]["consequences"]["moves"] == []
    open_again(event, heard, "rejected")
    rejected = decide_again(event, heard, "rejected")
    assert rejected.status_code == 201, rejected.text
    assert rejected.json()["decision"]["ordered"] == [
        "Heat 1 of the heats runs again; its result is void."
    ]
    assert event.heats["heats 1"]["state"] == "to come"


def test_who_was_recalled_can_be_let_go_on_after_all_in_each_further_sitting(
    meet: MeetAtHand,
) -> None:
    """The letter that it had comes back: a decision and its reversal give the same result (common
    practice).
    """
    event = a_final_to_come(meet)
    recall = [{"order": "recall", "team": event.team("Heron")}]
    heard = heard_against(event, advanced(event), recall)
    assert event.letters().get("Heron", "") == ""
    for _sitting in (2, 3):
        out = decide_again(event, heard, orders=advanced(event))
        assert out.status_code == 201, out.text
        assert out.json()["decision"]["ordered"] == ["Heron goes on to the final (qR)."]
        assert event.letters()["Heron"] == "qR"
        open_again(event, heard)
    out = decide_again(event, heard, orders=recall)
    assert out.status_code == 201, out.text
    assert event.letters().get("Heron", "") == ""
