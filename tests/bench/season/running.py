"""A season from its empty database to the check of all that it left there."""

from __future__ import annotations

import asyncio
import os
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from time import perf_counter

import uvloop
from sqlalchemy import Connection

from app.checking.database import check_database
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.queries import committed_of_kinds
from app.store.engine import Engines, open_engines
from tests.bench.databases import fresh_databases
from tests.bench.season.ledger import Ledger
from tests.bench.season.meets import SeasonMeet, set_up
from tests.bench.season.meters import Meters, Used, postmaster_of, stored_bytes
from tests.bench.season.person import Stage
from tests.bench.season.plan import Season
from tests.bench.season.playing import IsEnough, Played, never, play
from tests.bench.servers import SERVICE, some_processes
from tests.faults.history import Entry


@dataclass(frozen=True, slots=True)
class Measured:
    """What came of a season."""

    season: Season
    ledger: Ledger
    acts: Counter[str]
    """What was acknowledged, by kind."""
    unknown: int
    """Acts whose outcome nobody was told."""
    before: Used
    after: Used
    stored_before: int
    stored_after: int
    amiss: Sequence[str]
    """What the records, the database or the head officials' screens have otherwise than it was."""
    held: Counter[str]
    """How much of each sort was held against the records."""
    load_before: float
    """What else the machine did: its load average of the minute before."""

    @property
    def is_good(self) -> bool:
        return not self.amiss and not self.ledger.errors


def run_season(season: Season, is_enough: IsEnough = never) -> Measured:
    """Set up, play, and check. Tells on the error output how far it is."""
    load_before = os.getloadavg()[0]
    with fresh_databases(season.engine) as databases, _opened(databases.migrated()) as engines:
        url = engines.url.render_as_string(hide_password=False)
        with _told(f"{season.meets} meets set up"):
            meets = set_up(url, season)
        stored_before = stored_bytes(engines)
        servers = some_processes(*((SERVICE, url) for _ in range(season.workers)))
        with servers as running, _told("played"):
            meters = Meters([one.pid for one in running], postmaster_of(engines))
            addresses = [one.address for one in running]
            with asyncio.Runner(loop_factory=uvloop.new_event_loop) as runner:
                played = runner.run(play(season, meets, addresses, meters.read, is_enough))
        stored_after = stored_bytes(engines)
        with _told("checked"):
            amiss, held = check(engines, meets, played.stages)
        return _measured(season, played, load_before, (stored_before, stored_after), amiss, held)


def _measured(
    season: Season,
    played: Played,
    load_before: float,
    stored: tuple[int, int],
    amiss: Sequence[str],
    held: Counter[str],
) -> Measured:
    accounts = [stage.account for stage in played.stages]
    return Measured(
        season,
        played.ledger,
        sum((one.acknowledged for one in accounts), Counter()),
        sum(one.unknown for one in accounts),
        played.before,
        played.after,
        *stored,
        amiss,
        held,
        load_before,
    )


def check(
    engines: Engines, meets: Sequence[SeasonMeet], stages: Sequence[Stage]
) -> tuple[list[str], Counter[str]]:
    """By the program's own check, and by what people were told: all that does not agree, and how
    much was looked at.
    """
    amiss: list[str] = []
    with engines.reading.connect() as conn:
        found = check_database(conn)
        amiss += found.mismatches
        missing = {meet.id for meet in meets} - found.meets.keys()
        amiss += [f"meet {meet}: the database does not know it" for meet in sorted(missing)]
        for meet, stage in zip(meets, stages, strict=True):
            there = [*stage.account.amiss(_entries(conn, meet)), *stage.account.flags_amiss()]
            amiss += [f"meet {meet.id}: {one}" for one in there]
    return amiss, found.held


def _entries(conn: Connection, meet: SeasonMeet) -> Iterator[Entry]:
    """What was done at the meet since the clock began."""
    for one in committed_of_kinds(conn, MeetId(meet.id), list(Kind)):
        if one.seq > meet.size:
            yield Entry(Kind(one.kind), one.subject, one.body or {})


@contextmanager
def _opened(url: str) -> Iterator[Engines]:
    engines = open_engines(url)
    try:
        yield engines
    finally:
        engines.dispose()


@contextmanager
def _told(what: str) -> Iterator[None]:
    began = perf_counter()
    yield
    print(f"{what} in {perf_counter() - began:.1f} s", file=sys.stderr, flush=True)
