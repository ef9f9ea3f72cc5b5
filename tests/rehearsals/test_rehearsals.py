"""A rehearsal: everything is tried as in a heat, and nothing of it counts."""

from __future__ import annotations

import subprocess
from pathlib import Path

import httpx
import pytest

from app.ids import new_id
from app.meets.states import REHEARSAL_TABLE, HeatState, RehearsalAct
from app.refusals import NotPossible
from app.rehearsals.actions import MOST_AT_ONCE
from tests.builders import (
    PIN,
    Json,
    MeetAtHand,
    a_call,
    a_meet,
    a_problem,
    a_report,
    a_ruling,
)
from tests.running import Service

ALL_LANES = list(range(1, 9))


def make(hand: MeetAtHand, rehearsal: str | None = None, **document: object) -> httpx.Response:
    """The organiser makes a rehearsal of a 4x100, or of what the document says."""
    sent = {"relay": "4x100", **document}
    return hand.organiser.put(f"rehearsals/{rehearsal or new_id()}", sent)


def made(hand: MeetAtHand, **document: object) -> str:
    """The id of a new rehearsal."""
    answer = make(hand, **document)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def start(hand: MeetAtHand, rehearsal: str) -> Json:
    seen = hand.referee.get(f"heats/{rehearsal}")
    answer = hand.referee.post(f"heats/{rehearsal}/start", etag=seen.headers["ETag"])
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def end(hand: MeetAtHand, rehearsal: str, by: str = "organiser") -> Json:
    answer = hand[by].post(f"rehearsals/{rehearsal}/end")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def flag(hand: MeetAtHand, rehearsal: str, by: str = "umpire", **more: object) -> Json:
    colour = str(more.pop("colour", "yellow"))
    sent = a_call(rehearsal, hand.posts[by], colour, **more)
    answer = hand[by].put(f"calls/{new_id()}", sent)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def write(hand: MeetAtHand, rehearsal: str, by: str = "umpire", **more: object) -> Json:
    sent = a_report(rehearsal, hand.posts[by], **more)
    answer = hand[by].put(f"reports/{more.pop('id', new_id())}", sent)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def of_rehearsal(hand: MeetAtHand, rehearsal: str) -> list[Json]:
    return [line for line in hand.docket() if line["heat"] == rehearsal]


@pytest.mark.parametrize("state", list(HeatState))
def test_a_rehearsal_ends_from_wherever_it_is_and_once(state: HeatState) -> None:
    if state in {HeatState.TO_COME, HeatState.RUNNING, HeatState.JUDGED}:
        assert REHEARSAL_TABLE.step(state, RehearsalAct.END).becomes is HeatState.ENDED
        return
    with pytest.raises(NotPossible):
        REHEARSAL_TABLE.step(state, RehearsalAct.END)


def test_a_rehearsal_is_made_once_however_often_it_is_sent(meet: MeetAtHand) -> None:
    rehearsal = new_id()
    first = make(meet, rehearsal)
    assert first.status_code == 201, first.text
    told = first.json()
    assert (told["rehearsal"], told["state"], told["relay"]) == (True, "to come", "4x100")
    assert [lane["lane"] for lane in told["lanes"]] == ALL_LANES
    assert "REHEARSAL" in told["event_name"]
    before = meet.head()
    again = make(meet, rehearsal)
    assert (again.status_code, again.json()) == (200, told)
    assert meet.head() == before
    for other in ({"relay": "4x400"}, {"lanes": [3]}):
        a_problem(make(meet, rehearsal, **other), 409, "id-taken")
    a_problem(make(meet, meet.heat()), 409, "id-taken")
    elsewhere = a_meet(meet.service)
    a_problem(make(elsewhere, rehearsal), 409, "id-taken")
    assert meet.head() == before


def test_it_has_the_lanes_that_are_asked_for_and_no_others_than_the_track(
    meet: MeetAtHand,
) -> None:
    told = make(meet, lanes=[5, 3, 3]).json()
    assert [(lane["lane"], lane["name"]) for lane in told["lanes"]] == [
        (3, "Rehearsal team 3"),
        (5, "Rehearsal team 5"),
    ]
    refused = a_problem(make(meet, lanes=[9]), 422, "malformed")
    assert "lane 9" in refused["detail"]
    assert make(meet, relay="4x800", lanes=[10]).status_code == 201


def test_only_so_many_go_on_at_once(meet: MeetAtHand) -> None:
    ids = [made(meet, lanes=[4]) for _ in range(MOST_AT_ONCE)]
    before = meet.head()
    told = a_problem(make(meet), 409, "conflict")
    assert "End one of them" in told["detail"]
    assert meet.head() == before
    assert make(meet, ids[0], lanes=[4]).status_code == 200
    end(meet, ids[0])
    assert make(meet).status_code == 201


def test_phones_show_it_marked_and_the_crew_does_all_that_it_does_in_a_heat(
    meet: MeetAtHand,
) -> None:
    rehearsal = made(meet, lanes=[3, 4, 5])
    shown = meet.umpire.get("watch").json()
    assert [heat["id"] for heat in shown["heats"]] == [meet.heat(0), meet.heat(1), rehearsal]
    assert [heat["rehearsal"] for heat in shown["heats"]] == [False, False, True]
    assert shown["now"] == meet.heat(0), "a rehearsal is now only where somebody says so"
    assert meet.referee.put("heat-now", {"heat": rehearsal}).status_code == 201
    assert meet.umpire.get("heat-now").json()["now"]["rehearsal"] is True
    assert start(meet, rehearsal)["state"] == "running"
    assert meet.umpire.get("watch").json()["now"] == rehearsal
    flag(meet, rehearsal, lane=4, report=(report := new_id()))
    posts = meet.referee.get(f"heats/{rehearsal}/posts").json()
    assert [(line["official_name"], line["flag"]) for line in posts["posts"]] == [
        ("umpire", "yellow"),
        ("second", None),
    ]
    sent = a_report(rehearsal, meet.posts["umpire"])
    written = meet.umpire.put(f"reports/{report}", sent)
    assert written.json()["finding"]["outcome"] == "infringement"
    (case,) = of_rehearsal(meet, rehearsal)
    assert case["rehearsal"] is True
    assert meet.case(case["id"])["rehearsal"] is True
    back = {"reason": "How far past the line?"}
    returned = meet.referee.post(f"reports/{report}/return", back, etag='"v2"')
    assert returned.status_code == 200, returned.text
    again = meet.umpire.put(f"reports/{report}", {**sent, "words": "Two feet."}, etag='"v3"')
    assert again.json()["state"] == "written"
    flag(meet, rehearsal, "second", colour="white")
    assert meet.referee.get(f"heats/{rehearsal}").json()["state"] == "judged"


def test_it_can_be_held_back_and_started_again(meet: MeetAtHand) -> None:
    rehearsal = made(meet)
    start(meet, rehearsal)
    seen = meet.referee.get(f"heats/{rehearsal}")
    back = meet.referee.post(f"heats/{rehearsal}/hold-back", etag=seen.headers["ETag"])
    assert (back.status_code, back.json()["state"]) == (200, "to come")
    assert start(meet, rehearsal)["run"] == 2


def test_its_end_closes_its_cases_and_no_others(meet: MeetAtHand) -> None:
    meet.start()
    real = meet.report()["case"]
    rehearsal = made(meet)
    start(meet, rehearsal)
    closed = [write(meet, rehearsal, lane=lane)["case"] for lane in (3, 4)]
    assert {line["id"] for line in meet.docket()} == {real, *closed}
    told = end(meet, rehearsal, by="referee")
    assert told["state"] == "ended"
    assert [line["id"] for line in meet.docket()] == [real]
    assert meet.referee.get("docket").json()["open"] == 1
    for case in closed:
        seen = meet.case(case)
        assert (seen["state"], seen["possible"], seen["rulings"]) == ("closed", [], [])
        assert [report["state"] for report in seen["reports"]] == ["written"]
    assert rehearsal not in [heat["id"] for heat in meet.umpire.get("watch").json()["heats"]]
    listed = meet.umpire.get("rehearsals").json()["rehearsals"]
    assert [(one["id"], one["state"]) for one in listed] == [(rehearsal, "ended")]


def test_ending_it_twice_is_harmless_and_a_heat_does_not_end_so(meet: MeetAtHand) -> None:
    rehearsal = made(meet)
    first = end(meet, rehearsal)
    before = meet.head()
    assert end(meet, rehearsal, by="referee") == first
    a_problem(meet.organiser.post(f"rehearsals/{meet.heat()}/end"), 409, "conflict")
    a_problem(meet.organiser.post(f"rehearsals/{new_id()}/end"), 404, "not-found")
    seen = meet.referee.get(f"heats/{rehearsal}")
    started = meet.referee.post(f"heats/{rehearsal}/start", etag=seen.headers["ETag"])
    a_problem(started, 409, "not-possible")
    a_problem(meet.referee.put("heat-now", {"heat": rehearsal}), 409, "conflict")
    assert meet.head() == before


def test_what_a_phone_still_sends_after_the_end_is_kept_and_awaits_nobody(
    meet: MeetAtHand,
) -> None:
    rehearsal = made(meet)
    start(meet, rehearsal)
    report = new_id()
    raised = flag(meet, rehearsal, lane=4, report=report)
    end(meet, rehearsal)
    late = meet.umpire.put(f"reports/{report}", a_report(rehearsal, meet.posts["umpire"]))
    assert late.status_code in {200, 201}, late.text
    assert late.json()["state"] == "written"
    flag(meet, rehearsal, "second", lane=5)
    assert "heat was not running" in write(meet, rehearsal, lane=3)["marks"]
    assert meet.docket() == []
    assert meet.case(late.json()["case"])["state"] == "closed"
    assert late.json()["case"] != raised["case"]


FINISH = "lane,time\n3,42.10\n4,42.35\n"


def test_what_would_make_a_result_of_it_is_refused_and_says_what_to_do(meet: MeetAtHand) -> None:
    rehearsal = made(meet, lanes=[3, 4])
    told = start(meet, rehearsal)
    case = write(meet, rehearsal)["case"]
    version = meet.referee.get(f"cases/{case}").headers["ETag"]
    team = told["lanes"][0]["team"]
    announcement = {"heat": rehearsal, "pin": PIN}
    protest = {"heat": rehearsal, "team": team, "about": "placing", "lodged_by": "Mira Anchor"}
    protest |= {"words": "It was inside the zone."}
    round_ = {"event": told["event"], "round": "rehearsal", "points": ["5"]}
    off = {"reasons": "Nobody came."}
    before = meet.head()
    refused = [
        meet.desk.put(f"heats/{rehearsal}/result", content=FINISH),
        meet.desk.put(f"announcements/{new_id()}", announcement, etag='"v1"'),
        meet.desk.put(f"protests/{new_id()}", protest),
        meet.organiser.put(f"rounds/{new_id()}", round_),
        meet.organiser.post(f"heats/{rehearsal}/not-held", off, etag='"v2"'),
        meet.referee.put(f"cases/{case}/rulings/{new_id()}", a_ruling(), etag=version),
        meet.referee.put(
            f"cases/{case}/rulings/{new_id()}",
            a_ruling(verdict="dismissed"),
            etag=version,
            params={"check": "true"},
        ),
        meet.referee.get(f"cases/{case}/file.pdf"),
        meet.referee.get(f"cases/{case}/file.zip"),
    ]
    for answer in refused:
        said = a_problem(answer, 409, "conflict")["detail"]
        assert "This is a rehearsal: nothing of it counts" in said
        assert f"rehearsals/{rehearsal}/end" in said
    assert meet.head()["size"] == before["size"]
    drawn = [lane["team"] for lane in told["lanes"]]
    lots = {"drawn": drawn, "drawn_by": "Finn", "drawn_at": "2026-06-13T15:02:00Z", "pin": PIN}
    address = f"rounds/{new_id()}/lots/{new_id()}"
    a_problem(meet.desk.put(address, lots), 404, "not-found")
    a_problem(meet.desk.get(f"heats/{rehearsal}/result"), 404, "not-found")
    assert meet.referee.get(f"cases/{case}/consequences").status_code == 200
    assert meet.desk.get(f"heats/{rehearsal}/rulings").json()["rulings"] == []
    end(meet, rehearsal)
    for answer in (
        meet.desk.put(f"heats/{rehearsal}/result", content=FINISH),
        meet.referee.put(f"cases/{case}/rulings/{new_id()}", a_ruling(), etag=version),
    ):
        assert answer.status_code == 409


def test_a_report_of_it_says_so_on_its_form(meet: MeetAtHand, tmp_path: Path) -> None:
    rehearsal = made(meet)
    meet.start()
    start(meet, rehearsal)
    texts = {}
    for name, report in (("rehearsal", write(meet, rehearsal)), ("heat", meet.report())):
        answer = meet.umpire.get(f"reports/{report['id']}/form.pdf")
        assert answer.status_code == 200, answer.text
        file = tmp_path / f"{name}.pdf"
        file.write_bytes(answer.content)
        done = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, check=True)
        texts[name] = done.stdout.decode()
    assert "REHEARSAL: nothing of this counts." in texts["rehearsal"]
    assert "REHEARSAL" not in texts["heat"]


def test_start_lists_and_crew_plans_know_nothing_of_it(meet: MeetAtHand) -> None:
    before = meet.organiser.get("crew").json()
    rehearsal = made(meet, relay="4x400", lanes=[1, 2])
    assert meet.organiser.get("crew").json() == before
    rows = (
        "event,relay,round,heat,lane,team\nREHEARSAL 4x400,4x400,rehearsal,1,1,Rehearsal team 1\n"
    )
    loaded = meet.organiser.post("start-lists", content=rows)
    assert loaded.status_code == 200, loaded.text
    told = loaded.json()
    assert (told["heats_added"], told["new_to_event"], told["in_two_heats"]) == (1, [], [])
    listed = meet.organiser.get("heats").json()["heats"]
    assert [heat["id"] for heat in listed][:2] == [meet.heat(0), meet.heat(1)]
    assert len(listed) == 3
    assert listed[2]["id"] != rehearsal
    assert listed[2]["rehearsal"] is False


def test_numbers_for_the_watch_count_no_rehearsal(service: Service, meet: MeetAtHand) -> None:
    def numbers() -> str:
        return service.http.get("/metrics").text.split("zonedocket_open_cases ")[1].split("\n")[0]

    rehearsal = made(meet)
    before = numbers()
    start(meet, rehearsal)
    write(meet, rehearsal)
    assert numbers() == before
