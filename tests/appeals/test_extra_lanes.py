"""An extra lane of the next round, ordered by a decision.

Tokyo 2025, men's 4x400 m: a ninth team ran in lane 1 of the final (press accounts). Letters: World
Athletics CR25.4 as federation notices of 2023 give it. That the lane goes with the decision that
gave it, that only who goes on has one, and none of a race that has begun, is common practice.
"""

from __future__ import annotations

import httpx
import pytest

from tests.appeals.desk import a_panel, appeal, cast, decide, decided, jury_decides, lodge
from tests.builders import Json, MeetAtHand, a_problem
from tests.rounds.builders import Event, by_name, two_heats

FINAL = {"final 1": ("Tern", "Gull", "Plover", "Curlew")}


@pytest.fixture
def event(meet: MeetAtHand) -> Event:
    """Two heats have been run, four of six are drawn into the final's lanes 3 to 6."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.00", "42.10", "42.90")
    event.run("heats 2", "42.05", "42.20", "42.95")
    event.draw(FINAL)
    return event


def a_protest_of_heron(event: Event) -> Json:
    return lodge(
        event.meet,
        {
            "heat": event.heat("heats 1"),
            "team": event.team("Heron"),
            "about": "conduct",
            "against": event.team("Gull"),
            "lodged_by": "Mira Anchor",
            "words": "Gull pushed our third runner.",
        },
    )


def orders(event: Event, lane: int = 7) -> list[Json]:
    heron = event.team("Heron")
    return [
        {"order": "advance", "team": heron},
        {"order": "extra lane", "team": heron, "lane": lane},
    ]


def test_a_team_that_is_advanced_gets_its_extra_lane_in_the_final_as_drawn(event: Event) -> None:
    protest = a_protest_of_heron(event)
    address = f"protests/{protest['id']}/consequences"
    shown = event.meet.referee.post(address, {"orders": orders(event)}).json()
    (move,) = [move for move in shown["moves"] if move["name"] == "Heron"]
    assert move["after"]["letter"] == "qR"
    assert move["after"]["seat"]["lane"] == 7
    assert move["after"]["seat"]["is_drawn"]
    assert (
        move["sentence"] == "Heron is in the final by the referee's decision (qR) and gets lane 7."
    )
    out = decided(event.meet, protest, "upheld", orders=orders(event))
    assert out["decision"]["consequences"] == shown
    assert out["decision"]["ordered"][1] == "Heron has lane 7 of the final."
    event.read_again()
    assert {lane["lane"]: lane["name"] for lane in event.heats["final 1"]["lanes"]}[7] == "Heron"


def test_a_lane_that_nobody_has_ordered_is_only_said_to_be_free(event: Event) -> None:
    changed = event.meet.organiser.put(f"rounds/{event.round}", event.setting(lanes=5), etag='"v1"')
    assert changed.status_code == 200, changed.text
    protest = a_protest_of_heron(event)
    address = f"protests/{protest['id']}/consequences"
    shown = event.meet.referee.post(address, {"orders": orders(event)[:1]}).json()
    (move,) = [move for move in shown["moves"] if move["name"] == "Heron"]
    assert move["sentence"] == (
        "Heron is in the final by the referee's decision (qR); lane 8 is free for it."
    )
    assert (move["after"]["seat"]["lane"], move["after"]["seat"]["is_drawn"]) == (8, False)
    assert "gets" not in shown["summary"]


def test_a_team_is_told_to_get_the_lane_that_was_free_for_it_already(event: Event) -> None:
    changed = event.meet.organiser.put(f"rounds/{event.round}", event.setting(lanes=5), etag='"v1"')
    assert changed.status_code == 200, changed.text
    decided(event.meet, a_protest_of_heron(event), "upheld", orders=orders(event)[:1])
    assert drawn_in(by_name(event.now())["Heron"]["seat"]) == (1, 8, False)
    protest = a_protest_of_heron(event)
    lane = orders(event, lane=8)[1:]
    shown = event.meet.referee.post(
        f"protests/{protest['id']}/consequences", {"orders": lane}
    ).json()
    assert shown["summary"] == "Heron in a lane"
    (move,) = shown["moves"]
    assert move["sentence"] == "Heron gets lane 8."
    seats = [
        (side["seat"]["lane"], side["seat"]["is_drawn"]) for side in (move["before"], move["after"])
    ]
    assert seats == [(8, False), (8, True)]
    out = decided(event.meet, protest, "upheld", orders=lane)
    assert out["decision"]["consequences"] == shown
    assert out["decision"]["affected"][0]["team_name"] == "Heron"
    back = undo(event, out)["decision"]["consequences"]
    assert [move["sentence"] for move in back["moves"]] == [
        "Heron no longer has lane 8; lane 8 is free for it."
    ]


def test_no_lane_is_said_to_be_free_that_the_same_decision_gives_away(event: Event) -> None:
    """The final is set to have one lane more than teams: with another team in it none is left."""
    changed = event.meet.organiser.put(
        f"rounds/{event.round}", event.setting(lanes=5, by_time=3), etag='"v1"'
    )
    assert changed.status_code == 200, changed.text
    assert drawn_in(by_name(event.now())["Heron"]["seat"]) == (1, 8, False)
    puffin = event.team("Puffin")
    given = [
        {"order": "advance", "team": puffin},
        {"order": "extra lane", "team": puffin, "lane": 7},
    ]
    protest = a_protest_of_heron(event)
    shown = event.meet.referee.post(
        f"protests/{protest['id']}/consequences", {"orders": given}
    ).json()
    moved = {move["name"]: move["sentence"] for move in shown["moves"]}
    assert moved["Puffin"].endswith("and gets lane 7.")
    assert moved["Heron"] == "Heron no longer has lane 8 free for it."
    decided(event.meet, protest, "upheld", orders=given)
    assert by_name(event.now())["Heron"]["seat"] is None


def test_a_free_lane_that_a_decision_on_another_heat_gives_is_told_with_the_teams_own_heat(
    event: Event,
) -> None:
    changed = event.meet.organiser.put(f"rounds/{event.round}", event.setting(lanes=5), etag='"v1"')
    assert changed.status_code == 200, changed.text
    decided(event.meet, a_protest_of_heron(event), "upheld", orders=orders(event)[:1])
    assert event.announce("heats 1", remark="Heron goes on.").status_code == 201
    elsewhere = lodge(
        event.meet,
        {
            "heat": event.heat("heats 2"),
            "team": event.team("Puffin"),
            "about": "placing",
            "lodged_by": "Mira Anchor",
            "words": "Heron has no lane.",
        },
    )
    decided(event.meet, elsewhere, "upheld", orders=orders(event, lane=8)[1:])
    told = event.announce("heats 1", remark="Heron has a lane.").json()
    (because,) = told["because"]
    assert because.endswith("Heron has lane 8 of the final.")


def test_an_extra_lane_is_taken_back_with_the_decision(event: Event) -> None:
    before = event.now()
    first = a_protest_of_heron(event)
    out = decided(event.meet, first, "upheld", orders=orders(event))
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    decided(event.meet, a_protest_of_heron(event), "upheld", orders=undo)
    event.read_again()
    assert len(event.heats["final 1"]["lanes"]) == 4
    assert event.now()["teams"] == before["teams"]


def test_a_lane_that_is_taken_is_refused_and_nothing_is_ordered(event: Event) -> None:
    protest = a_protest_of_heron(event)
    refused = decide(event.meet, protest, "upheld", orders=orders(event, lane=4))
    assert "taken" in a_problem(refused, 409, "conflict")["detail"]
    assert event.now()["teams"][-1]["name"]
    assert event.letters()["Heron"] == ""


def test_no_lane_is_given_before_the_draw_nor_once_the_final_has_begun(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.00", "42.10", "42.90")
    event.run("heats 2", "42.05", "42.20", "42.95")
    protest = a_protest_of_heron(event)
    early = decide(meet, protest, "upheld", orders=orders(event))
    assert "not been drawn" in a_problem(early, 409, "conflict")["detail"]
    event.draw(FINAL)
    event.start("final 1")
    late = decide(meet, protest, "upheld", orders=orders(event))
    assert "has begun" in a_problem(late, 409, "conflict")["detail"]


def two_semi_finals(meet: MeetAtHand, lanes: int = 4) -> Event:
    """Two heats have been run, and two semi-finals are drawn with two teams each."""
    event = two_heats(meet)
    event.set(next_round="semi-finals", lanes=lanes)
    event.run("heats 1", "42.00", "42.10", "42.90")
    event.run("heats 2", "42.05", "42.20", "42.95")
    event.draw({"semi-finals 1": ("Tern", "Gull"), "semi-finals 2": ("Plover", "Curlew")})
    return event


def in_heat(event: Event, heat: str) -> list[Json]:
    advance, lane = orders(event)
    return [advance, {**lane, "heat": event.heat(heat)}]


def test_a_lane_of_a_heat_still_to_come_is_given_and_taken_back_though_another_has_begun(
    meet: MeetAtHand,
) -> None:
    event = two_semi_finals(meet)
    before = event.now()
    event.start("semi-finals 1")
    protest = a_protest_of_heron(event)
    gone = decide(event.meet, protest, "upheld", orders=in_heat(event, "semi-finals 1"))
    assert "Heat 1 of the next round has begun" in a_problem(gone, 409, "conflict")["detail"]
    given = decided(event.meet, protest, "upheld", orders=in_heat(event, "semi-finals 2"))
    assert given["decision"]["consequences"]["too_late"] == []
    (moved,) = given["decision"]["consequences"]["moves"]
    assert (moved["name"], moved["after"]["seat"]["heat_number"]) == ("Heron", 2)
    seat = by_name(event.now())["Heron"]["seat"]
    assert (seat["heat_number"], seat["lane"], seat["is_drawn"]) == (2, 7, True)
    back = undo(event, given)
    assert (
        back["decision"]["ordered"][0] == "Heron no longer has heat 2, lane 7 of the semi-finals."
    )
    assert event.now()["teams"] == before["teams"]


def drawn_in(seat: Json) -> tuple[int, int, bool]:
    """A lane of the next round: its heat, its number, and whether its team is drawn there."""
    return seat["heat_number"], seat["lane"], seat["is_drawn"]


@pytest.mark.parametrize(("begun", "free"), [(None, (1, 3)), (1, (2, 8)), (2, (1, 3))])
def test_in_a_heat_that_has_begun_every_lane_stays_and_one_of_a_heat_to_come_is_free(
    meet: MeetAtHand, begun: int | None, free: tuple[int, int]
) -> None:
    """The semi-finals have a lane more than teams. Of those that nobody has, the outside one comes
    first: the inside ones stay free (IAAF Rule 166, 2016-17, note 4).
    """
    event = two_semi_finals(meet, lanes=5)
    if begun is not None:
        event.start(f"semi-finals {begun}")
    event.disqualify("Tern")
    now = by_name(event.now())
    assert (now["Tern"]["letter"], now["Heron"]["letter"]) == ("", "q")
    assert drawn_in(now["Heron"]["seat"]) == (*free, False)
    if begun == 1:
        assert drawn_in(now["Tern"]["seat"]) == (1, 3, True)
    else:
        assert now["Tern"]["seat"] is None


def test_where_the_next_round_has_no_lane_to_spare_none_of_a_heat_that_has_begun_is_given(
    meet: MeetAtHand,
) -> None:
    event = two_semi_finals(meet)
    event.start("semi-finals 1")
    event.disqualify("Tern")
    now = by_name(event.now())
    assert drawn_in(now["Tern"]["seat"]) == (1, 3, True)
    assert (now["Heron"]["letter"], now["Heron"]["seat"]) == ("q", None)
    assert "There is no lane left in the semi-finals for Heron." in event.now()["sentences"]


@pytest.mark.parametrize(
    ("begun", "said"),
    [
        (
            ("semi-finals 1",),
            "The next round has begun: whoever comes in by the heat that runs again can be given "
            "a lane only in heat 2.",
        ),
        (
            ("semi-finals 1", "semi-finals 2"),
            "All heats of the semi-finals have been started: whoever comes in by the heat that "
            "runs again did not run in them and can no longer be given a lane.",
        ),
    ],
)
def test_it_is_told_where_a_heat_that_runs_again_can_still_bring_somebody(
    meet: MeetAtHand, begun: tuple[str, ...], said: str
) -> None:
    event = two_semi_finals(meet)
    for heat in begun:
        event.start(heat)
    address = f"protests/{a_protest_of_heron(event)['id']}/consequences"
    shown = event.meet.referee.post(address, {"orders": [{"order": "run again"}]})
    assert said in shown.json()["too_late"]


def test_a_lane_is_given_only_to_who_goes_on(event: Event) -> None:
    protest = a_protest_of_heron(event)
    lane_alone = orders(event)[1:]
    shown = event.meet.referee.post(
        f"protests/{protest['id']}/consequences", {"orders": lane_alone}
    )
    for answer in (shown, decide(event.meet, protest, "upheld", orders=lane_alone)):
        assert "does not go on" in a_problem(answer, 409, "conflict")["detail"]


def given_a_lane(event: Event) -> Json:
    """Heron has lane 7 of the final by the referee's decision, which is given back."""
    return decided(event.meet, a_protest_of_heron(event), "upheld", orders=orders(event))


def load_final(event: Event, *teams: str, check: bool = False, heat: int = 1) -> httpx.Response:
    """A start list for the final, from lane 3."""
    rows = [f"{event.name},final,{heat},{lane},{team}" for lane, team in enumerate(teams, 3)]
    content = "\n".join(["event,round,heat,lane,team", *rows])
    asked = {"check": "true"} if check else None
    return event.meet.organiser.post("start-lists", content=content, params=asked)


def test_a_start_list_does_not_leave_out_who_has_a_lane_by_a_decision(event: Event) -> None:
    number = given_a_lane(event)["number"]
    looked = load_final(event, "Tern", "Gull", "Plover", "Curlew", check=True).json()
    told = a_problem(load_final(event, "Tern", "Gull", "Plover", "Curlew"), 422, "file-refused")
    assert told["problems"] == looked["problems"]
    (problem,) = told["problems"]
    assert problem["column"] == "team"
    assert "“Heron” has a lane by the decision of the referee on protest" in problem["problem"]
    assert f"protest {number}," in problem["problem"]
    assert "have that decision undone" in problem["problem"]


def test_a_start_list_may_move_a_team_with_an_extra_lane_and_says_so(event: Event) -> None:
    number = given_a_lane(event)["number"]
    told = load_final(event, "Heron", "Gull", "Plover", "Curlew", "Tern").json()
    assert told["lanes_moved"] == [
        f"Heron has a lane of the final by the decision of the referee on protest {number}: this "
        "list moves it from lane 7 to lane 3."
    ]
    again = load_final(event, "Heron", "Gull", "Plover", "Curlew", "Tern").json()
    assert again["lanes_moved"] == []


def test_of_a_team_that_a_list_has_moved_the_present_lane_is_taken_back(event: Event) -> None:
    before = event.now()
    out = given_a_lane(event)
    moved = load_final(event, "Heron", "Gull", "Plover", "Curlew", "Tern")
    assert moved.status_code == 200, moved.text
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    back = decided(event.meet, a_protest_of_heron(event), "upheld", orders=undo)
    assert back["decision"]["ordered"][0] == "Heron no longer has lane 3 of the final."
    event.draw(FINAL)
    assert event.now()["teams"] == before["teams"]


def test_once_an_extra_lane_is_taken_back_a_start_list_is_free_again(event: Event) -> None:
    out = given_a_lane(event)
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    decided(event.meet, a_protest_of_heron(event), "upheld", orders=undo)
    assert load_final(event, "Tern", "Gull", "Plover", "Puffin").status_code == 200


def recall(event: Event) -> Json:
    """The referee takes back that Heron goes on."""
    orders_ = [{"order": "recall", "team": event.team("Heron")}]
    return decided(event.meet, a_protest_of_heron(event), "upheld", orders=orders_)


def undo(event: Event, decision: Json) -> Json:
    orders_ = [{"order": "undo", "decision": decision["decision"]["id"]}]
    return decided(event.meet, a_protest_of_heron(event), "upheld", orders=orders_)


def test_a_recall_takes_the_lane_back_too_so_that_a_start_list_is_free_again(event: Event) -> None:
    before = event.now()
    given_a_lane(event)
    assert recall(event)["decision"]["ordered"] == [
        "That Heron goes on (qR) is taken back.",
        "Heron no longer has lane 7 of the final.",
    ]
    assert event.now()["teams"] == before["teams"]
    assert load_final(event, "Tern", "Gull", "Plover", "Puffin").status_code == 200


def test_an_undone_recall_gives_the_lane_back_and_holds_it_as_before(event: Event) -> None:
    given_a_lane(event)
    stood = event.now()
    back = undo(event, recall(event))
    assert "Heron has lane 7 of the final." in back["decision"]["ordered"]
    assert event.now() == stood
    left_out = load_final(event, "Tern", "Gull", "Plover", "Curlew")
    assert "“Heron” has a lane by" in str(a_problem(left_out, 422, "file-refused")["problems"])


def test_a_recall_leaves_the_lane_of_who_goes_on_all_the_same(event: Event) -> None:
    given_a_lane(event)
    wider = event.meet.organiser.put(
        f"rounds/{event.round}", event.setting(by_time=4, lanes=6), etag='"v1"'
    )
    assert wider.status_code == 200, wider.text
    (said,) = recall(event)["decision"]["ordered"]
    assert said == "That Heron goes on (qR) is taken back."
    assert by_name(event.now())["Heron"]["seat"]["lane"] == 7


def test_a_lane_that_the_jury_gave_is_not_taken_back_with_a_recall_by_the_referee(
    event: Event,
) -> None:
    meet, protest = event.meet, a_protest_of_heron(event)
    decided(meet, protest, "upheld", orders=orders(event)[:1])
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    told = jury_decides(meet, lodged, names[0], orders=orders(event)[1:])
    assert told.status_code == 201, told.text
    recalled = [{"order": "recall", "team": event.team("Heron")}]
    refused = decide(meet, a_protest_of_heron(event), "upheld", orders=recalled)
    # A decision of the jury is final: World Athletics TR8.11 (from memory).
    assert "The jury has decided this" in a_problem(refused, 409, "conflict")["detail"]


def test_a_team_with_an_extra_lane_may_be_moved_to_another_heat_of_the_round(event: Event) -> None:
    given_a_lane(event)
    rows = [f"{event.name},final,1,{lane},{team}" for lane, team in enumerate(FINAL["final 1"], 3)]
    rows.append(f"{event.name},final,2,4,Heron")
    content = "\n".join(["event,round,heat,lane,team", *rows])
    told = event.meet.organiser.post("start-lists", content=content).json()
    (sentence,) = told["lanes_moved"]
    assert sentence.endswith("from lane 7 to heat 2, lane 4.")
