"""Walking through every act: each of its statements fails in turn, and nothing of it is stored.

`python -m tests.faults.all_or_nothing` walks all statements of all acts on both engines, in both
ways, and prints how many there were; `--engine` takes one of them.
"""

from __future__ import annotations

import argparse
import random
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path

import psycopg
from sqlalchemy import make_url

from app.serving import bring_up_to_date
from tests.builders import MeetAtHand, a_meet, a_problem
from tests.faults.every_act import EVERY_ACT
from tests.faults.failing import Failure, Fault, Way, fail_on_demand
from tests.postgres import Databases, a_postgres
from tests.running import Service, a_service
from tests.sendings import let_search_end

HEAD_SIGNED_AFTERWARDS = {"meet", "announcement"}
"""Acts after whose commit the meet's seal is made and the record's head signed, each in its own
transaction. Where that fails the log says so, and it is done when a head is next asked for.
"""
GOES_ON = {"search for a crew plan"}
"""After its commit it tells how far it is; where that fails it tells it again."""
SPARSE = 12
"""Of a sample: one statement in about so many, or half as many."""
PROBLEMS = {500: "unexpected", 503: "unavailable"}


@dataclass
class Walked:
    """What came of walking through one act: how many statements failed of it, and how many of what
    the server does by itself once it has committed.
    """

    failed: int = 0
    failed_afterwards: int = 0


@contextmanager
def a_failing_service(database_url: str) -> Iterator[tuple[Service, Fault]]:
    """A service over a database of its own that fails on demand."""
    with a_service(database_url) as service:
        yield service, fail_on_demand(service.store.engines)


def walk(meet: MeetAtHand, fault: Fault, name: str, plan: Iterable[Failure]) -> Walked:
    """Send one request again and again, another statement failing each time, until it succeeds.

    Each time the database is exactly as before, and the answer is a problem document: so the next
    sending is the same request sent again, and it gets as far as the statement that fails then.
    """
    walked, build, http = Walked(), EVERY_ACT[name], meet.service.http
    sending, before = build(meet), contents(meet.service)
    for failure in plan:
        with fault.at(failure):
            answer = sending.send(http)
        if not fault.failed:
            assert answer.is_success, answer.text
            let_search_end(meet)  # it stores by itself how far it is
            return walked
        where = f"{name}, {failure} ({fault.failed[0]})"
        if answer.is_success:
            assert name in HEAD_SIGNED_AFTERWARDS | GOES_ON, f"{where}: answered as stored"
            again = sending.send(http).json()
            assert name in GOES_ON or again == answer.json(), where
            walked.failed_afterwards += 1
            sending, before = build(meet), contents(meet.service)
            continue
        walked.failed += 1
        assert answer.status_code in PROBLEMS, f"{where}: {answer.status_code} {answer.text}"
        a_problem(answer, answer.status_code, PROBLEMS[answer.status_code])
        assert hold_the_same(before, contents(meet.service)), f"{where} left something behind"
    raise AssertionError(f"{name} was to be sent until it succeeded")


def every_statement(way: Way = Way.LOST) -> Iterator[Failure]:
    """One after another, the commit among them."""
    return (Failure(nth, way) for nth in count(1))


def every_commit() -> Iterator[Failure]:
    """A request that is signed has two: that of its PIN and its own."""
    return (Failure(nth, word="COMMIT") for nth in count(1))


def every_statement_and_some_refused(seed: str) -> Iterator[Failure]:
    """The transaction is lost at each; and at some, drawn by the seed, the statement refused."""
    chance = random.Random(seed)
    for failure in every_statement():
        yield failure
        if not chance.randrange(SPARSE):
            yield replace(failure, way=Way.REFUSED)


def some_statements(seed: str) -> Iterator[Failure]:
    """Some that are drawn by the seed, the way in which they fail too."""
    chance = random.Random(seed)
    nth = 0
    while True:
        nth += chance.randint(1, SPARSE)
        yield Failure(nth, chance.choice(list(Way)))


Contents = bytes | list[tuple[str, str]]
"""The whole of a SQLite database; of one of PostgreSQL a digest of each table's rows."""


def contents(service: Service) -> Contents:
    """All that the database holds."""
    if service.store.engines.is_sqlite:
        with closing(sqlite3.connect(str(make_url(service.database_url).database))) as conn:
            return conn.serialize()
    with psycopg.connect(service.database_url) as line:
        names = line.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
        rows = " UNION ALL ".join(
            f"SELECT '{name}', md5(string_agg(t::text, ',' ORDER BY t::text)) FROM {name} t"
            for (name,) in names.fetchall()
        )
        return sorted(line.execute(rows).fetchall())  # type: ignore[call-overload]


def hold_the_same(before: Contents, after: Contents) -> bool:
    """Whether all rows are the same: where rows came and went, bytes of the file may differ."""
    if before == after or not (isinstance(before, bytes) and isinstance(after, bytes)):
        return before == after
    return _rows(before) == _rows(after)


def _rows(whole: bytes) -> list[str]:
    with closing(sqlite3.connect(":memory:")) as conn:
        # A copy in memory has no write-ahead log, which bytes 18 and 19 say (SQLite, file format).
        conn.deserialize(whole[:18] + b"\x01\x01" + whole[20:])
        return list(conn.iterdump())


def _walk_all(service: Service, fault: Fault) -> int:
    statements = 0
    for name in EVERY_ACT:
        for way in Way:
            walked = walk(a_meet(service), fault, name, every_statement(way))
            print(f"{name}, {way}: {walked.failed} + {walked.failed_afterwards}", flush=True)
            statements += walked.failed + walked.failed_afterwards
    return statements


def main() -> int:
    """All statements of all acts, with figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engine", choices=["sqlite", "postgresql"])
    wanted = parser.parse_args().engine
    with tempfile.TemporaryDirectory() as folder, a_postgres() as server:
        urls = {
            "sqlite": f"sqlite:///{Path(folder) / 'all.db'}",
            "postgresql": Databases(server).make(),
        }
        for engine, url in urls.items():
            if wanted in {None, engine}:
                bring_up_to_date(url)
                began = time.monotonic()
                with a_failing_service(url) as (service, fault):
                    statements = _walk_all(service, fault)
                took = time.monotonic() - began
                print(f"{engine}: {len(EVERY_ACT)} acts, {statements} failures, {took:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
