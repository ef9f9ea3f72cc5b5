"""A disqualification by decision is about one race: when the heat runs anew, somebody looks again.

That nothing of the first race counts in the next unless an official says so is common practice.
"""

from __future__ import annotations

import pytest

from tests.appeals.desk import a_protest, announced, decided, lodge, team
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.running import Service


def disqualified(service: Service) -> tuple[MeetAtHand, Json]:
    """A team is disqualified by the referee's decision on a protest; gives the decision."""
    hand = a_meet(service, heats=1)
    hand.start()
    hand.load_result()
    announced(hand)
    about = {"about": "conduct", "against": team(hand, 3)}
    protest = lodge(hand, {**a_protest(hand), **about})
    order = {"order": "disqualify", "team": team(hand, 3), "infringement": "hindered_after_pass"}
    decision = decided(hand, protest, "upheld", orders=[order])["decision"]
    announced(hand)
    return hand, decision


def in_the_way(hand: MeetAtHand) -> list[str]:
    seen = hand.desk.get(f"heats/{hand.heat()}/result").json()
    return [line for line in seen["in_the_way"] if "by decision" in line]


def run_anew(hand: MeetAtHand) -> None:
    hand.hold_back()
    assert in_the_way(hand)[0].endswith("decided before the heat was held back.")
    hand.start()
    address = f"heats/{hand.heat()}/result"
    rows = [f"{lane},{43 + lane / 10:.2f}" for lane in range(1, 9)]
    etag = hand.desk.get(address).headers["ETag"]
    loaded = hand.desk.put(address, content="\n".join(["lane,time", *rows]), etag=etag)
    assert loaded.status_code == 200, loaded.text


def test_a_disqualification_by_decision_is_in_the_way_once_its_heat_runs_anew(
    service: Service,
) -> None:
    hand, _decision = disqualified(service)
    assert in_the_way(hand) == []
    run_anew(hand)
    (line,) = in_the_way(hand)
    rule = hand.annotations()[3]
    name = hand.heats[0]["lanes"][2]["name"]
    assert line == (
        f"Disqualification by decision to look at: lane 3, {name} ({rule}), decided before the "
        "heat was started anew."
    )
    told = a_problem(hand.announce(), 409, "needs-word")
    assert len(told["shaken_disqualifications"]) == 1
    assert "1 disqualification by decision to look at" in told["detail"]
    out = announced(hand)
    assert out["blockers"]["shaken_disqualifications"] == told["shaken_disqualifications"]
    line = hand.desk.get("announcements").json()["announcements"][0]
    assert line["holds"] is False
    again = a_problem(hand.announce(despite="As before."), 409, "needs-word")["detail"]
    assert "A disqualification by decision is to be looked at again. To announce" in again
    assert "A disqualification by decision is to be looked at again." in line["pending"]


@pytest.mark.parametrize("again", [True, False])
def test_another_decision_lifts_it_or_puts_it_on_the_new_race(
    service: Service, again: bool
) -> None:
    hand, decision = disqualified(service)
    run_anew(hand)
    protest = lodge(hand, a_protest(hand, team=team(hand, 3)))
    orders: list[Json] = [{"order": "undo", "decision": decision["id"]}]
    if again:
        order = {"order": "disqualify", "team": team(hand, 3)}
        orders.append({**order, "infringement": "hindered_after_pass"})
    decided(hand, protest, "upheld", orders=orders)
    assert in_the_way(hand) == []
    assert (3 in hand.annotations()) is again


def test_a_team_that_does_not_run_anew_is_not_in_the_way(service: Service) -> None:
    hand, _decision = disqualified(service)
    hand.hold_back()
    heat = hand.heats[0]
    rows = [
        f"{heat['event_name']},{heat['round']},{heat['number']},{line['lane']},{line['name']}"
        for line in heat["lanes"]
        if line["lane"] != 3
    ]
    content = "\n".join(["event,round,heat,lane,team", *rows])
    loaded = hand.organiser.post("start-lists", content=content)
    assert loaded.status_code == 200, loaded.text
    assert in_the_way(hand) == []
