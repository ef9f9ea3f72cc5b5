"""Fifty at once with one id: one is first, and what is stored is what that one sent.

Also where two processes serve one database, which is where no lock of a process helps.
"""

from __future__ import annotations

import json
import threading
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing
from itertools import cycle, islice
from pathlib import Path

import pytest

from app.ids import MeetId, ReportId, new_id
from app.record.kinds import Kind
from app.record.queries import committed_on
from app.reports.queries import report_out
from app.store.engine import open_engines
from tests.bench.databases import seals_in
from tests.builders import MeetAtHand, a_meet, a_report
from tests.conftest import NewDatabase
from tests.faults.acts import Act, Told
from tests.faults.phones import Line
from tests.faults.served import Serving, a_server
from tests.running import Service, a_service

AT_ONCE = 50


def at_once(hosts: Sequence[str], acts: Sequence[Act]) -> list[Told]:
    """Send all in the same moment, by turns to the hosts; the answers in the acts' order."""
    ready = threading.Barrier(len(acts))

    def send(host: str, act: Act) -> Told:
        with closing(Line(host)) as line:
            line.ask(act.token, f"/api/meets/{act.path.split('/')[3]}")  # connected from now on
            ready.wait(30)
            told = line.send(act)
        assert told is not None, f"{host} did not answer"
        return told

    with ThreadPoolExecutor(len(acts)) as phones:
        return list(phones.map(send, islice(cycle(hosts), len(acts)), acts))


def accounts(meet: MeetAtHand, words: Sequence[str]) -> list[Act]:
    """Accounts under one id, each with its own words."""
    report, post = new_id(), meet.posts["umpire"]
    path = f"/api/meets/{meet.id}/reports/{report}"
    sent = a_report(meet.heat(), post)
    return [
        Act(Kind.REPORT_WRITTEN, report, "PUT", path, meet.umpire.token, sent | {"words": one})
        for one in words
    ]


def stored(url: str, meet: MeetAtHand, act: Act) -> tuple[str, list[tuple[str, str]]]:
    """A report's words as they are stored, and its entries: their kinds, and the words in them."""
    engines = open_engines(url)
    try:
        with engines.reading.connect() as conn:
            out = report_out(conn, MeetId(meet.id), ReportId(act.subject))
            told = committed_on(conn, MeetId(meet.id), act.subject)
            return out.words, [
                (one.kind, json.dumps((one.body or {}).get("words"))) for one in told
            ]
    finally:
        engines.dispose()


def insist_one_of_the_same(hosts: Sequence[str], meet: MeetAtHand, url: str) -> None:
    acts = accounts(meet, ["As seen."] * AT_ONCE)
    answers = at_once(hosts, acts)
    assert Counter(one.status for one in answers) == {201: 1, 200: AT_ONCE - 1}
    assert all(one.document == answers[0].document for one in answers)
    assert stored(url, meet, acts[0]) == ("As seen.", [("report written", '"As seen."')])


def insist_one_of_many(hosts: Sequence[str], meet: MeetAtHand, url: str) -> None:
    acts = accounts(meet, [f"As number {number} saw it." for number in range(AT_ONCE)])
    answers = at_once(hosts, acts)
    assert Counter(one.status for one in answers) == {201: 1, 409: AT_ONCE - 1}
    won = acts[[one.status for one in answers].index(201)].body["words"]
    assert stored(url, meet, acts[0]) == (won, [("report written", json.dumps(won))])
    refusals = {one.document["type"] for one in answers if one.status == 409}
    assert refusals == {"/problems/id-taken"}


def test_fifty_with_one_id_who_say_the_same_are_one_report(
    service: Service, meet: MeetAtHand
) -> None:
    host = service.address.removeprefix("http://")
    insist_one_of_the_same([host], meet, service.database_url)


def test_of_fifty_with_one_id_who_say_other_things_one_is_first(
    service: Service, meet: MeetAtHand
) -> None:
    host = service.address.removeprefix("http://")
    insist_one_of_many([host], meet, service.database_url)


@pytest.fixture(scope="module")
def two_processes(
    new_database: NewDatabase, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[list[str], str]]:
    """Two servers over one PostgreSQL: where they are, and its URL."""
    url, folder = new_database("postgresql"), Path(tmp_path_factory.mktemp("two"))
    with ExitStack() as stack:
        stack.enter_context(seals_in(folder / "seal"))
        serving = Serving(url, folder)
        yield [stack.enter_context(a_server(serving)).host for _ in range(2)], url


def test_fifty_with_one_id_at_two_processes_are_one_report(
    two_processes: tuple[list[str], str],
) -> None:
    hosts, url = two_processes
    with a_service(url) as service:
        meet = a_meet(service)
    for _ in range(3):
        insist_one_of_the_same(hosts, meet, url)


def test_of_fifty_with_one_id_at_two_processes_one_is_first(
    two_processes: tuple[list[str], str],
) -> None:
    hosts, url = two_processes
    with a_service(url) as service:
        meet = a_meet(service)
    for _ in range(3):
        insist_one_of_many(hosts, meet, url)
