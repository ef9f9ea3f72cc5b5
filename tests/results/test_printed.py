"""An announcement as JSON, CSV, text and PDF: the same facts, harmless wherever they are opened."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from hashlib import sha256

import pytest
import rfc8785
from pypdf import PdfReader

from app.clock import in_zone
from app.ids import CaseId, PostId, TeamId, new_id
from app.results.announcement_wire import KNOWN_LATER
from app.results.printing import parted_ties
from app.results.wire import BlockersOut, ResultLineOut
from app.results.wording import at_time
from app.rules.placing import FinishStatus
from tests.builders import Json, MeetAtHand, a_meet, a_problem, all_heats
from tests.forms.pdf_reading import read_text
from tests.running import Service

DESPITE = "The post at the first zone has no telephone."


@pytest.fixture
def announced(meet: MeetAtHand) -> Json:
    """The first heat: lane 4 disqualified, lane 3 noted, lane 1 not started, a tie at the top."""
    one_step = {"seen": "lane_infringement", "on_bend": "yes", "inner_line": "yes", "steps": 1}
    observed = one_step | {"distance_gained": "no", "other_team_impeded": "no"}
    meet.rule(meet.report(lane=4)["case"])
    meet.rule(meet.report(lane=3, observation=observed)["case"])
    rows = ["1,DNS", "2,42.10", "3,42.10", "4,42.00", "5,42.501", "6,43.00", "7,DNF", "8,44.00"]
    assert meet.load_result(content="\n".join(["lane,time", *rows])).status_code == 201
    told = meet.announce(despite=DESPITE, remark="Lane 4 after the referee's ruling")
    assert told.status_code == 201, told.text
    return dict(told.json())


def shown(meet: MeetAtHand, announced: Json, kind: str, **query: str) -> bytes:
    address = f"/api/meets/{meet.id}/announcements/{announced['id']}.{kind}"
    answer = meet.service.http.get(address, params=query or None)
    assert answer.status_code == 200, answer.text
    return answer.content


def rows_of(content: bytes) -> Iterator[dict[str, str]]:
    return iter(csv.DictReader(io.StringIO(content.decode(), newline="")))


def test_everybody_reads_what_was_announced(meet: MeetAtHand, announced: Json) -> None:
    told = meet.service.http.get(
        f"/api/meets/{meet.id}/announcements/{announced['id']}.json"
    ).json()
    assert told == announced
    assert told["abbreviations"] == {
        "DNS": "did not start",
        "DNF": "did not finish",
        "DQ": "disqualified, with the rule",
        "L": "lane infringement without disqualification",
    }


def test_the_csv_is_read_by_any_csv_reader(meet: MeetAtHand, announced: Json) -> None:
    content = shown(meet, announced, "csv")
    rows = [(row["place"], row["lane"], row["time"], row["annotation"]) for row in rows_of(content)]
    assert rows == [
        ("1", "2", "42.10", ""),
        ("1", "3", "42.10", "L"),
        ("3", "5", "42.51", ""),
        ("4", "6", "43.00", ""),
        ("5", "8", "44.00", ""),
        ("", "7", "", "DNF"),
        ("", "4", "", "DQ TR24.7"),
        ("", "1", "", "DNS"),
    ]
    # RFC 4180, 2.1: lines end with CRLF.
    assert content.count(b"\r\n") == content.count(b"\n") == 9


def test_the_text_can_be_read_aloud(meet: MeetAtHand, announced: Json) -> None:
    lines = shown(meet, announced, "txt").decode().splitlines()
    assert lines[0].startswith("Result for Women 4x100 m no ")
    assert re.fullmatch(
        r"Harbour Relays, \d+ [A-Z][a-z]+ 20\d\d\. Announcement 1, made at \d\d:\d\d:\d\d CES?T\.",
        lines[1],
    )
    assert "Equal first, Gull 1, 42.10." in lines
    assert "Equal first, Heron 1, 42.10. Lane infringement noted, TR17.2.1." in lines
    assert (
        "Disqualified: Plover 1, lane 4, by rule TR24.7: "
        "pass completed beyond the take-over zone, take-over 1." in lines
    )
    assert "Tern 1, lane 1, did not start." in lines
    assert "Dunlin 1, lane 7, did not finish." in lines
    assert (
        "This result is announced although the heat was not marked as started "
        "and two posts had not reported." in lines
    )
    assert lines[-1].startswith("Protests can be lodged until ")


def test_an_amended_result_says_so(meet: MeetAtHand, announced: Json) -> None:
    address = f"heats/{meet.heat()}/result"
    seen = meet.desk.get(address)
    times = "\n".join(["lane,time", *(f"{lane},4{lane}.00" for lane in range(1, 9))])
    assert meet.desk.put(address, content=times, etag=seen.headers["ETag"]).is_success
    second = meet.announce(despite=DESPITE, remark="Times corrected").json()
    text = shown(meet, second, "txt")
    assert text.startswith(b"Amended result for ")
    assert b"Changed: Tern 1, lane 1: place 1, 41.00; before: did not start." in text
    sheet = " ".join(read_text(shown(meet, second, "pdf")).split())
    assert "Amended result" in sheet
    assert "Changed: Tern 1, lane 1: place 1, 41.00; before: DNS." in sheet


def test_a_sheet_of_the_same_result_says_that_it_was_announced_again(
    meet: MeetAtHand, announced: Json
) -> None:
    first = " ".join(read_text(shown(meet, announced, "pdf")).split())
    assert "announced again" not in first
    second = meet.announce(despite=DESPITE, remark="It was not heard").json()
    sheet = " ".join(read_text(shown(meet, second, "pdf")).split())
    assert "Result, announced again" in sheet
    assert "Amended" not in sheet


def test_every_row_of_the_csv_says_of_which_announcement_it_is(
    meet: MeetAtHand, announced: Json
) -> None:
    for row in rows_of(shown(meet, announced, "csv")):
        assert row["meet"] == "Harbour Relays"
        assert row["event"].startswith("Women 4x100 m no ")
        assert (row["round"], row["heat"], row["announcement"]) == ("heats", "1", "1")
        assert row["announced_at"] == announced["announced_at_local"]
        assert row["superseded_by"] == ""


def test_a_superseded_announcement_says_so_wherever_it_is_read_again(
    meet: MeetAtHand, announced: Json
) -> None:
    meet.announce(despite=DESPITE, remark="Times corrected")
    last = meet.announce(despite=DESPITE, remark="Times corrected again").json()
    first, third = (datetime.fromisoformat(one["announced_at"]) for one in (announced, last))
    aloud = f"Superseded by announcement 3, made {at_time(third, first, 'Europe/Paris')}."
    assert shown(meet, announced, "txt").decode().startswith(aloud)
    words = f"Superseded by announcement 3, made {last['announced_at_local']}."
    assert words in " ".join(read_text(shown(meet, announced, "pdf")).split())
    rows = list(rows_of(shown(meet, announced, "csv")))
    assert {row["superseded_by"] for row in rows} == {"3"}
    told = json.loads(shown(meet, announced, "json"))
    assert told["superseded_by"] == {
        "id": last["id"],
        "number": 3,
        "announced_at": last["announced_at"],
        "announced_at_local": last["announced_at_local"],
    }
    assert (told["final_since"], told["pending"]) == (None, [])
    assert {name: told[name] for name in told if name not in KNOWN_LATER} == {
        name: announced[name] for name in announced if name not in KNOWN_LATER
    }
    assert json.loads(shown(meet, last, "json"))["superseded_by"] is None
    assert b"Superseded" not in shown(meet, last, "txt")


def test_what_was_signed_says_nothing_of_later_announcements(
    meet: MeetAtHand, announced: Json
) -> None:
    # RFC 8785 by the library rfc8785, SHA-256 by the standard library.
    meet.announce(despite=DESPITE, remark="Times corrected")
    told = json.loads(shown(meet, announced, "json"))
    lines = map(json.loads, meet.referee.get("record").text.splitlines()[:-1])
    [body] = [json.loads(line["body"]) for line in lines if announced["id"] in line["entry"]]
    signed = body["statement"]
    assert sha256(rfc8785.dumps(signed)).hexdigest() == told["statement_digest"]
    assert body["statement_sha256"] == told["statement_digest"]
    # Nobody can be shown before it is stored when that is, nor what is counted from it.
    of_storing = {"announced_at", "announced_at_local", "entered_at", "windows"}
    assert {name: body[name] for name in of_storing} == {name: told[name] for name in of_storing}
    assert signed["announced_at"] is None
    assert [one["closes_at"] for one in signed["windows"]] == [None] * len(told["windows"])
    renamed = {"id": "announcement", "announced_by": "official"}
    said = {renamed.get(name, name): told[name] for name in told if name not in KNOWN_LATER}
    fixed = said.keys() - of_storing - {"statement_digest"}
    assert {name: signed[name] for name in fixed} == {name: said[name] for name in fixed}


def test_teams_parted_within_the_same_time_are_explained(meet: MeetAtHand) -> None:
    rows = ["1,DNS,", "2,42.10,2", "3,42.10,1", "4,42.10,3", "5,43.00,", "6,43.00,", "7,DNF,"]
    sent = "\n".join(["lane,time,place", *rows, "8,44.00,"])
    assert meet.load_result(content=sent).status_code == 201
    told = meet.announce(despite=DESPITE).json()
    words = "Lanes 3, 2 and 4, 42.10: placed by photo finish."
    assert words in shown(meet, told, "txt").decode().splitlines()
    sheet = " ".join(read_text(shown(meet, told, "pdf")).split())
    assert words in sheet
    assert "43.00: placed by" not in sheet


def a_placed_line(place: int, thousandths: int, lane: int) -> ResultLineOut:
    return ResultLineOut(
        place=place,
        lane=lane,
        bib="",
        team=TeamId(new_id()),
        team_name="Tern",
        affiliation="",
        status=FinishStatus.FINISHED,
        thousandths=thousandths,
        time="42.35",
        annotation="",
        reason="",
    )


def test_thousandths_that_part_the_same_shown_time_are_named() -> None:
    """World Athletics TR19, from memory: thousandths part what hundredths leave equal."""
    lines = [a_placed_line(1, 42341, 4), a_placed_line(2, 42345, 6), a_placed_line(2, 42345, 7)]
    assert list(parted_ties(lines)) == [
        "Lanes 4, 6 and 7, 42.35: placed by thousandths of a second."
    ]
    assert list(parted_ties(lines[1:])) == []


@pytest.mark.parametrize(
    ("posts", "cases", "words", "spoken"),
    [
        (1, 0, "1 silent post", "one post had not reported"),
        (
            2,
            1,
            "2 silent posts and 1 open case",
            "two posts had not reported and one case awaited a ruling",
        ),
        (0, 12, "12 open cases", "12 cases awaited a ruling"),
        (0, 0, "", ""),
    ],
)
def test_what_stands_in_the_way_is_counted_in_true_plurals(
    posts: int, cases: int, words: str, spoken: str
) -> None:
    blockers = BlockersOut(
        silent_posts=[PostId(new_id()) for _ in range(posts)],
        open_cases=[CaseId(new_id()) for _ in range(cases)],
    )
    assert (blockers.words, blockers.aloud) == (words, spoken)


@pytest.mark.parametrize(("paper", "height"), [("A4", 841.89), ("letter", 792.0)])
def test_the_sheet_prints_on_either_paper(
    meet: MeetAtHand, announced: Json, paper: str, height: float
) -> None:
    pdf = PdfReader(io.BytesIO(shown(meet, announced, "pdf", paper=paper)))
    assert float(pdf.pages[0].mediabox.height) == pytest.approx(height, abs=0.5)
    text = pdf.pages[0].extract_text()
    for words in ("DQ TR24.7", "Gull 1", DESPITE[:20]):
        assert words in text, words


def test_a_name_that_looks_like_a_formula_is_no_formula_in_the_csv(service: Service) -> None:
    # OWASP, CSV Injection; OWASP ASVS 5.0, 1.2.10. Start lists refuse the plain = + - @; some
    # spreadsheets take their full-width forms for them.
    hand = a_meet(service, roles=("results",), umpires=(), heats=1)
    rows = (
        'event,round,heat,lane,team,affiliation\n4x100 m,final,1,2,"Tern, ""A""",Club\n'
        "4x100 m,final,1,3,\uff1dGull,\uff0b1\n4x100 m,final,1,4,Żuraw,\uff20Club\n"
    )
    assert hand.organiser.post("start-lists", content=rows).status_code == 200
    hand.heats = [heat for heat in all_heats(hand) if heat["event_name"] == "4x100 m"]
    hand.load_result()
    told = hand.announce(despite=DESPITE).json()
    found = list(rows_of(shown(hand, told, "csv")))
    assert [row["team"] for row in found] == ['Tern, "A"', "'\uff1dGull", "Żuraw"]
    assert [row["affiliation"] for row in found] == ["Club", "'\uff0b1", "'\uff20Club"]


def test_an_unknown_announcement_or_kind_is_refused(meet: MeetAtHand, announced: Json) -> None:
    address = f"/api/meets/{meet.id}/announcements/{announced['id']}"
    for kind in ("doc", "JSON", "json.csv"):
        assert meet.service.http.get(f"{address}.{kind}").status_code in {405, 422}, kind
    a_problem(meet.service.http.get(f"{address}.doc"), 405, "method-not-allowed")
    a_problem(meet.desk.get(f"announcements/{new_id()}.csv"), 404, "not-found")
    a_problem(meet.desk.get("announcements/nothing.json"), 422, "malformed")


def test_a_sheet_says_at_which_local_time_it_was_printed(service: Service) -> None:
    """What it says of windows and of later announcements was so then."""
    meet = a_meet(service)
    start = (service.clock.now() + timedelta(days=1)).replace(
        hour=9, minute=0, second=0, microsecond=0
    )
    service.clock.stand_at(start)
    meet.load_result(content="\n".join(["lane,time", *(f"{n},4{n}.00" for n in range(1, 9))]))
    told = meet.announce(despite=DESPITE).json()
    first = shown(meet, told, "pdf")
    assert f"Sealed: {in_zone(start, 'Europe/Paris')}" in read_text(first)
    service.clock.stand_at(start + timedelta(minutes=5))
    assert shown(meet, told, "pdf") == first  # nothing of it has changed
    later = start + timedelta(minutes=35)
    service.clock.stand_at(later)
    text = read_text(shown(meet, told, "pdf"))
    assert f"Sealed: {in_zone(later, 'Europe/Paris')}" in text
    assert f"sealed {in_zone(later, 'Europe/Paris')}" in text


def test_the_sheet_says_one_minute_as_people_do(service: Service) -> None:
    hand = a_meet(service, heats=1, terms={"protest_minutes": 1})
    hand.start()
    hand.load_result()
    told = hand.announce(despite="Nobody called.").json()
    sheet = service.http.get(f"/api/meets/{hand.id}/announcements/{told['id']}.pdf").content
    text = " ".join(read_text(sheet).split())
    assert "1 minute" in text
    assert "1 minutes" not in text
