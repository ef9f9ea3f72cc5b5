"""The file on paper: a stranger finds the way, nothing is cut or covered, on A4 and on Letter; also
where little is known yet, and where much was erased.
"""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from io import BytesIO
from itertools import combinations
from zipfile import ZipFile

import pytest
from sqlalchemy import text

from app.erasing.actions import Wanted, erase
from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.queries import head_of
from app.sealing.actions import SERVER
from app.store.action import Actor, Deed, Done, Unit
from app.store.engine import open_engines
from tests.appeals.desk import (
    a_panel,
    a_rejected_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    appeal,
    cast,
)
from tests.builders import Json, MeetAtHand, a_call, a_phone_clock, a_post, a_report, add_official
from tests.casefiles.two_cases import TwoCases
from tests.forms.pdf_reading import read_info, read_pages, read_text, run_tool
from tests.pictures.photographs import drawn, saved
from tests.record.looking import ask_at_once, looking_at

SIZES = {"A4": "595.276 x 841.89", "letter": "612 x 792"}  # ISO 216; ANSI/ASME Y14.1, in points
BOX = re.compile(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">')
WITHOUT_TIMES = re.compile(r"(\d\d:\d\d:\d\d \w+ ){2}")
MARGIN = 15.0 * 72 / 25.4


def file_of(meet: MeetAtHand, address: str, **params: str) -> bytes:
    answer = meet.referee.get(f"{address}/file.pdf", params=params)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert "no-store" in answer.headers["cache-control"]
    return answer.content


def one_line(pdf: bytes) -> str:
    return " ".join(read_text(pdf).split())


def boxes(pdf: bytes) -> list[tuple[float, list[tuple[float, ...]]]]:
    """The width of each page, and where the words stand on it."""
    told = run_tool("pdftotext", "-bbox", "-", "-", pdf=pdf).decode("utf-8")
    pages = re.split(r'<page width="([\d.]+)" height="[\d.]+">', told)[1:]
    return [
        (float(width), [tuple(map(float, box)) for box in BOX.findall(words)])
        for width, words in zip(pages[::2], pages[1::2], strict=True)
    ]


def covers(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Whether two words stand on each other, by more than their lines' boxes touch."""
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    low = min(one[3] - one[1], other[3] - other[1])
    return wide > 1.5 and high > 0.5 * low


def insist_readable(pdf: bytes) -> None:
    """Every word stands between the margins, and on no other."""
    for width, words in boxes(pdf):
        assert words
        outside = [one for one in words if one[0] < MARGIN - 1 or one[2] > width - MARGIN + 1]
        assert outside == []
        assert [pair for pair in combinations(words, 2) if covers(*pair)] == []


@pytest.mark.parametrize("sheet", ["A4", "letter"])
def test_it_is_printed_on_the_sheet_that_is_asked_for_and_nothing_is_cut(
    played: TwoCases, sheet: str
) -> None:
    pdf = played.get(played.a.address("appeals"), paper=sheet)
    assert read_info(pdf)["Page size"].startswith(SIZES[sheet])
    insist_readable(pdf)


def test_the_cover_says_what_it_is_and_on_which_page_everything_begins(played: TwoCases) -> None:
    pages = read_pages(played.get(played.a.address("appeals")))
    cover = pages[0]
    assert "File of appeal 1" in cover
    assert "case 1 confirmed, DQ TR24.7" in cover
    assert "set aside by the decision of the jury on appeal 1" in cover
    assert "deposit of appeal 1 returned" in cover
    assert "is not kept by the server and has no entry of its own in the record" in cover
    contents = cover.split("What is in it")[1].split("Who may read it")[0]
    parts = re.findall(r"(\d+) (\D.*?) (\d+)(?= \d+ [A-Z]| *$)", contents.strip())
    assert (parts[0][1], parts[-1][1]) == ("Time line", "Page of hashes")
    assert len(parts) == 6
    for number, name, page in parts:
        assert f"{number} {name}" in pages[int(page) - 1], name


def test_that_it_is_in_confidence_stands_in_bold_on_every_page(played: TwoCases) -> None:
    pages = read_pages(played.get(played.a.address("appeals")))
    assert pages[0].index("In confidence: for the head official") < pages[0].index("it holds")
    assert all("In confidence · File of appeal 1" in page for page in pages)


def test_a_window_that_is_over_is_not_said_to_run_until_then(played: TwoCases) -> None:
    cover = read_pages(played.get(played.a.address("appeals")))[0]
    assert re.search(r"window for protest open until \d", cover)
    assert re.search(r"window for appeal void \(would have run until \d", cover)
    assert not re.search(r"(closed|void), until", cover)


def test_the_statements_of_announcements_are_listed_with_the_others(played: TwoCases) -> None:
    words = one_line(played.get(played.a.address("appeals")))
    made = played.meet["jury"].get("announcements").json()["announcements"]
    for one in made:
        ident = one["id"]
        digest = played.meet["jury"].get(f"announcements/{ident}.json").json()["statement_digest"]
        assert f"announcement {one['number']}" in words
        assert digest in words.replace(" ", "")


def test_its_name_is_that_of_what_was_asked_for(played: TwoCases) -> None:
    for kind, name in (("cases", "case 1"), ("protests", "protest 1"), ("appeals", "appeal 1")):
        info = read_info(played.get(played.a.address(kind)))
        assert info["Title"].startswith(f"File of {name} – Women 4x100 m")


def test_the_time_line_tells_the_phones_own_time_and_how_far_it_was_off(meet: MeetAtHand) -> None:
    meet.start()
    at = datetime.now(UTC).replace(microsecond=250_000) - timedelta(seconds=3)
    clock = {"at": at.isoformat(), "offset_ms": 2900, "error_ms": 47}
    report = meet.report(clock=clock)
    words = one_line(file_of(meet, f"cases/{report['case']}"))
    # Paris is two hours ahead of UTC in summer, one in winter.
    shown = re.search(r"(\d\d:\d\d:\d\d)\.25, 2\.90 s", words)
    assert shown is not None
    assert shown[1][2:] == f"{at:%H:%M:%S}"[2:]
    assert "behind ±0.05 s" in words
    assert "Report 1 was written." in words


def test_a_phone_that_was_never_compared_is_said_to_be_so(meet: MeetAtHand) -> None:
    meet.start()
    clock = a_phone_clock(offset_ms=None, error_ms=None)
    report = meet.report(clock=clock)
    words = one_line(file_of(meet, f"cases/{report['case']}"))
    assert "never" in words.split("Time line")[2].split("Case 1")[0]


def test_what_it_said_before_it_was_asked_back_is_told_too(meet: MeetAtHand) -> None:
    meet.start()
    first = meet.report(words="It was behind the line.")
    seen = meet.referee.get(f"reports/{first['id']}")
    asked = {"reason": "By how much?"}
    returned = meet.referee.post(f"reports/{first['id']}/return", asked, etag=seen.headers["ETag"])
    again = a_report(meet.heat(), meet.posts["umpire"], words="By one step.")
    written = meet.umpire.put(f"reports/{first['id']}", again, etag=returned.headers["ETag"])
    assert written.status_code == 200, written.text
    words = one_line(file_of(meet, f"cases/{first['case']}"))
    assert "What this report said before" in words
    assert words.index("By one step.") < words.index("It was behind the line.")
    assert "By how much?" in words


def test_a_case_of_one_flag_and_nothing_more_has_a_file(meet: MeetAtHand) -> None:
    meet.start()
    report = new_id()
    sent = a_call(meet.heat(), meet.posts["umpire"], "yellow", lane=4, report=report)
    called = meet.umpire.put(f"calls/{new_id()}", sent)
    assert called.status_code == 201, called.text
    pdf = file_of(meet, f"cases/{called.json()['case']}")
    insist_readable(pdf)
    words = one_line(pdf)
    assert "open: not ruled on" in words
    assert "no written account" in words
    assert "no result of this heat has been announced" in words


def test_a_flag_without_a_lane_has_a_file_too(meet: MeetAtHand) -> None:
    meet.start()
    called = meet.call("yellow")
    assert called.status_code == 201, called.text
    words = one_line(file_of(meet, f"cases/{called.json()['case']}"))
    assert "Case 1: team not known, lane not known" in words


def test_long_texts_go_on_over_pages_and_every_word_is_there(meet: MeetAtHand) -> None:
    meet.start()
    said = [f"w{number:03}" for number in range(780)]
    reasons = [f"r{number:03}" for number in range(780)]
    report = meet.report(words=" ".join(said))
    assert meet.rule(report["case"], reasons=" ".join(reasons)).status_code == 201
    for sheet in SIZES:
        pdf = file_of(meet, f"cases/{report['case']}", paper=sheet)
        insist_readable(pdf)
        words = one_line(pdf).split()
        assert [one for one in words if re.fullmatch(r"w\d{3}", one)] == said
        assert [one for one in words if re.fullmatch(r"r\d{3}", one)] == reasons


def test_the_longest_names_are_set_on_several_lines(meet: MeetAtHand) -> None:
    umpire, long_team = "M" * 120, ("Wind " * 20).strip()
    add_official(meet, umpire, "umpire")
    rows = "event,round,heat,lane,team,affiliation,bib\n"
    rows += f"{'Mixed ' * 12}4x100 m,heats,1,4,{long_team},{'W' * 80},7\n"
    assert meet.organiser.post("start-lists", content=rows).status_code == 200
    heats = meet.organiser.get("heats").json()["heats"]
    meet.heats = [next(one for one in heats if one["event_name"].startswith("Mixed"))]
    seen = meet.organiser.get("crew").headers["ETag"]
    meet.posts = {umpire: new_id()}
    plan = {"posts": [a_post(meet.posts[umpire], meet[umpire].id)]}
    assert meet.organiser.put("crew", plan, etag=seen).status_code == 200
    meet.start()
    report = meet.report(by=umpire)
    assert meet.rule(report["case"]).status_code == 201
    for sheet in SIZES:
        insist_readable(file_of(meet, f"cases/{report['case']}", paper=sheet))


def test_pictures_are_large_and_keep_their_sides_two_a_page_at_most(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report()
    shapes = ((1200, 900), (600, 1600), (1600, 400), (60, 40), (900, 900))
    for width, height in shapes:
        address = f"reports/{report['id']}/pictures/{new_id()}"
        content = saved(drawn(width, height), "JPEG")
        headers = {"Content-Type": "image/jpeg"}
        assert meet.umpire.put(address, content=content, headers=headers).status_code == 201
    pdf = file_of(meet, f"cases/{report['case']}")
    insist_readable(pdf)
    rows = run_tool("pdfimages", "-list", "-", pdf=pdf).decode().splitlines()[2:]
    found = [row.split() for row in rows]
    assert sorted((int(one[3]), int(one[4])) for one in found) == sorted(shapes)
    assert {one[8] for one in found} == {"jpeg"}
    pages = [one[0] for one in found]
    assert max(pages.count(page) for page in pages) <= 2
    for one in found:
        assert abs(int(one[12]) - int(one[13])) <= 1, one  # dots an inch, along and across
        inches = max(int(one[3]) / int(one[12]), int(one[4]) / int(one[13]))
        assert inches > 3 or int(one[3]) == 60


def test_names_and_words_in_all_scripts_are_printed(meet: MeetAtHand) -> None:
    names = ("جميلة الميناء", "वेला शंखतटे", "Ծովախորշ", "Λυδία Κοραλλίδου")
    for name in names:
        add_official(meet, name, "umpire")
    meet.start()
    seen = meet.organiser.get("crew").headers["ETag"]
    posts = {name: new_id() for name in names}
    places = [a_post(posts[name], meet[name].id) for name in names]
    assert meet.organiser.put("crew", {"posts": places}, etag=seen).status_code == 200
    meet.posts = posts
    for name in names:
        report = meet.report(by=name, words=f"{name} saw it.")
    pdf = file_of(meet, f"cases/{report['case']}")
    words = one_line(pdf)
    assert "Could not be printed" not in words
    for name in names[1:]:  # of right-to-left text each reader of PDFs has its own order
        assert name.split()[0] in words, name


ERASURES = (
    "UPDATE reports SET words = '' WHERE meet_id = :meet",
    "UPDATE rulings SET reasons = '' WHERE meet_id = :meet",
    "UPDATE officials SET name = '' WHERE meet_id = :meet",
    "DELETE FROM picture_copies WHERE picture_id IN "
    "(SELECT min(id) FROM pictures WHERE meet_id = :meet)",
    "UPDATE picture_copies SET content = :nothing WHERE picture_id IN "
    "(SELECT id FROM pictures WHERE meet_id = :meet)",
    "DELETE FROM record_bodies WHERE meet_id = :meet AND seq IN (SELECT seq FROM record_entries "
    "WHERE meet_id = :meet AND kind IN ('report written', 'picture added', 'ruling'))",
)


def _erase(meet: MeetAtHand) -> None:
    """What erasing leaves: entries without bodies, empty texts beside them, and the entry that says
    so; here one of before, which says nothing of what it leaves.
    """
    engines = open_engines(meet.service.database_url)
    with engines.writing.begin() as conn:
        for statement in ERASURES:
            conn.execute(text(statement), {"meet": meet.id, "nothing": b""})
    engines.dispose()

    def say(unit: Unit) -> Done[None]:
        gone = list(range(1, head_of(unit.conn, unit.meet_id).size + 1))
        told = {"because": "kept long enough", "by": "the games committee", "entries": gone}
        return Done(None, Deed(Kind.ERASED, meet.id, told))

    meet.service.store.act_now(MeetId(meet.id), SERVER, say)


def test_what_was_erased_is_empty_and_the_file_is_drawn_all_the_same(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report(words="Seen from the third row.")
    for width in (60, 61):
        address = f"reports/{report['id']}/pictures/{new_id()}"
        headers = {"Content-Type": "image/jpeg"}
        added = meet.umpire.put(address, content=saved(drawn(width), "JPEG"), headers=headers)
        assert added.status_code == 201, added.text
    assert meet.rule(report["case"]).status_code == 201
    _erase(meet)
    pdf = file_of(meet, f"cases/{report['case']}")
    insist_readable(pdf)
    words = one_line(pdf)
    assert "Seen from the third row." not in words
    erased = r"What this entry said.{0,80} was erased on .{0,60} the games committee"
    assert re.search(erased, words)
    assert words.count("This picture has been erased.") == 2


def test_an_entry_that_was_erased_says_when_by_whom_and_for_what(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report(words="As umpire I saw it.")
    wanted = Wanted("the time is over", "Orla Organiser", official=meet.umpire.id)
    actor = Actor("server")
    meet.service.store.act_now(MeetId(meet.id), actor, erase(wanted))
    words = WITHOUT_TIMES.sub("", one_line(file_of(meet, f"cases/{report['case']}")))
    said = re.search(r"Report 1 was written\. What this entry said was erased on (.{40})", words)
    assert said is not None, words
    assert "by Orla Organiser, for: the time is over." in words


def test_before_the_jury_decides_it_is_told_who_voted_and_not_how(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    _chair, second, _third = a_panel(meet, lodged)
    assert cast(meet, lodged, second, "rejected").status_code == 201
    words = one_line(file_of(meet, f"appeals/{lodged['id']}"))
    assert "A member of the jury voted" in words
    assert "What it would move if what is asked for is granted" in words
    content = meet.referee.get(f"appeals/{lodged['id']}/file.zip").content
    with ZipFile(BytesIO(content)) as opened:
        lines = [json.loads(line) for line in opened.read("record.jsonl").splitlines()[:-1]]
    cast_votes = [
        json.loads(line["body"])
        for line in lines
        if json.loads(line["entry"])["kind"] == "vote cast"
    ]
    assert len(cast_votes) == 1
    assert "vote" not in cast_votes[0]


def test_after_it_the_decision_tells_the_votes_and_what_it_moves(meet: MeetAtHand) -> None:
    lodged = an_upheld_appeal(meet)
    words = one_line(file_of(meet, f"appeals/{lodged['id']}"))
    assert "votes: 3 for, 0 against; quorum" in words
    assert "What is ordered" in words
    assert "What this moves" in words
    assert "The video settles it." in words


def test_windows_of_the_heat_stand_in_it_with_their_state(meet: MeetAtHand) -> None:
    ruling: Json = an_announced_disqualification(meet)
    words = one_line(file_of(meet, f"cases/{ruling['case']}"))
    assert re.search(r"protest announcement 1 .* TR8\.2 open", words)


@pytest.mark.parametrize("ending", ["file.pdf", "file.zip"])
def test_one_file_is_drawn_up_after_another(played: TwoCases, ending: str) -> None:
    """A file holds its pictures several times over meanwhile."""
    meet = played.meet
    address = f"/api/meets/{meet.id}/{played.a.address('cases', ending)}"
    headers = {"Authorization": f"Bearer {meet.referee.token}"}
    with looking_at(meet.service) as looks:
        answers = ask_at_once(meet.service, [address] * 3, headers=headers)
    assert [one.status_code for one in answers] == [200] * 3
    assert looks.count >= 3
    assert looks.at_once == 1
