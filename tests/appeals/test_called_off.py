"""A re-run that a decision calls off: before it was held, or after its result was announced.

A team that was obstructed runs again alone, against the time of the last qualifier: Rio 2016,
women's 4x100 m (press accounts). That such a re-run can be called off, that its result is then as
if it had not been run, and that everybody is told by the next announcement, is common practice.
Letters: World Athletics CR25.4 as federation notices of 2023 give it.
"""

from __future__ import annotations

import csv
import io
from datetime import timedelta

import pytest

from tests.appeals.desk import a_panel, appeal, cast, decide, decided, jury_decides, lodge
from tests.builders import PIN, Json, MeetAtHand, a_problem
from tests.forms.pdf_reading import read_text
from tests.rounds.builders import Event, by_name, two_heats

RE_RUN = "heats, re-run 1"


@pytest.fixture
def event(meet: MeetAtHand) -> Event:
    """Two heats are announced; Heron is to run again against the last qualifier's time."""
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    order(event, {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"})
    event.read_again()
    return event


def order(event: Event, *orders: Json, heat: str = "heats 1") -> Json:
    """The referee upholds a protest of Heron with these orders."""
    return decided(event.meet, a_protest_of_heron(event, heat), "upheld", orders=list(orders))


def a_protest_of_heron(event: Event, heat: str = "heats 1") -> Json:
    sent = {
        "heat": event.heat(heat),
        "team": event.team("Heron"),
        "about": "other",
        "lodged_by": "Mira Anchor",
        "words": "We were obstructed.",
    }
    return lodge(event.meet, sent)


def call_off(event: Event, heat: str = "heats 1") -> Json:
    return order(event, {"order": "call off", "heat": event.heat(RE_RUN)}, heat=heat)


def undo(event: Event, decision: Json, heat: str = "heats 1") -> Json:
    return order(event, {"order": "undo", "decision": decision["decision"]["id"]}, heat=heat)


def test_a_result_of_a_re_run_that_was_called_off_does_not_count(event: Event) -> None:
    told = event.run(RE_RUN, "42.30")
    assert event.result(RE_RUN)["announced"]["holds"]
    call_off(event)
    seen = event.result(RE_RUN)
    assert not seen["announced"]["holds"]
    assert seen["announced"]["pending"] == []
    why = seen["announced"]["does_not_count"]
    assert why.startswith("This re-run was called off by the decision of the referee at ")
    assert why.endswith("; its result does not count.")
    assert seen["in_the_way"][0] == why
    address = f"/api/meets/{event.meet.id}/announcements/{told['id']}"
    http = event.meet.service.http
    assert http.get(f"{address}.txt").text.startswith(why)
    assert why in " ".join(read_text(http.get(f"{address}.pdf").content).split())
    line = next(
        one
        for one in event.meet.desk.get("announcements").json()["announcements"]
        if one["id"] == told["id"]
    )
    assert (line["holds"], line["does_not_count"]) == (False, why)


def test_the_papers_of_a_re_run_that_was_called_off_name_no_qualifiers_and_no_windows(
    event: Event,
) -> None:
    told = event.run(RE_RUN, "42.30")
    address = f"/api/meets/{event.meet.id}/announcements/{told['id']}"
    http = event.meet.service.http

    def papers() -> str:
        sheet = " ".join(read_text(http.get(f"{address}.pdf").content).split())
        return f"{http.get(f'{address}.txt').text}\n{sheet}"

    for word in ("Qualified for the final", "can be lodged until", "Protests until"):
        assert word in papers()
    call_off(event)
    for word in ("Qualified for the final", "can be lodged", "Protests until"):
        assert word not in papers()


def test_every_row_of_a_result_that_was_called_off_says_why_it_does_not_count(event: Event) -> None:
    told = event.run(RE_RUN, "42.30")
    address = f"/api/meets/{event.meet.id}/announcements/{told['id']}.csv"

    def column() -> set[str]:
        content = event.meet.service.http.get(address).text
        return {row["does_not_count"] for row in csv.DictReader(io.StringIO(content))}

    assert column() == {""}
    call_off(event)
    assert column() == {event.result(RE_RUN)["announced"]["does_not_count"]}


def test_a_re_run_that_was_called_off_is_not_announced_again(event: Event) -> None:
    event.run(RE_RUN, "42.30")
    call_off(event)
    again = a_problem(event.announce(RE_RUN, remark="Once more."), 409, "conflict")
    assert "called off by the decision of the referee" in again["detail"]


def test_a_re_run_that_was_called_off_never_turns_final_and_its_round_does_without_it(
    event: Event,
) -> None:
    event.run(RE_RUN, "42.30")
    call_off(event)
    assert event.announce("heats 1").status_code == 201
    event.meet.service.clock.move(timedelta(hours=3))
    assert event.result("heats 1")["announced"]["final_since"]
    assert event.result("heats 2")["announced"]["pending"] == []
    assert event.result(RE_RUN)["announced"]["final_since"] is None


def windows_of(event: Event, heat: str) -> list[Json]:
    address = f"/api/meets/{event.meet.id}/windows.json"
    found = event.meet.service.http.get(address).json()["windows"]
    return [one for one in found if one["heat"] == event.heat(heat)]


def measured(event: Event, protest: Json) -> Json:
    """A protest as it is measured now."""
    found = event.meet.desk.get(f"protests/{protest['id']}").json()
    return {**found["timeliness"], "marks": found["marks"]}


@pytest.mark.parametrize(
    ("decided_on", "protest_in"), [("heats 1", "heats, heat 1"), (RE_RUN, "heats, re-run, heat 1")]
)
def test_the_windows_of_a_re_run_that_was_called_off_say_where_to_protest_instead(
    event: Event, decided_on: str, protest_in: str
) -> None:
    event.run(RE_RUN, "42.30")
    off = call_off(event, decided_on)
    of_it = windows_of(event, RE_RUN)
    assert {one["state"] for one in of_it} == {"void"}
    for one in of_it:
        assert "called off" in one["does_not_count"]
        assert f"Protest against that in {protest_in}. " in one["does_not_count"]
    assert {one["state"] for one in windows_of(event, "heats 1")} == {"open"}
    calendar = event.meet.service.http.get(f"/api/meets/{event.meet.id}/windows.ics").text
    assert calendar.count("STATUS:CANCELLED") == len(of_it)
    undo(event, off, decided_on)


# A protest can be lodged within 30 minutes of the official announcement of the result (World
# Athletics TR8.2, from memory). That a calling off is protested by what announced it: common
# practice.


def test_a_protest_against_a_calling_off_is_measured_by_what_announced_it(event: Event) -> None:
    event.run(RE_RUN, "42.30")
    call_off(event)
    unannounced = a_protest_of_heron(event, RE_RUN)
    assert measured(event, unannounced)["window"] is None
    event.meet.service.clock.move(timedelta(minutes=45))
    assert event.announce("heats 1").status_code == 201
    in_time, void = a_protest_of_heron(event, RE_RUN), windows_of(event, RE_RUN)
    assert measured(event, in_time)["marks"] == []
    opened = [one for one in windows_of(event, "heats 1") if one["opened_by"] == "announcement 2"]
    assert measured(event, in_time)["window"] in {one["id"] for one in opened}
    event.meet.service.clock.move(timedelta(minutes=31))
    late = measured(event, a_protest_of_heron(event, RE_RUN))
    assert late["marks"] == ["late"]
    assert late["window"] not in {one["id"] for one in void}


def test_a_protest_from_before_the_calling_off_keeps_its_window(event: Event) -> None:
    event.run(RE_RUN, "42.30")
    protest = a_protest_of_heron(event, RE_RUN)
    before = measured(event, protest)
    assert before["window"] in {one["id"] for one in windows_of(event, RE_RUN)}
    event.meet.service.clock.move(timedelta(minutes=1))
    call_off(event)
    assert measured(event, protest) == before


def test_a_protest_that_has_the_calling_off_undone_is_measured_as_before(event: Event) -> None:
    event.run(RE_RUN, "42.30")
    first = a_protest_of_heron(event, RE_RUN)
    event.meet.service.clock.move(timedelta(minutes=45))
    calling_off = [{"order": "call off", "heat": event.heat(RE_RUN)}]
    off = decided(event.meet, first, "upheld", orders=calling_off)
    assert event.announce("heats 1").status_code == 201
    protest = a_protest_of_heron(event, RE_RUN)
    before = measured(event, protest)
    assert before["in_time"]
    back = [{"order": "undo", "decision": off["decision"]["id"]}]
    decided(event.meet, protest, "upheld", orders=back)
    assert measured(event, protest) == before


@pytest.mark.parametrize("heat", ["heats 1", RE_RUN])
def test_with_the_calling_off_undone_all_is_as_before(event: Event, heat: str) -> None:
    event.run(RE_RUN, "42.30")
    before, stood, told = event.result(RE_RUN), event.now(), event.public()
    assert by_name(told)["Heron"]["letter"] == "q"
    off = call_off(event, heat)
    assert event.public() == told
    assert by_name(event.now())["Heron"]["letter"] == ""
    back = undo(event, off, heat)
    assert back["decision"]["ordered"] == ["The re-run of Heron counts after all."]
    assert event.now() == stood
    assert event.public() == told
    after = event.result(RE_RUN)
    assert after["lines"] == before["lines"]
    # What was decided on the re-run itself is still to be announced.
    assert after["announced"]["holds"] is (heat != RE_RUN)
    assert after["announced"]["does_not_count"] == ""


def test_that_a_re_run_counts_after_all_is_told_by_the_next_announcement(event: Event) -> None:
    event.run(RE_RUN, "42.30")
    off = call_off(event)
    assert event.announce("heats 1").status_code == 201
    undo(event, off)
    assert by_name(event.public())["Heron"]["letter"] == ""
    assert event.announce("heats 1").status_code == 201
    assert by_name(event.public())["Heron"]["letter"] == "q"


def test_a_further_calling_off_is_for_everybody_once_it_is_announced(event: Event) -> None:
    event.run(RE_RUN, "42.30")
    undo(event, call_off(event))
    call_off(event)
    assert by_name(event.public())["Heron"]["letter"] == "q"
    assert event.announce("heats 1").status_code == 201
    assert by_name(event.public())["Heron"]["letter"] == ""


def test_a_re_run_that_is_held_after_all_has_its_lanes_again(event: Event) -> None:
    lanes = event.heats[RE_RUN]["lanes"]
    off = call_off(event)
    back = undo(event, off)
    assert back["decision"]["ordered"] == ["The re-run of Heron is held after all."]
    event.read_again()
    assert event.heats[RE_RUN]["lanes"] == lanes
    event.start(RE_RUN)


def test_a_re_run_that_is_held_after_all_can_be_called_off_once_more(event: Event) -> None:
    back = undo(event, call_off(event))
    again = undo(event, back)
    assert again["decision"]["ordered"] == ["The re-run of Heron is called off."]


def test_of_a_re_run_that_was_called_off_only_that_can_be_undone(event: Event) -> None:
    event.run(RE_RUN, "42.30")
    call_off(event)
    orders = [{"order": "correct", "team": event.team("Heron"), "time": "42.20"}]
    refused = decide(event.meet, a_protest_of_heron(event, RE_RUN), "upheld", orders=orders)
    assert "was called off" in a_problem(refused, 409, "conflict")["detail"]


@pytest.mark.parametrize("act", ["start", "hold-back"])
def test_the_heat_of_a_re_run_that_was_called_off_is_not_started(event: Event, act: str) -> None:
    call_off(event)
    address = f"heats/{event.heat(RE_RUN)}"
    seen = event.meet.referee.get(address).headers["ETag"]
    refused = a_problem(event.meet.referee.post(f"{address}/{act}", etag=seen), 409, "conflict")
    assert "called off by the decision of the referee" in refused["detail"]


def test_the_programme_says_that_a_re_run_was_called_off(event: Event) -> None:
    assert event.heats[RE_RUN]["does_not_count"] == ""
    off = call_off(event)
    event.read_again()
    assert "called off by the decision of the referee" in event.heats[RE_RUN]["does_not_count"]
    alone = event.meet.desk.get(f"heats/{event.heat(RE_RUN)}").json()
    assert alone["does_not_count"] == event.heats[RE_RUN]["does_not_count"]
    undo(event, off)
    event.read_again()
    assert event.heats[RE_RUN]["does_not_count"] == ""


def test_a_re_run_that_was_called_off_takes_no_finish_list_and_no_announcement(
    event: Event,
) -> None:
    lane = event.lane("Heron", RE_RUN)
    call_off(event)
    address = f"heats/{event.heat(RE_RUN)}/result"
    refused = event.meet.desk.put(address, content=f"lane,time\n{lane},42.00")
    assert "called off" in a_problem(refused, 409, "conflict")["detail"]
    sent = {"heat": event.heat(RE_RUN), "pin": PIN}
    told = event.meet.desk.put(f"announcements/{event.round}", sent, etag='"v1"')
    assert "called off" in a_problem(told, 409, "conflict")["detail"]


def test_a_ruling_in_a_re_run_that_was_called_off_moves_nobody(event: Event) -> None:
    hand = event.hand(RE_RUN)
    case = hand.report(lane=event.lane("Heron", RE_RUN))["case"]
    event.run(RE_RUN, "42.30")
    call_off(event)
    shown = event.meet.referee.get(f"cases/{case}/consequences").json()
    assert (shown["if_confirmed"]["moves"], shown["if_dismissed"]["moves"]) == ([], [])


def test_an_appeal_about_a_re_run_that_the_jury_called_off_awaits_what_its_heat_announces(
    event: Event,
) -> None:
    event.run(RE_RUN, "42.30")
    hand = event.hand(RE_RUN)
    rejected = decided(hand, a_protest_of_heron(event, RE_RUN))
    assert hand.desk.put(f"protests/{rejected['id']}/advice", {}).status_code == 200
    lodged = appeal(hand, rejected, team=event.team("Heron"))
    names = a_panel(hand, lodged)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    orders = [{"order": "call off", "heat": event.heat(RE_RUN)}]
    answer = jury_decides(hand, lodged, names[0], orders=orders)
    assert answer.status_code == 201, answer.text
    where = f"appeals/{lodged['id']}"
    assert hand["jury"].get(where).json()["awaits"] == ["The amended result is to be announced."]
    assert event.announce("heats 1").status_code == 201
    assert hand["jury"].get(where).json()["awaits"] == []
