"""In which order decisions count: by their number, whatever the clocks say, and through a round
with its re-runs.

That each is told once, with the result that it amends, is common practice.
"""

from __future__ import annotations

from datetime import timedelta

from app.ids import new_id
from tests.appeals.desk import (
    a_disqualification,
    a_protest,
    announced,
    decided,
    lodge,
    set_aside,
    team,
)
from tests.builders import Json, MeetAtHand, a_meet
from tests.running import Service


def again(hand: MeetAtHand) -> MeetAtHand:
    """The meet with the heats that it has by now."""
    hand.heats = hand.desk.get("heats").json()["heats"]
    return hand


def a_re_run(hand: MeetAtHand) -> Json:
    """The referee lets the team in lane 8 of the first heat run again; gives the decision."""
    hand.start()
    hand.load_result()
    announced(hand)
    protest = lodge(hand, a_protest(hand, team=team(hand, 8)))
    orders = [{"order": "run again", "teams": [team(hand, 8)]}]
    decision = decided(hand, protest, "upheld", orders=orders)["decision"]
    announced(again(hand))
    return dict(decision)


def test_each_decision_is_told_once_though_the_clock_was_set_back(service: Service) -> None:
    hand = a_meet(service, heats=1)
    hand.start()
    rulings = [a_disqualification(hand, lane) for lane in (4, 5)]
    hand.load_result()
    announced(hand)
    lodged = [
        lodge(hand, a_protest(hand, ruling, team=team(hand, lane)))
        for lane, ruling in zip((4, 5), rulings, strict=True)
    ]
    told = []
    for step, protest, ruling in zip((3, -2), lodged, rulings, strict=True):
        service.clock.move(timedelta(minutes=step))
        decided(hand, protest, "upheld", orders=set_aside(ruling))
        line = hand.desk.get("announcements").json()["announcements"][0]
        assert line["pending"][0] == "An amended result is to be announced."
        told.append(announced(hand))
    assert [len(one["because"]) for one in told] == [1, 1]
    assert [one["because"][0][:9] for one in told] == ["Protest 1", "Protest 2"]
    assert [one["remedy"] for one in told[1]["windows"]] == ["protest", "appeal"]


def test_a_decision_about_a_re_run_is_news_in_the_round_that_it_repeats(service: Service) -> None:
    hand = a_meet(service)
    a_re_run(hand)
    hand.start(2)
    hand.load_result(2, "lane,time\n8,42.05")
    announced(hand, 2)
    protest = lodge(hand, a_protest(hand, number=2, team=team(hand, 8)))
    orders = [{"order": "correct", "team": team(hand, 8), "time": "42.45"}]
    decided(hand, protest, "upheld", orders=orders)
    told = announced(hand, remark="The letters follow")
    assert told["because"][0].startswith("Protest 2 of Petrel 1, heats, re-run, heat 1, was upheld")
    assert [one["remedy"] for one in told["windows"]] == ["protest", "appeal"]


def test_a_re_run_has_the_shorter_time_of_the_round_that_it_repeats(service: Service) -> None:
    hand = a_meet(service, terms={"protest_minutes_before_next_round": 5})
    setting = {"event": hand.heats[0]["event"], "round": "heats", "next_round": "final"}
    setting |= {"by_place": 2, "by_time": 2, "lanes": 8}
    assert hand.organiser.put(f"rounds/{new_id()}", setting).status_code == 201
    a_re_run(hand)
    hand.start(2)
    hand.load_result(2, "lane,time\n8,42.05")
    (window,) = announced(hand, 2)["windows"]
    assert (window["minutes"], window["origin"]) == (5, "meet")


def test_a_team_of_the_round_is_of_its_re_run_too(service: Service) -> None:
    hand = a_meet(service)
    a_re_run(hand)
    assert hand.heats[2]["round"] == "heats, re-run"
    for number, other in ((2, team(hand, 1, 1)), (1, team(hand, 8))):
        protest = lodge(hand, a_protest(hand, number=number, team=other))
        assert (protest["took_part"], protest["marks"]) == (True, [])
