"""What does a long record cost: adding an entry to it, and proving one?

Short and long record lie in databases of their own. The long one is filled by the database itself:
adding an entry reads nothing of what stands before it but the head, so what the entries say does
not matter.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter

from sqlalchemy import insert, text

from app.clock import SystemClock
from app.exporting import building
from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.log import Keeper
from app.record.merkle import Frontier
from app.record.proofs import prove_inclusion
from app.record.tables import record_heads
from app.store.action import Actor, Deed, Done, Unit
from app.store.engine import open_engines
from app.store.store import Store
from tests.bench.databases import Databases
from tests.bench.lines import Line, Ratio, at_most, ratio_of_rounds, time_line
from tests.bench.load import LoadFailed
from tests.bench.plan import LARGEST_ENTRY_GROWTH, Plan

CHECKER = Path(building.__file__).with_name(building.CHECKER)
BODY = {
    "heat": "018f6e7c-0000-7000-8000-000000000000",
    "lane": 4,
    "notes": "The baton was first touched beyond the end edge, by about a metre.",
    "observation": {"kind": "pass", "first_touch": "beyond", "metres": 1.5, "seen": ["a", "b"]},
    "phone": {"at": "2026-06-13T12:03:22.000000Z", "offset_ms": 45},
}
NUMBERS = (
    "(WITH RECURSIVE numbers (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM numbers WHERE n < :most) "
    "SELECT n FROM numbers) AS numbers"
)
FILL = {
    "record_entries": "(meet_id, seq, kind, subject, entry) "
    "SELECT CAST(:meet AS text), n, 'call', CAST(:meet AS text), CAST(:entry AS text) "
    f"FROM {NUMBERS}",
    "record_bodies": "(meet_id, seq, salt, body) "
    f"SELECT CAST(:meet AS text), n, :salt, CAST(:body AS text) FROM {NUMBERS}",
}


def measure_records(plan: Plan, databases: Databases) -> list[Line]:
    """An entry into a short and into a long record, and a proof in the long one."""
    sizes = (plan.entries_of_short, plan.entries_of_long)
    short, long = (_filled(databases.migrated(), size) for size in sizes)
    added_short: list[float] = []
    added_long: list[float] = []
    with _a_store(short.url) as small, _a_store(long.url) as large:
        for _ in range(plan.rounds):
            added_short += [_add(small, short.meet) for _ in range(plan.entries_a_round)]
            added_long += [_add(large, long.meet) for _ in range(plan.entries_a_round)]
        proved = [_prove(large, long.meet, plan.entries_of_long // 3) for _ in range(plan.rounds)]
    grown = ratio_of_rounds(added_long, added_short)
    ratio = Ratio(grown, f"times as long as in one of {sizes[0]}")
    goal = at_most(grown, LARGEST_ENTRY_GROWTH, " times")
    return [
        time_line(f"adding an entry to a record of {sizes[1]:,}", added_long, ratio, goal),
        time_line(f"adding an entry to a record of {sizes[0]:,}", added_short),
        time_line(f"proving an entry in a record of {sizes[1]:,}", proved),
    ]


class Filled:
    """A database with one record of a size."""

    def __init__(self, url: str, meet: MeetId) -> None:
        self.url = url
        self.meet = meet


def _filled(url: str, size: int) -> Filled:
    meet, engines = MeetId(new_id()), open_engines(url)
    values = {"meet": meet, "most": size, "entry": "x" * 330, "salt": b"x" * 32, "body": "y" * 200}
    try:
        with engines.writing.connect() as conn, conn.begin():
            for table, rows in FILL.items():
                conn.execute(text(f"INSERT INTO {table} {rows}"), values)
            roots = (bytes(32),) * size.bit_count()
            head = {"meet_id": meet, "size": size, "root": Frontier(size, roots).root.hex()}
            frontier = [root.hex() for root in roots]
            conn.execute(insert(record_heads).values(**head, frontier=frontier))
    finally:
        engines.dispose()
    return Filled(url, meet)


@contextmanager
def _a_store(url: str) -> Iterator[Store]:
    store = Store(url, SystemClock(), Keeper())
    store.start()
    try:
        yield store
    finally:
        store.stop()


def _add(store: Store, meet: MeetId) -> float:
    """One entry, durable; nothing else is stored."""

    def act(_unit: Unit) -> Done[None]:
        return Done(None, Deed(Kind.CALL, meet, BODY))

    began = perf_counter()
    store.act_now(meet, Actor(meet), act)
    return perf_counter() - began


def _prove(store: Store, meet: MeetId, seq: int) -> float:
    began = perf_counter()
    proof = store.read_now(lambda conn: prove_inclusion(conn, meet, seq, None))
    took = perf_counter() - began
    if len(proof.path) < (proof.size - 1).bit_length() // 2:
        raise LoadFailed("The proof has fewer steps than the tree is high.")
    return took
