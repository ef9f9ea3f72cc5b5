"""Whom a decision moved, and the window of their own that each of them has by it.

World Athletics TR8.7.1 (number from memory): an appeal within 30 minutes of the announcement of the
amended result; TR8.11: the jury's decision is final.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import Connection
from sqlalchemy.event import listen

from app.appeals.showing import appeals_shown, protests_shown
from app.ids import MeetId, new_id
from tests.appeals.desk import (
    a_panel,
    a_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    announced,
    appeal,
    cast,
    decided,
    jury_decides,
    lodge,
    set_aside,
)
from tests.appeals.test_papers import words as form_words
from tests.builders import PIN, Json, MeetAtHand
from tests.rounds.builders import Event, two_heats

FINAL = "the jury's decision is final (TR8.11): no window"


def by_team(decision: Json) -> dict[str, Json]:
    return {one["team_name"]: one for one in decision["affected"]}


def words(decision: Json) -> dict[str, str]:
    return {one["team_name"]: one["words"] for one in decision["affected"]}


def a_round_with_a_disqualification(meet: MeetAtHand) -> tuple[Event, Json]:
    """Two heats of three; Tern of the first is out, so Curlew of the second goes on by time."""
    event = two_heats(meet)
    event.set(by_time=1)
    event.disqualify("Tern")
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    found = meet.desk.get("disqualifications").json()
    (ruling,) = [one for one in found if one["team"] == event.team("Tern")]
    return event, {"id": ruling["by_ruling"], "disqualification": ruling["id"]}


def a_protest_in(event: Event, ruling: Json) -> Json:
    sent = {
        "heat": event.heat("heats 1"),
        "team": event.team("Tern"),
        "about": "ruling",
        "ruling": ruling["id"],
        "lodged_by": "Mira Anchor",
    }
    return lodge(event.meet, sent)


def test_each_team_that_a_decision_moved_has_its_window_with_the_result_of_its_own_heat(
    meet: MeetAtHand,
) -> None:
    event, ruling = a_round_with_a_disqualification(meet)
    out = decided(meet, a_protest_in(event, ruling), "upheld", orders=set_aside(ruling))
    said = words(out["decision"])
    assert said["Tern"] == "opens with the amended announcement of heat 1, if one is made"
    assert {one["heat"] for one in out["decision"]["affected"]} == {
        event.heat("heats 1"),
        event.heat("heats 2"),
    }
    moved = {move["name"] for move in out["decision"]["consequences"]["moves"]}
    assert set(said) == moved
    assert any("of heat 2" in one for one in said.values())
    assert all(one["window"] is None for one in out["decision"]["affected"])

    told = event.announce("heats 1").json()
    read = meet.desk.get(f"protests/{out['id']}").json()["decision"]
    tern = by_team(read)["Tern"]
    window = tern["window"]
    assert (window["kind"], window["remedy"], window["rule"]) == ("appeal", "appeal", "TR8.7.1")
    assert (window["state"], window["announcement"]) == ("open", told["id"])
    closes = {one["closes_at"] for one in told["windows"] if one["remedy"] == "appeal"}
    assert {window["closes_at"]} == closes
    assert tern["words"].startswith("appeal until ")
    other = next(one for one in read["affected"] if one["heat_number"] == 2)
    assert other["window"]["closes_at"] in closes, "it is measured by heat 1's as long"
    later = " at least; later by the amended announcement of heat 2, if one is made"
    assert other["words"] == tern["words"] + later

    meet.service.clock.move(timedelta(minutes=31))
    page = meet.desk.get("protests").json()["protests"]
    (line,) = [one for one in page if one["id"] == out["id"]]
    assert by_team(line["decision"])["Tern"]["window"]["state"] == "closed"


def test_those_affected_are_told_by_what_their_appeal_is_measured(meet: MeetAtHand) -> None:
    """Before their own heat tells the decision, and after; whoever is late by it is late."""
    event, ruling = a_round_with_a_disqualification(meet)
    protest = a_protest_in(event, ruling)
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    event.announce("heats 1")

    def told() -> tuple[str, str]:
        read = meet.desk.get(f"protests/{protest['id']}").json()["decision"]
        one = by_team(read)["Curlew"]
        return one["window"]["closes_at"], one["words"]

    meet.service.clock.move(timedelta(minutes=10))
    early = appeal(meet, protest, team=event.team("Curlew"))
    assert told()[0] == early["timeliness"]["closes_at"]
    assert early["timeliness"]["in_time"]
    event.announce("heats 2")
    measured = meet["jury"].get(f"appeals/{early['id']}").json()["timeliness"]
    until, words = told()
    assert until == measured["closes_at"]
    assert "at least" not in words
    meet.service.clock.move(timedelta(minutes=25))
    also = appeal(meet, protest, team=event.team("Gull"))
    assert also["timeliness"]["in_time"] is False, "Gull of heat 1 has heat 1's time alone"


def test_the_referees_paper_tells_those_of_other_heats_their_own_time(meet: MeetAtHand) -> None:
    event, ruling = a_round_with_a_disqualification(meet)
    out = decided(meet, a_protest_in(event, ruling), "upheld", orders=set_aside(ruling))

    def paper() -> str:
        return form_words(meet, f"decisions/{out['decision']['id']}")

    assert "Affected: Curlew (heat 2): opens with the amended announcement of heat 2" in paper()
    event.announce("heats 1")
    meet.service.clock.move(timedelta(minutes=10))
    assert "Affected: Curlew (heat 2): appeal until " in paper()
    event.announce("heats 2")
    read = meet.desk.get(f"protests/{out['id']}").json()["decision"]
    assert f"Affected: Curlew (heat 2): {words(read)['Curlew']}." in paper()
    assert "Affected: Gull" not in paper(), "it ran in the heat decided about"
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    the_jury_undoes(meet, out, undo, event.team("Gull"))
    assert "Affected" not in paper()


def test_a_corrected_time_of_the_announcement_moves_the_window_of_those_affected(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    meet.service.clock.move(timedelta(minutes=10))
    told = announced(meet)
    before = meet.desk.get(f"protests/{protest['id']}").json()["decision"]["affected"][0]
    earlier = meet.service.clock.now() - timedelta(minutes=5)
    sent = {"announced_at": earlier.isoformat(), "reasons": "Typed wrongly.", "pin": PIN}
    put = meet.desk.put(f"announcements/{told['id']}/time-corrections/{new_id()}", sent)
    assert put.status_code == 201, put.text
    after = meet.desk.get(f"protests/{protest['id']}").json()["decision"]["affected"][0]
    assert after["window"]["closes_at"] < before["window"]["closes_at"]


def test_what_the_jury_decided_opens_no_window_for_those_it_moves_and_says_why(
    meet: MeetAtHand,
) -> None:
    out = an_upheld_appeal(meet)
    assert set(words(out["decision"]).values()) == {FINAL}
    announced(meet)
    dossier = meet["jury"].get(f"appeals/{out['id']}/dossier").json()
    for decision in (dossier["appeal"]["decision"], dossier["decisions"][-1]):
        assert set(words(decision).values()) == {FINAL}
    assert dossier["decisions"][0]["affected"] == [], "what was rejected moved nobody"


def the_jury_undoes(meet: MeetAtHand, protest: Json, orders: list[Json], team: str) -> None:
    lodged = appeal(meet, protest, team=team)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    assert jury_decides(meet, lodged, names[0], orders=orders).status_code == 201


@pytest.mark.parametrize("announced_first", [True, False])
def test_nobody_is_promised_a_window_once_the_jury_has_decided_on_the_protest(
    meet: MeetAtHand, announced_first: bool
) -> None:
    event, ruling = a_round_with_a_disqualification(meet)
    protest = a_protest_in(event, ruling)
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    if announced_first:
        event.announce("heats 1")
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    the_jury_undoes(meet, protest, undo, event.team("Gull"))

    def told() -> set[str]:
        read = meet.desk.get(f"protests/{protest['id']}").json()["decision"]
        assert all(one["window"] is None for one in read["affected"])
        return set(words(read).values())

    assert told() == {"the jury has decided on this protest (TR8.11): no window"}
    for heat in ("heats 1", "heats 2"):
        event.announce(heat, remark="By decision.")
    assert told() == {"the jury has decided on this protest (TR8.11): no window"}


def test_a_jurys_decision_before_any_announcement_opens_a_window_with_the_first(
    meet: MeetAtHand,
) -> None:
    event = two_heats(meet)
    event.load("heats 1", "42.10", "42.50", "43.00")
    sent = {"heat": event.heat(), "team": event.team("Tern"), "about": "placing"}
    lodged = lodge(meet, {**sent, "lodged_by": "Mira Anchor"})
    (referred,) = decided(meet, lodged, "referred")["appeals"]
    names = a_panel(meet, {"id": referred})
    for name in names:
        assert cast(meet, {"id": referred}, name).status_code == 201
    orders = [{"order": "correct", "team": event.team("Tern"), "status": "DNF"}]
    out = jury_decides(meet, {"id": referred}, names[0], orders=orders)
    assert out.status_code == 201, out.text
    assert words(out.json()["decision"])["Tern"] == "opens with the announcement of heat 1"
    event.announce("heats 1")
    window = by_team(meet["jury"].get(f"appeals/{referred}").json()["decision"])["Tern"]["window"]
    assert (window["remedy"], window["state"]) == ("protest", "open")


def statements(meet: MeetAtHand, shown: Callable[..., object]) -> int:
    """How many statements of the toolkit a page takes."""
    found: list[str] = []

    def read(conn: Connection) -> None:
        listen(conn, "before_cursor_execute", lambda *asked: found.append(asked[2]))
        shown(conn, MeetId(meet.id), None, meet.service.clock.now())

    meet.service.store.read_now(read)
    return len(found)


def test_a_page_of_appeals_reads_together_what_belongs_together(meet: MeetAtHand) -> None:
    def one_appeal() -> int:
        event, ruling = a_round_with_a_disqualification(meet)
        lodged = appeal(meet, decided(meet, a_protest_in(event, ruling), "rejected"))
        names = a_panel(meet, lodged)
        for name in names:
            assert cast(meet, lodged, name).status_code == 201
        out = jury_decides(meet, lodged, names[0], orders=set_aside(ruling))
        assert out.status_code == 201, out.text
        return statements(meet, appeals_shown)

    first, second, third = one_appeal(), one_appeal(), one_appeal()
    assert first <= 25
    assert third - second == second - first <= 5


def test_a_page_of_decisions_asks_for_all_its_teams_at_once(meet: MeetAtHand) -> None:
    def one_decision() -> None:
        event, ruling = a_round_with_a_disqualification(meet)
        out = decided(meet, a_protest_in(event, ruling), "upheld", orders=set_aside(ruling))
        assert len(out["decision"]["affected"]) > 2

    one_decision()
    first = statements(meet, protests_shown)
    one_decision()
    second = statements(meet, protests_shown)
    one_decision()
    # What a protest takes besides is the same for each; whom it moved adds nothing.
    assert statements(meet, protests_shown) - second == second - first
    assert second - first <= 4
