"""Several officials at the same instant: exactly one wins, and the database agrees."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

import httpx
from sqlalchemy import func, select

from app.ids import new_id
from app.rulings.tables import disqualifications, rulings
from tests.builders import Json, MeetAtHand, Person, a_report, a_ruling, add_official


def stored(meet: MeetAtHand, case: str) -> tuple[int, int]:
    """The rulings on a case and its disqualifications in force, as the database has them."""
    of_case = select(func.count()).select_from(rulings).where(rulings.c.case_id == case)
    in_force = (
        select(func.count())
        .select_from(disqualifications)
        .where(disqualifications.c.case_id == case, disqualifications.c.state == "in force")
    )
    return meet.service.store.read_now(
        lambda conn: (conn.execute(of_case).scalar_one(), conn.execute(in_force).scalar_one())
    )


def test_two_officials_rule_at_once_and_one_wins(meet: MeetAtHand) -> None:
    other = add_official(meet, "second referee", "referee")
    for lane in range(1, 6):
        case = meet.report(lane=lane)["case"]
        seen = meet.referee.get(f"cases/{case}").headers["ETag"]
        sent = {meet.referee.id: a_ruling(), other.id: a_ruling(verdict="dismissed")}

        def rule(
            person: Person, case: str = case, seen: str = seen, sent: Mapping[str, Json] = sent
        ) -> httpx.Response:
            return person.put(f"cases/{case}/rulings/{new_id()}", sent[person.id], etag=seen)

        with ThreadPoolExecutor(2) as both:
            answers = list(both.map(rule, (meet.referee, other)))
        assert sorted(answer.status_code for answer in answers) == [201, 412]
        won = next(answer.json() for answer in answers if answer.status_code == 201)
        assert stored(meet, case) == (1, int(won["verdict"] == "confirmed"))
        lost = next(answer.json() for answer in answers if answer.status_code == 412)
        assert won["official_name"] in lost["detail"]


def test_a_ruling_that_is_sent_many_times_at_once_is_one_ruling(meet: MeetAtHand) -> None:
    case, ruling = meet.report()["case"], new_id()
    seen = meet.referee.get(f"cases/{case}").headers["ETag"]

    def rule(_: int) -> httpx.Response:
        return meet.referee.put(f"cases/{case}/rulings/{ruling}", a_ruling(), etag=seen)

    with ThreadPoolExecutor(4) as phones:
        answers = list(phones.map(rule, range(4)))
    assert Counter(answer.status_code for answer in answers) == {201: 1, 200: 3}
    assert stored(meet, case) == (1, 1)


def test_a_report_that_comes_with_the_ruling_is_ruled_on_or_opens_a_further_case(
    meet: MeetAtHand,
) -> None:
    for lane in range(1, 6):
        case = meet.report(lane=lane)["case"]
        late = a_report(meet.heat(), meet.posts["second"], lane=lane)
        with ThreadPoolExecutor(2) as both:
            ruling = both.submit(meet.rule, case)
            report = both.submit(meet["second"].put, f"reports/{new_id()}", late)
        told = report.result().json()
        assert ruling.result().status_code in {201, 412}
        if ruling.result().status_code == 412:
            assert told["case"] == case
        elif told["case"] != case:
            assert meet.case(told["case"])["further_of"] == case
        if told["case"] == case and ruling.result().status_code == 201:
            assert told["id"] in {one["id"] for one in meet.case(case)["reports"]}
            assert {one["state"] for one in meet.case(case)["reports"]} == {"ruled"}


def test_many_umpires_report_one_team_at_once_into_one_case(meet: MeetAtHand) -> None:
    def send(number: int) -> httpx.Response:
        by = ("umpire", "second")[number % 2]
        sent = a_report(meet.heat(), meet.posts[by], words=f"Seen by {number}.")
        return meet[by].put(f"reports/{new_id()}", sent)

    with ThreadPoolExecutor(8) as crowd:
        answers = list(crowd.map(send, range(16)))
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.json()["case"] for answer in answers}) == 1
    assert len(meet.open_cases()) == 1
