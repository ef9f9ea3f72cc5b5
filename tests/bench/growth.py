"""Does anything slow down when a season is stored? `python -m tests.bench.growth` tells.

One quiet meet is read in two stores, in one beside a single other meet and in one beside thousands;
requests go to the two in turn, one at a time, and what is compared is the middle of their times.

    python -m tests.bench.growth --reports 1000000 --meets 2000 --engine postgresql
"""

from __future__ import annotations

import argparse
import json
import os
import socket
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from itertools import count, product
from pathlib import Path
from time import perf_counter
from urllib.parse import quote, urlsplit

from sqlalchemy import Connection, text

from app.ids import new_id
from app.store.engine import open_engines
from tests.bench.databases import Databases, fresh_databases
from tests.bench.lines import Line, Ratio, at_most
from tests.bench.load import END_OF_HEAD, Load, LoadFailed, length_of
from tests.bench.messages import a_get, a_put
from tests.bench.plan import LARGEST_GROWTH, EngineName, GrowthPlan
from tests.bench.servers import SERVICE, Running, resident_kb, some_processes
from tests.bench.stored_season import Quiet, fill, play
from tests.bench.table import as_document, as_table
from tests.builders import Json, a_report

WARM_UP = 5
WAITS = 30.0
LANES_LEFT = (1, 7, 8)
"""Nobody is reported there yet."""
MANY_ROWS = 5_000
"""A smaller table may well be read whole."""
Requests = Iterator[bytes]


@dataclass
class Asked:
    """A server over one of the stores, the line to it, and how long each thing took there."""

    server: Running
    line: socket.socket
    held_kb: float
    took: dict[str, list[float]] = field(default_factory=dict)

    def ask(self, request: bytes) -> tuple[float, bytes]:
        """Seconds to the last byte of the answer, and its body; LoadFailed unless it is good."""
        began = perf_counter()
        self.line.sendall(request)
        came = head = b""
        while not head or len(came) - len(head) - len(END_OF_HEAD) < length_of(head):
            got = self.line.recv(1 << 18)
            came += got
            head = came.partition(END_OF_HEAD)[0] if END_OF_HEAD in came else b""
            if not got or not came.startswith(b"HTTP/1.1 20"[: len(came)]):
                raise LoadFailed(f"Unexpected answer: {came[-400:].decode('utf-8', 'replace')}")
        return perf_counter() - began, came[len(head) + len(END_OF_HEAD) :]

    def time(self, name: str, request: bytes) -> None:
        self.took.setdefault(name, []).append(self.ask(request)[0])

    def load(self, name: str) -> Load:
        took = self.took[name]
        return Load(sum(took), tuple(sorted(took)))


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print; 1 where a load failed or a goal was missed."""
    parsed = _parser().parse_args(arguments)
    plan = GrowthPlan(parsed.reports, parsed.meets, parsed.requests)
    load_before = os.getloadavg()[0]
    engine = EngineName(parsed.engine)
    try:
        with fresh_databases(engine) as databases:
            lines = measure_growth(plan, databases)
    except LoadFailed as error:
        print(f"The benchmark was broken off: {error}", file=sys.stderr)
        return 1
    print(as_table(engine, lines))
    print(f"\n{os.cpu_count()} processors; load of the minute before: {load_before:.1f}")
    if parsed.json is not None:
        document = as_document(plan, {engine: lines}, load_before)
        parsed.json.write_text(document + "\n", encoding="utf-8")
    return int(any(line.goal is not None and not line.goal.met for line in lines))


def _parser() -> argparse.ArgumentParser:
    plan = GrowthPlan()
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.growth",
        description="Measure what is read and sent in one meet as thousands of others are stored.",
        epilog="Example: python -m tests.bench.growth --reports 2000 --meets 20",
    )
    parser.add_argument("--reports", type=int, default=plan.reports, help="in the large store")
    parser.add_argument("--meets", type=int, default=plan.meets, help="in the large store")
    parser.add_argument("--requests", type=int, default=plan.requests, help="of each kind")
    parser.add_argument("--engine", choices=list(EngineName), default="sqlite")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write every time to FILE")
    return parser


def measure_growth(plan: GrowthPlan, databases: Databases) -> list[Line]:
    """A row for each thing that is read or sent, and those of the servers' memory and the tables
    that were read whole.
    """
    few = databases.migrated()
    began = perf_counter()
    played = play(few, plan.reports // plan.meets)
    _tell("two meets were played", began)
    many, began = databases.copy(few), perf_counter()
    fill(many, played, plan.meets)
    _tell(f"{plan.meets:,} meets were stored", began)
    before, began = read_whole(many), perf_counter()
    with _asked(few, many) as (small, large):
        _ask_all(plan, played.quiet, small, large)
        lines = [_line(name, small, large) for name in small.took]
        lines.append(_memory(small, large))
    _tell("everything was asked", began)
    return [*lines, _whole_tables(before, read_whole(many))]


def _tell(what: str, began: float) -> None:
    print(f"{what} in {perf_counter() - began:.0f} s", file=sys.stderr)


@contextmanager
def _asked(*urls: str) -> Iterator[list[Asked]]:
    with some_processes(*((SERVICE, url) for url in urls)) as servers, ExitStack() as stack:
        found = []
        for server in servers:
            parts = urlsplit(server.address)
            line = socket.create_connection((parts.hostname, parts.port), WAITS)
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            found.append(Asked(server, stack.enter_context(line), resident_kb(server)))
        yield found


def _ask_all(plan: GrowthPlan, quiet: Quiet, small: Asked, large: Asked) -> None:
    both = (small, large)
    for name, request in _reads(quiet, small):
        for one, number in product(both, range(WARM_UP)):
            one.ask(request(number))
        for number, one in product(range(WARM_UP, plan.requests + WARM_UP), both):
            one.time(name, request(number))
    for one in both:  # what a server holds once it has answered everything
        one.held_kb = resident_kb(one.server)
    reports = _reports(quiet)
    board, docket = (
        a_get(f"/meets/{quiet.id}"),
        a_get(f"/api/meets/{quiet.id}/docket", quiet.referee),
    )
    for number in range(plan.requests):
        report = next(reports)
        for one in both if number % 2 else reversed(both):
            one.time("report", report)
            # Each report makes others of these: what was made before would be given again.
            one.time("notice board", board)
            one.time("docket", docket)


def _reads(quiet: Quiet, one: Asked) -> Iterator[tuple[str, Callable[[int], bytes]]]:
    """What is read, by name, and its request as it is made for the n-th time."""
    api, pages = f"/api/meets/{quiet.id}", f"/meets/{quiet.id}"

    def document(path: str, token: str) -> Json:
        return dict(json.loads(one.ask(a_get(path, token))[1]))

    (case, *_more) = document(f"{api}/docket", quiet.referee)["cases"]
    (latest, *_more) = document(f"{api}/announcements", "")["announcements"]
    same = {
        "head official's page": (f"{pages}/head", quiet.referee),
        "case": (f"{api}/cases/{case['id']}", quiet.referee),
        "case, page": (f"{pages}/cases/{case['id']}", quiet.referee),
        "windows": (f"{api}/windows.json", ""),
        "results desk": (f"{pages}/desk", quiet.desk),
        "heat at the desk": (f"{pages}/desk/heats/{quiet.running[0]}", quiet.desk),
        "result": (f"{api}/heats/{quiet.announced[1]}/result", quiet.desk),
        "result, page": (f"{pages}/results/{latest['id']}", ""),
        "announcements": (f"{api}/announcements", ""),
        "what a phone watches": (f"{api}/watch", quiet.umpire),
        "protests, page": (f"{pages}/protests", quiet.referee),
        "appeals, page": (f"{pages}/jury", quiet.referee),
    }
    for name, (path, token) in same.items():
        asked = a_get(path, token)
        yield name, lambda _number, asked=asked: asked
    yield "notice board, earlier", lambda number: _earlier_board(pages, number)


def _earlier_board(pages: str, number: int) -> bytes:
    """The board from another place on each time: one that was made before would be given again."""
    place = f"2090-01-01T00:00:00.{number:06}Z~{new_id()}"
    return a_get(f"{pages}?before={quote(place)}")


def _reports(quiet: Quiet) -> Iterator[bytes]:
    """Reports of one umpire, each about another team in turn."""
    places = list(product(quiet.running, LANES_LEFT))
    for number in count():
        heat, lane = places[number % len(places)]
        document = a_report(heat, quiet.post, lane=lane)
        yield a_put(f"/api/meets/{quiet.id}/reports/{new_id()}", quiet.umpire, document)


def _line(name: str, small: Asked, large: Asked) -> Line:
    few, many = small.load(name), large.load(name)
    growth = many.percentile_ms(50) / few.percentile_ms(50)
    return Line(
        name=name,
        unit="s",
        rounds=tuple(large.took[name]),
        p50_ms=many.percentile_ms(50),
        p99_ms=many.percentile_ms(99),
        ratio=Ratio(growth, f"times {few.percentile_ms(50):.2f} ms"),
        goal=at_most(growth, LARGEST_GROWTH, " times"),
    )


def _memory(small: Asked, large: Asked) -> Line:
    growth = large.held_kb / small.held_kb
    return Line(
        name="memory of the server",
        unit="KB",
        rounds=(large.held_kb,),
        ratio=Ratio(growth, f"times {small.held_kb:,.0f} KB"),
        goal=at_most(growth, LARGEST_GROWTH, " times"),
    )


def read_whole(database_url: str, many: int = MANY_ROWS) -> Mapping[str, int]:
    """How often PostgreSQL has read each table of `many` rows from end to end, so far.

    SQLite does not tell; what it would do is held by `tests/test_statements.py`.
    """
    engines = open_engines(database_url)
    try:
        with engines.writing.connect() as conn:
            return {} if engines.is_sqlite else _seq_scans(conn, many)
    finally:
        engines.dispose()


def _seq_scans(conn: Connection, many: int) -> Mapping[str, int]:
    rows = conn.execute(
        text("SELECT relname, seq_scan FROM pg_stat_user_tables WHERE n_live_tup >= :many"),
        {"many": many},
    )
    return {row.relname: row.seq_scan for row in rows}


def _whole_tables(before: Mapping[str, int], after: Mapping[str, int]) -> Line:
    names = [name for name in after if after[name] > before.get(name, 0)]
    number = float(len(names))
    told = f"tables read whole: {', '.join(names)}" if names else "tables read whole"
    return Line(told, "", (number,), goal=at_most(number, 0, ""))


if __name__ == "__main__":
    sys.exit(main())
