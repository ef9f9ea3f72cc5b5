"""Which windows an announcement opens after a decision: World Athletics TR8.7, TR8.11.

An appeal can be lodged within 30 minutes of the amended result that follows from the referee's
decision (TR8.7.1), or of the advice that nothing is amended (TR8.7.2); the jury's decision is final
(TR8.11). Numbers of sub-clauses from memory, the rest from published summaries.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import insert, select

from app.appeals.tables import decisions
from app.ids import AnnouncementId, DecisionId, HeatId, MeetId, TeamId, new_id
from app.meets.queries import meet_facts
from app.meets.tables import heats as heat_table
from app.results.opening import open_windows
from app.results.tables import results
from app.rounds.tables import rounds
from app.rules.windows import WindowOpener
from app.store.action import Actor, Done, Unit
from tests.appeals.desk import (
    a_disqualification,
    a_panel,
    appeal,
    cast,
    jury_decides,
    lodge,
    set_aside,
    team,
)
from tests.appeals.desk import a_protest as desk_protest
from tests.appeals.desk import announced as desk_announced
from tests.appeals.desk import decided as desk_decided
from tests.builders import PIN, Json, MeetAtHand, a_meet
from tests.forms.pdf_reading import read_text
from tests.results.remedies import ADVANCED, SET_ASIDE, a_decision, a_protest, change
from tests.running import Service

NOON = datetime(2026, 6, 13, 10, 0, tzinfo=UTC)
DESPITE = "Nobody started the heat on the screen."
CARRIED_OUT: Json = {"verdict": "upheld", "carried_out": [SET_ASIDE]}
GIVEN: Json = {"verdict": "upheld", "carried_out": [ADVANCED]}
"""What counts in all heats of the round from the next announcement in any."""
FINAL = "The jury's decision is final (TR8.11)."


def announced(service: Service, heats: int = 1, **meet: Any) -> MeetAtHand:
    """A meet whose first heat was announced at noon; it is ten minutes later."""
    service.clock.stand_at(NOON)
    roles = ("results", "referee", "umpire")
    hand = a_meet(service, **{"heats": heats, "roles": roles, "umpires": (), **meet})
    hand.start()
    hand.call("white")
    hand.load_result()
    assert hand.announce().status_code == 201
    service.clock.stand_at(NOON + timedelta(minutes=10))
    return hand


def announced_again(hand: MeetAtHand, **changes: Any) -> Json:
    told = hand.announce(**{"remark": "By decision", **changes})
    assert told.status_code == 201, told.text
    return dict(told.json())


def opened_by(hand: MeetAtHand, opener: str) -> list[tuple[str, str]]:
    found = hand.service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"]
    return sorted((one["remedy"], one["rule"]) for one in found if one["opened_by"] == opener)


def decided(hand: MeetAtHand, heat: int = 0, **decision: Any) -> str:
    return a_decision(hand, a_protest(hand, heat, state="upheld"), heat, **decision)


def test_a_result_amended_by_the_referee_opens_a_window_for_appeals_too(service: Service) -> None:
    hand = announced(service)
    assert opened_by(hand, "announcement 1") == [("protest", "TR8.2")]
    decided(hand, **CARRIED_OUT)
    told = announced_again(hand)
    assert [one["remedy"] for one in told["windows"]] == ["protest", "appeal"]
    assert told["no_windows_because"] == ""
    assert opened_by(hand, "announcement 2") == [("appeal", "TR8.7.1"), ("protest", "TR8.2")]
    # With the next, that decision is no news any more.
    announced_again(hand, remark="It was not heard")
    assert opened_by(hand, "announcement 3") == [("protest", "TR8.2")]


@pytest.mark.parametrize("undoes", [False, True])
def test_no_appeals_open_against_what_the_jury_has_settled_before_the_amended_result(
    service: Service, undoes: bool
) -> None:
    # World Athletics TR8.11 leaves nobody an appeal; TR8.2 lets the result be protested as ever.
    hand = announced(service, heats=2)
    protest = a_protest(hand, state="upheld")
    decision = a_decision(hand, protest, **CARRIED_OUT)
    if undoes:  # on the appeal that another protest came to
        order = {"order": "undo", "decision": decision}
        upheld = {"verdict": "upheld", "orders": [order], "carried_out": [SET_ASIDE]}
        by = decided(hand, instance="jury", **upheld)
        change(hand, decisions, decision, settled_by=by)  # as it is kept with the jury's decision
    else:
        a_decision(hand, protest, instance="jury")
    announced_again(hand)
    assert opened_by(hand, "announcement 2") == [("protest", "TR8.2")]
    decided(hand, heat=1, **GIVEN)
    announced_again(hand)
    assert ("appeal", "TR8.7.1") in opened_by(hand, "announcement 3"), "against another decision"


@pytest.mark.parametrize("decision", [{}, {"verdict": "upheld"}, {"verdict": "referred"}])
def test_a_decision_that_changes_nothing_opens_no_window_by_an_announcement(
    service: Service, decision: Json
) -> None:
    hand = announced(service)
    decided(hand, **decision)
    announced_again(hand)
    assert opened_by(hand, "announcement 2") == [("protest", "TR8.2")]


def test_a_decision_in_another_heat_of_the_round_counts_and_one_of_another_event_does_not(
    service: Service,
) -> None:
    hand = announced(service, heats=2)
    other = "event,round,heat,lane,team\nMen 4x100 m,heats,1,4,Tern\n"
    assert hand.organiser.post("start-lists", content=other).status_code == 200
    hand.heats = hand.organiser.get("heats").json()["heats"]
    decided(hand, heat=2, **CARRIED_OUT)
    announced_again(hand)
    assert opened_by(hand, "announcement 2") == [("protest", "TR8.2")]
    decided(hand, heat=1, **GIVEN)
    announced_again(hand)
    assert ("appeal", "TR8.7.1") in opened_by(hand, "announcement 3")


def test_a_result_whose_only_news_is_the_jurys_opens_no_window_and_says_why(
    service: Service,
) -> None:
    hand = announced(service)
    # The referee rejected, which changed nothing; the jury did not agree.
    decided(hand, advised_at=NOON + timedelta(minutes=10))
    decided(hand, instance="jury", **CARRIED_OUT)
    told = announced_again(hand)
    assert (told["windows"], told["no_windows_because"]) == ([], FINAL)
    assert opened_by(hand, "announcement 2") == []
    address = f"/api/meets/{hand.id}/announcements/{told['id']}"
    assert FINAL in service.http.get(f"{address}.txt").text.splitlines()
    assert FINAL in " ".join(read_text(service.http.get(f"{address}.pdf").content).split())
    assert "jury" not in service.http.get(f"{address}.csv").text


@pytest.mark.parametrize("news", ["a ruling", "a finish list", "a further race", "the referee's"])
def test_whatever_else_is_new_opens_windows_beside_the_jurys_decision(
    service: Service, news: str
) -> None:
    hand = announced(service)
    decided(hand, instance="jury", **CARRIED_OUT)
    if news == "a ruling":
        hand.rule(hand.report()["case"])
    if news == "a further race":
        hand.hold_back()
        hand.start()
        hand.call("white")
    if news in {"a finish list", "a further race"}:
        loaded(hand)
    if news == "the referee's":
        decided(hand, **CARRIED_OUT)
    told = announced_again(hand)
    assert told["no_windows_because"] == ""
    assert ("protest", "TR8.2") in opened_by(hand, "announcement 2")


def loaded(hand: MeetAtHand) -> None:
    """The desk loads another finish list."""
    address = f"heats/{hand.heat()}/result"
    etag = hand.desk.get(address).headers["ETag"]
    rows = [f"{lane},5{lane}.00" for lane in range(1, 9)]
    content = "\n".join(["lane,time", *rows])
    assert hand.desk.put(address, content=content, etag=etag).is_success


def test_a_list_that_the_jury_had_corrected_is_no_news_beside_its_decision(
    service: Service,
) -> None:
    hand = announced(service)
    corrected = {**SET_ASIDE, "did": "corrected"}
    decided(hand, instance="jury", verdict="upheld", carried_out=[corrected])

    def correct_it(unit: Unit) -> Done[None]:
        unit.conn.execute(
            results.update()
            .where(results.c.heat_id == hand.heat())
            .values(version=results.c.version + 1)
        )
        return Done(None, None)

    service.store.act_now(MeetId(hand.id), Actor("test"), correct_it)
    assert announced_again(hand)["no_windows_because"] == FINAL


def test_a_first_announcement_opens_its_windows_whatever_the_jury_has_decided(
    service: Service,
) -> None:
    hand = announced(service, heats=2)
    decided(hand, instance="jury", **CARRIED_OUT)
    # Nor does an appeal lie against what the jury has settled, or what another heat was told.
    settled = a_protest(hand, 1, state="upheld")
    a_decision(hand, settled, 1, **CARRIED_OUT)
    a_decision(hand, settled, 1, instance="jury", verdict="rejected")
    decided(hand, **CARRIED_OUT)
    hand.load_result(1)
    told = hand.announce(1, despite=DESPITE).json()
    assert [one["rule"] for one in told["windows"]] == ["TR8.2"]


def test_a_first_announcement_of_what_the_referee_has_decided_opens_appeals_too(
    service: Service,
) -> None:
    hand = announced(service, heats=3)
    decided(hand, heat=1, **CARRIED_OUT)
    for heat, rules in ((1, ["TR8.2", "TR8.7.1"]), (2, ["TR8.2"])):
        hand.load_result(heat)
        told = hand.announce(heat, despite=DESPITE).json()
        assert [one["rule"] for one in told["windows"]] == rules


def test_a_first_result_that_a_decision_made_opens_the_window_for_appeals_too(
    service: Service,
) -> None:
    # World Athletics TR8.7.1: from the announcement of the result that follows from the decision.
    hand = a_meet(service, heats=1)
    hand.start()
    ruling = a_disqualification(hand)
    hand.load_result()
    protest = lodge(hand, desk_protest(hand, ruling))
    desk_decided(hand, protest, "upheld", orders=set_aside(ruling))
    told = desk_announced(hand)
    assert [one["rule"] for one in told["windows"]] == ["TR8.2", "TR8.7.1"]
    service.clock.move(timedelta(minutes=31))
    late = appeal(hand, protest, team=team(hand, 5))
    assert late["timeliness"]["opened_by"] == "announcement 1"
    assert late["state"] == "late"


@pytest.mark.parametrize("advised", [True, False])
def test_the_time_for_an_appeal_runs_from_the_first_announcement_where_that_comes_after_the_advice(
    service: Service, advised: bool
) -> None:
    service.clock.stand_at(NOON)
    hand = a_meet(service, heats=1)
    hand.start()
    ruling = a_disqualification(hand)
    hand.load_result()
    protest = lodge(hand, desk_protest(hand, ruling))
    desk_decided(hand, protest)
    if advised:
        hand.desk.put(f"protests/{protest['id']}/advice", {})
    service.clock.stand_at(NOON + timedelta(minutes=10))
    told = desk_announced(hand)
    assert [one["rule"] for one in told["windows"]] == ["TR8.2"]
    opened = opened_by(hand, "advice on protest 1")
    if not advised:
        # Then it runs from the advice, whenever that is given.
        assert opened == []
        hand.desk.put(f"protests/{protest['id']}/advice", {})
        assert opened_by(hand, "advice on protest 1") == [("appeal", "TR8.7.2")]
        return
    assert opened == [("appeal", "TR8.7.2")]
    found = service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"]
    (window,) = [one for one in found if one["decision"] is not None]
    assert window["closes_at_local"][11:19] == "12:40:00"
    assert window["team"] == protest["team"]
    service.clock.stand_at(NOON + timedelta(minutes=41))
    assert appeal(hand, protest)["state"] == "late"
    # Announced at 12:04 in truth: the time ran from then, and never from before the advice.
    corrected = (NOON + timedelta(minutes=4)).isoformat()
    sent = {"announced_at": corrected, "reasons": "The log says so.", "pin": PIN}
    hand.desk.put(f"announcements/{told['id']}/time-corrections/{new_id()}", sent)
    found = service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"]
    (window,) = [one for one in found if one["decision"] is not None]
    assert window["closes_at_local"][11:19] == "12:34:00"


def two_heats(service: Service, *, again: bool = True) -> tuple[MeetAtHand, Json, Json]:
    """Two announced heats, of each the first and the best by time go on; gives the ruling against
    the first of heat 1, and the round.
    """
    hand = a_meet(service)
    setting = {"event": hand.heats[0]["event"], "round": "heats", "next_round": "final"}
    setting |= {"by_place": 1, "by_time": 1, "lanes": 3}
    round_ = hand.organiser.put(f"rounds/{new_id()}", setting).json()
    for heat in (0, 1):
        hand.start(heat)
    ruling = a_disqualification(hand, lane=1)
    faster = [f"{lane},{41.95 + lane / 10:.2f}" for lane in range(1, 9)]
    hand.load_result(0, "\n".join(["lane,time", *faster]))
    hand.load_result(1)
    for heat in (0, 1):
        desk_announced(hand, heat)
    if again:
        desk_announced(hand, remark="The letters are known now.")
    return hand, ruling, round_


def the_jury_sets_aside(hand: MeetAtHand, ruling: Json) -> None:
    protest = lodge(hand, desk_protest(hand, ruling, team=team(hand, 1)))
    desk_decided(hand, protest)
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    lodged = appeal(hand, protest)
    names = a_panel(hand, lodged)
    for name in names:
        cast(hand, lodged, name)
    answer = jury_decides(hand, lodged, names[0], orders=set_aside(ruling))
    assert answer.status_code == 201, answer.text


def set_round(hand: MeetAtHand, round_: Json, **changes: Any) -> None:
    address = f"rounds/{round_['id']}"
    seen = hand.organiser.get(address)
    keys = ("event", "round", "next_round", "by_place", "by_time", "lanes")
    sent = {key: seen.json()[key] for key in keys} | changes
    answer = hand.organiser.put(address, sent, etag=seen.headers["ETag"])
    assert answer.status_code == 200, answer.text


ELSE = ["nothing", "the round's setting", "another heat's list", "a heat that is not held"]


@pytest.mark.parametrize("also", ELSE)
def test_letters_that_something_else_than_the_jury_moved_open_windows(
    service: Service, also: str
) -> None:
    hand, ruling, round_ = two_heats(service)
    the_jury_sets_aside(hand, ruling)
    if also == "the round's setting":
        set_round(hand, round_, by_place=3, lanes=8)
    if also == "another heat's list":
        address = f"heats/{hand.heat()}/result"
        rows = [f"{lane},{41.96 + lane / 10:.2f}" for lane in range(1, 9)]
        etag = hand.desk.get(address).headers["ETag"]
        hand.desk.put(address, content="\n".join(["lane,time", *rows]), etag=etag)
    if also == "a heat that is not held":
        rows = f"event,round,heat,lane,team\n{hand.heats[0]['event_name']},heats,3,4,Smew"
        hand.organiser.post("start-lists", content=rows)
        address = f"heats/{hand.desk.get('heats').json()['heats'][2]['id']}/not-held"
        left = hand.organiser.post(address, {"reasons": "Scratched."}, etag='"v1"')
        assert left.status_code == 200, left.text
    first = desk_announced(hand)
    second = desk_announced(hand, 1)
    assert second["changes"]
    untouched = also == "nothing"
    assert [one["windows"] == [] for one in (first, second)] == [untouched, untouched]
    assert (second["no_windows_because"] == FINAL) is untouched


@pytest.mark.parametrize("by", ["advice on protest 1", "announcement 2"])
def test_the_time_for_an_appeal_is_void_once_the_jury_has_decided_on_that_protest(
    service: Service, by: str
) -> None:
    """Against the jury's decision there is no appeal (TR8.11), so nobody waits for one."""
    service.clock.stand_at(NOON)
    hand = a_meet(service, heats=1)
    hand.start()
    ruling = a_disqualification(hand)
    hand.load_result()
    desk_announced(hand)
    service.clock.stand_at(NOON + timedelta(minutes=20))
    protest = lodge(hand, desk_protest(hand, ruling))
    amends = by == "announcement 2"
    desk_decided(
        hand,
        protest,
        "upheld" if amends else "rejected",
        orders=set_aside(ruling) if amends else [],
    )
    if amends:
        desk_announced(hand)
        lodged = appeal(hand, protest, team=team(hand, 5))
    else:
        hand.desk.put(f"protests/{protest['id']}/advice", {})
        lodged = appeal(hand, protest)
    assert [one["state"] for one in of_appeals(hand, by)] == ["open"]
    names = a_panel(hand, lodged)
    for name in names:
        cast(hand, lodged, name, "rejected")
    assert jury_decides(hand, lodged, names[0], "rejected").status_code == 201
    (window,) = of_appeals(hand, by)
    assert window["state"] == "void"
    assert "The jury has decided on what could be appealed" in window["does_not_count"]
    pending = hand.desk.get(f"heats/{hand.heat()}/result").json()["announced"]["pending"]
    assert not [one for one in pending if one.startswith("Appeals")]


def of_appeals(hand: MeetAtHand, by: str) -> list[Json]:
    found = hand.service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"]
    return [one for one in found if (one["opened_by"], one["remedy"]) == (by, "appeal")]


@pytest.mark.parametrize("moved", [True, False])
def test_that_the_other_heats_were_announced_since_is_no_news_beside_the_jurys(
    service: Service, *, moved: bool
) -> None:
    """Who goes on was told with the round's last heat, whose windows ran from then."""
    hand, ruling, _round = two_heats(service, again=False)
    the_jury_sets_aside(hand, ruling)
    if moved:
        desk_announced(hand, 1, remark="It was not heard")
    told = desk_announced(hand)
    assert (told["windows"] == []) is not moved
    assert (told["no_windows_because"] == FINAL) is not moved


def test_a_result_that_the_jury_has_not_moved_opens_windows_when_it_is_announced_again(
    service: Service,
) -> None:
    hand, ruling, _round = two_heats(service)
    the_jury_sets_aside(hand, ruling)
    told = desk_announced(hand, 1, remark="It was not heard")
    assert [one["rule"] for one in told["windows"]] == ["TR8.2"]


def test_a_decision_that_another_replaced_is_no_news(service: Service) -> None:
    hand = announced(service)
    later = new_id()
    decided(hand, replaced_by=later, **CARRIED_OUT)
    decided(hand, instance="jury", **CARRIED_OUT)
    assert announced_again(hand)["no_windows_because"] == FINAL


def test_no_announcement_is_entered_from_before_the_decision_that_it_shows(
    service: Service,
) -> None:
    hand = announced(service)
    decided(hand, **CARRIED_OUT)
    early = (NOON + timedelta(minutes=9)).isoformat()
    refused = hand.announce(announced_at=early, remark="By decision")
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/announced_at"


def test_where_the_jurys_decision_is_all_that_is_told_the_time_that_still_runs_is_read_aloud(
    service: Service,
) -> None:
    hand = announced(service)
    decided(hand, **CARRIED_OUT)
    announced_again(hand)  # at 12:10, for appeals too
    service.clock.stand_at(NOON + timedelta(minutes=15))
    decided(hand, instance="jury", **CARRIED_OUT)
    told = announced_again(hand)
    assert told["no_windows_because"] == FINAL
    address = f"/api/meets/{hand.id}/announcements/{told['id']}.txt"

    def after_final() -> list[str]:
        lines = service.http.get(address).text.splitlines()
        return lines[lines.index(FINAL) + 1 :]

    # World Athletics TR8.2, TR8.7.1: 30 minutes from the announcement before.
    runs = [
        "Appeals can still be lodged until 12:40:00 CEST, by announcement 2.",
        "Protests can still be lodged until 12:40:00 CEST, by announcement 2.",
    ]
    assert sorted(after_final()) == runs
    service.clock.stand_at(NOON + timedelta(minutes=40, seconds=1))
    assert [line for line in after_final() if "lodged" in line] == []
    service.clock.stand_at(NOON + timedelta(minutes=20))
    announced_again(hand)
    assert [line for line in after_final() if "lodged" in line] == [], "another one stands"


def test_an_announcement_does_not_supersede_an_advice(service: Service) -> None:
    hand = announced(service)
    desk_decided(hand, lodged := lodge(hand, desk_protest(hand)))
    hand.desk.put(f"protests/{lodged['id']}/advice", {})
    announced_again(hand)
    found = service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"]
    assert {one["opened_by"]: one["superseded_by"] for one in found} == {
        "announcement 1": 2,
        "advice on protest 1": None,
        "announcement 2": None,
    }
    calendar = service.http.get(f"/api/meets/{hand.id}/windows.ics").text.replace("\r\n ", "")
    assert "Announcement 1 was superseded" in calendar
    assert "Advice on protest 1 was superseded" not in calendar


def test_an_advice_opens_a_window_for_one_team_which_no_correction_moves(service: Service) -> None:
    hand = announced(service)
    told = hand.desk.get("announcements").json()["announcements"][0]
    decision, team = decided(hand), hand.heats[0]["lanes"][0]
    at = NOON + timedelta(minutes=20)

    def advise(unit: Unit) -> Done[int]:
        opened = open_windows(
            unit,
            meet_facts(unit.conn, unit.meet_id),
            WindowOpener.ADVICE,
            at,
            heat_id=HeatId(hand.heat()),
            announcement_id=AnnouncementId(told["id"]),
            opened_by="advice on protest 1",
            decision_id=DecisionId(decision),
            team_id=TeamId(team["team"]),
        )
        return Done(len(opened), None)

    assert service.store.act_now(MeetId(hand.id), Actor("test"), advise) == 1
    service.clock.stand_at(at)
    corrected = (NOON + timedelta(minutes=1)).isoformat()
    sent = {"announced_at": corrected, "reasons": "The log says so.", "pin": PIN}
    address = f"announcements/{told['id']}/time-corrections/{new_id()}"
    assert hand.desk.put(address, sent).status_code == 201
    found = service.http.get(f"/api/meets/{hand.id}/windows.json").json()["windows"]
    ends = {one["opened_by"]: one["closes_at_local"][11:19] for one in found}
    assert ends == {"announcement 1": "12:31:00", "advice on protest 1": "12:50:00"}
    (advice,) = [one for one in found if one["decision"] is not None]
    assert (advice["decision"], advice["team"]) == (decision, team["team"])
    assert (advice["team_name"], advice["remedy"]) == (team["name"], "appeal")
    assert {one["team_name"] for one in found if one is not advice} == {None}


@pytest.mark.parametrize(("next_key", "minutes"), [("final", 5), (None, 15)])
def test_the_meets_shorter_time_is_for_results_of_a_round_that_leads_on(
    service: Service, next_key: str | None, minutes: int
) -> None:
    service.clock.stand_at(NOON)
    terms = {"protest_minutes": 15, "protest_minutes_before_next_round": 5}
    hand = a_meet(service, heats=1, roles=("results", "referee"), umpires=(), terms=terms)

    def lead_on(unit: Unit) -> Done[None]:
        which = select(heat_table.c.event_id, heat_table.c.round, heat_table.c.round_key)
        heat = unit.conn.execute(which.where(heat_table.c.id == hand.heat())).one()
        unit.conn.execute(
            insert(rounds).values(
                id=new_id(),
                meet_id=hand.id,
                **heat._asdict(),
                by_place=next_key and 2,
                by_time=next_key and 2,
                lanes=next_key and 8,
                next_round=next_key,
                next_key=next_key,
                points=[],
                version=1,
            )
        )
        return Done(None, None)

    service.store.act_now(MeetId(hand.id), Actor("test"), lead_on)
    hand.load_result()
    (window,) = hand.announce(despite=DESPITE).json()["windows"]
    assert (window["minutes"], window["origin"]) == (minutes, "meet")


@pytest.mark.parametrize(("after", "state"), [(24, "admitted"), (31, "late")])
def test_a_team_of_another_heat_appeals_while_the_window_of_its_own_amended_result_runs(
    service: Service, after: int, state: str
) -> None:
    # World Athletics TR8.7.1: from the official announcement of the amended result, which is the
    # one that moves this team.
    hand, ruling, _round = two_heats(service)
    protest = lodge(hand, desk_protest(hand, ruling, team=team(hand, 1)))
    desk_decided(hand, protest, "upheld", orders=set_aside(ruling))
    desk_announced(hand)
    service.clock.move(timedelta(minutes=20))
    number = desk_announced(hand, 1)["number"]
    service.clock.move(timedelta(minutes=after))
    lodged = appeal(hand, protest, team=team(hand, 2, 1))
    by = f"announcement {number} of heat 2"
    assert (lodged["state"], lodged["timeliness"]["opened_by"]) == (state, by)
    # The protested heat's own window is over by then.
    assert appeal(hand, protest, team=team(hand, 2))["state"] == "late"
