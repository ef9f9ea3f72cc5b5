"""A case that was ruled on keeps what the ruling rests on, whatever is written afterwards."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from pathlib import Path
from zipfile import ZipFile

import pytest

from app.exporting.check_export import check
from app.ids import new_id
from tests.appeals.desk import a_protest, announced, decide, lodge
from tests.builders import Json, MeetAtHand, a_call, a_problem, a_report, add_official
from tests.casefiles.test_paper import file_of, one_line
from tests.pages.test_head_pages import page, part
from tests.pictures.test_pictures import added
from tests.reports.test_reports import ASKED, returned, rewritten
from tests.rulings.test_reconsidering import ruling
from tests.sealing.test_beside_erasing import erase_of

FIRST, SINCE = "It was behind the line.", "It was on the line."
STAYS = {
    "observation",
    "words",
    "finding",
    "lane",
    "team",
    "take_over",
    "post_words",
    "received_at",
}


def answered_after_the_ruling(meet: MeetAtHand, **changes: object) -> tuple[Json, Json, Json]:
    """The report as it lay at the ruling, the ruling, and the report as it was written since."""
    meet.start()
    report = meet.report(words=FIRST)
    before = returned(meet, report)
    ruled = meet.rule(report["case"]).json()
    return before, ruled, rewritten(meet, before, words=SINCE, **changes)


def test_what_is_answered_after_the_ruling_leaves_its_case_as_it_was(meet: MeetAtHand) -> None:
    before, _, since = answered_after_the_ruling(meet)
    case = meet.case(before["case"])
    [lay] = case["reports"]
    assert {name: lay[name] for name in STAYS} == {name: before[name] for name in STAYS}
    assert (lay["id"], lay["state"], lay["remark"]) == (since["id"], "returned", ASKED["reason"])
    assert lay["possible"] == []
    assert case["gone_on"] == [{"report": since["id"], "case": since["case"]}]
    [now] = meet.case(since["case"])["reports"]
    assert (now["words"], now["state"]) == (SINCE, "written")


def test_an_answer_about_another_lane_takes_nothing_from_the_team_ruled_on(
    meet: MeetAtHand,
) -> None:
    before, _, since = answered_after_the_ruling(meet, lane=3)
    [lay] = meet.case(before["case"])["reports"]
    assert (lay["lane"], lay["team_name"]) == (4, before["team_name"])
    assert meet.case(since["case"])["lane"] == 3


def test_a_flag_ruled_on_alone_is_still_there_when_its_account_has_come(meet: MeetAtHand) -> None:
    meet.start()
    report = new_id()
    sent = a_call(meet.heat(), meet.posts["umpire"], "yellow", lane=4, report=report)
    called = meet.umpire.put(f"calls/{new_id()}", sent).json()
    meet.rule(called["case"], verdict="dismissed")
    account = a_report(meet.heat(), meet.posts["umpire"], words=SINCE)
    written = meet.umpire.put(f"reports/{report}", account).json()
    assert written["case"] != called["case"]
    [lay] = meet.case(called["case"])["reports"]
    assert (lay["state"], lay["lane"], lay["observation"], lay["words"]) == ("raised", 4, None, "")
    assert lay["raised_at"] == written["raised_at"]


def test_pictures_that_came_after_the_ruling_are_in_the_further_case_alone(
    meet: MeetAtHand,
) -> None:
    report = meet.report(words=FIRST)
    first = added(meet, report)
    before = returned(meet, meet.umpire.get(f"reports/{report['id']}").json())
    meet.rule(report["case"])
    second = added(meet, report)
    since = rewritten(meet, before, words=SINCE)
    [lay], [now] = (meet.case(one["case"])["reports"] for one in (report, since))
    assert [one["id"] for one in lay["pictures"]] == [first["id"]]
    assert [one["id"] for one in now["pictures"]] == [first["id"], second["id"]]


def test_a_picture_after_the_ruling_is_none_of_it_though_the_clock_was_set_back(
    meet: MeetAtHand,
) -> None:
    report = meet.report(words=FIRST)
    before = returned(meet, report)
    meet.rule(report["case"])
    meet.service.clock.move(timedelta(seconds=-30))
    added(meet, report)
    rewritten(meet, before, words=SINCE)
    [lay] = meet.case(report["case"])["reports"]
    assert lay["pictures"] == []


def test_a_ruling_is_reconsidered_on_what_lay_in_its_case(meet: MeetAtHand) -> None:
    before, first, _ = answered_after_the_ruling(meet)
    second = meet.rule(before["case"], reconsiders=first["id"], reasons="The video shows it too.")
    assert second.status_code == 201, second.text
    assert second.json()["infringement"] == first["infringement"]
    again = meet.rule(before["case"], reconsiders=second.json()["id"], reasons="And once more.")
    assert again.status_code == 201, again.text
    [lay] = meet.case(before["case"])["reports"]
    assert lay["words"] == FIRST
    assert ruling(meet, first["id"])["replaced_by"] == second.json()["id"]


def test_a_report_that_went_on_twice_is_in_each_case_as_it_was_ruled_on(meet: MeetAtHand) -> None:
    before, _, since = answered_after_the_ruling(meet)
    asked = returned(meet, since)
    meet.rule(since["case"], verdict="dismissed")
    last = rewritten(meet, asked, words="The far line.")
    told = [meet.case(one["case"])["reports"] for one in (before, since, last)]
    assert [[one["words"] for one in reports] for reports in told] == [
        [FIRST],
        [SINCE],
        ["The far line."],
    ]


def test_whoever_reads_the_case_sees_what_was_ruled_on_and_where_the_rest_is(
    meet: MeetAtHand,
) -> None:
    before, _, since = answered_after_the_ruling(meet)
    shown = page(meet.referee, f"cases/{before['case']}")
    assert FIRST in part(shown, "reports")
    assert SINCE not in part(shown, "reports")
    assert f"/cases/{since['case']}" in part(shown, "reports")
    assert "As it lay here at the ruling." in part(shown, "reports")
    assert "has no answer yet" not in shown
    words = re.sub("<[^>]+>", " ", part(shown, "history"))
    order = ["account written", ASKED["reason"], "confirmed", "written again"]
    assert [words.index(one) for one in order] == sorted(words.index(one) for one in order)


def test_the_case_file_has_both_accounts_each_where_it_belongs(meet: MeetAtHand) -> None:
    before, _, since = answered_after_the_ruling(meet)
    told = one_line(file_of(meet, f"cases/{before['case']}"))
    assert FIRST in told
    further = one_line(file_of(meet, f"cases/{since['case']}"))
    assert further.index(SINCE) < further.index(FIRST)
    assert "What this report said before" in further


def test_a_protest_shows_what_the_ruling_rests_on(meet: MeetAtHand) -> None:
    before, ruled, since = answered_after_the_ruling(meet)
    meet.rule(since["case"], verdict="dismissed")
    assert meet.load_result().status_code == 201
    announced(meet)
    protest = lodge(meet, a_protest(meet, ruled))
    shown = part(page(meet.referee, f"protests/{protest['id']}"), "reports")
    assert FIRST in shown
    assert SINCE not in shown
    assert "As it lay here at the ruling." in shown
    assert f"reports/{before['id']}/form.pdf" not in shown


def test_a_flag_ruled_on_alone_tells_nothing_of_where_its_account_was_written_for(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = new_id()
    sent = a_call(meet.heat(), meet.posts["umpire"], "yellow", lane=4, report=report)
    called = meet.umpire.put(f"calls/{new_id()}", sent).json()
    meet.rule(called["case"], verdict="dismissed")
    elsewhere = a_report(meet.heat(), None, take_over=3, words=SINCE)
    assert meet.umpire.put(f"reports/{report}", elsewhere).status_code == 201
    [lay] = meet.case(called["case"])["reports"]
    assert (lay["post"], lay["take_over"]) == (meet.posts["umpire"], None)
    assert lay["post_words"] == ""


@pytest.mark.parametrize("lane", [4, 3])
def test_whoever_reported_before_the_ruling_decides_no_protest_about_it(
    meet: MeetAtHand, lane: int
) -> None:
    author = add_official(meet, f"referee who saw it {new_id()}", "referee")
    meet.start()
    report = meet.report(by=author.name, post=None, take_over=1)
    meet.report(by="second")
    asked = returned(meet, report)
    ruled = meet.rule(report["case"]).json()
    again = a_report(meet.heat(), None, take_over=1, words=SINCE, lane=lane)
    since = author.put(f"reports/{report['id']}", again, etag=f'"v{asked["version"]}"')
    assert since.status_code == 200, since.text
    meet.rule(since.json()["case"], verdict="dismissed")
    assert meet.load_result().status_code == 201
    announced(meet)
    protest = lodge(meet, a_protest(meet, ruled))
    a_problem(decide(meet, protest, by=author.name), 403, "own-report")


def evidence(meet: MeetAtHand, case: str, folder: Path) -> tuple[list[str], list[str]]:
    """The kinds of the entries in a case's ZIP, and its pictures; its checker finds no fault."""
    path = folder / f"{new_id()}.zip"
    path.write_bytes(meet.referee.get(f"cases/{case}/file.zip").content)
    assert check(str(path)).mismatches == []
    with ZipFile(path) as opened:
        lines = opened.read("record.jsonl").decode().splitlines()[:-1]
        names = [one for one in opened.namelist() if one.startswith("pictures/")]
        assert all(SINCE.encode() not in opened.read(one) for one in opened.namelist())
    kinds = [json.loads(json.loads(line)["entry"])["kind"] for line in lines]
    return [one for one in kinds if one != "paper sealed"], names


@pytest.mark.parametrize("lane", [4, 3])
def test_what_a_ruling_rests_on_stays_in_its_evidence_whatever_is_answered_afterwards(
    meet: MeetAtHand, tmp_path: Path, lane: int
) -> None:
    meet.start()
    report = new_id()
    sent = a_call(meet.heat(), meet.posts["umpire"], "yellow", lane=4, report=report)
    assert meet.umpire.put(f"calls/{new_id()}", sent).status_code == 201
    account = a_report(meet.heat(), meet.posts["umpire"], words=FIRST)
    written = meet.umpire.put(f"reports/{report}", account).json()
    added(meet, written)
    before = returned(meet, meet.umpire.get(f"reports/{report}").json())
    ruled = meet.rule(written["case"])
    assert ruled.status_code == 201, ruled.text
    kept = evidence(meet, written["case"], tmp_path)
    assert {"call", "report written", "picture added", "report returned", "ruling"} <= {*kept[0]}
    assert kept[1]
    added(meet, written)
    rewritten(meet, before, words=SINCE, lane=lane)
    assert evidence(meet, written["case"], tmp_path) == kept
    told = one_line(file_of(meet, f"cases/{written['case']}"))
    assert "A picture was added to" in told
    assert "was returned to its umpire" in told


def test_an_account_that_was_erased_is_not_said_never_to_have_been_written(
    meet: MeetAtHand,
) -> None:
    before, _, _ = answered_after_the_ruling(meet)
    [lay] = meet.case(before["case"])["reports"]
    assert lay["observation"] is not None
    erase_of(meet, names=("behind the line",))
    [lay] = meet.case(before["case"])["reports"]
    assert lay["observation"] is None
    shown = part(page(meet.referee, f"cases/{before['case']}"), "reports")
    assert "Its account was erased." in shown
    assert "account to follow" not in shown
    told = one_line(file_of(meet, f"cases/{before['case']}"))
    assert "its written account was erased" in told
    assert "no written account before the ruling" not in told
