"""The meet report over HTTP: what is counted, and who sees whose figures."""

from __future__ import annotations

import csv
import io

import pytest

from app.meet_report.telling import COLUMNS
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.forms.pdf_reading import read_text
from tests.running import Service

ALL = ["chief_umpire", "referee"]
NOBODY = ["results", "jury", "organiser"]
PAGE = {"Accept": "text/html"}


def told(meet: MeetAtHand, who: str) -> Json:
    answer = meet[who].get("meet-report")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


@pytest.fixture
def evening(service: Service) -> MeetAtHand:
    """Two umpires; one report of the first was confirmed, one of the second dismissed, and one of
    the second is open. The first heat was announced.
    """
    meet = a_meet(service, umpires=("Bo Halyard",))
    meet.start(0)
    first, second = meet.report(), meet.report(by="Bo Halyard", lane=6)
    assert meet.rule(first["case"]).status_code == 201
    assert meet.rule(second["case"], verdict="dismissed", infringement=None).status_code == 201
    assert meet.call("yellow", lane=3).status_code == 201
    assert meet.load_result(0).status_code == 201
    announced = meet.announce(0, despite="No telephone.")
    assert announced.status_code == 201, announced.text
    meet.start(1)
    meet.report(by="Bo Halyard", heat=1, lane=5)
    return meet


@pytest.mark.parametrize("who", ALL)
def test_the_chief_and_the_referee_see_all_by_official_too(evening: MeetAtHand, who: str) -> None:
    report = told(evening, who)
    whole = report["whole"]
    assert report["whose"] == "all"
    assert (whole["confirmed"], whole["dismissed"]) == (1, 1)
    assert whole["confirmed_share"]["count"] == 1
    assert whole["confirmed_share"]["of"] == 2
    officials = {one["words"] for one in report["tallies"] if one["section"] == "official"}
    assert officials == {"umpire", "Bo Halyard"}


@pytest.mark.parametrize("more", ["official={other}", "whose=all", "section=official"])
def test_no_parameter_asks_for_the_figures_of_somebody_else(evening: MeetAtHand, more: str) -> None:
    other = evening["Bo Halyard"]
    for form in ("", ".csv", ".pdf"):
        asked = evening.umpire.get(f"meet-report{form}?{more.format(other=other.id)}")
        assert asked.status_code == 422, asked.text


def test_an_umpire_sees_nobody_elses_figures(evening: MeetAtHand) -> None:
    other, report = evening["Bo Halyard"], told(evening, "umpire")
    assert report["whose"] == "own"
    assert (report["whole"]["confirmed"], report["whole"]["dismissed"]) == (1, 0)
    assert {one["section"] for one in report["tallies"]}.isdisjoint({"official"})
    assert report["silent_by_official"] == []
    for form in ("", ".csv"):
        assert other.id not in evening.umpire.get(f"meet-report{form}").text
        assert other.name not in evening.umpire.get(f"meet-report{form}").text
    assert other.name not in read_text(evening.umpire.get("meet-report.pdf").content)
    page = evening.umpire.get(f"/meets/{evening.id}/meet-report", headers=PAGE)
    assert page.status_code == 200
    assert other.name not in page.text


@pytest.mark.parametrize("who", NOBODY)
@pytest.mark.parametrize("form", ["", ".csv", ".pdf"])
def test_who_watches_no_zone_is_told_nothing(evening: MeetAtHand, who: str, form: str) -> None:
    a_problem(evening[who].get(f"meet-report{form}"), 403, "role-missing")


def test_own_figures_of_all_umpires_are_those_of_the_whole_crew(evening: MeetAtHand) -> None:
    whole = told(evening, "referee")["whole"]
    own = [told(evening, who)["whole"] for who in ("umpire", "Bo Halyard")]
    for name in ("white", "yellow", "reports", "confirmed", "dismissed", "open", "withdrawn"):
        assert sum(one[name] for one in own) == whole[name], name


def test_one_ruling_on_two_reports_of_a_case_is_counted_once(evening: MeetAtHand) -> None:
    first = evening.report(heat=1, lane=6)
    second = evening.report(by="Bo Halyard", heat=1, lane=6)
    assert first["case"] == second["case"]
    before = told(evening, "referee")["whole"]
    assert evening.rule(first["case"]).status_code == 201
    after = told(evening, "referee")
    assert after["whole"]["confirmed"] == before["confirmed"] + 2
    assert after["whole"]["rulings"] == before["rulings"] + 1
    lanes = {one["key"]: one["rulings"] for one in after["tallies"] if one["section"] == "lane"}
    assert lanes["6"] == 2  # the other was about the first heat


def test_a_report_that_is_withdrawn_is_told_as_such(evening: MeetAtHand) -> None:
    before = told(evening, "referee")["whole"]
    report = evening.report(by="Bo Halyard", heat=1, lane=6)
    taken = evening["Bo Halyard"].post(
        f"reports/{report['id']}/withdraw",
        {"reason": "Wrong lane."},
        etag='"v1"',
    )
    assert taken.status_code == 200, taken.text
    after = told(evening, "referee")["whole"]
    assert after["withdrawn"] == before["withdrawn"] + 1
    assert after["open"] == before["open"]


def test_the_page_the_list_and_the_paper_say_the_same(evening: MeetAtHand) -> None:
    page = evening.referee.get(f"/meets/{evening.id}/meet-report", headers=PAGE).text
    paper = " ".join(read_text(evening.referee.get("meet-report.pdf").content).split())
    for text in (page, paper):
        assert "1 of 2, 95 % interval 9 % to 91 %" in " ".join(text.split())
    written = evening.referee.get("meet-report.csv").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(written)))
    assert tuple(rows[0]) == COLUMNS
    share = next(one for one in rows if one["measure"] == "confirmed of those ruled on")
    assert (share["count"], share["of"], share["low"], share["high"]) == (
        "1",
        "2",
        "0.0945",
        "0.9055",
    )


def test_steps_are_timed_from_flag_to_announcement(evening: MeetAtHand) -> None:
    times = {one["step"]: one for one in told(evening, "referee")["times"]}
    assert times["report to ruling"]["count"] == 2
    assert times["ruling to announcement"]["count"] == 2
    assert 0 <= times["report to ruling"]["median"] <= times["report to ruling"]["p90"]
