"""How many reports a second does the service keep, and how far is that from a bare insert?

A report is authenticated, validated, judged by the rule book, put on its case, and kept together
with its entry in the record; it is answered after the commit. The bare endpoint keeps the same
bytes. Afterwards every answer is looked for in the database: a fast loss would be no speed.
"""

from __future__ import annotations

from sqlalchemy import create_engine, func, make_url, select

from app.reports.tables import reports
from tests.bench.databases import Databases
from tests.bench.lines import Line, Ratio, at_least, rate_line, ratio_of_rounds
from tests.bench.load import Load, LoadFailed, run_load
from tests.bench.meets import MeetUnderLoad
from tests.bench.messages import PreparedReport, prepare_reports, report_clients
from tests.bench.plan import CLIENTS_OF_THE_GOAL, SUBMISSIONS_A_SECOND, EngineName, Plan
from tests.bench.servers import BARE, SERVICE, some_servers

Loads = dict[int, list[Load]]


def measure_submissions(
    plan: Plan, engine: EngineName, meet: MeetUnderLoad, databases: Databases
) -> list[Line]:
    """Two rows for each number of clients: the service with its ratio, and the bare endpoint."""
    full_url, bare_url = databases.copy(meet.database_url), databases.empty()
    prepared = prepare_reports(meet)
    full: Loads = {count: [] for count in plan.clients}
    bare: Loads = {count: [] for count in plan.clients}
    with some_servers((SERVICE, full_url), (BARE, bare_url)) as (full_at, bare_at):
        warming = _send(full_at, prepared, max(plan.clients), plan.seconds)
        _send(bare_at, prepared, max(plan.clients), plan.seconds)
        for _ in range(plan.rounds):
            for count in plan.clients:
                full[count].append(_send(full_at, prepared, count, plan.seconds))
                bare[count].append(_send(bare_at, prepared, count, plan.seconds))
    measured = [load for loads in full.values() for load in loads]
    answered = sum(len(load.answers) for load in (warming, *measured))
    _insist_all_stored(full_url, answered)
    return [line for count in plan.clients for line in _lines(engine, count, full, bare)]


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


def _lines(engine: EngineName, count: int, full: Loads, bare: Loads) -> list[Line]:
    clients = f"{count} client{'s' if count > 1 else ''}"
    rates = [load.rate for load in full[count]]
    share = ratio_of_rounds(rates, [load.rate for load in bare[count]])
    line = rate_line(f"report, {clients}", full[count], Ratio(share, "of the bare insert"))
    goal = None
    if count == CLIENTS_OF_THE_GOAL and engine is EngineName.SQLITE:
        goal = at_least(line.median, SUBMISSIONS_A_SECOND, "/s")
    return [
        rate_line(line.name, full[count], line.ratio, goal),
        rate_line(f"bare insert, {clients}", bare[count]),
    ]
