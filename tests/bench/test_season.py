"""Does a season in small come to its end, and does it tell of whatever goes wrong in it?

How fast anything is, is no test's business: it depends on what else the machine does.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress

import pytest

from app.record.kinds import Kind
from tests.bench.plan import EngineName
from tests.bench.season.__main__ import main
from tests.bench.season.ledger import FLAG_HEARD, FLAG_SEEN, SPANS, Account, Ledger
from tests.bench.season.lines import Line, NoAnswer
from tests.bench.season.person import Stage
from tests.bench.season.plan import Season
from tests.bench.season.playing import OPEN, RELOADED
from tests.bench.season.running import run_season
from tests.bench.season.telling import as_document, as_text, percentile
from tests.faults.acts import Act, Told
from tests.faults.history import Entry

AT_ONCE = (0.0, 5.0)
TINY = Season(
    meets=2,
    workers=2,
    engine=EngineName.POSTGRESQL,
    minutes=2.0,  # at the longest: it ends as soon as everything was done
    pace=100.0,
    zones=1,
    watchers=2,
    reported=0.15,
    protested=1.0,
    heat_every=(500, 500),
    runner_at_take_over=1.0,
    flag_after=AT_ONCE,
    account_after=AT_ONCE,
    finish_list_after=AT_ONCE,
    referee_thinks=AT_ONCE,
    desk_thinks=AT_ONCE,
    protest_after=AT_ONCE,
    jury_thinks=AT_ONCE,
    page_looks_every=150,
    board_looks_every=50,
    board_reloaded_every=100,
)
EVERYTHING = frozenset(
    {
        *(Kind.HEAT_STARTED, Kind.CALL, Kind.REPORT_WRITTEN, Kind.RULING, Kind.RESULT_LOADED),
        *(Kind.ANNOUNCEMENT, Kind.PROTEST_LODGED, Kind.PROTEST_DECIDED, Kind.ADVICE_GIVEN),
        *(Kind.APPEAL_LODGED, Kind.PANEL_NAMED, Kind.VOTE_CAST, Kind.APPEAL_DECIDED),
    }
)


def everything_was_done(stages: Sequence[Stage]) -> bool:
    return set().union(*(stage.account.acknowledged for stage in stages)) >= EVERYTHING


@pytest.mark.slow
def test_a_season_in_small_is_played_by_all_of_them_and_every_record_checks() -> None:
    """Two meets before two server processes, from the start of a heat to the jury's decision."""
    measured = run_season(TINY, everything_was_done)
    assert (measured.ledger.errors, measured.amiss) == ({}, [])
    assert measured.acts.keys() >= EVERYTHING
    assert all(measured.ledger.spans[name] for name in SPANS)
    flags = measured.acts[Kind.CALL]
    assert len(measured.ledger.spans[FLAG_HEARD]) == flags
    assert 0 < len(measured.ledger.spans[FLAG_SEEN]) <= flags
    assert measured.ledger.unchanged.keys() >= {OPEN, RELOADED}
    assert measured.held["flag"] == flags
    used = json.loads(as_document(measured))["used"]
    assert used.keys() == {"worker 1", "worker 2", "PostgreSQL", "clients of the load"}
    assert all(one["seconds"] > 0 and one["memory_mb"] > 1 for one in used.values())
    assert "all that was acknowledged is there, once" in as_text(measured)


CALL = Act(Kind.CALL, "c1", "PUT", "calls/c1", "", {"heat": "h", "post": "p", "flag": "white"})
START = Act(Kind.HEAT_STARTED, "h", "POST", "heats/h/start", "", {})
CALLED, STARTED = (Entry(act.kind, act.subject, act.body) for act in (CALL, START))


def an_account(*told: tuple[Act, int]) -> Account:
    account = Account()
    for act, status in told:
        account.attempt(act)
        account.hear(act, Told(status, {}) if status else None)
    return account


def test_what_was_acknowledged_and_is_there_once_is_as_it_should_be() -> None:
    account = an_account((CALL, 201), (START, 200))
    assert account.amiss([CALLED, STARTED]) == []


@pytest.mark.parametrize(
    ("there", "said"),
    [
        ([STARTED], "lost"),
        ([CALLED, CALLED, STARTED], "duplicated"),
        ([Entry(Kind.CALL, "c1", {"heat": "h", "post": "p", "flag": "yellow"})], "altered"),
        ([CALLED, Entry(Kind.CALL, "c2", {}), STARTED], "unexpected"),
        ([CALLED], "heat started: 1 were acknowledged, the record has 0"),
        ([CALLED, STARTED, STARTED], "heat started: 1 were acknowledged"),
    ],
)
def test_what_the_record_has_otherwise_is_told(there: list[Entry], said: str) -> None:
    account = an_account((CALL, 201), (START, 200))
    assert said in "\n".join(account.amiss(there))


def test_what_nobody_was_told_of_may_be_there_or_not() -> None:
    account = an_account((CALL, 0), (START, 503))
    assert account.unknown == 2
    assert account.amiss([]) == account.amiss([CALLED, STARTED]) == []


def test_a_start_whose_answer_was_lost_may_be_there_though_the_next_one_is_refused() -> None:
    account = an_account((START, 0), (START, 409))
    assert account.amiss([]) == account.amiss([STARTED]) == []
    assert account.amiss([STARTED, STARTED]) != []


def test_a_flag_that_the_head_official_does_not_see_once_is_told() -> None:
    account = an_account((CALL, 201))
    assert account.flags_amiss() == ["flag c1 came to the head official 0 times"]
    account.flags_heard["c1"] += 1
    assert account.flags_amiss() == []
    account.flags_heard["c1"] += 1
    assert account.flags_amiss() == ["flag c1 came to the head official 2 times"]


Use = Callable[[Line], Awaitable[object]]


def after(answer: bytes, use: Use) -> Ledger:
    """What is noted where a server gives this answer to everything, and then hangs up."""
    ledger = Ledger()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(asyncio.IncompleteReadError):
            await reader.readuntil(b"\r\n\r\n")
            writer.write(answer)
        writer.close()

    async def run() -> None:
        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        async with server:
            port = server.sockets[0].getsockname()[1]
            line = Line(f"http://127.0.0.1:{port}", "", ledger)
            with suppress(NoAnswer):
                await use(line)
            line.close()

    asyncio.run(run())
    return ledger


@pytest.mark.parametrize(
    ("status", "error"),
    [
        ("500 Internal Server Error", "look: 500 "),
        ("503 Service Unavailable", "look: 503 "),
        ("404 Not Found", "look: 404 "),
        ("409 Conflict", "look: 409 "),
        ("304 Not Modified", None),
        ("200 OK", None),
    ],
)
def test_every_answer_that_cannot_be_expected_is_an_error(status: str, error: str | None) -> None:
    answer = f"HTTP/1.1 {status}\r\nContent-Length: 0\r\n\r\n".encode()
    ledger = after(answer, lambda line: line.ask("look", "GET", "/"))
    assert ledger.errors == ({error: 1} if error else {})
    assert ledger.unchanged["look"] == status.startswith("304")
    assert len(ledger.answers["look"]) == 1


def test_whoever_was_second_is_no_error_and_is_counted() -> None:
    problem = b'{"type":"/problems/version-moved"}'
    head = f"HTTP/1.1 412 Precondition Failed\r\nContent-Length: {len(problem)}\r\n\r\n"
    ledger = after(head.encode() + problem, lambda line: line.ask("ruling", "PUT", "/", {}))
    assert (ledger.errors, ledger.overtaken) == ({}, {"ruling: 412 version-moved": 1})


def test_a_line_that_breaks_off_is_an_error() -> None:
    answer = b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nhalf"
    ledger = after(answer, lambda line: line.ask("look", "GET", "/"))
    assert ledger.errors == {"look: no answer (IncompleteReadError)": 1}


def test_percentiles_are_nearest_rank() -> None:
    # NIST/SEMATECH e-Handbook, 7.2.6.2 (from memory): of 1…100 the rank is the number itself.
    assert percentile(range(1, 101), 99) == 99
    assert percentile([7], 50) == 7


def test_two_processes_over_sqlite_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--engine", "sqlite", "--workers", "2"])
    assert ended.value.code == 2
    assert "SQLite serves one process" in capsys.readouterr().err
