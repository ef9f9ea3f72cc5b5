"""What does a single act take: loading a large start list, drawing a form, starting the server?

Each is held against the least that it could take: reading the file without storing it, drawing
without a server, starting a server that does nothing.
"""

from __future__ import annotations

from time import perf_counter

import httpx

from app.clock import SystemClock
from app.forms.infringement_form import InfringementForm, draw_infringement_form
from app.forms.paper import Paper
from app.ids import MeetId, RulingId
from app.rulings.form import ruling_told
from app.store.engine import open_engines
from tests.bench.databases import Databases
from tests.bench.lines import Line, Ratio, at_most, ratio_of_rounds, time_line
from tests.bench.load import LoadFailed
from tests.bench.meets import MeetUnderLoad
from tests.bench.plan import SLOWEST_START_S, Plan
from tests.bench.servers import BARE, COMMAND, SERVICE, Command, some_servers
from tests.builders import Person, a_start_list

LANES = 8
HEATS_AN_EVENT = 250


def measure_papers(plan: Plan, meet: MeetUnderLoad, databases: Databases) -> list[Line]:
    """A start list into a meet that has none, and a form; both over HTTP to a warm server."""
    url = databases.copy(meet.database_url)
    facts = _gather_facts(url, meet)
    with (
        some_servers((SERVICE, url)) as (address,),
        httpx.Client(base_url=address, timeout=60) as http,
    ):
        return [*_measure_loading(plan, meet, http), *_measure_form(plan, meet, facts, http)]


def _measure_loading(plan: Plan, meet: MeetUnderLoad, http: httpx.Client) -> list[Line]:
    content = _large_start_list(plan.heats_loaded)
    checked, loaded = [], []
    for organiser in meet.others:
        checked.append(_post_start_list(http, organiser, content, check="true"))
        loaded.append(_post_start_list(http, organiser, content, check="false"))
        _insist_on_heats(http, organiser, plan.heats_loaded)
    ratio = Ratio(ratio_of_rounds(loaded, checked), "times a check without storing")
    return [time_line(f"start list of {plan.heats_loaded:,} heats", loaded, ratio)]


def _large_start_list(heats: int) -> bytes:
    """Heats over several events, since heats of one round are numbered to 999."""
    a_part = min(heats, HEATS_AN_EVENT)
    parts = [
        a_start_list(a_part, event=f"Women 4x100 m class {number + 1}").splitlines()
        for number in range(heats // a_part)
    ]
    return "\n".join([parts[0][0], *(row for part in parts for row in part[1:])]).encode()


def _post_start_list(http: httpx.Client, organiser: Person, content: bytes, check: str) -> float:
    began = perf_counter()
    answer = http.post(
        f"/api/meets/{organiser.meet}/start-lists",
        params={"check": check},
        content=content,
        headers={"Authorization": f"Bearer {organiser.token}"},
    )
    took = perf_counter() - began
    _insist_ok(answer)
    return took


def _insist_on_heats(http: httpx.Client, organiser: Person, count: int) -> None:
    """The last heat is there with all its lanes."""
    pages = f"/api/meets/{organiser.meet}/heats"
    last = http.get(pages, params={"after": str(count - 1)}).json()["heats"]
    if len(last) != 1 or len(last[0]["lanes"]) != LANES:
        raise LoadFailed(f"The start list was answered, but its {count:,} heats are not there.")


def _insist_ok(answer: httpx.Response) -> None:
    if answer.status_code != 200:
        raise LoadFailed(f"Unexpected answer: {answer.status_code} {answer.text[:500]}")


def _measure_form(
    plan: Plan, meet: MeetUnderLoad, facts: InfringementForm, http: httpx.Client
) -> list[Line]:
    """With its facts gathered, over HTTP; and drawn in this process from facts at hand."""
    asked: list[float] = []
    drawn: list[float] = []
    _ask_form(http, meet)
    _draw_form(facts)
    for _ in range(plan.rounds):
        asked += [_ask_form(http, meet) for _ in range(plan.forms_a_round)]
        drawn += [_draw_form(facts) for _ in range(plan.forms_a_round)]
    ratio = Ratio(ratio_of_rounds(asked, drawn), "times drawing alone")
    return [
        time_line("infringement form over HTTP", asked, ratio),
        time_line("infringement form drawn alone", drawn),
    ]


def _gather_facts(url: str, meet: MeetUnderLoad) -> InfringementForm:
    engines = open_engines(url)
    try:
        with engines.reading.connect() as conn, conn.begin():
            now = SystemClock().now()
            return ruling_told(conn, MeetId(meet.id), RulingId(meet.ruling), now).facts
    finally:
        engines.dispose()


def _ask_form(http: httpx.Client, meet: MeetUnderLoad) -> float:
    authorization = {"Authorization": f"Bearer {meet.referee_token}"}
    began = perf_counter()
    answer = http.get(f"/api/meets/{meet.id}/rulings/{meet.ruling}/form.pdf", headers=authorization)
    took = perf_counter() - began
    _insist_ok(answer)
    _insist_pdf(answer.content)
    return took


def _draw_form(facts: InfringementForm) -> float:
    began = perf_counter()
    drawn = draw_infringement_form(facts, Paper.A4)
    took = perf_counter() - began
    _insist_pdf(drawn)
    return took


def _insist_pdf(content: bytes) -> None:
    if not content.startswith(b"%PDF-"):
        raise LoadFailed("What came as a form is no PDF.")


def measure_start(plan: Plan, databases: Databases) -> list[Line]:
    """From the command to the first answer, with a database that is up to date."""
    url, bare_url = databases.migrated(), databases.empty()
    service, bare = [], []
    _start(COMMAND, url), _start(BARE, bare_url)  # leaves bytecode behind, as an installation does
    for _ in range(plan.rounds):
        service.append(_start(COMMAND, url))
        bare.append(_start(BARE, bare_url))
    ratio = Ratio(ratio_of_rounds(service, bare), "times a bare server's start")
    line = time_line("cold start of serve", service)
    goal = at_most(line.median, SLOWEST_START_S, " s")
    return [time_line(line.name, service, ratio, goal), time_line("bare server's start", bare)]


def _start(command: Command, database_url: str) -> float:
    began = perf_counter()
    # The socket listens before the address is printed, so this one request waits for the answer.
    with some_servers((command, database_url)) as (address,):
        _insist_ok(httpx.get(f"{address}/healthz", timeout=60))
        return perf_counter() - began
