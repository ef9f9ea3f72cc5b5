"""How long does it take to foresee what a ruling moves, in a round as large as they come?

All heats of the round are in, the next round is drawn, and one case awaits its ruling: confirmed,
it takes a winner out, and somebody else comes in on time. Asked over HTTP by one referee.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

import httpx

from app.ids import new_id
from tests.bench.databases import Databases
from tests.bench.lines import Line, at_most, rate_line
from tests.bench.load import LoadFailed, run_load
from tests.bench.messages import a_get, reading_clients
from tests.bench.plan import SLOWEST_FORESEEN_MS, Plan
from tests.bench.servers import SERVICE, some_servers
from tests.builders import MeetAtHand, a_meet, all_heats
from tests.running import a_service

LANES = 8
WARM_UP_S = 0.2
NEXT_ROUND = "quarter-finals"


@dataclass(frozen=True, slots=True)
class Asked:
    """The case, and who may ask what a ruling on it would move."""

    path: str
    token: str


def measure_foreseeing(plan: Plan, databases: Databases) -> list[Line]:
    """One row: both verdicts of one case, for a round of all the plan's heats."""
    url = databases.migrated()
    asked = _set_up_round(url, plan.foreseen_heats)
    with some_servers((SERVICE, url)) as (address,):
        _insist_on_moves(address, asked)
        requests = reading_clients([a_get(asked.path, asked.token)], 1)
        run_load(address, requests, WARM_UP_S)
        loads = [run_load(address, requests, plan.seconds) for _ in range(plan.rounds)]
    teams = f"{plan.foreseen_heats * LANES:,}"
    p50 = median(load.percentile_ms(50) for load in loads)
    name = f"consequences of a ruling, {plan.foreseen_heats:,} heats, {teams} teams"
    return [rate_line(name, loads, goal=at_most(p50, SLOWEST_FORESEEN_MS, " ms p50"))]


def _set_up_round(url: str, heats: int) -> Asked:
    with a_service(url) as service:
        meet = a_meet(service, heats=heats, umpires=())
        meet.heats = list(all_heats(meet))
        for number in range(heats):
            meet.start(number)
            loaded = meet.load_result(number, _finish_list(number))
            assert loaded.status_code == 201, loaded.text
        _lead_on(meet, next_heats=max(1, heats // 4 - 1))
        case = meet.report()["case"]
        return Asked(f"/api/meets/{meet.id}/cases/{case}/consequences", meet.referee.token)


def _finish_list(number: int) -> str:
    """Lane 4 wins, and no two times of the round are equal."""
    rows = [
        f"{lane},{42 + (lane - 4) % LANES / 2 + number / 1000:.3f}" for lane in range(1, LANES + 1)
    ]
    return "\n".join(["lane,time", *rows])


def _lead_on(meet: MeetAtHand, next_heats: int) -> None:
    """The winners and the next times go on, as many as the lanes of the next round hold."""
    lanes = next_heats * LANES
    leads = {"next_round": NEXT_ROUND, "by_place": 1, "by_time": lanes - len(meet.heats)}
    sent = {"event": meet.heats[0]["event"], "round": "heats", "lanes": lanes, **leads}
    made = meet.desk.put(f"rounds/{new_id()}", sent)
    assert made.status_code == 201, made.text
    standing = meet.desk.get(f"heats/{meet.heat()}/round/now").json()
    through = [team for team in standing["teams"] if team["letter"]]
    rows = [
        f"{meet.heats[0]['event_name']},{NEXT_ROUND},{at % next_heats + 1},{at // next_heats + 1},"
        f"{team['name']},{team['affiliation']}"
        for at, team in enumerate(through)
    ]
    content = "\n".join(["event,round,heat,lane,team,affiliation", *rows])
    drawn = meet.organiser.post("start-lists", content=content)
    assert drawn.status_code == 200, drawn.text


def _insist_on_moves(address: str, asked: Asked) -> None:
    headers = {"Authorization": f"Bearer {asked.token}"}
    answer = httpx.get(f"{address}{asked.path}", headers=headers, timeout=60)
    if answer.status_code != 200 or not answer.json()["if_confirmed"]["moves"]:
        raise LoadFailed(f"Nothing is foreseen: {answer.status_code} {answer.text[:500]}")
