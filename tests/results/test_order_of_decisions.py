"""In which order decisions count: by their number, whatever the clocks say, and through a round
with its re-runs.

That each is told once, with the result that it amends, is common practice.
"""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.ids import new_id
from tests.appeals.desk import (
    a_disqualification,
    a_protest,
    announced,
    appeal,
    decided,
    lodge,
    set_aside,
    team,
)
from tests.builders import Json, MeetAtHand, a_meet
from tests.rounds.builders import Event, two_heats
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
    announced(hand, 2)
    told = announced(hand, remark="The letters follow")
    assert told["because"][0].startswith("Protest 2 of Petrel 1, heats, re-run, heat 1, was upheld")
    assert [one["remedy"] for one in told["windows"]] == ["protest", "appeal"]


def test_a_time_in_a_re_run_that_was_corrected_is_told_elsewhere_once_it_is_announced_there(
    meet: MeetAtHand,
) -> None:
    event = two_heats(meet)
    event.set(lanes=8, by_time=1)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    first = lodge(meet, a_protest(meet, heat=event.heat("heats 1"), team=event.team("Heron")))
    again = {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.50"}
    decided(meet, first, "upheld", orders=[again])
    event.announce("heats 1")
    event.announce("heats 2")
    event.read_again()
    re_run = next(name for name in event.heats if "re-run" in name)
    event.run(re_run, "42.65")
    protest = lodge(meet, a_protest(meet, heat=event.heat(re_run), team=event.team("Heron")))
    order = {"order": "correct", "team": event.team("Heron"), "time": "42.45"}
    decided(meet, protest, "upheld", orders=[order])
    between = event.announce("heats 1", remark="Read again").json()
    assert between["because"] == []
    assert {one["remedy"] for one in between["windows"]} == {"protest"}
    event.announce(re_run)
    told = event.announce("heats 1").json()
    assert "The finish of Heron is corrected" in told["because"][0]
    assert "appeal" in {one["remedy"] for one in told["windows"]}
    assert "Gull, lane 4: not through; before: through by time (q)." in told["changes"]


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


def two_heats_with_gull_out(meet: MeetAtHand) -> tuple[Event, Json]:
    """By the referee's decision Gull of heat 1 is disqualified, so that Curlew of heat 2 would come
    into the final by time; nobody has announced that.
    """
    event = two_heats(meet)
    event.set(lanes=8, by_time=1)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    protest = lodge(meet, a_protest(meet, heat=event.heat("heats 1"), team=event.team("Heron")))
    order = {"order": "disqualify", "team": event.team("Gull"), "infringement": "help_given"}
    decided(meet, protest, "upheld", orders=[order])
    return event, protest


def appeal_of(event: Event, protest: Json, name: str) -> Json:
    return appeal(event.meet, protest, team=event.team(name), sought=[])


@pytest.mark.parametrize("between", [True, False])
def test_a_decision_on_another_heat_is_told_and_appealed_once_it_is_announced_there(
    meet: MeetAtHand, *, between: bool
) -> None:
    """The time for an appeal runs from the announcement that amends the result (TR8.7): nobody
    loses it by an announcement that was made before, for another reason.
    """
    event, protest = two_heats_with_gull_out(meet)
    if between:
        event.load("heats 2", "42.20", "42.60", "43.20")
        told = event.announce("heats 2").json()
        assert told["because"] == []
        assert {one["remedy"] for one in told["windows"]} == {"protest"}
        assert [one["letter"] for one in told["qualified"] if one["team_name"] == "Gull"] == ["q"]
    meet.service.clock.move(timedelta(minutes=1))
    (because,) = event.announce("heats 1").json()["because"]
    assert "Gull is disqualified" in because
    meet.service.clock.move(timedelta(minutes=35))
    told = event.announce("heats 2").json()
    assert [one["remedy"] for one in told["windows"]] == ["protest", "appeal"]
    assert "Gull is disqualified" in told["because"][0]
    meet.service.clock.move(timedelta(minutes=5))
    assert appeal_of(event, protest, "Curlew")["marks"] == []
    assert event.result("heats 2")["announced"]["holds"]


def test_two_heats_do_not_wait_for_each_other_to_tell_what_was_decided_on_both(
    meet: MeetAtHand,
) -> None:
    """Each tells its own decision at once and the other's after it; then both turn final."""
    event, _protest = two_heats_with_gull_out(meet)
    own = lodge(meet, a_protest(meet, heat=event.heat("heats 2"), team=event.team("Curlew")))
    order = {"order": "correct", "team": event.team("Curlew"), "time": "42.45"}
    decided(meet, own, "upheld", orders=[order])
    (because,) = event.announce("heats 2").json()["because"]
    assert "The finish of Curlew is corrected" in because
    because = event.announce("heats 1").json()["because"]
    assert [" ".join(one.split()[:2]) for one in because] == [
        f"Protest {own['number'] - 1}",
        f"Protest {own['number']}",
    ]
    (because,) = event.announce("heats 2", remark="The same letters").json()["because"]
    assert "Gull is disqualified" in because
    heats = [event.result(name)["announced"] for name in ("heats 1", "heats 2")]
    assert all(
        one["holds"] and not any("announced" in it for it in one["pending"]) for one in heats
    )
    meet.service.clock.move(timedelta(minutes=31))
    heats = [event.result(name)["announced"] for name in ("heats 1", "heats 2")]
    assert [one["pending"] for one in heats] == [[], []]


def test_what_a_decision_does_at_once_is_told_before_what_it_changes_in_the_other_heat(
    meet: MeetAtHand,
) -> None:
    """Puffin goes on whichever heat is announced; that Heron was faster only after heat 1 is."""
    event, _protest = two_heats_with_gull_out(meet)
    other = lodge(meet, a_protest(meet, heat=event.heat("heats 1"), team=event.team("Heron")))
    orders = [
        {"order": "advance", "team": event.team("Puffin")},
        {"order": "correct", "team": event.team("Heron"), "time": "42.05"},
    ]
    decided(meet, other, "upheld", orders=orders)
    told = []
    for name in ("heats 2", "heats 1", "heats 2"):
        meet.service.clock.move(timedelta(minutes=31))
        one = event.announce(name, remark="Read again").json()
        told.append(sum("Puffin goes on" in because for because in one["because"]))
        assert "appeal" in {window["remedy"] for window in one["windows"]}
    assert told == [1, 1, 1]


def test_a_result_waits_for_the_appeals_of_a_team_that_was_told_in_another_heat(
    meet: MeetAtHand,
) -> None:
    """Also in a round that nobody has set, where its heats' letters do not hang together."""
    event = two_heats(meet)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    protest = lodge(meet, a_protest(meet, heat=event.heat("heats 1"), team=event.team("Heron")))
    orders = [{"order": "disqualify", "team": event.team("Gull"), "infringement": "help_given"}]
    decided(meet, protest, "upheld", orders=orders)
    meet.service.clock.move(timedelta(minutes=1))
    event.announce("heats 1")
    meet.service.clock.move(timedelta(minutes=20))
    event.announce("heats 2", remark="Read again")
    meet.service.clock.move(timedelta(minutes=20))
    pending = event.result("heats 1")["announced"]["pending"]
    assert [one[:14] for one in pending] == ["Appeals until "]
    meet.service.clock.move(timedelta(minutes=11))
    assert event.result("heats 1")["announced"]["pending"] == []


def test_who_is_put_out_before_the_own_heat_is_announced_can_appeal_from_then_on(
    meet: MeetAtHand,
) -> None:
    """The time for an appeal runs from the official announcement of the result (TR8.7)."""
    event = two_heats(meet)
    event.set(lanes=8, by_time=1)
    event.run("heats 1", "42.10", "42.70", "43.00")
    event.load("heats 2", "42.20", "42.60", "43.10")
    protest = lodge(meet, a_protest(meet, heat=event.heat("heats 1"), team=event.team("Gull")))
    order = {"order": "correct", "team": event.team("Gull"), "time": "42.50"}
    decided(meet, protest, "upheld", orders=[order])
    event.announce("heats 1")
    meet.service.clock.move(timedelta(minutes=40))
    told = event.announce("heats 2").json()
    assert "The finish of Gull is corrected" in told["because"][0]
    assert [one["remedy"] for one in told["windows"]] == ["protest", "appeal"]
    assert appeal_of(event, protest, "Curlew")["marks"] == []
