"""Does the benchmark itself work? A tiny run of all of it, and its arithmetic.

How fast anything is, is no test's business: it depends on what else the machine does.
"""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import repeat

import pytest

from app.store.engine import open_engines
from tests.bench.__main__ import main, measure_engine
from tests.bench.databases import fresh_databases
from tests.bench.following import measure_following
from tests.bench.lines import Line, Ratio, at_least, at_most, ratio_of_rounds, time_line
from tests.bench.load import Load, LoadFailed, run_load
from tests.bench.meets import set_up_meet
from tests.bench.messages import a_get
from tests.bench.plan import FULL, EngineName, Plan
from tests.bench.reading import measure_reading
from tests.bench.submissions import GENERAL_APP, measure_submissions
from tests.bench.table import as_document, as_table

TINY = Plan(
    rounds=1,
    seconds=0.1,
    clients=(1, 16),
    readers=(1,),
    heats=2,
    zones=1,
    open_cases=5,
    few_stored=10,
    many_stored=200,
    heats_loaded=20,
    forms_a_round=1,
    entries_of_long=1_000,
    entries_a_round=5,
    entries_checked=1_500,
    papers_checked=3,
    streams=20,
    followed_meets=2,
    followed_pace=20.0,
    followed_seconds=0.5,
    followed_rounds=1,
    foreseen_heats=2,
)
NAMES = [
    "cold start of serve",
    "bare server's start",
    "report, 1 client",
    "report, 1 client: p99",
    "bare insert, 1 client",
    "framework alone, 1 client",
    "report, 16 clients",
    "report, 16 clients: p99",
    "bare insert, 16 clients",
    "framework alone, 16 clients",
    "memory of the service after these",
    "an open feed, of 20",
    "20 feeds, 1 meet, 5 acts/s",
    "20 feeds, 2 meets, 20 acts/s",
    "docket, 1 client, 10 stored",
    "docket, 1 client, 200 stored",
    "docket from a place on, 1 client, 10 stored",
    "docket from a place on, 1 client, 200 stored",
    "case, 1 client, 10 stored",
    "case, 1 client, 200 stored",
    "start list of 20 heats",
    "infringement form over HTTP",
    "infringement form drawn alone",
    "consequences of a ruling, 2 heats, 16 teams",
    "infringement form, unsealed",
    "infringement form, sealed",
    "further seal on a sealed form",
    "adding an entry to a record of 1,000",
    "adding an entry to a record of 10",
    "proving an entry in a record of 1,000",
    "check of an export of 1,500 entries",
    "the same with 3 papers, heads and passkey acts more",
]


WITH_GOALS = [
    "cold start of serve",
    "report, 16 clients",
    "report, 16 clients: p99",
    "framework alone, 16 clients",
    "memory of the service after these",
    "an open feed, of 20",
    "20 feeds, 1 meet, 5 acts/s",
    "20 feeds, 2 meets, 20 acts/s",
    "docket, 1 client, 10 stored",
    "docket from a place on, 1 client, 200 stored",
    "case, 1 client, 200 stored",
    "consequences of a ruling, 2 heats, 16 teams",
    "infringement form, sealed",
    "adding an entry to a record of 1,000",
    "check of an export of 1,500 entries",
]


def of_the_project(lines: Sequence[Line]) -> list[Line]:
    """Without those of what is installed for a benchmark alone."""
    return [line for line in lines if not line.name.startswith(GENERAL_APP)]


@pytest.mark.slow
def test_a_tiny_run_measures_everything_and_shows_it() -> None:
    lines = of_the_project(measure_engine(TINY, EngineName.SQLITE))
    assert [line.name for line in lines] == NAMES
    assert all(value > 0 for line in lines for value in line.rounds)
    goals = [line.name for line in lines if line.goal is not None]
    assert goals == WITH_GOALS
    table = as_table(EngineName.SQLITE, lines)
    assert all(name in table for name in NAMES)
    document = json.loads(as_document(TINY, {EngineName.SQLITE: lines}, 0.5))
    rows = document["engines"]["sqlite"]
    assert [row["median"] for row in rows] == [line.median for line in lines]
    assert document["machine"]["load_before"] == 0.5


@pytest.mark.slow
def test_what_the_engine_matters_for_is_measured_on_postgresql_too() -> None:
    with fresh_databases(EngineName.POSTGRESQL) as databases:
        meet = set_up_meet(databases.migrated(), TINY)
        lines = measure_submissions(TINY, EngineName.POSTGRESQL, meet, databases)
        lines += measure_following(TINY, databases)
        lines += measure_reading(TINY, meet, databases)
        assert [line.name for line in of_the_project(lines)] == NAMES[
            2 : NAMES.index("start list of 20 heats")
        ]
        assert all(value > 0 for line in lines for value in line.rounds)
        # Without these two a fast insert would only be a fast promise (PostgreSQL documentation,
        # “Write Ahead Log”).
        asked = ("SHOW fsync", "SHOW synchronous_commit")
        assert _ask(databases.migrated(), asked) == ["on", "on"]


def test_the_databases_of_the_benchmark_sync_every_commit() -> None:
    # PRAGMA synchronous, SQLite documentation: 2 is FULL, a sync at every commit also with WAL.
    with fresh_databases(EngineName.SQLITE) as databases:
        asked = ("PRAGMA journal_mode", "PRAGMA synchronous")
        assert _ask(databases.migrated(), asked) == ["wal", 2]


def _ask(database_url: str, questions: Sequence[str]) -> list[object]:
    engines = open_engines(database_url)
    with engines.writing.connect() as conn:
        answers = [conn.exec_driver_sql(question).scalar_one() for question in questions]
    engines.dispose()
    return answers


def test_a_full_run_has_the_rounds_clients_and_sizes_that_were_promised() -> None:
    assert FULL.rounds >= 5
    assert FULL.clients == (1, 16, 64)
    assert (FULL.few_stored, FULL.many_stored, FULL.heats_loaded) == (100, 100_000, 2_000)


def test_percentiles_are_nearest_rank() -> None:
    # Nearest rank of 1…100 is the number itself: NIST/SEMATECH e-Handbook, 7.2.6.2 (from memory).
    load = Load(2.0, tuple(number / 1000 for number in range(1, 101)))
    assert load.percentile_ms(50) == pytest.approx(50)
    assert load.percentile_ms(99) == pytest.approx(99)
    assert load.rate == 50
    assert Load(1.0, (0.003,)).percentile_ms(99) == pytest.approx(3)


def test_a_ratio_is_the_median_of_the_rounds_own_ratios() -> None:
    # The machine was three times slower in the second round: both sides saw it.
    assert ratio_of_rounds([100, 33, 100], [200, 66, 200]) == pytest.approx(0.5)


def test_goals_say_whether_they_are_met() -> None:
    assert at_least(2_000, 2_000, "/s").met
    assert not at_least(1_999, 2_000, "/s").met
    assert at_most(1.3, 1.3, " times").met
    assert not at_most(1.31, 1.3, " times").met


def test_the_table_shows_a_missed_goal_and_the_ratio() -> None:
    line = time_line("a long act", [2.5], Ratio(1.25, "times another"), at_most(2.5, 2, " s"))
    shown = as_table(EngineName.SQLITE, [line, Line("a short act", "s", (0.0125,))])
    assert "2.50 s" in shown
    assert "1.25 times another" in shown
    assert shown.splitlines()[-2].endswith("≤ 2 s  NO")
    assert "12.5 ms" in shown


@contextmanager
def a_server_that_says(answer: bytes) -> Iterator[str]:
    """Answers every request of one connection with the same bytes."""
    listener = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        connection, _ = listener.accept()
        with connection:
            while connection.recv(65_536):
                connection.sendall(answer)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        thread.join(10)
        listener.close()


def test_a_load_counts_each_whole_answer_once() -> None:
    answer = b"HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nwhole"
    with a_server_that_says(answer) as address:
        load = run_load(address, [repeat(a_get("/healthz"))], 0.05)
    assert len(load.answers) > 1
    assert sum(load.answers) <= load.seconds
    assert list(load.answers) == sorted(load.answers)


def test_a_load_that_meets_another_status_is_broken_off() -> None:
    answer = b"HTTP/1.1 503 Service Unavailable\r\nContent-Length: 4\r\n\r\nbusy"
    with (
        a_server_that_says(answer) as address,
        pytest.raises(LoadFailed, match="503 Service Unavailable"),
    ):
        run_load(address, [repeat(a_get("/healthz"))], 0.05)


def test_an_answer_without_a_length_is_not_guessed_at() -> None:
    with (
        a_server_that_says(b"HTTP/1.1 200 OK\r\n\r\nsome") as address,
        pytest.raises(LoadFailed, match="without its length"),
    ):
        run_load(address, [repeat(a_get("/healthz"))], 0.05)


def test_an_unknown_engine_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--engine", "other"])
    assert ended.value.code == 2
    assert "invalid choice" in capsys.readouterr().err
