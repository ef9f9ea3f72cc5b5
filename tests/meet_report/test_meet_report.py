"""The meet report over HTTP: what is counted, and who sees whose figures."""

from __future__ import annotations

import csv
import io
import re
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.ids import new_id
from app.meet_report.telling import COLUMNS
from app.store.engine import database_path
from tests.appeals.desk import (
    a_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    announced,
    decided,
    lodge,
    set_aside,
    team,
)
from tests.builders import (
    Json,
    MeetAtHand,
    a_meet,
    a_phone_clock,
    a_post,
    a_problem,
    a_report,
    add_official,
)
from tests.conftest import NewDatabase
from tests.forms.pdf_reading import read_text
from tests.forms.test_structure import elements_of, read_structure
from tests.running import Service, a_service
from tests.statements import statements_of

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
    announced(meet)
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


def test_page_and_paper_say_that_reports_are_confirmed_and_several_by_one_ruling(
    evening: MeetAtHand,
) -> None:
    """Else “rulings 1, confirmed 2 of 2” reads like an error."""
    page = evening.referee.get(f"/meets/{evening.id}/meet-report", headers=PAGE).text
    read_aloud = read_structure(evening.referee.get("meet-report.pdf").content)
    paper = " ".join(text for _, text in read_aloud)
    assert '<th scope="col">Reports confirmed, of those ruled on</th>' in page
    assert "reports confirmed, of those ruled on (95 % interval)" in paper
    for text in (page, paper):
        assert "Reports on one case are ruled on together" in text


def test_a_report_that_is_withdrawn_is_told_as_such(evening: MeetAtHand) -> None:
    before = told(evening, "referee")["whole"]
    report = evening.report(by="Bo Halyard", heat=1, lane=6)
    withdrawn(evening, report, by="Bo Halyard")
    after = told(evening, "referee")["whole"]
    assert after["withdrawn"] == before["withdrawn"] + 1
    assert after["open"] == before["open"]


def test_the_page_the_list_and_the_paper_say_the_same(evening: MeetAtHand) -> None:
    page = evening.referee.get(f"/meets/{evening.id}/meet-report", headers=PAGE).text
    paper = " ".join(read_text(evening.referee.get("meet-report.pdf").content).split())
    silent = told(evening, "referee")["silent"]
    low, high = (round(100 * silent[end]) for end in ("low", "high"))
    silent_told = f"{silent['count']} of {silent['of']}, 95 % interval {low} % to {high} %"
    for text in (page, paper):
        for share in ("1 of 2, 95 % interval 9 % to 91 %", silent_told):
            assert share in " ".join(text.split())
    rows = figures_listed(evening)
    assert tuple(rows[0]) == COLUMNS
    share = next(one for one in rows if one["measure"] == "confirmed of those ruled on")
    assert (share["count"], share["of"], share["low"], share["high"]) == (
        "1",
        "2",
        "0.0945",
        "0.9055",
    )


def test_at_the_fullest_place_no_number_on_the_page_hides_a_filling(service: Service) -> None:
    """One of 24 is 15 pixels wide in a chart of 360; a number and its white take 16."""
    meet = a_meet(service, heats=3)
    for heat in range(3):
        meet.start(heat)
        for lane in range(1, 9):
            report = meet.report(heat=heat, lane=lane)
    gone = meet.umpire.post(
        f"reports/{report['id']}/withdraw", {"reason": "Wrong lane."}, etag='"v1"'
    )
    assert gone.status_code == 200, gone.text
    page = meet.referee.get(f"/meets/{meet.id}/meet-report", headers=PAGE).text
    chart = page.partition('aria-labelledby="bars-title')[2].partition("</svg>")[0]
    bars = re.findall(r'<rect x="([\d.]+)" y="(\d+)" width="([\d.]+)" height="13"', chart)[5:]
    white = re.findall(r'<rect x="([\d.]+)" y="(\d+)" width="([\d.]+)" height="11"', chart)
    assert [round(float(width)) for _, _, width in bars] == [341, 15]
    assert len(white) == 1  # that of the 23: the other number stands above
    (left, top, width), (its_left, its_top, its_width) = bars[0], white[0]
    assert float(left) + 4 <= float(its_left)
    assert float(its_left) + float(its_width) <= float(left) + float(width) - 4
    assert int(top) < int(its_top) < int(top) + 13
    above = re.findall(r'y="(\d+)" font-size="11"[^>]*>1</text>', chart)
    assert [int(y) < int(top) for y in above] == [True]


def test_steps_are_timed_from_flag_to_announcement(service: Service) -> None:
    """Of three, the 90th percentile lies 0.8 of the way from the second to the third: definition 7
    of Hyndman and Fan, reckoned by hand.
    """
    meet = a_timed_meet(service)
    flags = [shown(meet, 3), shown(meet, 4), shown(meet, 5)]
    first, second, third = [report_of(meet, flag) for flag in flags]
    at(meet, 20)
    write(meet, first, lane=3)
    at(meet, 35)
    write(meet, second, lane=4)
    at(meet, 75)
    ruled(meet, second)
    at(meet, 80)
    write(meet, third, lane=5)
    at(meet, 120)
    ruled(meet, first)
    at(meet, 330)
    ruled(meet, third)
    at(meet, 400)
    assert meet.load_result(0).status_code == 201
    announced(meet)
    times = timed(meet)
    for step, *seconds in (
        ("flag to report", 3, 35, 71),  # 20, 35, 80
        ("report to ruling", 3, 100, 220),  # 40, 100, 250
        ("ruling to announcement", 3, 280, 316),  # 70, 280, 325
    ):
        taken = [times[step][name] for name in ("count", "median", "p90")]
        assert taken == pytest.approx(seconds, abs=1e-6), step


def test_a_report_that_was_returned_is_timed_by_when_it_first_came(service: Service) -> None:
    meet = a_timed_meet(service)
    report = report_of(meet, shown(meet, 4))
    at(meet, 20)
    write(meet, report, lane=4)
    at(meet, 320)
    returned(meet, report)
    at(meet, 600)
    write_again(meet, report, lane=4, words="At the blue line.")
    at(meet, 630)
    ruled(meet, report)
    for who in ("referee", "umpire"):
        times = timed(meet, who)
        assert times["flag to report"]["median"] == pytest.approx(20, abs=1e-6)
        assert times["report to ruling"]["median"] == pytest.approx(610, abs=1e-6)


def test_a_report_that_was_returned_and_not_written_again_has_come(service: Service) -> None:
    meet = a_timed_meet(service)
    report = report_of(meet, shown(meet, 4))
    at(meet, 20)
    write(meet, report, lane=4)
    returned(meet, report)
    assert timed(meet)["flag to report"]["count"] == 1
    assert timed(meet)["report to ruling"]["count"] == 0


def test_a_report_without_a_flag_is_told_as_such_wherever_times_are_told(service: Service) -> None:
    meet = a_timed_meet(service)
    flag = meet.call("yellow", lane=4, clock=a_phone_clock(offset_ms=None, error_ms=None))
    write(meet, report_of(meet, flag.json()), lane=4)  # of a phone that knows no server's clock
    for lane in (3, 5):
        meet.report(lane=lane)
    times = timed(meet)
    told_of = [times["flag to report"][name] for name in ("count", "unknown", "without_flag")]
    assert told_of == [0, 1, 2]
    assert times["report to ruling"]["without_flag"] is None
    page = meet.referee.get(f"/meets/{meet.id}/meet-report", headers=PAGE).text
    assert '<td data-head="No flag shown">2</td>' in page
    assert '<td data-head="No flag shown">–</td>' in page
    paper = " ".join(read_text(meet.referee.get("meet-report.pdf").content).split())
    assert "no flag shown" in paper
    rows = [one for one in figures_listed(meet) if one["measure"] == "no flag shown"]
    assert [(one["key"], one["count"]) for one in rows] == [("flag to report", "2")]


def test_a_ruling_is_timed_to_the_announcement_of_its_own_run(service: Service) -> None:
    """One was made in a run whose result was never announced, and one in the run after it."""
    meet = a_timed_meet(service)
    first = meet.report(lane=4)
    ruled(meet, first["id"])
    at(meet, 60)
    meet.hold_back(0)
    at(meet, 3600)
    meet.start(0)
    second = meet.report(lane=3)
    at(meet, 3630)
    ruled(meet, second["id"])
    at(meet, 3700)
    assert meet.load_result(0).status_code == 201
    announced(meet)
    step = timed(meet)["ruling to announcement"]
    assert (step["count"], step["clock_off"]) == (1, 0)
    assert step["median"] == pytest.approx(70, abs=1e-6)


START = datetime(2026, 6, 13, 12, tzinfo=UTC)


def a_timed_meet(service: Service) -> MeetAtHand:
    """A meet whose first heat is started at START; the clock stands until a test moves it."""
    service.clock.stand_at(START)
    meet = a_meet(service)
    meet.start(0)
    return meet


def at(meet: MeetAtHand, second: float) -> None:
    """It is so many seconds after START."""
    meet.service.clock.stand_at(START + timedelta(seconds=second))


def timed(meet: MeetAtHand, who: str = "referee") -> dict[str, Json]:
    """How long each step took."""
    return {one["step"]: one for one in told(meet, who)["times"]}


def shown(meet: MeetAtHand, lane: int, **changes: Any) -> Json:
    """A yellow flag for a lane, on a phone whose clock is right."""
    clock = a_phone_clock(at=meet.service.clock.now().isoformat(), offset_ms=0)
    answer = meet.call("yellow", lane=lane, clock=clock, **changes)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def ruled(meet: MeetAtHand, report: str, **changes: Any) -> Json:
    """The case of a report is ruled on."""
    case = meet.referee.get(f"reports/{report}").json()["case"]
    answer = meet.rule(case, **changes)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def withdrawn(meet: MeetAtHand, report: Json, by: str = "umpire") -> None:
    """An umpire takes their report back."""
    address = f"reports/{report['id']}/withdraw"
    answer = meet[by].post(address, {"reason": "Wrong lane."}, etag='"v1"')
    assert answer.status_code == 200, answer.text


def returned(meet: MeetAtHand, report: str) -> None:
    """The head official asks back."""
    etag = meet.referee.get(f"reports/{report}").headers["ETag"]
    asked = {"reason": "Which line?"}
    answer = meet.referee.post(f"reports/{report}/return", asked, etag=etag)
    assert answer.status_code == 200, answer.text


def write_again(meet: MeetAtHand, report: str, **changes: Any) -> None:
    """What was asked back is answered."""
    etag = meet.umpire.get(f"reports/{report}").headers["ETag"]
    sent = a_report(meet.heat(), meet.posts["umpire"], **changes)
    answer = meet.umpire.put(f"reports/{report}", sent, etag=etag)
    assert answer.status_code == 200, answer.text


def figures_listed(meet: MeetAtHand) -> list[dict[str, str]]:
    """The list for spreadsheets, a figure a row."""
    written = meet.referee.get("meet-report.csv").content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(written)))


def test_the_list_tells_apart_officials_of_one_name_and_one_who_is_named_as_the_whole(
    service: Service,
) -> None:
    meet = a_meet(service, umpires=("Bo Halyard", "all"))
    namesake = add_official(meet, "Bo Halyard", "umpire").id
    all_posts = meet.organiser.get("crew")
    further = a_post(new_id(), namesake, take_over=2)
    kept = ("id", "official", "take_over", "edge", "lanes", "side", "relays")
    posts = [{name: post[name] for name in kept} for post in all_posts.json()["posts"]]
    put = meet.organiser.put("crew", {"posts": [*posts, further]}, etag=all_posts.headers["ETag"])
    assert put.status_code == 200, put.text
    meet.start(0)
    assert meet.load_result(0).status_code == 201
    assert meet.announce(0, despite="No telephone.").status_code == 201
    silent = [one for one in figures_listed(meet) if one["section"] == "silent posts"]
    by_name: dict[str, set[str]] = {}
    for row in silent:
        by_name.setdefault(row["key"], set()).add(row["official"])
    assert namesake in by_name["Bo Halyard"]
    assert len(by_name["Bo Halyard"]) == 2
    assert by_name["all"] == {"", meet["all"].id}
    told_apart = {one["official"] for one in told(meet, "referee")["silent_by_official"]}
    assert {row["official"] for row in silent} == {"", *told_apart}


def test_the_list_names_nobody_where_the_figures_are_ones_own(evening: MeetAtHand) -> None:
    written = evening.umpire.get("meet-report.csv").content.decode("utf-8-sig")
    assert {one["official"] for one in csv.DictReader(io.StringIO(written))} == {""}


def report_of(meet: MeetAtHand, call: Json) -> str:
    """The report that a yellow flag raised."""
    return str(meet.umpire.get(f"calls/{call['id']}").json()["report"])


def write(meet: MeetAtHand, report: str, **changes: Any) -> None:
    """The account of what a flag was about."""
    sent = a_report(meet.heat(), meet.posts["umpire"], **changes)
    answer = meet.umpire.put(f"reports/{report}", sent)
    assert answer.status_code in {200, 201}, answer.text


def counted(report: Json, section: str, key: str) -> Json:
    """What stands under a key of a section."""
    found = [one for one in report["tallies"] if (one["section"], one["key"]) == (section, key)]
    assert len(found) == 1, report["tallies"]
    return dict(found[0])


def test_a_ruling_that_a_protest_set_aside_is_told_beside_the_confirmed_ones(
    service: Service,
) -> None:
    meet = a_meet(service)
    ruling = an_announced_disqualification(meet)
    assert told(meet, "referee")["whole"]["set_aside"] == 0
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    for who in ("referee", "umpire"):
        report = told(meet, who)
        assert (report["whole"]["confirmed"], report["whole"]["set_aside"]) == (1, 1)
        assert counted(report, "lane", "4")["set_aside"] == 1
    page = meet.referee.get(f"/meets/{meet.id}/meet-report", headers=PAGE).text
    assert "<dt>Set aside later, by a protest or an appeal</dt><dd>1</dd>" in page
    assert "whose ruling a protest or an appeal set aside later" in page
    paper = " ".join(read_text(meet.referee.get("meet-report.pdf").content).split())
    assert "Set aside later, by a protest or an appeal: 1." in paper
    rows = figures_listed(meet)
    assert next(one["count"] for one in rows if one["measure"] == "set aside") == "1"


def test_bars_show_apart_what_was_set_aside_on_page_and_paper(service: Service) -> None:
    """Of three reports from one place one ruling stands, and two of either kind do not."""
    meet = a_meet(service)
    meet.start(0)
    confirmed = ruled(meet, meet.report(lane=4)["id"])
    for lane in (5, 6):
        report = meet.report(lane=lane)["id"]
        dismissed = ruled(meet, report, verdict="dismissed", infringement=None)
    assert meet.load_result(0).status_code == 201
    announced(meet)
    decided(meet, lodge(meet, a_protest(meet, confirmed)), "upheld", orders=set_aside(confirmed))
    against = lodge(meet, a_protest(meet, dismissed, team=team(meet, 5)))
    decided(meet, against, "upheld", orders=[disqualify(meet, 6)])
    told_in_words = "0 confirmed, 1 dismissed, 2 set aside later, 0 open, 0 withdrawn."
    page = meet.referee.get(f"/meets/{meet.id}/meet-report", headers=PAGE).text
    chart = page.partition('aria-labelledby="bars-title')[2].partition("</svg>")[0]
    assert told_in_words in chart
    assert chart.count('fill="url(#set-aside)"') == 2  # in the legend and in the bar
    pdf = meet.referee.get("meet-report.pdf").content
    alts = [str(one["/Alt"]) for one in elements_of(pdf) if one["/S"] == "/Figure"]
    assert told_in_words in alts[0]
    assert "set aside later" in read_text(pdf).partition("Confirmed, of the reports")[0]


def test_a_dismissed_report_whose_team_a_protest_had_disqualified_counts_as_set_aside_too(
    service: Service,
) -> None:
    meet = a_meet(service)
    ruling = an_announced_dismissal(meet)
    protest = lodge(meet, a_protest(meet, ruling, team=team(meet, 5)))
    decided(meet, protest, "upheld", orders=[disqualify(meet, 4)])
    whole = told(meet, "referee")["whole"]
    assert (whole["confirmed"], whole["dismissed"], whole["set_aside"]) == (0, 1, 1)


@pytest.mark.parametrize(
    ("lane", "more", "count"),
    [(4, {}, 1), (4, {"take_over": 1}, 1), (4, {"take_over": 2}, 0), (6, {}, 0)],
)
def test_a_protest_about_conduct_sets_a_dismissal_aside_of_that_team_and_take_over(
    service: Service, lane: int, more: Json, count: int
) -> None:
    meet = a_meet(service)
    an_announced_dismissal(meet)
    protest = lodge(meet, a_protest_about_conduct(meet, lane))
    decided(meet, protest, "upheld", orders=[disqualify(meet, lane, **more)])
    for who in ("referee", "umpire"):
        assert told(meet, who)["whole"]["set_aside"] == count, who


def test_a_dismissal_does_not_count_as_set_aside_where_another_case_was_decided_on(
    service: Service,
) -> None:
    """Two cases of a team: its disqualification for the one is set aside and then restored."""
    meet = a_meet(service)
    meet.start(0)
    dismissed = meet.report(lane=4)
    ruled(meet, dismissed["id"], verdict="dismissed", infringement=None)
    confirmed = ruled(meet, meet.report(lane=4)["id"])
    assert meet.load_result(0).status_code == 201
    announced(meet)
    decided(meet, lodge(meet, a_protest(meet, confirmed)), "upheld", orders=set_aside(confirmed))
    whole = told(meet, "referee")["whole"]
    assert (whole["confirmed"], whole["dismissed"], whole["set_aside"]) == (1, 1, 1)
    restore = {"order": "restore", "disqualification": confirmed["disqualification"]}
    protest = lodge(meet, a_protest_about_conduct(meet, 4))
    decided(meet, protest, "upheld", orders=[restore])
    assert told(meet, "referee")["whole"]["set_aside"] == 0


def test_a_disqualification_that_was_restored_is_not_told_as_set_aside(service: Service) -> None:
    meet = a_meet(service)
    ruling = an_announced_disqualification(meet)
    decided(meet, lodge(meet, a_protest(meet, ruling)), "upheld", orders=set_aside(ruling))
    assert told(meet, "referee")["whole"]["set_aside"] == 1
    restore = {"order": "restore", "disqualification": ruling["disqualification"]}
    decided(meet, lodge(meet, a_protest_about_conduct(meet, 4)), "upheld", orders=[restore])
    whole = told(meet, "referee")["whole"]
    assert (whole["confirmed"], whole["set_aside"]) == (1, 0)


def test_what_the_jury_decided_is_told_as_how_the_appeal_ended(service: Service) -> None:
    meet = a_meet(service)
    an_upheld_appeal(meet)
    for who in ("referee", "umpire"):
        report = told(meet, who)
        ended = [(one["remedy"], one["state"], one["count"]) for one in report["ended"]]
        assert ended == [("protest", "rejected", 1), ("appeal", "upheld", 1)], who
        assert (report["whole"]["confirmed"], report["whole"]["set_aside"]) == (1, 1), who


def test_a_ruling_that_was_reconsidered_counts_as_it_stands_and_is_timed_as_it_was_first_made(
    service: Service,
) -> None:
    """That the head official thought better of it is no protest: nothing was set aside."""
    meet = a_timed_meet(service)
    report = meet.report(lane=4)
    at(meet, 50)
    first = ruled(meet, report["id"])
    at(meet, 90)
    changed = {"verdict": "dismissed", "infringement": None, "reconsiders": first["id"]}
    ruled(meet, report["id"], **changed)
    at(meet, 200)
    assert meet.load_result(0).status_code == 201
    announced(meet)
    whole = told(meet, "referee")["whole"]
    counts = [whole[name] for name in ("confirmed", "dismissed", "rulings", "set_aside")]
    assert counts == [0, 1, 1, 0]
    times = timed(meet)
    assert times["report to ruling"]["median"] == pytest.approx(50, abs=1e-6)
    assert times["ruling to announcement"]["median"] == pytest.approx(150, abs=1e-6)


def an_announced_dismissal(meet: MeetAtHand) -> Json:
    """A result is announced with a report that was dismissed, on lane 4; gives the ruling."""
    meet.start(0)
    ruling = ruled(meet, meet.report(lane=4)["id"], verdict="dismissed", infringement=None)
    assert meet.load_result(0).status_code == 201
    announced(meet)
    return ruling


def a_protest_about_conduct(meet: MeetAtHand, lane: int) -> Json:
    """A protest of the team in lane 5 against that of another lane."""
    about = {"about": "conduct", "against": team(meet, lane)}
    return {**a_protest(meet, team=team(meet, 5)), **about}


def disqualify(meet: MeetAtHand, lane: int, **more: Any) -> Json:
    """The order that disqualifies the team in a lane."""
    seen = {"infringement": "dropped_baton", **more}
    return {"order": "disqualify", "team": team(meet, lane), **seen}


def test_who_took_a_report_back_is_not_told_how_others_were_ruled_on(service: Service) -> None:
    meet = a_meet(service, umpires=("Bo Halyard",))
    meet.start(0)
    own, others = meet.report(lane=4), meet.report(by="Bo Halyard", lane=4)
    assert own["case"] == others["case"]
    withdrawn(meet, own)
    ruling = ruled(meet, others["id"])
    assert meet.load_result(0).status_code == 201
    announced(meet)
    decided(meet, lodge(meet, a_protest(meet, ruling)))
    for who, count in (("umpire", 0), ("Bo Halyard", 1), ("referee", 1)):
        report = told(meet, who)
        assert timed(meet, who)["ruling to announcement"]["count"] == count, who
        assert len(report["ended"]) == count, who


def test_a_yellow_flag_counts_for_the_lane_that_its_report_names(service: Service) -> None:
    meet = a_meet(service)
    meet.start(0)
    shown = meet.call("yellow", lane=None)
    assert shown.status_code == 201, shown.text
    assert counted(told(meet, "umpire"), "lane", "not told")["yellow"] == 1
    write(meet, report_of(meet, shown.json()), lane=4)
    report = told(meet, "umpire")
    assert counted(report, "lane", "4")["yellow"] == 1
    assert {one["key"] for one in report["tallies"] if one["section"] == "lane"} == {"4"}


def test_a_flag_called_by_radio_counts_for_the_official_of_its_post(service: Service) -> None:
    meet = a_meet(service, umpires=("Bo Halyard",))
    meet.start(0)
    assert meet.call("white", by="referee", post=meet.posts["umpire"]).status_code == 201
    called = meet.call("yellow", by="referee", post=meet.posts["Bo Halyard"], lane=4)
    assert called.status_code == 201, called.text
    for who, flags in (("umpire", (1, 0)), ("Bo Halyard", (0, 1))):
        whole = told(meet, who)["whole"]
        assert (whole["white"], whole["yellow"]) == flags, who
        official = counted(told(meet, "referee"), "official", meet[who].id)
        assert (official["white"], official["yellow"]) == flags, who
    keys = {one["key"] for one in told(meet, "referee")["tallies"] if one["section"] == "official"}
    assert meet.referee.id not in keys


def test_a_flag_shown_at_somebody_elses_post_counts_for_whoever_showed_it(service: Service) -> None:
    meet = a_meet(service, umpires=("Bo Halyard",))
    meet.start(0)
    assert meet.call("white", post=meet.posts["Bo Halyard"]).status_code == 201
    assert told(meet, "umpire")["whole"]["white"] == 1
    assert told(meet, "Bo Halyard")["whole"]["white"] == 0


def test_white_flags_are_not_counted_by_lane_nor_by_what_was_reported(evening: MeetAtHand) -> None:
    assert evening.call("white").status_code == 201
    report = told(evening, "referee")
    assert report["whole"]["white"] == 1
    for one in report["tallies"]:
        if one["section"] in {"lane", "infringement"}:
            assert one["white"] is None, one
            assert one["yellow"] + one["reports"] > 0, one
    measures = {(one["section"], one["measure"]) for one in figures_listed(evening)}
    assert ("lane", "yellow") in measures
    assert ("lane", "white") not in measures


def test_a_post_whose_flag_came_after_the_announcement_was_silent_then(service: Service) -> None:
    meet = a_meet(service, umpires=("Bo Halyard",))
    meet.start(0)
    assert meet.call("white").status_code == 201
    assert meet.load_result(0).status_code == 201
    assert told(meet, "referee")["silent"]["of"] == 0  # nothing was announced yet
    assert meet.announce(0, despite="No telephone.").status_code == 201
    assert meet.call("white", by="Bo Halyard").status_code == 201
    report = told(meet, "referee")
    assert (report["silent"]["count"], report["silent"]["of"]) == (1, 2)
    assert [one["words"] for one in report["silent_by_official"]] == ["Bo Halyard"]


def test_silent_posts_are_of_the_run_that_counts_and_page_and_paper_say_so(
    service: Service,
) -> None:
    meet = a_meet(service, umpires=("Bo Halyard",))
    meet.start(0)
    assert meet.load_result(0).status_code == 201
    assert meet.announce(0, despite="No telephone.").status_code == 201
    assert told(meet, "referee")["silent"]["count"] == 2
    meet.hold_back(0)
    assert told(meet, "referee")["silent"]["of"] == 0
    page = meet.referee.get(f"/meets/{meet.id}/meet-report", headers=PAGE).text
    paper = read_text(meet.referee.get("meet-report.pdf").content)
    for text in (page, paper):
        words = " ".join(text.split())
        assert "for the first time, of the run that counts:" in words
        assert "a race that is run again is counted anew." in words
        assert "what came later does not change that" not in words


def test_a_post_whose_report_was_taken_back_was_not_silent(service: Service) -> None:
    meet = a_meet(service, umpires=("Bo Halyard",))
    meet.start(0)
    report = meet.report(by="Bo Halyard", lane=6)
    withdrawn(meet, report, by="Bo Halyard")
    assert meet.rule(report["case"], verdict="dismissed", infringement=None).status_code == 201
    assert meet.load_result(0).status_code == 201
    assert meet.announce(0, despite="No telephone.").status_code == 201
    silent = told(meet, "referee")["silent_by_official"]
    assert [one["words"] for one in silent] == ["umpire"]


def test_page_and_paper_tell_a_time_to_the_same_second(service: Service) -> None:
    """The flag is 99.7 s old when its report comes, and a little more by the server's clock."""
    meet = a_meet(service)
    meet.start(0)
    shown_at = (datetime.now(UTC) - timedelta(seconds=99.7)).isoformat()
    shown = meet.call("yellow", lane=4, clock=a_phone_clock(at=shown_at, offset_ms=0))
    write(meet, report_of(meet, shown.json()), lane=4)
    times = told(meet, "referee")["times"]
    took = next(one["median"] for one in times if one["step"] == "flag to report")
    assert 99.7 <= took < 120
    page = " ".join(meet.referee.get(f"/meets/{meet.id}/meet-report", headers=PAGE).text.split())
    paper = " ".join(read_text(meet.referee.get("meet-report.pdf").content).split())
    minutes, seconds = divmod(round(took), 60)
    assert f">{minutes} min {seconds} secs</td>" in page
    assert f"{minutes} min {seconds:02} s" in paper
    for text in (page, paper):
        assert "90th percentile (p90)" in text


def test_the_first_account_of_a_report_is_looked_up_and_the_record_not_read_through(
    new_database: NewDatabase,
) -> None:
    """SQLite plans without looking at what is stored, so that a small meet shows it."""
    with a_service(new_database("sqlite")) as service:
        statements = statements_of(service)
        told(a_meet(service), "referee")
        asked = next(one for one in statements.ever if "first_written" in one)
        with closing(sqlite3.connect(database_path(service.store.engines.url))) as conn:
            plan = [str(row[3]) for row in conn.execute(f"EXPLAIN QUERY PLAN {asked}")]
    index = "ix_record_entries_meet_id_subject (meet_id=? AND subject=?)"
    assert f"SEARCH record_entries USING INDEX {index}" in plan
