"""Reports over HTTP: written once, returned and written again, withdrawn, and never lost."""

from __future__ import annotations

import pytest

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet, a_phone_clock, a_problem, a_report
from tests.running import Service

ASKED = {"reason": "Which foot was outside, and by how much?"}


def returned(meet: MeetAtHand, report: Json) -> Json:
    """The report after the referee asked back."""
    answer = meet.referee.post(
        f"reports/{report['id']}/return", ASKED, etag=f'"v{report["version"]}"'
    )
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def rewritten(meet: MeetAtHand, report: Json, **changes: object) -> Json:
    """The report after its umpire wrote it again."""
    sent = a_report(meet.heat(), meet.posts["umpire"]) | changes
    etag = f'"v{report["version"]}"'
    answer = meet.umpire.put(f"reports/{report['id']}", sent, etag=etag)
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def test_a_report_follows_its_flag_into_the_same_case(meet: MeetAtHand) -> None:
    meet.start()
    report = new_id()
    call = meet.call("yellow", lane=4, report=report).json()
    written = meet.umpire.put(f"reports/{report}", a_report(meet.heat(), meet.posts["umpire"]))
    assert written.status_code == 201
    assert written.json()["case"] == call["case"]
    assert written.json()["state"] == "written"
    assert len(meet.case(call["case"])["reports"]) == 1


def test_a_report_names_the_team_of_its_lane(meet: MeetAtHand) -> None:
    report = meet.report(lane=3)
    assert (report["team"], report["team_name"]) == (meet.heats[0]["lanes"][2]["team"], "Heron 1")
    assert meet.umpire.get(f"reports/{report['id']}").json() == report
    assert rewritten(meet, returned(meet, report), lane=4)["team_name"] == "Plover 1"
    assert meet.report(lane=9)["team_name"] is None


def test_the_docket_says_from_where_a_report_came(meet: MeetAtHand) -> None:
    case = meet.report()["case"]
    meet.report(by="referee", post=None, take_over=2)
    (line,) = [line for line in meet.docket() if line["id"] == case]
    assert [(one["take_over"], one["post_words"]) for one in line["reports"]] == [
        (1, "take-over 1, end, lanes 3–4, inside"),
        (2, "take-over 2, own observation"),
    ]


def test_two_umpires_who_saw_the_same_thing_stand_in_one_case_by_name(meet: MeetAtHand) -> None:
    meet.start()
    first, second = meet.report(), meet.report(by="second", words="Well beyond the line.")
    assert first["case"] == second["case"]
    case = meet.case(first["case"])
    assert [report["official_name"] for report in case["reports"]] == ["umpire", "second"]
    line = next(line for line in meet.docket() if line["id"] == first["case"])
    assert [report["official_name"] for report in line["reports"]] == ["umpire", "second"]


def test_reports_on_two_teams_are_two_cases(meet: MeetAtHand) -> None:
    assert meet.report(lane=3)["case"] != meet.report(lane=4)["case"]
    assert meet.report(lane=3, heat=1)["case"] not in meet.open_cases(0)


def test_a_finding_names_the_rule_and_the_reason(meet: MeetAtHand) -> None:
    # World Athletics TR24.7 in secondary texts: the baton's position decides.
    finding = meet.report()["finding"]
    assert (finding["outcome"], finding["rule"]) == ("infringement", "TR24.7")
    assert finding["reason"]
    assert finding["edition"] == "world-athletics-2025"


def test_what_an_umpire_does_not_know_leaves_the_finding_open(meet: MeetAtHand) -> None:
    unsure = {"seen": "pass_completed_beyond_zone"}
    assert meet.report(observation=unsure)["finding"]["outcome"] == "cannot tell"


@pytest.mark.parametrize(
    ("changes", "marks"),
    [
        ({"lane": 9}, ["no team in this lane", "lane outside the post"]),
        ({"lane": 8}, ["lane outside the post"]),
        ({"post": None, "take_over": 2, "lane": 8}, []),
    ],
)
def test_what_is_odd_about_a_report_is_kept_and_marked(
    meet: MeetAtHand, changes: Json, marks: list[str]
) -> None:
    meet.start()
    report = meet.report(**changes)
    assert report["marks"] == marks
    assert (report["team"] is None) == ("no team in this lane" in marks)
    assert report["case"] in meet.open_cases()


def test_a_report_on_a_heat_that_does_not_run_is_kept_and_marked(meet: MeetAtHand) -> None:
    assert meet.report()["marks"] == ["heat was not running"]


def test_a_post_knows_its_take_over_and_an_own_observation_says_it(meet: MeetAtHand) -> None:
    assert meet.report(take_over=3)["take_over"] == 1
    assert meet.report(post=None, take_over=3)["take_over"] == 3
    assert meet.report(by="referee", post=None, take_over=2)["post_words"] == (
        "take-over 2, own observation"
    )


def test_the_same_report_again_is_the_same_report(meet: MeetAtHand) -> None:
    report, sent = new_id(), a_report(meet.heat(), meet.posts["umpire"])
    first = meet.umpire.put(f"reports/{report}", sent)
    before = meet.head()
    again = meet.umpire.put(f"reports/{report}", sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.headers["etag"] == again.headers["etag"] == '"v1"'
    assert meet.head() == before


def test_another_report_under_the_same_id_is_refused(meet: MeetAtHand) -> None:
    report, sent = new_id(), a_report(meet.heat(), meet.posts["umpire"])
    meet.umpire.put(f"reports/{report}", sent)
    before = meet.head()
    a_problem(meet.umpire.put(f"reports/{report}", sent | {"lane": 3}), 409, "id-taken")
    a_problem(meet["second"].put(f"reports/{report}", sent), 409, "id-taken")
    assert meet.head() == before
    assert meet.umpire.get(f"reports/{report}").json()["lane"] == 4


def test_a_written_report_is_not_written_over(meet: MeetAtHand) -> None:
    report = meet.report()
    sent = a_report(meet.heat(), meet.posts["umpire"], words="On second thoughts, no.")
    told = a_problem(
        meet.umpire.put(f"reports/{report['id']}", sent, etag='"v1"'), 409, "not-possible"
    )
    assert told["possible"] == ["return", "withdraw"]
    assert "withdraw it and write another under a new id" in told["detail"]
    without = a_problem(meet.umpire.put(f"reports/{report['id']}", sent), 409, "id-taken")
    assert "withdraw it and write another under a new id" in without["detail"]


def test_only_what_people_can_ask_for_is_called_possible(meet: MeetAtHand) -> None:
    report = meet.report()
    assert report["possible"] == ["return", "withdraw"]
    assert meet.case(report["case"])["possible"] == ["rule"]


def test_a_returned_report_is_written_again_as_it_was_seen(meet: MeetAtHand) -> None:
    asked = returned(meet, meet.report())
    assert (asked["state"], asked["remark"]) == ("returned", ASKED["reason"])
    sent = a_report(meet.heat(), meet.posts["umpire"], words="The left foot, by 20 cm.")
    address = f"reports/{asked['id']}"
    before = meet.head()
    a_problem(meet.umpire.put(address, sent), 428, "precondition-missing")
    a_problem(meet.umpire.put(address, sent, etag='"v1"'), 412, "stale")
    assert meet.head() == before
    again = rewritten(meet, asked, words="The left foot, by 20 cm.")
    assert (again["state"], again["version"]) == ("written", 3)
    assert again["case"] == asked["case"]


def test_asking_back_needs_a_reason_and_the_version_that_was_read(meet: MeetAtHand) -> None:
    report = meet.report()
    address = f"reports/{report['id']}/return"
    before = meet.head()
    a_problem(meet.referee.post(address, {"reason": " "}, etag='"v1"'), 422, "malformed")
    a_problem(meet.referee.post(address, ASKED), 428, "precondition-missing")
    a_problem(meet.referee.post(address, ASKED, etag='"v4"'), 412, "stale")
    a_problem(meet.umpire.post(address, ASKED, etag='"v1"'), 403, "role-missing")
    assert meet.head() == before


def test_a_report_is_withdrawn_with_a_reason_and_stays_on_its_case(meet: MeetAtHand) -> None:
    report = meet.report()
    address, reason = f"reports/{report['id']}/withdraw", {"reason": "It was lane 5."}
    a_problem(meet.umpire.post(address, {}, etag='"v1"'), 422, "malformed")
    a_problem(meet["second"].post(address, reason, etag='"v1"'), 403, "not-yours")
    a_problem(meet.referee.post(address, reason, etag='"v1"'), 403, "not-yours")
    gone = meet.umpire.post(address, reason, etag='"v1"').json()
    assert (gone["state"], gone["remark"]) == ("withdrawn", "It was lane 5.")
    assert [one["state"] for one in meet.case(report["case"])["reports"]] == ["withdrawn"]
    a_problem(meet.umpire.post(address, reason, etag='"v2"'), 409, "not-possible")


def test_a_report_cannot_be_withdrawn_after_the_ruling(meet: MeetAtHand) -> None:
    report = meet.report()
    meet.rule(report["case"])
    seen = meet.umpire.get(f"reports/{report['id']}")
    assert seen.json()["state"] == "ruled"
    told = a_problem(
        meet.umpire.post(
            f"reports/{report['id']}/withdraw",
            {"reason": "It was lane 5."},
            etag=seen.headers["ETag"],
        ),
        409,
        "not-possible",
    )
    assert told["possible"] == []


def test_a_flag_without_facts_supports_nothing_and_is_taken_back_at_any_time(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = new_id()
    call = meet.call("yellow", lane=4, report=report).json()
    meet.rule(call["case"], verdict="dismissed")
    seen = meet.umpire.get(f"reports/{report}")
    assert (seen.json()["state"], seen.json()["possible"]) == ("raised", ["write", "withdraw"])
    reason = {"reason": "It was lane 5."}
    address = f"reports/{report}/withdraw"
    assert meet.umpire.post(address, reason, etag=seen.headers["ETag"]).status_code == 200
    assert meet.open_cases() == []


def test_an_account_that_was_asked_back_is_not_withdrawn_once_its_case_is_ruled_on(
    meet: MeetAtHand,
) -> None:
    report = returned(meet, meet.report())["id"]
    meet.rule(meet.report(by="second")["case"])
    seen = meet.umpire.get(f"reports/{report}")
    assert (seen.json()["state"], seen.json()["possible"]) == ("returned", ["write"])
    reason = {"reason": "It was lane 5."}
    address = f"reports/{report}/withdraw"
    told = a_problem(meet.umpire.post(address, reason, etag=seen.headers["ETag"]), 409, "conflict")
    assert "reconsider" in told["detail"]


def test_a_report_after_the_ruling_opens_a_further_case_that_names_the_first(
    meet: MeetAtHand,
) -> None:
    first = meet.report()["case"]
    assert meet.rule(first).status_code == 201
    late = meet.report(by="second")
    further = meet.case(late["case"])
    assert further["id"] != first
    assert (further["state"], further["further_of"]) == ("open", first)
    assert meet.case(first)["state"] == "ruled"
    assert meet.open_cases() == [further["id"]]


@pytest.mark.parametrize("left", ["raised", "returned"])
def test_a_report_that_was_not_written_at_the_ruling_still_comes_in_a_further_case(
    meet: MeetAtHand, left: str
) -> None:
    meet.start()
    case = meet.report(by="second")["case"]
    report = new_id()
    meet.call("yellow", lane=4, report=report)
    if left == "returned":
        sent = a_report(meet.heat(), meet.posts["umpire"])
        returned(meet, meet.umpire.put(f"reports/{report}", sent).json())
    assert meet.rule(case, infringement="pass_completed_beyond_zone").status_code == 201
    waiting = meet.umpire.get(f"reports/{report}").json()
    assert waiting["state"] == left
    again = meet.umpire.put(
        f"reports/{report}",
        a_report(meet.heat(), meet.posts["umpire"], words="Here it is at last."),
        etag=f'"v{waiting["version"]}"',
    ).json()
    assert (again["state"], meet.case(again["case"])["further_of"]) == ("written", case)


def test_what_the_phone_knew_of_its_clock_is_kept(meet: MeetAtHand) -> None:
    clock = a_phone_clock(at="2026-06-13T14:00:00+02:00", offset_ms=-1500, error_ms=40)
    kept = meet.report(clock=clock)
    assert kept["clock"] == {"at": "2026-06-13T12:00:00Z", "offset_ms": -1500, "error_ms": 40}
    assert kept["received_at"]


def test_words_keep_their_lines_and_their_letters(meet: MeetAtHand) -> None:
    words = "Première ligne\r\nДве строки\n<b>=SUM(A1)</b>"
    assert meet.report(words=words)["words"] == words.replace("\r\n", "\n")


def test_own_reports_are_listed_newest_first(meet: MeetAtHand) -> None:
    mine = [meet.report(lane=lane)["id"] for lane in (3, 4)]
    listed = [report["id"] for report in meet.umpire.get("reports").json()]
    assert [one for one in listed if one in mine] == mine[::-1]


def test_one_umpire_does_not_bury_a_case_under_reports(meet: MeetAtHand) -> None:
    case = {meet.report(words=f"Again, {n}.")["case"] for n in range(50)}
    assert len(case) == 1
    before = meet.head()
    sent = a_report(meet.heat(), meet.posts["umpire"])
    a_problem(meet.umpire.put(f"reports/{new_id()}", sent), 409, "conflict")
    assert meet.head() == before
    assert meet.report(by="second")["case"] in case
    assert meet.report(lane=3)["case"] not in case


def test_an_umpire_who_stands_by_a_returned_report_says_so_with_the_same_words(
    meet: MeetAtHand,
) -> None:
    sent, address = a_report(meet.heat(), meet.posts["umpire"]), f"reports/{new_id()}"
    meet.umpire.put(address, sent)
    asked = meet.referee.post(f"{address}/return", ASKED, etag='"v1"')
    again = meet.umpire.put(address, sent, etag=asked.headers["ETag"])
    assert (again.status_code, again.json()["state"]) == (200, "written")
    before = meet.head()
    repeated = meet.umpire.put(address, sent, etag=asked.headers["ETag"])
    assert (repeated.status_code, repeated.json()) == (200, again.json())
    assert meet.head() == before


def test_a_flag_is_never_refused_however_many_reports_there_are(meet: MeetAtHand) -> None:
    meet.start()
    told = [meet.report(words=f"Again, {n}.") for n in range(50)]
    call = meet.call("yellow", lane=4).json()
    assert (call["report"], call["case"]) == (told[-1]["id"], told[-1]["case"])
    assert call["counts"] is True


def taken_back(meet: MeetAtHand, report: Json) -> Json:
    reason = {"reason": "It was the team in the next lane."}
    answer = meet.umpire.post(f"reports/{report['id']}/withdraw", reason, etag='"v1"')
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def test_a_flag_never_belongs_to_a_report_that_was_withdrawn(meet: MeetAtHand) -> None:
    meet.start()
    gone = [taken_back(meet, meet.report(words=f"Again, {n}.")) for n in range(50)]
    flag = meet.call("yellow", lane=4).json()
    assert flag["case"] == gone[0]["case"]
    assert flag["report"] not in {report["id"] for report in gone}
    assert meet.umpire.get(f"reports/{flag['report']}").json()["state"] == "raised"
    # What stands is what the next flag belongs to, and a further account is refused.
    assert meet.call("yellow", lane=4).json()["report"] == flag["report"]
    sent = a_report(meet.heat(), None, take_over=1)
    a_problem(meet.umpire.put(f"reports/{new_id()}", sent), 409, "conflict")


def test_an_account_is_taken_where_all_that_was_written_before_it_was_withdrawn(
    meet: MeetAtHand,
) -> None:
    gone = [taken_back(meet, meet.report(words=f"Again, {n}.")) for n in range(50)]
    assert meet.report()["case"] == gone[0]["case"]


def test_no_case_is_buried_by_flags_whose_lane_comes_later(meet: MeetAtHand) -> None:
    meet.start()
    for _ in range(50):
        report = new_id()
        meet.call("yellow", report=report)
        written = meet.umpire.put(f"reports/{report}", a_report(meet.heat(), meet.posts["umpire"]))
        assert written.status_code == 201
    report = new_id()
    meet.call("yellow", report=report)
    sent = a_report(meet.heat(), meet.posts["umpire"])
    a_problem(meet.umpire.put(f"reports/{report}", sent), 409, "conflict")


def test_a_report_under_a_flag_has_the_flags_marks_of_time(meet: MeetAtHand) -> None:
    meet.start()
    during, late = new_id(), new_id()
    meet.call("yellow", lane=4, report=during)
    meet.call("white", by="second")
    meet.load_result()
    meet.announce(despite="The account is to come.")
    written = meet.umpire.put(f"reports/{during}", a_report(meet.heat(), meet.posts["umpire"]))
    assert written.json()["marks"] == []
    after = meet["second"].put(f"reports/{late}", a_report(meet.heat(), meet.posts["second"]))
    assert after.json()["marks"] == ["came after the result was announced"]


def test_the_account_of_a_flag_before_the_start_has_that_mark_also_when_it_comes_later(
    meet: MeetAtHand,
) -> None:
    report = new_id()
    flag = meet.call("yellow", lane=4, report=report).json()
    assert flag["marks"] == ["heat was not running"]
    meet.start()
    sent = a_report(meet.heat(), meet.posts["umpire"], lane=6)
    written = meet.umpire.put(f"reports/{report}", sent).json()
    assert written["marks"] == ["heat was not running", "lane outside the post"]


def test_a_report_about_another_heat_than_its_flag_has_no_mark_of_that_heat(
    meet: MeetAtHand,
) -> None:
    report = new_id()
    meet.call("yellow", lane=4, report=report)
    meet.start(1)
    sent = a_report(meet.heat(1), meet.posts["umpire"])
    assert meet.umpire.put(f"reports/{report}", sent).json()["marks"] == []


def test_a_flag_of_a_recalled_start_stays_with_the_team_that_ran_then(meet: MeetAtHand) -> None:
    meet.start()
    report = new_id()
    call = meet.call("yellow", lane=4, report=report).json()
    seen = meet.referee.get(f"heats/{meet.heat()}")
    meet.referee.post(f"heats/{meet.heat()}/hold-back", etag=seen.headers["ETag"])
    assert meet.draw_lanes({3: 4, 4: 3}).status_code == 200
    written = meet.umpire.put(f"reports/{report}", a_report(meet.heat(), meet.posts["umpire"]))
    assert written.json()["case"] == call["case"]
    assert meet.case(call["case"])["team_name"] == "Plover 1"
    assert written.json()["run"] == 1


def test_a_case_has_a_number_that_can_be_said(service: Service) -> None:
    ready = a_meet(service)
    ready.start()
    first, other = ready.report(lane=4)["case"], ready.report(lane=3)["case"]
    assert (ready.case(first)["number"], ready.case(other)["number"]) == (1, 2)
    assert [(line["id"], line["number"]) for line in ready.docket()] == [(first, 1), (other, 2)]
    ruling = ready.rule(first).json()
    assert (ruling["case_number"], ruling["heat_number"]) == (1, 1)
    assert ready.case(ready.report(lane=4)["case"])["number"] == 3
