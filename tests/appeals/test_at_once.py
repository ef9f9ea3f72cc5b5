"""Several officials at the same instant: one decides, and the database and the record agree."""

from __future__ import annotations

import json
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import httpx
from sqlalchemy import func, select

from app.appeals.tables import decisions, votes
from app.ids import new_id
from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    appeal,
    cast,
    lodge,
    set_aside,
    team,
)
from tests.builders import PIN, MeetAtHand, Person, add_official
from tests.running import workers_of


def decisions_stored(meet: MeetAtHand, protest: str) -> int:
    of_protest = select(func.count()).select_from(decisions)
    of_protest = of_protest.where(decisions.c.protest_id == protest)
    return meet.service.store.read_now(lambda conn: int(conn.execute(of_protest).scalar_one()))


def entries(meet: MeetAtHand, kind: str, subject: str) -> int:
    """How many entries of a kind the record has about something."""
    lines = meet.referee.get("record").text.splitlines()
    told = [json.loads(json.loads(line)["entry"]) for line in lines if '"entry"' in line]
    return sum(one["kind"] == kind and one["subject"] == subject for one in told)


def test_two_referees_decide_at_once_and_one_wins(meet: MeetAtHand) -> None:
    other = add_official(meet, "other referee", "referee")
    an_announced_disqualification(meet)
    for lane in range(1, 6):
        protest = lodge(meet, a_protest(meet, team=team(meet, lane)))
        orders = [{"order": "correct", "team": team(meet, 8), "time": f"41.0{lane}"}]
        sent = {
            meet.referee.id: {"verdict": "rejected", "reasons": "No.", "pin": PIN},
            other.id: {"verdict": "upheld", "reasons": "Yes.", "orders": orders, "pin": PIN},
        }
        address = f"/api/meets/{meet.id}/protests/{protest['id']}/decision"

        with workers_of(meet.service) as workers, ThreadPoolExecutor(2) as both:

            def decide(
                one: tuple[int, Person],
                workers: list[httpx.Client] = workers,
                address: str = address,
                sent: dict[str, dict[str, object]] = sent,
            ) -> httpx.Response:
                number, person = one
                headers = {"Authorization": f"Bearer {person.token}", "If-Match": '"v1"'}
                http = workers[number % len(workers)]
                return http.put(address, json=sent[person.id], headers=headers)

            answers = list(both.map(decide, enumerate((meet.referee, other))))
        assert sorted(answer.status_code for answer in answers) == [201, 412]
        won = next(one.json() for one in answers if one.status_code == 201)
        lost = next(one.json() for one in answers if one.status_code == 412)
        assert lost["decision"] == won["decision"]["id"]
        assert decisions_stored(meet, protest["id"]) == 1
        assert entries(meet, "protest decided", protest["id"]) == 1


def test_one_decision_that_is_sent_many_times_is_one_decision(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    sent = {"verdict": "upheld", "reasons": "Yes.", "orders": set_aside(ruling), "pin": PIN}

    def decide(_: int) -> httpx.Response:
        return meet.referee.put(f"protests/{protest['id']}/decision", sent, etag='"v1"')

    with ThreadPoolExecutor(4) as phones:
        answers = list(phones.map(decide, range(4)))
    assert Counter(answer.status_code for answer in answers) == {201: 1, 200: 3}
    assert decisions_stored(meet, protest["id"]) == 1


def test_a_member_who_votes_twice_at_once_has_one_vote(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    names = a_panel(meet, lodged)

    def vote(how: str) -> httpx.Response:
        return cast(meet, lodged, names[0], how)

    with ThreadPoolExecutor(2) as both:
        answers = list(both.map(vote, ("upheld", "rejected")))
    assert sorted(answer.status_code for answer in answers) == [201, 409]
    of_appeal = select(func.count()).select_from(votes).where(votes.c.appeal_id == lodged["id"])
    assert meet.service.store.read_now(lambda conn: conn.execute(of_appeal).scalar_one()) == 1


def test_members_who_vote_at_once_are_all_counted(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    names = a_panel(meet, lodged)
    with ThreadPoolExecutor(3) as all_three:
        answers = list(all_three.map(lambda name: cast(meet, lodged, name), names))
    assert [answer.status_code for answer in answers] == [201] * 3
    assert meet["jury"].get(f"appeals/{lodged['id']}").json()["panel"]["votes"] == 3


def test_protests_that_come_at_once_have_numbers_of_their_own(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)

    def put(lane: int) -> httpx.Response:
        return meet.desk.put(f"protests/{new_id()}", a_protest(meet, ruling, team=team(meet, lane)))

    with ThreadPoolExecutor(8) as desks:
        answers = list(desks.map(put, range(1, 9)))
    assert sorted(answer.json()["number"] for answer in answers) == list(range(1, 9))
