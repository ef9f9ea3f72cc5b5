"""In the file of one case stands all of it, and nothing of any other: on paper, and in the ZIP."""

from __future__ import annotations

import json
from datetime import datetime
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest

from app.exporting.check_export import check
from app.ids import new_id
from tests.appeals.desk import a_protest, lodge, team
from tests.builders import MeetAtHand, a_problem, a_report
from tests.casefiles.two_cases import Side, TwoCases, pieces_of, streams_of, words_of
from tests.results.test_time_corrections import NOON, correct, minutes
from tests.results.test_time_corrections import announced as announced_at_noon
from tests.rulings.test_lane_infringements import ruled, with_a_final
from tests.running import Service

KINDS = ("cases", "protests", "appeals")
BESIDE = {"meet made", "seal made", "official named"}


@pytest.mark.parametrize("kind", KINDS)
def test_all_that_was_said_about_it_is_on_the_paper(played: TwoCases, kind: str) -> None:
    words = words_of(played.get(played.a.address(kind)))
    assert [one for one in played.a.said if one not in words] == [played.a.hidden]


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_that_was_said_about_another_is_on_the_paper(played: TwoCases, kind: str) -> None:
    pdf = played.get(played.a.address(kind))
    words = words_of(pdf)
    assert [one for one in (*played.b.said, *played.b.all_ids) if one in words] == []
    within = b"\n".join(streams_of(pdf))
    assert [one for one in played.b.said if one.encode() in within] == []


@pytest.mark.parametrize("kind", KINDS)
def test_its_pictures_are_in_it_byte_for_byte_and_no_others(played: TwoCases, kind: str) -> None:
    found = list(streams_of(played.get(played.a.address(kind))))
    assert [one for one in played.a.pictures if one not in found] == []
    assert [one for one in played.b.pictures if one in found] == []


@pytest.mark.parametrize("kind", KINDS)
def test_no_file_of_the_zip_tells_of_another(played: TwoCases, kind: str) -> None:
    content = played.get(played.a.address(kind, "file.zip"))
    others = [one.encode() for one in (*played.b.said, *played.b.all_ids)]
    for name, piece in pieces_of(content):
        assert [one for one in others if one in piece or one.decode() in name] == [], name
        assert not any(picture in piece for picture in played.b.pictures), name


def test_the_zip_holds_all_that_was_said_and_every_paper_about_it(played: TwoCases) -> None:
    content = played.get(played.a.address("cases", "file.zip"))
    pieces = dict(pieces_of(content))
    together = b"\n".join(pieces.values())
    assert [one for one in played.a.said if one.encode() not in together] == []
    papers = [name for name in pieces if name.startswith("papers/") and name.endswith(".pdf")]
    subjects = [
        one
        for kind in ("rulings", "reports", "protests", "appeals", "decisions")
        for one in played.a.ids[kind]
    ]
    assert len(papers) == len(subjects)
    assert all(any(subject in name for name in papers) for subject in subjects)


def test_its_entries_are_those_about_it_and_those_that_they_are_checked_by(
    played: TwoCases,
) -> None:
    content = played.get(played.a.address("appeals", "file.zip"))
    with ZipFile(BytesIO(content)) as opened:
        lines = opened.read("record.jsonl").decode().splitlines()[:-1]
    entries = [json.loads(json.loads(line)["entry"]) for line in lines]
    own = set(played.a.all_ids)
    others = {one["kind"] for one in entries if one["subject"] not in own}
    assert others == {*BESIDE, "paper sealed", "heat started", "announcement"}
    assert {"call", "report returned", "report withdrawn", "vote cast", "panel named"} <= {
        one["kind"] for one in entries
    }


def _conduct(meet: MeetAtHand, side: Side) -> str:
    """Another team protests about how a team ran."""
    about = {"about": "conduct", "against": side.team, "ruling": None, "team": team(meet, 3)}
    return str(lodge(meet, a_protest(meet, **about))["id"])


def test_a_protest_about_conduct_has_the_case_of_the_team_that_it_names(played: TwoCases) -> None:
    protest = _conduct(played.meet, played.a)
    words = words_of(played.get(f"protests/{protest}/file.pdf"))
    assert "reports2" in words
    assert played.a.umpires[0] in words
    assert [one for one in played.b.said if one in words] == []


def test_a_protest_about_a_placing_has_no_case(played: TwoCases) -> None:
    about = {"about": "placing", "ruling": None, "team": team(played.meet, 6)}
    protest = lodge(played.meet, a_protest(played.meet, **about))
    words = words_of(played.get(f"protests/{protest['id']}/file.pdf"))
    said = (*played.a.said, *played.b.said)
    assert [one for one in said if one in words] == []


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("ending", ["file.pdf", "file.zip"])
def test_it_is_for_the_head_official_and_the_jury(played: TwoCases, kind: str, ending: str) -> None:
    address = played.a.address(kind, ending)
    for role in ("results", "organiser", played.a.umpires[0]):
        a_problem(played.meet[role].get(address), 403, "role-missing")
    for role in ("referee", "chief_umpire", "jury"):
        assert played.get(address, role)
    unknown = f"{kind}/{new_id()}/{ending}"
    a_problem(played.meet["jury"].get(unknown), 404, "not-found")


def test_an_id_of_another_meet_is_not_found_and_nothing_is_stored(
    played: TwoCases, meet: MeetAtHand
) -> None:
    before = meet.head()
    a_problem(meet.referee.get(played.a.address("cases")), 404, "not-found")
    assert meet.head() == before


def test_a_ruling_that_counts_an_earlier_one_names_it_and_tells_nothing_of_its_case(
    meet: MeetAtHand,
) -> None:
    rounds = with_a_final(meet)
    first = ruled(rounds, heat=0, lane=4, words="In the first bend.")
    later = ruled(rounds, heat=2, lane=5, words="In the second bend.")
    words = words_of(rounds.referee.get(f"cases/{later['case']}/file.pdf").content)
    assert "TheteamwasnotedwithLbefore" in words
    assert "Inthesecondbend." in words
    assert "Inthefirstbend." not in words
    content = rounds.referee.get(f"cases/{later['case']}/file.zip").content
    for name, piece in pieces_of(content):
        assert b"In the first bend." not in piece, name
        assert first["case"].encode() not in piece, name


def test_a_report_that_moved_is_in_the_file_of_the_case_where_it_lies(meet: MeetAtHand) -> None:
    meet.start()
    stays = meet.report(by="second", lane=3, words="Lane three for certain.")
    wrong = meet.report(lane=3, words="Lane three, I think.")
    assert wrong["case"] == stays["case"]
    seen = meet.referee.get(f"reports/{wrong['id']}")
    asked = {"reason": "Was it not lane 4?"}
    returned = meet.referee.post(f"reports/{wrong['id']}/return", asked, etag=seen.headers["ETag"])
    again = a_report(meet.heat(), meet.posts["umpire"], lane=4, words="It was lane four.")
    right = meet.umpire.put(f"reports/{wrong['id']}", again, etag=returned.headers["ETag"])
    assert right.status_code == 200, right.text
    left = words_of(meet.referee.get(f"cases/{wrong['case']}/file.pdf").content)
    here = words_of(meet.referee.get(f"cases/{right.json()['case']}/file.pdf").content)
    assert "Itwaslanefour." in here
    assert "Lanethree,Ithink." in here
    assert "Lanethreeforcertain." in left
    assert "Lanethree,Ithink." not in left
    assert "lanefour" not in left
    assert "Lanethreeforcertain." not in here


def test_a_case_whose_reports_have_all_moved_says_so(meet: MeetAtHand) -> None:
    meet.start()
    meet.report(by="second", lane=4)
    wrong = meet.report(lane=3, words="Lane three, I think.")
    seen = meet.referee.get(f"reports/{wrong['id']}")
    asked = {"reason": "Was it not lane 4?"}
    returned = meet.referee.post(f"reports/{wrong['id']}/return", asked, etag=seen.headers["ETag"])
    again = a_report(meet.heat(), meet.posts["umpire"], lane=4)
    right = meet.umpire.put(f"reports/{wrong['id']}", again, etag=returned.headers["ETag"])
    assert right.json()["case"] != wrong["case"]
    words = words_of(meet.referee.get(f"cases/{wrong['case']}/file.pdf").content)
    assert "itsreportshavemovedtocase1" in words
    assert "Noreportbelongstothiscase." in words
    told = a_problem(meet.referee.get(f"cases/{wrong['case']}/file.zip"), 404, "not-found")
    assert "Ask for the file of that one" in told["detail"]


def test_a_corrected_time_does_not_tell_what_else_it_made_late(service: Service) -> None:
    hand, told = announced_at_noon(service, roles=("results", "referee", "jury"))
    service.clock.stand_at(NOON + minutes(20))
    about = [{"about": "placing", "ruling": None, "team": team(hand, lane)} for lane in (4, 5)]
    first, second = (lodge(hand, a_protest(hand, **one)) for one in about)
    corrected = correct(hand, told, NOON - minutes(15), remark="It was read out.")
    assert corrected.status_code == 201, corrected.text
    words = words_of(hand.referee.get(f"protests/{first['id']}/file.pdf").content)
    assert "Protest1:LATEby" in words
    assert "Protest2" not in words
    assert second["id"] not in words


def test_an_announcement_whose_time_was_corrected_counts_in_the_zip_as_it_was_corrected(
    service: Service, tmp_path: Path
) -> None:
    hand, told = announced_at_noon(service, roles=("results", "referee", "jury"))
    service.clock.stand_at(NOON + minutes(20))
    lodged = lodge(hand, a_protest(hand, about="placing", ruling=None, team=team(hand, 4)))
    corrected = correct(hand, told, NOON - minutes(15), remark="It was read out.")
    assert corrected.status_code == 201, corrected.text
    path = tmp_path / "slice.zip"
    path.write_bytes(hand.referee.get(f"protests/{lodged['id']}/file.zip").content)
    with ZipFile(path) as opened:
        lines = opened.read("record.jsonl").decode().splitlines()
    bare = [one for one in map(json.loads, lines) if "withheld" in one]
    kinds = [json.loads(one["entry"])["kind"] for one in bare]
    assert kinds[-2:] == ["announcement", "announcement time corrected"]
    says = [one["withheld"] for one in bare[-2:]]
    assert datetime.fromisoformat(says[0]["announced_at"]) == NOON - minutes(15)
    assert [one["announcement"] for one in says] == [1, 1]
    assert b"It was read out." not in b"".join(piece for _, piece in pieces_of(path.read_bytes()))
    assert check(str(path)).ends_with == 0
