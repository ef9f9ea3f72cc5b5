"""Does the docket slow down as the meet and the store grow?

Two servers with the same meet and the same open cases, over a store with few reports and one with
many, are read in turn. Growth is how many times longer an answer takes over the large store. The
docket's first page is kept until something is done, so that its growth tells nothing; from a place
on, here from before all cases, it is made for each who asks. `growth.py` has the first page anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import quote

from app.ids import new_id
from tests.bench.databases import Databases
from tests.bench.filling import fill_store
from tests.bench.lines import Line, Ratio, at_least, at_most, rate_line, ratio_of_rounds
from tests.bench.load import Load, run_load
from tests.bench.meets import MeetUnderLoad
from tests.bench.messages import a_get, reading_clients
from tests.bench.plan import DOCKETS_A_SECOND, LARGEST_GROWTH, Plan
from tests.bench.servers import SERVICE, some_servers

WARM_UP_S = 0.2
BEFORE_ALL = quote(f"2020-01-01T00:00:00.000000Z~{new_id()}")
DOCKET = "docket"
WHATS = (DOCKET, "docket from a place on", "case")


@dataclass(frozen=True, slots=True)
class Filled:
    """A store that was brought to its size, and the requests that read it."""

    database_url: str
    stored: int
    requests: Mapping[str, tuple[bytes, ...]]


@dataclass(frozen=True, slots=True)
class Readable:
    """The same behind a server."""

    filled: Filled
    address: str

    def read(self, what: str, clients: int, seconds: float) -> Load:
        requests = reading_clients(self.filled.requests[what], clients)
        return run_load(self.address, requests, seconds)


def measure_reading(plan: Plan, meet: MeetUnderLoad, databases: Databases) -> list[Line]:
    """Two rows for each thing read and number of clients: few reports stored, and many."""
    sizes = (plan.few_stored, plan.many_stored)
    stores = [_fill_copy(plan, meet, databases, stored) for stored in sizes]
    with some_servers(*((SERVICE, store.database_url) for store in stores)) as addresses:
        few, many = (
            Readable(store, address) for store, address in zip(stores, addresses, strict=True)
        )
        cells = [(what, count) for what in WHATS for count in plan.readers]
        for what, store in ((what, store) for what in WHATS for store in (few, many)):
            store.read(what, max(plan.readers), WARM_UP_S)
        loads: dict[tuple[str, int, int], list[Load]] = {}
        for what, count in cells * plan.rounds:
            for store in (few, many):
                load = store.read(what, count, plan.seconds / 2)
                loads.setdefault((what, count, store.filled.stored), []).append(load)
    return [
        line
        for what, count in cells
        for line in _lines(
            plan,
            what,
            count,
            loads[what, count, plan.few_stored],
            loads[what, count, plan.many_stored],
        )
    ]


def _fill_copy(plan: Plan, meet: MeetUnderLoad, databases: Databases, stored: int) -> Filled:
    url = databases.copy(meet.database_url)
    open_cases = fill_store(url, meet, stored, plan.open_cases)
    base, token = f"/api/meets/{meet.id}", meet.referee_token
    requests = {
        DOCKET: (a_get(f"{base}/docket", token),),
        "docket from a place on": (a_get(f"{base}/docket?after={BEFORE_ALL}", token),),
        "case": tuple(a_get(f"{base}/cases/{case}", token) for case in open_cases),
    }
    return Filled(url, stored, requests)


def _lines(plan: Plan, what: str, count: int, few: list[Load], many: list[Load]) -> list[Line]:
    name = f"{what}, {count} client{'s' if count > 1 else ''}"
    growth = ratio_of_rounds([load.rate for load in few], [load.rate for load in many])
    has_goal = what == DOCKET and count == max(plan.readers)
    first = rate_line(f"{name}, {plan.few_stored:,} stored", few)
    goal = at_least(first.median, DOCKETS_A_SECOND, "/s") if has_goal else None
    return [
        replace(first, goal=goal),
        rate_line(
            f"{name}, {plan.many_stored:,} stored",
            many,
            Ratio(growth, f"times as long as with {plan.few_stored:,}"),
            None if what == DOCKET else at_most(growth, LARGEST_GROWTH, " times"),
        ),
    ]
