"""An announcement as JSON, CSV, text and PDF: the same facts, harmless wherever they are opened."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import pytest
from pypdf import PdfReader

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet, a_problem, all_heats
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
        ("3", "5", "42.501", ""),
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
    assert "First, Gull 1, 42.10." in lines
    assert "First, Heron 1, 42.10. A lane infringement was noted." in lines
    assert (
        "Disqualified: Plover 1, lane 4, by rule TR24.7: pass completed beyond the take-over zone."
        in lines
    )
    assert "Tern 1, lane 1, did not start." in lines
    assert "Dunlin 1, lane 7, did not finish." in lines
    assert "This result is announced while reports are still awaited." in lines
    assert lines[-1].startswith("Protests can be lodged until ")


def test_an_amended_result_says_so(meet: MeetAtHand, announced: Json) -> None:
    second = meet.announce(despite=DESPITE, remark="Times corrected").json()
    assert shown(meet, second, "txt").startswith(b"Amended result for ")


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
    told = hand.announce().json()
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
