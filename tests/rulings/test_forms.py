"""The printed form of a ruling over HTTP: on either paper, with what was ruled by which rule."""

from __future__ import annotations

import io

import pytest
from pypdf import PdfReader

from tests.builders import MeetAtHand, a_problem

# ISO 216: A4 is 210 mm × 297 mm. ANSI/ASME Y14.1: size A is 8.5 in × 11 in. 72 points an inch.
SIZES = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}


def form(meet: MeetAtHand, ruling: str, **query: str) -> PdfReader:
    answer = meet.referee.get(f"rulings/{ruling}/form.pdf", params=query)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert f"{ruling}.pdf" in answer.headers["content-disposition"]
    return PdfReader(io.BytesIO(answer.content))


@pytest.mark.parametrize("paper", sorted(SIZES))
def test_the_form_fits_its_paper(meet: MeetAtHand, paper: str) -> None:
    page = form(meet, meet.rule(meet.report()["case"]).json()["id"], paper=paper).pages[0]
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


def test_a_dismissed_and_a_reconsidered_ruling_have_their_forms_too(meet: MeetAtHand) -> None:
    case = meet.report(lane=9)["case"]
    dismissed = meet.rule(case, verdict="dismissed").json()
    again = meet.rule(case, verdict="dismissed", reconsiders=dismissed["id"]).json()
    text = "\n".join(page.extract_text() for page in form(meet, dismissed["id"]).pages)
    assert again["id"] in text.replace("\n", "")
    assert form(meet, again["id"]).pages


def test_an_unknown_paper_is_refused(meet: MeetAtHand) -> None:
    ruling = meet.rule(meet.report()["case"]).json()["id"]
    answer = meet.referee.get(f"rulings/{ruling}/form.pdf", params={"paper": "papyrus"})
    told = a_problem(answer, 422, "malformed")
    assert told["errors"][0]["pointer"] == "query paper"
