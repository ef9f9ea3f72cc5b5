"""People who act at the same instant, before one server or two that share a database."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from threading import Barrier
from typing import TypeVar

from sqlalchemy import ColumnElement, Select, Table, func, select

from app.record.kinds import Kind
from app.record.tables import record_entries
from tests.builders import MeetAtHand, Person
from tests.running import Service, a_service

Result = TypeVar("Result")

LONGEST_HEAD_START = 0.015
"""Seconds. More than a request takes, so that either of two may be the first to be stored."""


@dataclass(frozen=True, slots=True)
class Workers:
    """Whoever serves one database: one process on SQLite, two on PostgreSQL."""

    services: Sequence[Service]

    def at(self, number: int, person: Person) -> Person:
        """The same person, whose line leads to another worker."""
        return replace(person, http=self.services[number % len(self.services)].http)


@contextmanager
def workers(service: Service) -> Iterator[Workers]:
    """The service and, on PostgreSQL, a second one beside it."""
    if service.store.engines.is_sqlite:
        yield Workers([service])
    else:
        with a_service(service.database_url) as other:
            yield Workers([service, other])


def at_once(chance: random.Random, *acts: Callable[[], Result]) -> list[Result]:
    """All acts begin together, but for a head start by chance; gives what came of each."""
    start = Barrier(len(acts), timeout=30)
    waits = [chance.uniform(0, LONGEST_HEAD_START) for _ in acts]

    def run(act: Callable[[], Result], wait: float) -> Result:
        start.wait()
        time.sleep(wait)
        return act()

    with ThreadPoolExecutor(len(acts)) as people:
        return list(people.map(run, acts, waits))


def rows(meet: MeetAtHand, table: Table, *which: ColumnElement[bool]) -> int:
    """How many rows of a table the database has of which this is true."""
    return _one(meet, select(func.count()).select_from(table).where(*which))


def entries(meet: MeetAtHand, kind: Kind, subject: str) -> list[int]:
    """The places in the record of entries of a kind about a thing, first to last."""
    asked = select(record_entries.c.seq).where(
        record_entries.c.meet_id == meet.id,
        record_entries.c.kind == kind,
        record_entries.c.subject == subject,
    )
    asked = asked.order_by(record_entries.c.seq)
    return meet.service.store.read_now(lambda conn: list(conn.execute(asked).scalars()))


def _one(meet: MeetAtHand, asked: Select[tuple[int]]) -> int:
    return meet.service.store.read_now(lambda conn: conn.execute(asked).scalar_one())
