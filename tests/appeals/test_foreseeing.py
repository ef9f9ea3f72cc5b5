"""Before a ruling is signed, both verdicts are shown with what they would move."""

from __future__ import annotations

from app.ids import new_id
from tests.appeals.desk import a_protest, appeal, decided, lodge, set_aside, team
from tests.appeals.test_last_instance import the_jury
from tests.appeals.test_orders import with_rounds
from tests.builders import Json, MeetAtHand, a_call, a_problem


def foreseen(meet: MeetAtHand, case: str, by: str = "referee") -> Json:
    answer = meet[by].get(f"cases/{case}/consequences")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def an_open_case(meet: MeetAtHand, lane: int = 1) -> str:
    """Rounds are set, both heats are in, and a case is open against who was first."""
    with_rounds(meet)
    for heat in (0, 1):
        meet.start(heat)
        assert meet.load_result(heat).status_code == 201
    return str(meet.report(lane=lane)["case"])


def test_if_confirmed_the_team_is_out_and_the_next_one_in(meet: MeetAtHand) -> None:
    case = an_open_case(meet)
    head = meet.head()
    told = foreseen(meet, case)
    assert meet.head() == head
    letters = {
        move["name"]: (move["before"]["letter"], move["after"]["letter"])
        for move in told["if_confirmed"]["moves"]
    }
    assert letters["Tern 1"] == ("Q", "")
    assert letters["Heron 1"] == ("q", "Q")
    assert "q" in {after for _before, after in letters.values()}
    assert told["if_dismissed"]["moves"] == []
    assert told["note"] == "Confirmed, the team would be disqualified."


def test_what_was_foreseen_is_what_the_ruling_does(meet: MeetAtHand) -> None:
    case = an_open_case(meet)
    told = foreseen(meet, case)["if_confirmed"]
    after = {move["team"]: move["after"] for move in told["moves"]}
    assert meet.rule(case).status_code == 201
    standing = meet.referee.get(f"heats/{meet.heat()}/round/now").json()["teams"]
    for one in standing:
        if one["team"] in after:
            assert one["place"] == after[one["team"]]["place"]
            assert one["letter"] == after[one["team"]]["letter"]


def test_a_ruling_that_stands_is_lifted_if_it_is_reconsidered(meet: MeetAtHand) -> None:
    case = an_open_case(meet)
    meet.rule(case)
    told = foreseen(meet, case)
    assert told["if_confirmed"]["moves"] == []
    moved = {move["name"]: move["after"]["letter"] for move in told["if_dismissed"]["moves"]}
    assert moved["Tern 1"] == "Q"


def test_a_disqualification_that_a_decision_set_aside_is_not_lifted_twice(
    meet: MeetAtHand,
) -> None:
    case = an_open_case(meet)
    ruling = meet.rule(case).json()
    protest = lodge(meet, a_protest(meet, ruling, team=team(meet, 1)))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    told = foreseen(meet, case)
    assert told["if_dismissed"]["moves"] == []
    assert told["if_confirmed"]["moves"] == [], "a new ruling would pass over the decision"
    assert told["note"] == refusal_of_each(meet, ruling)


def refusal_of_each(meet: MeetAtHand, ruling: Json) -> str:
    """What either verdict in place of this ruling is refused with."""
    answers = [
        a_problem(
            meet.rule(ruling["case"], verdict=verdict, reconsiders=ruling["id"]), 409, "conflict"
        )
        for verdict in ("confirmed", "dismissed")
    ]
    (detail,) = {answer["detail"] for answer in answers}
    return str(detail)


def test_where_the_jury_let_a_ruling_stand_no_verdict_moves_anything_and_that_is_said(
    meet: MeetAtHand,
) -> None:
    """The jury's decision is final: World Athletics TR8.11, number from memory."""
    case = an_open_case(meet)
    ruling = meet.rule(case).json()
    protest = lodge(meet, a_protest(meet, ruling, team=team(meet, 1)))
    decided(meet, protest)
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).is_success
    the_jury(meet, appeal(meet, protest, sought=set_aside(ruling)), "rejected")
    told = foreseen(meet, case)
    assert (told["if_dismissed"]["moves"], told["if_confirmed"]["moves"]) == ([], [])
    assert told["note"].startswith("The jury has decided about this ruling, and its decision is ")
    assert told["note"] == refusal_of_each(meet, ruling)


def test_a_tolerated_lane_infringement_would_move_nobody(meet: MeetAtHand) -> None:
    with_rounds(meet)
    meet.start()
    assert meet.load_result().status_code == 201
    seen = {"seen": "lane_infringement", "steps": 1, "on_bend": "yes", "inner_line": "yes"}
    report = meet.report(lane=1, observation=seen)
    told = foreseen(meet, report["case"])
    # World Athletics TR17.3, TR17.4: a first step on or over the line is noted, since 2021-11-01.
    if report["finding"]["consequence"] != "disqualification":
        assert told["if_confirmed"]["moves"] == []
        assert "noted (L)" in told["note"]


def test_a_case_without_a_lane_says_whom_to_ask(meet: MeetAtHand) -> None:
    meet.start()
    call = a_call(meet.heat(), meet.posts["umpire"], "yellow", report=new_id())
    case = meet.umpire.put(f"calls/{new_id()}", call).json()["case"]
    refused = meet.referee.get(f"cases/{case}/consequences")
    assert "ask the umpire" in a_problem(refused, 409, "conflict")["detail"]
    a_problem(meet.referee.get(f"cases/{new_id()}/consequences"), 404, "not-found")
