"""Races between people: exactly one outcome each, which the answers, the rows and the record share.

Whoever comes second is told that somebody was first. Two decisions on one protest are raced in
`tests/appeals/test_at_once.py`; reports, votes and rulings of the same kind in the files of that
name beside it.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import datetime, timedelta
from typing import Any

import httpx
import pytest
from sqlalchemy import select

from app.access.tables import sessions
from app.appeals.tables import appeals, protests
from app.clock import SystemClock
from app.erasing.actions import OPERATOR, Wanted, erase
from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.log import Keeper
from app.refusals import MeetErased
from app.reports.states import Mark
from app.reports.tables import reports
from app.results.tables import announcements, windows
from app.rulings.tables import disqualifications, rulings
from app.store.action import Deed, Unit
from app.store.engine import open_engines
from tests.appeals.desk import (
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_appeal,
    team,
)
from tests.builders import (
    PIN,
    TEAMS,
    Json,
    MeetAtHand,
    a_meet,
    a_problem,
    a_report,
    a_ruling,
    add_official,
    with_own_heats,
)
from tests.conftest import ENGINES, NewDatabase
from tests.faults.racing import Workers, at_once, entries, rows, workers
from tests.running import Service, a_service

several_rounds = pytest.mark.parametrize("round_", range(8))
a_few_rounds = pytest.mark.parametrize("round_", range(3))
"""Where each needs a meet of its own."""
TICK = timedelta(microseconds=1)


@pytest.fixture(scope="module")
def crew(running_service: Service) -> Iterator[Workers]:
    with workers(running_service) as found:
        yield found


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    hand = a_meet(running_service, heats=1)
    add_official(hand, "other referee", "referee")
    add_official(hand, "other desk", "results")
    return hand


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    """The same meet and people for all races, each in a heat that no other race touches."""
    return with_own_heats(stadium, 1)


@pytest.fixture
def chance(request: pytest.FixtureRequest) -> random.Random:
    """Who has a head start: the same in every run of a test, another in each of its rounds."""
    return random.Random(request.node.name)


def refused(answer: httpx.Response, *statuses: int) -> Json:
    """The problem document of whoever came second."""
    assert answer.status_code in statuses, answer.text
    return a_problem(answer, answer.status_code, answer.json()["type"].rsplit("/", 1)[1])


def a_judged_heat(meet: MeetAtHand) -> tuple[Json, str]:
    """The heat has run, every post has called and its list is loaded; gives its result as the desk
    looks at it, and the version of that.
    """
    meet.start()
    for name in meet.posts:
        assert meet.call(by=name).status_code == 201
    assert meet.load_result().status_code == 201
    return seen_result(meet)


def seen_result(meet: MeetAtHand) -> tuple[Json, str]:
    seen = meet.desk.get(f"heats/{meet.heat()}/result")
    return dict(seen.json()), seen.headers["ETag"]


@several_rounds
def test_rulings_at_two_workers_are_one_ruling_and_the_other_is_told_whose(
    meet: MeetAtHand, crew: Workers, chance: random.Random, round_: int
) -> None:
    case = meet.report()["case"]
    seen = meet.referee.get(f"cases/{case}").headers["ETag"]

    def rule(number: int, name: str, verdict: str) -> httpx.Response:
        address = f"cases/{case}/rulings/{new_id()}"
        return crew.at(number, meet[name]).put(address, a_ruling(verdict=verdict), etag=seen)

    answers = at_once(
        chance,
        lambda: rule(0, "referee", "confirmed"),
        lambda: rule(1, "other referee", "dismissed"),
    )
    (won,) = [one.json() for one in answers if one.status_code == 201]
    (lost,) = [one for one in answers if one.status_code != 201]
    assert won["official_name"] in refused(lost, 412)["detail"]
    assert rows(meet, rulings, rulings.c.case_id == case) == 1
    in_force = (disqualifications.c.case_id == case, disqualifications.c.state == "in force")
    assert rows(meet, disqualifications, *in_force) == (won["verdict"] == "confirmed")
    assert len(entries(meet, Kind.RULING, won["id"])) == 1


@several_rounds
def test_a_report_is_ruled_on_or_withdrawn_and_never_both(
    meet: MeetAtHand, crew: Workers, chance: random.Random, round_: int
) -> None:
    report, ruling = meet.report(), new_id()
    case = f"cases/{report['case']}"
    seen = meet.referee.get(case).headers["ETag"]
    referee, umpire = crew.at(0, meet.referee), crew.at(1, meet.umpire)
    why = {"reason": "It was lane 3."}
    ruled, withdrawn = at_once(
        chance,
        lambda: referee.put(f"{case}/rulings/{ruling}", a_ruling(), etag=seen),
        lambda: umpire.post(f"reports/{report['id']}/withdraw", why, etag='"v1"'),
    )
    is_ruled = ruled.status_code == 201
    if is_ruled:
        assert "“ruled”" in refused(withdrawn, 409)["detail"]
    else:
        refused(ruled, 409, 412)
        assert withdrawn.status_code == 200, withdrawn.text
    assert rows(meet, rulings, rulings.c.case_id == report["case"]) == is_ruled
    of_case = disqualifications.c.case_id == report["case"]
    assert rows(meet, disqualifications, of_case) == is_ruled
    state = "ruled" if is_ruled else "withdrawn"
    assert rows(meet, reports, reports.c.id == report["id"], reports.c.state == state) == 1
    assert len(entries(meet, Kind.RULING, ruling)) == is_ruled
    assert len(entries(meet, Kind.REPORT_WITHDRAWN, report["id"])) == (not is_ruled)


@several_rounds
@pytest.mark.parametrize("despite", [None, "Lane 3 is looked at later."])
def test_an_announcement_does_not_cover_a_report_that_it_has_not_seen(
    meet: MeetAtHand, crew: Workers, chance: random.Random, despite: str | None, round_: int
) -> None:
    """The report came first and the announcement is refused, or it came after it and says so; also
    where the desk has its word ready, which was about what stood in the way before.
    """
    _, seen = a_judged_heat(meet)
    if despite is not None:
        meet.report(lane=3)
        _, seen = seen_result(meet)
    told, report = new_id(), new_id()
    desk, umpire = crew.at(0, meet.desk), crew.at(1, meet["second"])
    announcement = {"heat": meet.heat(), "pin": PIN, "despite": despite}
    account = a_report(meet.heat(), meet.posts["second"], lane=5)
    announced, reported = at_once(
        chance,
        lambda: desk.put(f"announcements/{told}", announcement, etag=seen),
        lambda: umpire.put(f"reports/{report}", account),
    )
    assert reported.status_code == 201, reported.text
    is_announced = announced.status_code == 201
    if is_announced:
        assert Mark.AFTER_ANNOUNCEMENT in reported.json()["marks"]
        assert entries(meet, Kind.ANNOUNCEMENT, told) < entries(meet, Kind.REPORT_WRITTEN, report)
    else:
        assert "changed since you looked" in refused(announced, 412)["detail"]
        assert Mark.AFTER_ANNOUNCEMENT not in reported.json()["marks"]
    of_heat = announcements.c.heat_id == meet.heat()
    assert rows(meet, announcements, of_heat) == is_announced
    assert rows(meet, reports, reports.c.id == report) == 1
    assert len(entries(meet, Kind.ANNOUNCEMENT, told)) == is_announced
    assert len(entries(meet, Kind.REPORT_WRITTEN, report)) == 1


@several_rounds
def test_of_two_announcements_of_a_heat_one_is_made_and_opens_one_window(
    meet: MeetAtHand, crew: Workers, chance: random.Random, round_: int
) -> None:
    _, seen = a_judged_heat(meet)
    told = [new_id(), new_id()]
    sent = {"heat": meet.heat(), "pin": PIN}
    desks = [crew.at(0, meet.desk), crew.at(1, meet["other desk"])]
    answers = at_once(
        chance,
        lambda: desks[0].put(f"announcements/{told[0]}", sent, etag=seen),
        lambda: desks[1].put(f"announcements/{told[1]}", sent, etag=seen),
    )
    (won,) = [one.json() for one in answers if one.status_code == 201]
    (lost,) = [one for one in answers if one.status_code != 201]
    refused(lost, 409, 412)
    of_heat = announcements.c.heat_id == meet.heat()
    assert won["number"] == 1
    assert rows(meet, announcements, of_heat) == 1
    assert rows(meet, windows, windows.c.heat_id == meet.heat()) == 1
    assert sorted(len(entries(meet, Kind.ANNOUNCEMENT, one)) for one in told) == [0, 1]


@several_rounds
def test_a_link_that_two_phones_open_at_once_lets_one_in(
    meet: MeetAtHand, crew: Workers, chance: random.Random, round_: int
) -> None:
    official, phones = new_id(), [new_id(), new_id()]
    named = {"name": "Nora Newcomer", "roles": ["umpire"]}
    assert meet.organiser.put(f"officials/{official}", named).status_code == 201
    link = meet.organiser.put(f"officials/{official}/join-links/{new_id()}").json()

    def join(number: int) -> httpx.Response:
        sent = {"token": link["token"], "session": phones[number], "pin": PIN}
        return crew.at(number, meet.umpire).post("/api/join", sent)

    answers = at_once(chance, lambda: join(0), lambda: join(1))
    assert sorted(one.status_code for one in answers) == [200, 403]
    (won,) = [one.json() for one in answers if one.status_code == 200]
    (lost,) = [one for one in answers if one.status_code == 403]
    assert "has been used" in refused(lost, 403)["detail"]
    assert won["session"] in phones
    assert rows(meet, sessions, sessions.c.official_id == official) == 1
    assert len(entries(meet, Kind.JOINED, official)) == 1


@several_rounds
def test_whoever_loses_the_role_has_ruled_before_or_does_not_rule(
    meet: MeetAtHand, crew: Workers, chance: random.Random, round_: int
) -> None:
    holder = add_official(meet, f"holder {new_id()}", "referee")
    case, ruling = meet.report()["case"], new_id()
    seen = holder.get(f"cases/{case}").headers["ETag"]
    known = meet.organiser.get(f"officials/{holder.id}")
    named = {name: known.json()[name] for name in ("name", "affiliation", "active")}
    at_work, organiser = crew.at(0, holder), crew.at(1, meet.organiser)
    version = known.headers["ETag"]
    roles = {**named, "roles": ["umpire"]}
    ruled, taken = at_once(
        chance,
        lambda: at_work.put(f"cases/{case}/rulings/{ruling}", a_ruling(), etag=seen),
        lambda: organiser.put(f"officials/{holder.id}", roles, etag=version),
    )
    assert taken.status_code == 200, taken.text
    is_ruled = ruled.status_code == 201
    if is_ruled:
        by_then = entries(meet, Kind.OFFICIAL_CHANGED, holder.id)
        assert entries(meet, Kind.RULING, ruling) < by_then
    else:
        refused(ruled, 403)
    assert rows(meet, rulings, rulings.c.case_id == case) == is_ruled
    assert len(entries(meet, Kind.RULING, ruling)) == is_ruled
    refused(at_work.put(f"cases/{case}/rulings/{new_id()}", a_ruling(), etag=seen), 403)


def lodged_while_it_closes(
    meet: MeetAtHand, closes: datetime, chance: random.Random, path: str, documents: list[Json]
) -> list[Json]:
    """All are handed in together, while the clock goes over the closing instant by microseconds."""
    clock = meet.service.clock
    clock.stand_at(closes - 2 * TICK)

    def hand_in(document: Json) -> httpx.Response:
        clock.stand_at(closes + chance.randrange(-1, 3) * TICK)
        return meet.desk.put(f"{path}/{new_id()}", document)

    acts: list[Any] = [lambda one=one: hand_in(one) for one in documents]
    answers = at_once(chance, *acts)
    assert {one.status_code for one in answers} == {201}, [one.text for one in answers]
    return [one.json() for one in answers]


@a_few_rounds
def test_each_protest_that_comes_as_the_window_closes_is_judged_by_its_own_instant(
    service: Service, chance: random.Random, round_: int
) -> None:
    """Inclusive to the microsecond: in time at the closing instant (World Athletics TR8.2)."""
    meet = a_meet(service, heats=1)
    service.clock.stand_at(service.clock.now())
    an_announced_disqualification(meet)
    (window,) = service.http.get(f"/api/meets/{meet.id}/windows.json").json()["windows"]
    closes = datetime.fromisoformat(window["closes_at"])
    sent = [a_protest(meet, team=team(meet, lane)) for lane in range(1, 9)]
    lodged = lodged_while_it_closes(meet, closes, chance, "protests", sent)
    for one in lodged:
        is_late = datetime.fromisoformat(one["lodged_at"]) > closes
        assert one["marks"] == (["late"] if is_late else []), one
        assert one["timeliness"]["margin_seconds"] == pytest.approx(
            (closes - datetime.fromisoformat(one["lodged_at"])).total_seconds()
        )
    assert rows(meet, protests, protests.c.heat_id == meet.heat()) == len(sent)
    assert sum(len(entries(meet, Kind.PROTEST_LODGED, one["id"])) for one in lodged) == len(sent)


@a_few_rounds
def test_each_appeal_that_comes_in_the_last_microseconds_is_judged_by_its_own_instant(
    service: Service, chance: random.Random, round_: int
) -> None:
    """World Athletics TR8.7: within thirty minutes of the advice, read as inclusive."""
    meet = a_meet(service, heats=1)
    service.clock.stand_at(service.clock.now())
    protest = a_rejected_protest(meet)
    closes = service.clock.now() + timedelta(minutes=30)
    sent = [an_appeal(meet, protest, team=team(meet, lane)) for lane in range(1, 9)]
    lodged = lodged_while_it_closes(meet, closes, chance, "appeals", sent)
    for one in lodged:
        is_late = datetime.fromisoformat(one["lodged_at"]) > closes
        assert one["state"] == ("late" if is_late else "admitted"), one
    assert rows(meet, appeals, appeals.c.protest_id == protest["id"]) == len(sent)
    assert sum(len(entries(meet, Kind.APPEAL_LODGED, one["id"])) for one in lodged) == len(sent)


@pytest.mark.parametrize("engine", ENGINES)
def test_what_is_written_in_one_group_with_an_erasure_is_refused_behind_it(
    engine: str, new_database: NewDatabase
) -> None:
    url = new_database(engine)
    with a_service(url) as service:
        meet = MeetId(a_meet(service, heats=1).id)
    engines, now = open_engines(url), SystemClock().now()
    wanted = Wanted(because="asked for it", by="the committee")
    with ExitStack() as stack, engines.writing.connect() as conn, conn.begin():
        stack.callback(engines.dispose)
        group = Keeper().open_group(conn, frozenset({meet}))
        unit = Unit(conn, now, meet, OPERATOR)
        erased = erase(wanted)(unit).deed
        assert erased is not None
        group.append(unit, erased)
        with pytest.raises(MeetErased):
            group.append(unit, Deed(Kind.REPORT_WRITTEN, new_id(), {"words": "Too late."}))


@a_few_rounds
def test_what_is_reported_while_the_meet_is_erased_is_refused_or_erased_with_it(
    service: Service, crew: Workers, chance: random.Random, round_: int
) -> None:
    """The erasure is done as its command does it: at another worker where there is one."""
    meet = a_meet(service, heats=1)
    words = f"Seen by {TEAMS[0]} {new_id()}."
    sent = {new_id(): a_report(meet.heat(), meet.posts["umpire"], words=words) for _ in range(4)}
    store = crew.services[-1].store
    wanted = Wanted(because="asked for it", by="the committee")

    def report(ident: str) -> httpx.Response:
        return meet.umpire.put(f"reports/{ident}", sent[ident])

    acts: list[Any] = [lambda one=one: report(one) for one in sent]
    acts.append(lambda: store.act_now(MeetId(meet.id), OPERATOR, erase(wanted)))
    *answers, _gone = at_once(chance, *acts)
    (erased,) = entries(meet, Kind.ERASED, meet.id)
    for ident, answer in zip(sent, answers, strict=True):
        written = entries(meet, Kind.REPORT_WRITTEN, ident)
        if answer.status_code == 201:
            assert written < [erased]
            assert len(written) == 1
        else:
            refused(answer, 401, 409)
            assert written == []
    stored = select(reports.c.words).where(reports.c.heat_id == meet.heat())
    kept = service.store.read_now(lambda conn: list(conn.execute(stored).scalars()))
    assert len(kept) == sum(one.status_code == 201 for one in answers)
    assert not any(words in str(one) for one in kept)
