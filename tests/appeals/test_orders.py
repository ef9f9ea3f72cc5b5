"""What a decision orders: shown before, the same as what is stored with it, carried out, undone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from app.ids import new_id
from tests.appeals.desk import (
    a_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    announced,
    decide,
    decided,
    lodge,
    set_aside,
    team,
)
from tests.builders import Json, MeetAtHand, a_problem

Build = Callable[[MeetAtHand, Json], list[Json]]


def with_rounds(meet: MeetAtHand, **changes: Any) -> None:
    """The heats lead to a final: two by place from each, two by time."""
    sent = {
        "event": meet.heats[0]["event"],
        "round": "heats",
        "next_round": "final",
        "by_place": 2,
        "by_time": 2,
        "lanes": 8,
        **changes,
    }
    answer = meet.organiser.put(f"rounds/{new_id()}", sent)
    assert answer.status_code == 201, answer.text


def at_a_desk(meet: MeetAtHand) -> tuple[Json, Json]:
    """Rounds are set, both heats are announced, lane 4 is disqualified and protests about it."""
    with_rounds(meet)
    ruling = an_announced_disqualification(meet)
    meet.start(1)
    assert meet.load_result(1).status_code == 201
    announced(meet, 1)
    return ruling, lodge(meet, a_protest(meet, ruling))


def whole_state(meet: MeetAtHand) -> Json:
    """The result document and the round's standing, but for what only says who decided."""
    result = meet.desk.get(f"heats/{meet.heat()}/result").json()
    told = {key: result[key] for key in ("lines", "run") if key in result}
    heat = meet.desk.get(f"heats/{meet.heat()}").json()
    standing = meet.referee.get(f"heats/{meet.heat()}/round/now").json()
    heat.pop("version")
    return {"result": told, "round": standing, "heat": heat}


def shown(meet: MeetAtHand, protest: Json, orders: list[Json]) -> Json:
    answer = meet.referee.post(f"protests/{protest['id']}/consequences", {"orders": orders})
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def refused(meet: MeetAtHand, protest: Json, orders: list[Json], status: int, slug: str) -> Json:
    """Orders are refused, shown or decided, with the same words."""
    look = meet.referee.post(f"protests/{protest['id']}/consequences", {"orders": orders})
    told = a_problem(look, status, slug)
    again = a_problem(decide(meet, protest, "upheld", orders=orders), status, slug)
    assert again["detail"] == told["detail"]
    return told


def undo(decision: Json) -> list[Json]:
    return [{"order": "undo", "decision": decision["decision"]["id"]}]


ORDERS: dict[str, Build] = {
    "set aside": lambda _, ruling: set_aside(ruling),
    "disqualify": lambda meet, _: [
        {"order": "disqualify", "team": team(meet, 3), "infringement": "help_given"}
    ],
    "correct": lambda meet, _: [{"order": "correct", "team": team(meet, 8), "time": "41.00"}],
    "correct to the thousandth": lambda meet, _: [
        {"order": "correct", "team": team(meet, 8), "time": "42.801"}
    ],
    "did not finish": lambda meet, _: [
        {"order": "correct", "team": team(meet, 1), "status": "DNF"}
    ],
    "advance": lambda meet, _: [{"order": "advance", "team": team(meet, 8)}],
    "one runs again": lambda meet, ruling: [
        *set_aside(ruling),
        {"order": "run again", "teams": [team(meet, 4)], "time_to_beat": "42.30"},
    ],
    "two run again for a place": lambda meet, _: [
        {"order": "run again", "teams": [team(meet, 7), team(meet, 8)], "added_places": 1}
    ],
    "whole heat": lambda _, __: [{"order": "run again"}],
    "several": lambda meet, ruling: [
        *set_aside(ruling),
        {"order": "correct", "team": team(meet, 8), "time": "41.00"},
        {"order": "advance", "team": team(meet, 7)},
        {"order": "disqualify", "team": team(meet, 1), "infringement": "help_given"},
    ],
}


@pytest.mark.parametrize("kind", ORDERS)
def test_what_was_shown_is_stored_and_what_was_ordered_can_be_undone(
    meet: MeetAtHand, kind: str
) -> None:
    ruling, protest = at_a_desk(meet)
    before, orders = whole_state(meet), ORDERS[kind](meet, ruling)
    head = meet.head()
    foreseen = shown(meet, protest, orders)
    assert meet.head() == head, "looking stores nothing"
    out = decided(meet, protest, "upheld", orders=orders)
    assert out["decision"]["consequences"] == foreseen
    assert len(out["decision"]["ordered"]) == len(orders)
    assert whole_state(meet) != before
    second = lodge(meet, a_protest(meet, team=team(meet, 6)))
    back = shown(meet, second, undo(out))
    undone = decided(meet, second, "upheld", orders=undo(out))
    assert undone["decision"]["consequences"] == back
    assert {move["name"] for move in back["moves"]} == {move["name"] for move in foreseen["moves"]}
    assert whole_state(meet) == before
    third = lodge(meet, a_protest(meet, team=team(meet, 5)))
    refused(meet, third, undo(out), 409, "conflict")


@pytest.mark.parametrize("kind", ["set aside", "disqualify", "correct", "advance", "several"])
def test_a_taking_back_can_be_taken_back(meet: MeetAtHand, kind: str) -> None:
    ruling, protest = at_a_desk(meet)
    out = decided(meet, protest, "upheld", orders=ORDERS[kind](meet, ruling))
    after = whole_state(meet)
    second = lodge(meet, a_protest(meet, team=team(meet, 6)))
    undone = decided(meet, second, "upheld", orders=undo(out))
    third = lodge(meet, a_protest(meet, team=team(meet, 5)))
    decided(meet, third, "upheld", orders=undo(undone))
    assert whole_state(meet) == after


def test_a_restored_disqualification_counts_again(meet: MeetAtHand) -> None:
    ruling, protest = at_a_desk(meet)
    before = whole_state(meet)
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    second = lodge(meet, a_protest(meet, team=team(meet, 6)))
    back = [{"order": "restore", "disqualification": ruling["disqualification"]}]
    assert shown(meet, second, back)["moves"]
    decided(meet, second, "upheld", orders=back)
    assert whole_state(meet) == before


def test_a_corrected_time_shows_its_thousandths(meet: MeetAtHand) -> None:
    _ruling, protest = at_a_desk(meet)
    orders = [{"order": "correct", "team": team(meet, 8), "time": "42.805"}]
    out = decided(meet, protest, "upheld", orders=orders)
    assert "42.805 instead of 42.80" in out["decision"]["ordered"][0]


def test_two_teams_can_change_places_by_two_corrections(meet: MeetAtHand) -> None:
    """Which of two teams with the same time was first is a matter of the photo."""
    rows = ["lane,time,place"]
    rows += [f"{lane},{42 + lane / 10:.2f},{lane}" for lane in (1, 2, 3)]
    rows += ["4,42.40,4", "5,42.40,5"]
    rows += [f"{lane},{42 + lane / 10:.2f},{lane}" for lane in (6, 7, 8)]
    assert meet.load_result(content="\n".join(rows)).status_code == 201
    announced(meet)
    protest = lodge(meet, a_protest(meet, team=team(meet, 5)))
    first = {"order": "correct", "team": team(meet, 5), "time": "42.39", "place": 4}
    second = {"order": "correct", "team": team(meet, 4), "time": "42.40", "place": 5}
    told = refused(meet, protest, [second], 422, "malformed")
    assert told["errors"][0]["pointer"] == "/orders/0/place"
    out = decided(meet, protest, "upheld", orders=[first, second])
    lines = meet.desk.get(f"heats/{meet.heat()}/result").json()["lines"]
    places = {line["lane"]: line["place"] for line in lines}
    assert (places[5], places[4]) == (4, 5)
    assert out["state"] == "upheld"


def test_a_correction_that_contradicts_the_list_is_refused(meet: MeetAtHand) -> None:
    _ruling, protest = at_a_desk(meet)
    slow = [{"order": "correct", "team": team(meet, 8), "time": "42.80", "place": 1}]
    told = refused(meet, protest, slow, 422, "malformed")
    assert "place 8 of the finish list, not 1" in told["detail"]
    assert told["errors"][0]["pointer"] == "/orders/0/place"
    same = [{"order": "correct", "team": team(meet, 8), "time": "42.80"}]
    assert "nothing to correct" in refused(meet, protest, same, 409, "conflict")["detail"]
    untimed = [{"order": "correct", "team": team(meet, 8), "place": 2}]
    told = refused(meet, protest, untimed, 422, "malformed")
    assert told["errors"][0]["pointer"] == "/orders/0/time"
    twice = [
        {"order": "correct", "team": team(meet, 8), "time": "41.00"},
        {"order": "correct", "team": team(meet, 8), "time": "41.50"},
    ]
    refused(meet, protest, twice, 409, "conflict")


def test_orders_that_contradict_each_other_are_refused_in_one_decision(meet: MeetAtHand) -> None:
    ruling, protest = at_a_desk(meet)
    head = meet.head()
    advance = {"order": "advance", "team": team(meet, 8)}
    for orders in (
        [*set_aside(ruling), *set_aside(ruling)],
        [advance, advance],
        [{"order": "run again"}, {"order": "run again"}],
        [{"order": "run again"}, {"order": "correct", "team": team(meet, 8), "time": "41.00"}],
        [{"order": "restore", "disqualification": ruling["disqualification"]}],
    ):
        refused(meet, protest, orders, 409, "conflict")
    assert meet.head() == head


def test_set_aside_and_restored_in_one_decision_moves_nothing(meet: MeetAtHand) -> None:
    ruling, protest = at_a_desk(meet)
    before = whole_state(meet)
    back = {"order": "restore", "disqualification": ruling["disqualification"]}
    out = decided(meet, protest, "upheld", orders=[*set_aside(ruling), back])
    assert out["decision"]["consequences"]["moves"] == []
    assert whole_state(meet) == before


def test_twelve_orders_are_taken_and_thirteen_refused(meet: MeetAtHand) -> None:
    _ruling, protest = at_a_desk(meet)
    lanes = [1, 2, 3, 5, 6, 7]
    orders: list[Json] = [
        {"order": "disqualify", "team": team(meet, lane), "infringement": "help_given"}
        for lane in lanes
    ]
    orders += [
        {"order": "correct", "team": team(meet, lane), "time": f"41.{lane}0"} for lane in lanes
    ]
    a_problem(decide(meet, protest, "upheld", orders=[*orders, orders[0]]), 422, "malformed")
    out = decided(meet, protest, "upheld", orders=orders)
    assert len(out["decision"]["ordered"]) == 12


def test_an_order_about_another_heat_or_team_is_refused(meet: MeetAtHand) -> None:
    _ruling, protest = at_a_desk(meet)
    stranger = team(meet, 4, heat=1)
    for order in (
        {"order": "disqualify", "team": stranger, "infringement": "help_given"},
        {"order": "correct", "team": stranger, "time": "41.00"},
    ):
        told = refused(meet, protest, [order], 422, "malformed")
        assert told["errors"][0]["pointer"] == "/orders/0/team"
    order = {"order": "run again", "teams": [team(meet), stranger]}
    told = refused(meet, protest, [order], 422, "malformed")
    assert told["errors"][0]["pointer"] == "/orders/0/teams/1"
    for name, field in (("set aside", "disqualification"), ("undo", "decision")):
        refused(meet, protest, [{"order": name, field: new_id()}], 404, "not-found")


def test_the_disqualification_of_another_heat_is_refused(meet: MeetAtHand) -> None:
    ruling, _protest = at_a_desk(meet)
    elsewhere = lodge(meet, a_protest(meet, number=1, team=team(meet, 4, heat=1)))
    refused(meet, elsewhere, set_aside(ruling), 404, "not-found")


def test_what_another_decision_has_taken_back_already_needs_no_undoing(meet: MeetAtHand) -> None:
    ruling, protest = at_a_desk(meet)
    before = whole_state(meet)
    advance = {"order": "advance", "team": team(meet, 7)}
    out = decided(meet, protest, "upheld", orders=[*set_aside(ruling), advance])
    second = lodge(meet, a_protest(meet, team=team(meet, 6)))
    restored = [{"order": "restore", "disqualification": ruling["disqualification"]}]
    decided(meet, second, "upheld", orders=restored)
    third = lodge(meet, a_protest(meet, team=team(meet, 5)))
    foreseen = shown(meet, third, undo(out))
    undone = decided(meet, third, "upheld", orders=undo(out))["decision"]
    assert undone["consequences"] == foreseen
    (ordered,) = undone["ordered"]
    assert ordered.endswith(" goes on (qR) is taken back.")
    assert whole_state(meet) == before
    # Nothing of it is left by then.
    fourth = lodge(meet, a_protest(meet, team=team(meet, 6)))
    refused(meet, fourth, undo(out), 409, "conflict")


def test_a_decision_that_ordered_nothing_cannot_be_undone(meet: MeetAtHand) -> None:
    ruling, protest = at_a_desk(meet)
    rejected = decided(meet, protest)
    second = lodge(meet, a_protest(meet, ruling, team=team(meet, 6)))
    refused(meet, second, undo(rejected), 422, "malformed")


def test_a_heat_that_was_started_again_is_not_given_back_its_first_run(meet: MeetAtHand) -> None:
    _ruling, protest = at_a_desk(meet)
    out = decided(meet, protest, "upheld", orders=[{"order": "run again"}])
    meet.start()
    second = lodge(meet, a_protest(meet, team=team(meet, 6)))
    assert "started again" in refused(meet, second, undo(out), 409, "conflict")["detail"]


def test_a_re_run_that_was_started_can_still_be_said_not_to_count(meet: MeetAtHand) -> None:
    ruling, protest = at_a_desk(meet)
    orders = ORDERS["one runs again"](meet, ruling)
    out = decided(meet, protest, "upheld", orders=orders)
    re_run = all_heats(meet)[-1]
    assert re_run["round"] == "heats, re-run"
    seen = meet.referee.get(f"heats/{re_run['id']}")
    meet.referee.post(f"heats/{re_run['id']}/start", etag=seen.headers["ETag"])
    second = lodge(meet, a_protest(meet, team=team(meet, 6)))
    shown_ = meet.referee.post(f"protests/{second['id']}/consequences", {"orders": undo(out)})
    answer = decide(meet, second, "upheld", orders=undo(out))
    assert answer.json()["decision"]["consequences"] == shown_.json()
    assert answer.json()["decision"]["ordered"][0].endswith("does not count.")
    kept = meet.referee.get(f"heats/{re_run['id']}").json()
    assert kept["state"] == "running"
    assert kept["lanes"]


def all_heats(meet: MeetAtHand) -> list[Json]:
    return list(meet.organiser.get("heats").json()["heats"])


def test_a_protest_about_a_re_run_that_was_called_off_can_still_be_rejected(
    meet: MeetAtHand,
) -> None:
    ruling, protest = at_a_desk(meet)
    out = decided(meet, protest, "upheld", orders=ORDERS["one runs again"](meet, ruling))
    re_run = all_heats(meet)[-1]
    about_it = lodge(meet, a_protest(meet, heat=re_run["id"]))
    second = lodge(meet, a_protest(meet, team=team(meet, 6)))
    decided(meet, second, "upheld", orders=undo(out))
    seen = meet.desk.get(f"protests/{about_it['id']}")
    assert seen.status_code == 200, seen.text
    refused(meet, about_it, [{"order": "run again"}], 409, "conflict")
    assert decided(meet, about_it)["state"] == "rejected"


def test_a_team_that_was_drawn_away_keeps_its_name_in_what_is_ordered(meet: MeetAtHand) -> None:
    ruling, protest = at_a_desk(meet)
    orders = ORDERS["correct"](meet, ruling) + ORDERS["disqualify"](meet, ruling)
    out = decided(meet, protest, "upheld", orders=orders)
    whole = lodge(meet, a_protest(meet, team=team(meet, 6)))
    decided(meet, whole, "upheld", orders=[{"order": "run again"}])
    name = meet.heats[0]["event_name"]
    plover = f"{name},heats,1,4,Plover 1,Club 4"
    rows = [plover, *(f"{name},heats,1,{lane},Newcomer {lane}," for lane in (1, 2))]
    drawn = meet.organiser.post(
        "start-lists", content="\n".join(["event,round,heat,lane,team,affiliation", *rows])
    )
    assert drawn.status_code == 200, drawn.text
    again = lodge(meet, a_protest(meet))
    # The corrected race is void: nothing of that is left to undo.
    (said,) = decided(meet, again, "upheld", orders=undo(out))["decision"]["ordered"]
    assert said.startswith(f"The disqualification of {team_name(meet, 3)}")


def team_name(meet: MeetAtHand, lane: int = 4) -> str:
    return next(line["name"] for line in meet.heats[0]["lanes"] if line["lane"] == lane)


def test_a_heat_held_back_after_the_protest_has_nothing_to_correct(meet: MeetAtHand) -> None:
    ruling, protest = at_a_desk(meet)
    meet.hold_back()
    refused(meet, protest, ORDERS["correct"](meet, ruling), 409, "conflict")
    refused(meet, protest, [{"order": "run again"}], 409, "conflict")
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    assert out["state"] == "upheld"


def test_an_announcement_between_protest_and_decision_changes_nothing_of_it(
    meet: MeetAtHand,
) -> None:
    ruling, protest = at_a_desk(meet)
    announced(meet, remark="Once more.")
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    assert out["decision"]["consequences"]["moves"]
    amended = announced(meet)
    assert "appeal" in {window["remedy"] for window in amended["windows"]}


def test_the_referee_does_not_undo_what_the_jury_decided(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    ruling, jurys = heard["ruled"], heard["decision"]["id"]
    protest = lodge(meet, a_protest(meet, team=team(meet, 6)))
    # World Athletics TR8.11: the decision of the jury is final.
    back = [{"order": "restore", "disqualification": ruling["disqualification"]}]
    assert "TR8.11" in refused(meet, protest, back, 409, "conflict")["detail"]
    told = refused(meet, protest, [{"order": "undo", "decision": jurys}], 409, "conflict")
    assert "final" in told["detail"]
