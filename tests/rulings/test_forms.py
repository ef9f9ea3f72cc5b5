"""The printed form of a ruling over HTTP: on either paper, and the same whenever it is printed."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from hashlib import sha256
from zoneinfo import ZoneInfo

import pytest
import rfc8785
from hypothesis import given
from hypothesis.strategies import builds, floats, just, lists
from pypdf import PdfReader
from sqlalchemy import text

from app.forms.infringement_form import FormFacts, ZoneMark, ZonePicture
from app.forms.paper import Paper
from app.ids import new_id
from app.rulings.form import FACTS, as_told
from app.store.engine import open_engines
from tests.builders import (
    Json,
    MeetAtHand,
    a_meet,
    a_meet_document,
    a_phone_clock,
    a_post,
    a_problem,
    a_report,
    a_start_list,
)
from tests.forms.pdf_reading import read_text
from tests.running import Service

# ISO 216: A4 is 210 mm × 297 mm. ANSI/ASME Y14.1: size A is 8.5 in × 11 in. 72 points an inch.
SIZES = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}


# Positions and zones are measured: their numbers are finite.
METRES = floats(allow_nan=False, allow_infinity=False)
MARKS = lists(builds(ZoneMark, metres=METRES, uncertainty=METRES)).map(tuple)
ZONES = builds(ZonePicture, length_m=METRES, leg_line_m=METRES, acceleration_m=METRES, marks=MARKS)


def form(meet: MeetAtHand, ruling: str, **query: str) -> PdfReader:
    answer = meet.referee.get(f"rulings/{ruling}/form.pdf", params=query)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert f"{ruling}.pdf" in answer.headers["content-disposition"]
    return PdfReader(io.BytesIO(answer.content))


@pytest.mark.parametrize("paper", sorted(SIZES))
@pytest.mark.parametrize("written", [str, str.lower, str.title], ids=["plain", "small", "title"])
def test_the_form_fits_its_paper_however_that_is_written(
    meet: MeetAtHand, paper: str, written: Callable[[str], str]
) -> None:
    ruling = meet.rule(meet.report()["case"]).json()["id"]
    page = form(meet, ruling, paper=written(paper)).pages[0]
    size = (float(page.mediabox.width), float(page.mediabox.height))
    assert size == pytest.approx(SIZES[paper], abs=0.5)


def test_the_form_is_on_a4_unless_asked_otherwise(meet: MeetAtHand) -> None:
    page = form(meet, meet.rule(meet.report()["case"]).json()["id"]).pages[0]
    assert float(page.mediabox.height) == pytest.approx(SIZES["A4"][1], abs=0.5)


def test_the_form_says_what_was_ruled_by_whom_and_by_which_rule(meet: MeetAtHand) -> None:
    ruling = meet.rule(meet.report()["case"], reasons="Seen clearly by two umpires.").json()
    text = "\n".join(page.extract_text() for page in form(meet, ruling["id"]).pages)
    for words in ("DQ TR24.7", "Plover 1", "Seen clearly by two umpires.", "referee"):
        assert words in text, words
    assert ruling["statement_digest"][:16] in text.replace("\n", "").replace(" ", "")


def words_of(meet: MeetAtHand, ruling: str, paper: Paper = Paper.A4) -> str:
    """The form's text in one line, without the time of printing and the record's head of then."""
    answer = meet.referee.get(f"rulings/{ruling}/form.pdf", params={"paper": paper.value})
    words = " ".join(read_text(answer.content).split())
    words = re.sub(r"(P|p)rinted:? \d{4}-\d\d-\d\d [\d:]+ \w+ \(\S+\)", "", words)
    return re.sub(r"Record head \d+ · (\w{4} ?){4}", "", words)


def accepted(meet: MeetAtHand, address: str, document: Json) -> None:
    etag = meet.organiser.get(address).headers["ETag"]
    answer = meet.organiser.put(address, document, etag=etag)
    assert answer.status_code == 200, answer.text


def change_everything_but_the_ruling(hand: MeetAtHand, late: str) -> None:
    """New crew plan under the same post ids, start list, meet, names, and a report moved away."""
    posts = [
        a_post(hand.posts["umpire"], hand["umpire"].id, take_over=3, edge="start", lanes=[1, 2]),
        a_post(hand.posts["second"], hand["second"].id, take_over=2, lanes=[4, 7]),
    ]
    accepted(hand, "crew", {"posts": posts})
    redrawn = a_start_list().replace(",104", ",977").replace("Club 4", "Another Club")
    loaded = hand.organiser.post("start-lists", content=redrawn)
    assert loaded.status_code == 200, loaded.text
    lanes = hand.referee.get(f"heats/{hand.heat()}").json()["lanes"]
    assert [(line["bib"], line["affiliation"]) for line in lanes if line["lane"] == 4] == [
        ("977", "Another Club")
    ]
    organiser = {"id": hand.organiser.id, "name": hand.organiser.name}
    renamed = a_meet_document(name="Renamed Meet", venue="Elsewhere", organiser=organiser)
    accepted(hand, f"/api/meets/{hand.id}", renamed)
    for person in (hand.referee, hand.umpire):
        role = "referee" if person is hand.referee else "umpire"
        accepted(hand, f"officials/{person.id}", {"name": "Somebody Else", "roles": [role]})
    written = hand["second"].put(
        f"reports/{late}", a_report(hand.heat(), hand.posts["second"], lane=5)
    )
    assert written.status_code == 201, written.text


@pytest.mark.parametrize("paper", list(Paper))
def test_the_form_stays_as_it_was_at_the_ruling_whatever_changes_later(
    service: Service, paper: Paper
) -> None:
    hand = a_meet(service)
    late = new_id()
    hand.call("yellow", by="second", lane=4, report=late)
    ruling = hand.rule(hand.report()["case"]).json()["id"]
    before = words_of(hand, ruling, paper)
    assert "no written account before the ruling" in before
    for words in ("Harbour Relays", "Tidewater Stadium", "Club 4", "104", "take-over 1, end"):
        assert words in before, words
    change_everything_but_the_ruling(hand, late)
    assert words_of(hand, ruling, paper) == before


def test_what_the_form_tells_is_part_of_what_was_signed(service: Service) -> None:
    # RFC 8785 by the library rfc8785, SHA-256 by the standard library.
    hand = a_meet(service)
    ruling = hand.rule(hand.report()["case"], reasons="Seen clearly by two umpires.").json()
    engines = open_engines(service.database_url)
    with engines.writing.connect() as conn:
        stored = text("SELECT form_facts, statement FROM rulings WHERE id = :ruling")
        facts, statement = (
            json.loads(column) for column in conn.execute(stored, {"ruling": ruling["id"]}).one()
        )
    engines.dispose()
    assert facts["ruling_reasons"] == "Seen clearly by two umpires."
    # All but when it was stored: what is signed is shown before that.
    shown = {name: facts[name] for name in facts.keys() - {"date", "ruled_at"}}
    assert len(shown) == len(facts) - 2
    assert statement["form_sha256"] == sha256(rfc8785.dumps(shown)).hexdigest()
    assert ruling["statement_digest"] == sha256(rfc8785.dumps(statement)).hexdigest()
    told = hand.referee.get("record").text
    assert statement["form_sha256"] in told


def test_a_form_gives_the_time_by_the_servers_clock_before_the_phones(meet: MeetAtHand) -> None:
    clock = a_phone_clock(at="2026-06-13T12:00:04.700Z", offset_ms=-4700, error_ms=41)
    ruling = meet.rule(meet.report(clock=clock)["case"]).json()["id"]
    words = (
        "written: 2026-06-13 14:00:00 CEST (the phone showed 14:00:04 CEST, ahead of the server "
        "by 4.70 s ±0.05 s)"
    )
    assert words in words_of(meet, ruling)


def test_a_form_says_that_a_phones_clock_was_never_compared(meet: MeetAtHand) -> None:
    clock = {"at": "2026-06-13T12:00:00Z"}
    ruling = meet.rule(meet.report(clock=clock)["case"]).json()["id"]
    words = "14:00:00 CEST (by the phone's clock, which was not compared with the server's)"
    assert words in words_of(meet, ruling)


def test_a_phone_that_was_a_day_off_is_shown_with_its_day(meet: MeetAtHand) -> None:
    clock = a_phone_clock(at="2026-06-12T12:00:00Z", offset_ms=86_400_000, error_ms=40)
    ruling = meet.rule(meet.report(clock=clock)["case"]).json()["id"]
    words = "written: 2026-06-13 14:00:00 CEST (the phone showed 2026-06-12 14:00:00 CEST, behind"
    assert words in words_of(meet, ruling)


def asked_back(meet: MeetAtHand, report: str, question: str) -> None:
    """The referee returns a report to its umpire."""
    etag = meet.umpire.get(f"reports/{report}").headers["ETag"]
    sent = {"reason": question}
    assert meet.referee.post(f"reports/{report}/return", sent, etag=etag).status_code == 200


def written_again(meet: MeetAtHand, report: str, words: str) -> None:
    """Its umpire answers a returned report with another account."""
    etag = meet.umpire.get(f"reports/{report}").headers["ETag"]
    sent = a_report(meet.heat(), meet.posts["umpire"], words=words)
    assert meet.umpire.put(f"reports/{report}", sent, etag=etag).status_code == 200


def times_in_record(meet: MeetAtHand, report: str) -> list[str]:
    """When something was done with a report, by the record's export, in the meet's zone."""
    lines = [json.loads(line) for line in meet.referee.get("record").text.splitlines()[:-1]]
    entries = [json.loads(line["entry"]) for line in lines]
    at = (datetime.fromisoformat(one["at"]) for one in entries if one["subject"] == report)
    return [f"{one.astimezone(ZoneInfo('Europe/Paris')):%Y-%m-%d %H:%M:%S %Z}" for one in at]


def test_a_form_says_that_a_report_was_returned_and_written_again(meet: MeetAtHand) -> None:
    report = meet.report(words="Seen from the stand.")
    asked_back(meet, report["id"], "Which foot was outside?")
    written_again(meet, report["id"], "The left foot.")
    asked_back(meet, report["id"], "By how much?")
    written_again(meet, report["id"], "The left foot, by a shoe's length.")
    words = words_of(meet, meet.rule(report["case"]).json()["id"])
    _, first, first_answer, second, second_answer = times_in_record(meet, report["id"])
    for told in (
        f"Returned: {first} · by: referee · asked: Which foot was outside? · "
        f"written again {first_answer}",
        f"Returned: {second} · by: referee · asked: By how much? · written again {second_answer}",
        "The left foot, by a shoe's length.",
    ):
        assert told in words, told


def test_a_form_says_that_a_returned_report_awaited_its_account(meet: MeetAtHand) -> None:
    report = meet.report(by="second")
    asked = meet.report()
    asked_back(meet, asked["id"], "Which foot was outside?")
    infringement = "pass_completed_beyond_zone"
    ruling = meet.rule(report["case"], infringement=infringement).json()["id"]
    told = "asked: Which foot was outside? · not written again before the ruling"
    assert told in words_of(meet, ruling)
    written_again(meet, asked["id"], "The left foot.")
    assert told in words_of(meet, ruling)


def test_a_form_says_that_a_returned_report_was_withdrawn(meet: MeetAtHand) -> None:
    report = meet.report()
    asked_back(meet, report["id"], "Which foot was outside?")
    etag = meet.umpire.get(f"reports/{report['id']}").headers["ETag"]
    reason = {"reason": "It was another lane."}
    meet.umpire.post(f"reports/{report['id']}/withdraw", reason, etag=etag)
    words = words_of(meet, meet.rule(report["case"], verdict="dismissed").json()["id"])
    withdrawn = times_in_record(meet, report["id"])[2]
    assert f"asked: Which foot was outside? · withdrawn {withdrawn}" in words


def test_a_form_of_a_report_that_was_never_returned_says_nothing_of_it(meet: MeetAtHand) -> None:
    assert "Returned" not in words_of(meet, meet.rule(meet.report()["case"]).json()["id"])


def test_a_question_that_was_erased_from_the_record_leaves_the_return_on_the_form(
    service: Service,
) -> None:
    hand = a_meet(service)
    report = hand.report()
    asked_back(hand, report["id"], "Which foot was outside?")
    written_again(hand, report["id"], "The left foot.")
    engines = open_engines(service.database_url)
    with engines.writing.begin() as conn:
        of_meet = {"meet": hand.id}
        conn.execute(text("DELETE FROM record_bodies WHERE meet_id = :meet"), of_meet)
    engines.dispose()
    words = words_of(hand, hand.rule(report["case"]).json()["id"])
    assert "by: referee · written again" in words


def test_a_dismissed_ruling_says_no_disqualification_in_the_words_of_its_form(
    meet: MeetAtHand,
) -> None:
    ruling = meet.rule(meet.report()["case"], verdict="dismissed").json()
    assert ruling["effect"] == "no disqualification"
    assert ruling["effect"] in words_of(meet, ruling["id"])


def test_a_dismissed_and_a_reconsidered_ruling_have_their_forms_too(meet: MeetAtHand) -> None:
    case = meet.report(lane=9)["case"]
    dismissed = meet.rule(case, verdict="dismissed").json()
    again = meet.rule(case, verdict="dismissed", reconsiders=dismissed["id"]).json()
    assert "no longer stands" in words_of(meet, dismissed["id"])
    assert "(dismissed, no disqualification) replaces it." in words_of(meet, dismissed["id"])
    assert "It replaces the ruling of " in words_of(meet, again["id"])
    assert "(dismissed, no disqualification)." in words_of(meet, again["id"])
    assert "no longer stands" not in words_of(meet, again["id"])


def two_take_overs(service: Service) -> MeetAtHand:
    """A meet whose umpires watch the ends of the first and of the third zone, both for lane 4."""
    hand = a_meet(service)
    posts = [
        a_post(hand.posts["umpire"], hand["umpire"].id),
        a_post(hand.posts["second"], hand["second"].id, take_over=3),
    ]
    accepted(hand, "crew", {"posts": posts})
    return hand


def test_a_case_of_two_take_overs_has_a_drawing_of_each(service: Service) -> None:
    hand = two_take_overs(service)
    hand.report(by="second")
    case = hand.report()["case"]
    words = words_of(hand, hand.rule(case).json()["id"])
    first, third = "Zone of take-over 1, drawn to scale", "Zone of take-over 3, drawn to scale"
    by_umpire, by_second = "zone, seen by umpire", "zone, seen by second"
    places = [words.index(one) for one in (first, by_umpire, third, by_second)]
    assert places == sorted(places)
    assert "No zone is drawn" not in words


def test_a_take_over_that_only_a_withdrawn_report_names_has_no_drawing(service: Service) -> None:
    hand = two_take_overs(service)
    case, slip = hand.report()["case"], hand.report(by="second")["id"]
    etag = hand["second"].get(f"reports/{slip}").headers["ETag"]
    hand["second"].post(f"reports/{slip}/withdraw", {"reason": "A slip."}, etag=etag)
    words = words_of(hand, hand.rule(case).json()["id"])
    assert "Zone of take-over 1, drawn to scale" in words
    assert "Zone of take-over 3" not in words


def test_a_position_at_no_take_over_is_told_but_not_drawn(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    meet.report(by="chief_umpire", post=None)
    words = words_of(meet, meet.rule(case).json()["id"])
    assert "The position in report 2 is not drawn, since it names no take-over." in words
    assert "seen by chief_umpire" not in words
    alone = meet.report(by="chief_umpire", post=None, lane=7)["case"]
    infringement = "pass_completed_beyond_zone"
    words = words_of(meet, meet.rule(alone, infringement=infringement).json()["id"])
    assert "No zone is drawn: no report that stands names a take-over." in words


def test_each_official_whose_report_stands_has_a_line_for_ink(service: Service) -> None:
    hand = a_meet(service, umpires=("second", "third"))
    case = hand.report()["case"]
    hand.report(by="second")
    hand.report(words="And another thing.")
    slip = hand.report(by="third")["id"]
    etag = hand["third"].get(f"reports/{slip}").headers["ETag"]
    hand["third"].post(f"reports/{slip}/withdraw", {"reason": "A slip."}, etag=etag)
    words = words_of(hand, hand.rule(case).json()["id"])
    ink = words[words.index("Signatures in ink") :]
    lines = (
        "umpire · Reports 1 and 3 date, time second · Report 2 date, time "
        "referee · Head official date, time Team, for receipt name signature date, time"
    )
    assert ink.startswith(f"Signatures in ink {lines}")


def test_an_unknown_paper_is_refused(meet: MeetAtHand) -> None:
    ruling = meet.rule(meet.report()["case"]).json()["id"]
    answer = meet.referee.get(f"rulings/{ruling}/form.pdf", params={"paper": "papyrus"})
    told = a_problem(answer, 422, "malformed")
    assert told["errors"][0]["pointer"] == "query paper"


@given(builds(FormFacts, zones=lists(ZONES).map(tuple)))
def test_the_stored_facts_are_read_back_as_they_were(facts: FormFacts) -> None:
    written = json.dumps(FACTS.dump_python(facts, mode="json"), allow_nan=False)
    assert FACTS.validate_python(json.loads(written)) == facts


@given(builds(FormFacts, zones=lists(ZONES, max_size=1).map(tuple), zone_note=just("")))
def test_facts_of_before_with_one_zone_or_none_are_still_read(facts: FormFacts) -> None:
    document = FACTS.dump_python(facts, mode="json")
    del document["zone_note"]
    document["zone"] = next(iter(document.pop("zones")), None)
    read = as_told(document)
    if facts.zones:
        assert read == facts
    else:
        assert "do not name one take-over" in read.zone_note
        assert replace(read, zone_note="") == facts


@given(builds(FormFacts))
def test_facts_of_before_name_no_pictures_and_are_still_read(facts: FormFacts) -> None:
    document = FACTS.dump_python(facts, mode="json")
    for report in document["reports"]:
        del report["pictures"]
    assert {report.pictures for report in as_told(document).reports} <= {""}


@given(builds(FormFacts))
def test_facts_of_before_have_lines_for_ink_without_names(facts: FormFacts) -> None:
    document = FACTS.dump_python(facts, mode="json")
    del document["ink_fields"]
    fields = as_told(document).ink_fields
    assert [field.role for field in fields] == ["Umpire", "Head official", "Team, for receipt"]
    assert [field.name for field in fields] == ["", "", ""]


def test_a_form_names_the_case_by_its_number_and_leaves_out_what_came_as_another_report(
    service: Service,
) -> None:
    hand = a_meet(service)
    hand.start()
    hand.call("yellow", lane=4)
    report = hand.report()
    number = hand.case(report["case"])["number"]
    told = words_of(hand, hand.rule(report["case"]).json()["id"], Paper.A4)
    assert f"case {number}, {report['case']}" in told
    assert "no written account" not in told
    assert len(hand.case(report["case"])["reports"]) == 2  # nothing is lost


def test_a_form_of_before_tells_a_reports_digest_apart_from_its_words_now(
    meet: MeetAtHand,
) -> None:
    ruled = meet.rule(meet.report()["case"]).json()
    engines = open_engines(meet.service.database_url)
    with engines.reading.connect() as conn:
        stored = text("SELECT form_facts FROM rulings WHERE id = :ruling")
        facts = json.loads(conn.execute(stored, {"ruling": ruled["id"]}).scalar_one())
    engines.dispose()
    words = "by the phone's own key, with which it was signed at the moment of writing"
    digest = "ab" * 32
    (report,) = facts["reports"]
    for name in ("strength", "statement_sha256", "revoked_from"):
        del report[name]
    report["attested"] = f"{words}; SHA-256 of what was signed {digest}"
    (told,) = as_told(facts).reports
    assert (told.attested, told.statement_sha256, told.strength) == (words, digest, "phone key")
    report["attested"] = "by the server"
    (told,) = as_told(facts).reports
    assert (told.attested, told.statement_sha256, told.strength) == ("by the server", "", "")
