"""What does a long record cost: adding an entry to it, proving one, and checking its export?

Short and long record lie in databases of their own. The long one is filled by the database itself:
adding an entry reads nothing of what stands before it but the head, so what the entries say does
not matter; the checked one is written as the program writes it.
"""

from __future__ import annotations

import json
import secrets
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from time import perf_counter

from sqlalchemy import insert, text

from app.clock import SystemClock
from app.exporting import building
from app.ids import MeetId, new_id
from app.record.canonical import canonical
from app.record.kinds import Kind
from app.record.log import Keeper, commitment
from app.record.merkle import leaf_hash, root_over
from app.record.proofs import prove_inclusion
from app.record.tables import record_heads
from app.store.action import Actor, Deed, Done, Unit
from app.store.engine import open_engines
from app.store.store import Store
from tests.bench.databases import Databases
from tests.bench.lines import Line, Ratio, at_most, ratio_of_rounds, time_line
from tests.bench.load import LoadFailed
from tests.bench.plan import LARGEST_ENTRY_GROWTH, SLOWEST_CHECK_S, Plan

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
    """An entry into a short and into a long record, a proof in the long one, and a check."""
    return [*_measure_adding(plan, databases), *_measure_checking(plan)]


def _measure_adding(plan: Plan, databases: Databases) -> list[Line]:
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
            head = {"meet_id": meet, "size": size, "root": "00" * 32}
            frontier = ["00" * 32] * size.bit_count()
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


def _measure_checking(plan: Plan) -> list[Line]:
    with tempfile.TemporaryDirectory(prefix="zd-bench-") as folder:
        _write_export(Path(folder), plan.entries_checked)
        took = [_check(Path(folder)) for _ in range(plan.rounds)]
    line = time_line(f"check of an export of {plan.entries_checked:,} entries", took)
    goal = at_most(line.median, SLOWEST_CHECK_S, " s")
    return [time_line(line.name, took, goal=goal)]


def _write_export(folder: Path, size: int) -> None:
    """An export with nothing but a record in it, as a meet without a seal has one."""
    meet, leaves = new_id(), []
    with (folder / "record.jsonl").open("w", encoding="utf-8") as file:
        for seq in range(1, size + 1):
            entry, line = _a_line(meet, seq)
            leaves.append(leaf_hash(entry))
            file.write(f"{line}\n")
        head = {"meet": meet, "size": size, "root": root_over(leaves).hex()}
        file.write(f"{json.dumps({'head': head})}\n")
    content = (folder / "record.jsonl").read_bytes()
    told = {"path": "record.jsonl", "sha256": sha256(content).hexdigest(), "size": len(content)}
    manifest = {"files": [told], "head": head, "meet": meet}
    (folder / "manifest.json").write_bytes(canonical(manifest))


def _a_line(meet: str, seq: int) -> tuple[bytes, str]:
    body, salt = canonical(BODY), secrets.token_bytes(32)
    facts = {
        "actor": meet,
        "at": "2026-06-13T12:03:22.000000Z",
        "commitment": commitment(salt, body),
        "kind": Kind.REPORT_WRITTEN,
        "meet": meet,
        "seq": seq,
        "subject": new_id(),
    }
    entry = canonical(facts)
    line = {"entry": entry.decode(), "salt": salt.hex(), "body": body.decode()}
    return entry, json.dumps(line)


def _check(folder: Path) -> float:
    """As anybody runs it: a bare interpreter, and the one file."""
    began = perf_counter()
    ran = subprocess.run(
        [sys.executable, "-I", str(CHECKER), str(folder)], capture_output=True, check=False
    )
    took = perf_counter() - began
    if ran.returncode:
        raise LoadFailed(f"The check found something: {ran.stdout.decode()[:500]}")
    return took
