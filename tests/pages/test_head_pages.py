"""The head official's pages over HTTP: who sees what, in which words."""

from __future__ import annotations

import httpx
import pytest

from app.ids import new_id
from tests.appeals.desk import an_upheld_appeal
from tests.builders import Json, MeetAtHand, Person, a_meet, a_report, add_official
from tests.reports.test_reports import ASKED, returned, rewritten
from tests.running import Service

HEAD = {"referee", "chief_umpire"}
ROLES = ("umpire", "chief_umpire", "referee", "results", "jury", "organiser")


def look(person: Person, path: str, language: str = "en") -> httpx.Response:
    headers = {"Accept": "text/html", "Accept-Language": language}
    return person.get(f"/meets/{person.meet}/{path}", headers=headers)


def page(person: Person, path: str, language: str = "en") -> str:
    answer = look(person, path, language)
    assert answer.status_code == 200, answer.text
    return answer.text


def part(text: str, name: str) -> str:
    """What stands in a section of a page."""
    return text.split(f'id="{name}"', 1)[1].split("</section>", 1)[0]


@pytest.fixture
def case(meet: MeetAtHand) -> str:
    meet.start()
    return str(meet.report()["case"])


def test_each_place_opens_for_those_whose_it_is(meet: MeetAtHand, case: str) -> None:
    for role in ROLES:
        assert look(meet[role], "head").status_code == (200 if role in HEAD else 403), role
        reads = role in HEAD | {"jury"}
        assert look(meet[role], f"cases/{case}").status_code == (200 if reads else 403), role
        assert look(meet[role], "keys").status_code == 200, role
    for path in ("head", f"cases/{case}", "keys"):
        answer = meet.service.http.get(f"/meets/{meet.id}/{path}", headers={"Accept": "text/html"})
        assert answer.status_code == 401
        assert "text/html" in answer.headers["content-type"]


def test_a_case_of_another_meet_and_one_that_is_not_there_are_not_found(
    service: Service, meet: MeetAtHand, case: str
) -> None:
    other = a_meet(service)
    assert look(other.referee, f"cases/{case}").status_code == 404
    assert look(meet.referee, f"cases/{new_id()}").status_code == 404
    assert look(meet.referee, f"head?heat={other.heat()}").status_code == 404
    assert look(meet.referee, f"head?ruled={new_id()}").status_code == 404


def test_the_jury_reads_a_case_and_finds_nothing_to_do_there(meet: MeetAtHand, case: str) -> None:
    text = page(meet["jury"], f"cases/{case}")
    assert "Both hands on the baton at the line." in text
    assert "ruling-form" not in text
    assert "ask-form" not in text


def test_who_reported_is_told_that_somebody_else_must_rule(service: Service) -> None:
    meet = a_meet(service)
    add_official(meet, "both", "referee", "umpire")
    meet.start()
    case = meet.report(by="both", post=None, take_over=1)["case"]
    text = page(meet["both"], f"cases/{case}")
    assert "another official must rule on it" in part(text, "ruling")
    assert "ruling-form" not in text
    assert "ruling-form" in page(meet.referee, f"cases/{case}")


def test_a_chief_umpire_sees_why_only_the_referee_rules(service: Service) -> None:
    meet = a_meet(service)
    meet.start()
    case = meet.report()["case"]
    text = page(meet["chief_umpire"], f"cases/{case}")
    assert "only the referee rules" in part(text, "ruling")
    assert "ruling-form" not in text
    assert "ask-form" in text
    other = a_meet(service, terms={"chief_umpire_rules": True})
    other.start()
    assert "ruling-form" in page(other["chief_umpire"], f"cases/{other.report()['case']}")


def test_a_ruling_is_asked_only_for_what_the_reports_leave_open(
    meet: MeetAtHand, case: str
) -> None:
    text = page(meet.referee, f"cases/{case}")
    assert 'name="reconsiders"' not in text
    assert 'name="separate"' not in text
    assert 'name="earlier_run"' not in text
    assert "something-else" in text
    meet.hold_back()
    assert 'name="earlier_run"' in page(meet.referee, f"cases/{case}")


def a_step(meet: MeetAtHand, **changes: object) -> Json:
    seen = {"seen": "lane_infringement", "on_bend": "yes", "inner_line": "yes", "steps": 1}
    return meet.report(observation=seen, **changes)


def test_the_number_of_steps_is_asked_where_there_may_be_several(meet: MeetAtHand) -> None:
    meet.start()
    case = a_step(meet)["case"]
    assert 'name="separate"' not in page(meet.referee, f"cases/{case}")
    assert meet.rule(case).status_code == 201
    assert 'name="separate"' not in page(meet.referee, f"cases/{case}")
    further = a_step(meet, by="second")["case"]
    assert further != case
    text = page(meet.referee, f"cases/{further}")
    assert 'name="separate"' in text
    assert 'min="0"' in part(text, "ruling")
    assert "This came after the ruling on another case" in text


def test_a_ruled_case_names_the_ruling_that_a_new_one_replaces(meet: MeetAtHand, case: str) -> None:
    ruling = meet.rule(case).json()["id"]
    text = page(meet.referee, f"cases/{case}?ruled={ruling}")
    assert f'name="reconsiders" value="{ruling}"' in text
    assert f"rulings/{ruling}/form.pdf" in text
    assert "just-ruled" in text
    assert "just-ruled" not in page(meet.referee, f"cases/{case}")


def test_a_ruled_case_tells_first_what_stands_and_what_the_jury_made_of_it(
    meet: MeetAtHand,
) -> None:
    upheld = an_upheld_appeal(meet)
    text = page(meet.referee, f"cases/{upheld['ruled']['case']}")
    stands, rest = text.split('id="standing-title"')[1].split('id="moves-title"')
    assert "was set aside by the decision of the jury on appeal 1" in stands
    assert "/decisions/" in stands
    assert "What another ruling would move" in rest
    assert "The jury has decided on what could be appealed" in part(text, "windows")


def test_a_withdrawal_stands_in_what_has_happened_with_its_reason(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report()
    etag = meet.umpire.get(f"reports/{report['id']}").headers["ETag"]
    reason = {"reason": "It was the lane beside."}
    assert (
        meet.umpire.post(f"reports/{report['id']}/withdraw", reason, etag=etag).status_code == 200
    )
    told = part(page(meet.referee, f"cases/{report['case']}"), "history")
    assert "withdrawn" in told
    assert told.count("It was the lane beside.") == 1


def test_an_answered_question_is_not_read_as_the_reason_of_the_ruling(meet: MeetAtHand) -> None:
    meet.start()
    before = returned(meet, meet.report())
    shown = part(page(meet.referee, f"cases/{before['case']}"), "reports")
    assert ASKED["reason"] in shown
    again = rewritten(meet, before)
    assert meet.rule(again["case"]).status_code == 201
    text = page(meet.referee, f"cases/{again['case']}")
    assert ASKED["reason"] not in part(text, "reports")
    assert ASKED["reason"] in part(text, "history")


def test_a_report_that_leaves_it_open_asks_the_reasons_for_what_settles_it(
    service: Service,
) -> None:
    for metres, is_asked in ((0.1, True), (1.2, False)):
        hand = a_meet(service)
        hand.start()
        place = {"metres": metres, "uncertainty": 0.6}
        report = hand.report(observation={"seen": "pass_completed_beyond_zone", "baton": place})
        text = page(hand.referee, f"cases/{report['case']}")
        assert ("say in the reasons what settles it" in text) is is_asked


def test_a_flag_without_a_lane_cannot_be_confirmed_yet(meet: MeetAtHand) -> None:
    meet.start()
    assert meet.call("yellow", report=new_id()).status_code == 201
    (case,) = meet.open_cases()
    text = page(meet.referee, f"cases/{case}")
    assert "Lane not told yet" in text
    assert "ask the umpire for the lane" in text
    confirm = text.split('id="confirm"', 1)[1].split(">", 1)[0]
    assert "disabled" in confirm


def test_the_docket_has_cases_protests_and_rulings_to_look_at_again(
    meet: MeetAtHand, case: str
) -> None:
    assert meet.rule(case).status_code == 201
    meet.hold_back()
    meet.start()
    open_case = meet.report(lane=3)["case"]
    team = meet.heats[0]["lanes"][2]["team"]
    protest = new_id()
    sent = {"heat": meet.heat(), "team": team, "about": "placing", "lodged_by": "Mira Anchor"}
    lodged = meet.desk.put(f"protests/{protest}", {**sent, "words": "We were second."})
    assert lodged.status_code == 201
    text = page(meet.referee, "head")
    assert f'id="open-{open_case}"' in text
    assert f'href="/meets/{meet.id}/protests/{protest}"' in text
    assert "Its heat was started anew since." in text
    assert f'href="/meets/{meet.id}/cases/{case}"' in text


def test_the_pages_speak_german_and_leave_what_the_service_says_marked_as_english(
    meet: MeetAtHand, case: str
) -> None:
    text = page(meet.referee, "head", "de")
    assert '<html lang="de"' in text
    assert "1 Fall wartet auf Sie" in text
    assert "Aktueller Lauf" in text
    told = page(meet.referee, f"cases/{case}", "de")
    assert "31,20 m" in told
    assert 'lang="en"' in part(told, "reports")
    assert "Schlüssel Ihrer Geräte" in page(meet.umpire, "keys", "de")


def test_the_zone_has_every_position_with_the_number_of_its_report(
    meet: MeetAtHand, case: str
) -> None:
    meet.call("white")
    baton = {"metres": 0.4, "uncertainty": 0.5}
    seen = {"seen": "pass_completed_beyond_zone", "baton": baton}
    meet.report(by="second", observation=seen)
    text = page(meet.referee, f"cases/{case}")
    told = text.split('id="zone-1-wide-desc"', 1)[1].split("</desc>", 1)[0]
    assert "1: baton 31.20 m (±0.30 m), umpire." in told
    assert "2: baton 30.40 m (±0.50 m), second." in told


def test_a_rehearsal_is_marked_and_nobody_rules_on_what_is_reported_in_it(
    meet: MeetAtHand,
) -> None:
    made = meet.organiser.put(f"rehearsals/{new_id()}", {"relay": "4x100"})
    assert made.status_code == 201, made.text
    heat = made.json()["id"]
    assert "Rehearsal: " in page(meet.referee, "head")
    seen = meet.referee.get(f"heats/{heat}")
    started = meet.referee.post(f"heats/{heat}/start", etag=seen.headers["ETag"])
    assert started.status_code == 200
    document = a_report(heat, meet.posts["umpire"])
    case = meet.umpire.put(f"reports/{new_id()}", document).json()["case"]
    text = page(meet.referee, "head")
    assert text.count("rehearsal: nothing of it counts") == 2
    told = page(meet.referee, f"cases/{case}")
    assert "Nobody rules on a rehearsal" in part(told, "ruling")
    assert "ruling-form" not in told
    assert "file.pdf" not in told
    assert "ask-form" in told
    ended = meet.organiser.post(f"rehearsals/{heat}/end")
    assert ended.status_code == 200, ended.text
    assert "closed with its rehearsal" in page(meet.referee, f"cases/{case}")
    assert "Rehearsal: " not in page(meet.referee, "head")
