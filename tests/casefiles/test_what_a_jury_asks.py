"""What a jury asks first stands in the file: what the other posts saw, why a result was announced
all the same, what the ruling moves, and where all umpires saw the baton.
"""

from __future__ import annotations

import io
import json
import re
from zipfile import ZipFile

import pytest

from app.exporting.check_export import check
from tests.appeals.desk import an_announced_disqualification, announced
from tests.builders import MeetAtHand, a_meet
from tests.casefiles.test_paper import WITHOUT_TIMES, file_of, insist_readable
from tests.forms.pdf_reading import read_text
from tests.running import Service


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    hand = a_meet(service, umpires=("second", "third"))
    hand.start()
    return hand


def words_about(meet: MeetAtHand, case: str) -> str:
    pdf = file_of(meet, f"cases/{case}")
    insist_readable(pdf)
    return WITHOUT_TIMES.sub("", " ".join(read_text(pdf).split()))


def posts_in(words: str) -> str:
    return words.split("What the posts showed")[1].split("Report 1", maxsplit=1)[0]


def test_it_tells_who_else_watched_the_lane_and_showed_white_or_nothing(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    assert meet.call("white", by="second").status_code == 201
    words = words_about(meet, case)
    told = posts_in(words)
    assert re.search(r"second white flag", told)
    assert re.search(r"umpire report 1, without a flag", told)
    assert re.search(r"third silent: neither flag nor report", told)
    assert "A white flag was shown" in words.split("Time line")[2]


def test_whoever_reported_it_from_another_post_stands_among_them(meet: MeetAtHand) -> None:
    case = meet.report(lane=3)["case"]
    assert meet.report(by="second", lane=3)["case"] == case
    told = posts_in(words_about(meet, case))
    assert "umpire report 1, without a flag" in told
    assert "second report 2, without a flag" in told
    assert "third" not in told


def test_a_white_flag_is_in_its_part_of_the_record(meet: MeetAtHand, tmp_path: object) -> None:
    case = meet.report()["case"]
    shown = meet.call("white", by="second").json()["id"]
    content = meet.referee.get(f"cases/{case}/file.zip").content
    with ZipFile(io.BytesIO(content)) as opened:
        lines = [json.loads(one) for one in opened.read("record.jsonl").splitlines()[:-1]]
        opened.extractall(str(tmp_path))
    entries = [json.loads(one["entry"]) for one in lines]
    assert shown in {one["subject"] for one in entries}
    assert check(str(tmp_path)).ends_with == 0


def test_what_a_post_showed_of_another_lane_is_not_told(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    other = meet.call("yellow", by="second", lane=5)
    assert other.status_code == 201, other.text
    words = words_about(meet, case)
    assert "second nothing about this lane" in posts_in(words)
    content = meet.referee.get(f"cases/{case}/file.zip").content
    with ZipFile(io.BytesIO(content)) as opened:
        assert other.json()["id"].encode() not in opened.read("record.jsonl")


def test_that_the_result_was_announced_though_a_post_was_silent_is_told_with_why(
    meet: MeetAtHand,
) -> None:
    case = meet.report()["case"]
    assert meet.rule(case).status_code == 201
    assert meet.load_result().status_code == 201
    announced(meet, despite="Their radio is dead.")
    words = words_about(meet, case)
    assert "announced although two posts had not reported" in words
    assert "Their radio is dead." in words


def test_the_reason_is_left_out_where_another_case_was_open(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    assert meet.call("yellow", by="second", lane=5).status_code == 201
    assert meet.rule(case).status_code == 201
    assert meet.load_result().status_code == 201
    announced(meet, despite="Lane 5 can wait.")
    words = words_about(meet, case)
    assert "announced although one post had not reported" in words
    assert "Lane 5 can wait." not in words


def test_the_ruling_in_force_tells_places_and_times_with_it_and_without(
    service: Service,
) -> None:
    meet = a_meet(service)
    ruling = an_announced_disqualification(meet)
    words = words_about(meet, ruling["case"])
    moved = words.split("Places and times in this heat")[1].split("disqualification")[0]
    names = {lane["lane"]: lane["name"] for lane in meet.heats[0]["lanes"]}
    # All finish in lane order; with lane 4 out, those behind it move up by one.
    place = sorted(names).index(4) + 1
    assert re.search(rf"{names[4]} place {place}, 42\.40 DQ TR24\.7", moved)
    assert re.search(rf"{names[5]} place {place + 1}, 42\.50 place {place}, 42\.50", moved)
    assert names[3] not in moved
    assert "What this ruling moves" in words


def test_the_umpires_accounts_stand_in_one_drawing(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    assert meet.report(by="second")["case"] == case
    words = words_about(meet, case)
    assert words.count("drawn to scale") == 1
    drawn = words.split("drawn to scale")[1].split("Report 1")[0]
    assert "seen by umpire" in drawn
    assert "seen by second" in drawn
