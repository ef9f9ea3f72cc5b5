"""How many reports a second does the service keep, and how far is that from what ran beside it?

A report is authenticated, validated, judged by the rule book, put on its case, and kept together
with its entry in the record; it is answered after the commit. Beside it, with the same bytes: a
bare endpoint that keeps them and does nothing else; the service's framework, which validates them
and keeps nothing; and, where it is installed, an app of a general-purpose framework, which does
both. Afterwards every answer of the service is looked for in the database: a fast loss would be no
speed.
"""

from __future__ import annotations

from sqlalchemy import create_engine, func, make_url, select

from app.reports.tables import reports
from tests.bench import general
from tests.bench.databases import Databases
from tests.bench.lines import Goal, Line, Ratio, at_least, at_most, rate_line, ratio_of_rounds
from tests.bench.load import Load, LoadFailed, run_load
from tests.bench.meets import MeetUnderLoad
from tests.bench.messages import PreparedReport, prepare_reports, report_clients
from tests.bench.plan import (
    CLIENTS_OF_THE_GOAL,
    LARGEST_WORKER_MB,
    LEAST_OF_FRAMEWORK,
    LEAST_TIMES_GENERAL,
    LONGEST_TAIL,
    SLOWEST_REPORT_MS,
    SUBMISSIONS_A_SECOND,
    EngineName,
    Plan,
)
from tests.bench.servers import (
    BARE,
    GENERAL,
    SERVICE,
    VALIDATING,
    resident_kb,
    some_processes,
)

Loads = dict[str, dict[int, list[Load]]]
"""By who was loaded, and by how many clients."""
FULL, BARE_INSERT, FRAMEWORK, GENERAL_APP = (
    "report",
    "bare insert",
    "framework alone",
    "general app",
)


def measure_submissions(
    plan: Plan, engine: EngineName, meet: MeetUnderLoad, databases: Databases
) -> list[Line]:
    """Some rows for each number of clients: the service, and each one beside it with its ratio."""
    full_url = databases.copy(meet.database_url)
    wanted = {
        FULL: (SERVICE, full_url),
        BARE_INSERT: (BARE, databases.empty()),
        FRAMEWORK: (VALIDATING, databases.empty()),
    }
    if general.IS_INSTALLED:
        wanted[GENERAL_APP] = (GENERAL, databases.empty())
    prepared = prepare_reports(meet)
    loads: Loads = {who: {count: [] for count in plan.clients} for who in wanted}
    with some_processes(*wanted.values()) as servers:
        at = {who: server.address for who, server in zip(wanted, servers, strict=True)}
        warming = {who: _send(at[who], prepared, max(plan.clients), plan.seconds) for who in wanted}
        for _ in range(plan.rounds):
            for count in plan.clients:
                for who in wanted:
                    loads[who][count].append(_send(at[who], prepared, count, plan.seconds))
        held_mb = resident_kb(servers[0]) / 1000
    measured = [load for of_count in loads[FULL].values() for load in of_count]
    _insist_all_stored(full_url, sum(len(load.answers) for load in (warming[FULL], *measured)))
    goal = at_most(held_mb, LARGEST_WORKER_MB, " MB")
    return [
        *(line for count in plan.clients for line in _lines(engine, count, loads)),
        Line("memory of the service after these", "MB", (held_mb,), goal=goal),
    ]


def _send(address: str, prepared: list[PreparedReport], count: int, seconds: float) -> Load:
    return run_load(address, report_clients(prepared, count), seconds, status=201)


def _insist_all_stored(database_url: str, answered: int) -> None:
    """Every report that was answered is there, beside the one of the set-up, and no other."""
    url = make_url(database_url)
    if url.get_backend_name() == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    engine = create_engine(url)
    with engine.connect() as conn:
        stored = conn.execute(select(func.count()).select_from(reports)).scalar_one()
    engine.dispose()
    if stored != answered + 1:
        raise LoadFailed(f"{answered} reports were answered and {stored - 1} are stored.")


def _lines(engine: EngineName, count: int, loads: Loads) -> list[Line]:
    clients = f"{count} client{'s' if count > 1 else ''}"
    full = loads[FULL][count]
    rates = [load.rate for load in full]

    def share(who: str) -> float:
        return ratio_of_rounds(rates, [load.rate for load in loads[who][count]])

    line = rate_line(f"{FULL}, {clients}", full, Ratio(share(BARE_INSERT), "of the bare insert"))
    goal = None
    if count == CLIENTS_OF_THE_GOAL and engine is EngineName.SQLITE:
        goal = at_least(line.median, SUBMISSIONS_A_SECOND, "/s")
    lines = [
        rate_line(line.name, full, line.ratio, goal),
        _tail_line(line.name, count, full),
        rate_line(f"{BARE_INSERT}, {clients}", loads[BARE_INSERT][count]),
    ]
    goals = {FRAMEWORK: LEAST_OF_FRAMEWORK, GENERAL_APP: LEAST_TIMES_GENERAL}
    for who in (who for who in goals if who in loads):
        beside = Ratio(share(who), "as many reports as these")
        aim = at_least(beside.value, goals[who], " times")
        reached = aim if count == CLIENTS_OF_THE_GOAL else None
        lines.append(rate_line(f"{who}, {clients}", loads[who][count], beside, reached))
    return lines


def _tail_line(name: str, count: int, loads: list[Load]) -> Line:
    """The slowest answers: in how much time all but one of a hundred came."""
    slowest = tuple(load.percentile_ms(99) / 1000 for load in loads)
    tail = ratio_of_rounds(slowest, [load.percentile_ms(50) / 1000 for load in loads])
    bound, goal = SLOWEST_REPORT_MS.get(count), None
    if bound is not None:
        is_met = sorted(slowest)[len(slowest) // 2] * 1000 <= bound
        words = f"≤ {bound:g} ms"
        if count == CLIENTS_OF_THE_GOAL:
            words, is_met = f"{words}, {LONGEST_TAIL:g} times", is_met and tail <= LONGEST_TAIL
        goal = Goal(words, is_met)
    return Line(f"{name}: p99", "s", slowest, ratio=Ratio(tail, "times the median"), goal=goal)
