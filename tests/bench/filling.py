"""How does a store get large in seconds? Rows written straight into the tables.

One case is played over HTTP first, from its report to its ruling; every further row is a copy of
what the service itself stored for it, with other ids. Half of a large store belongs to the meet
whose docket is read, half to other meets, and whatever its size that meet has the same number of
open cases, spread evenly among the ruled ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from sqlalchemy import Connection, Table, insert, select, text

from app.access.tables import officials
from app.crew.tables import posts
from app.ids import new_id
from app.meets.tables import events, heats, lanes, meets, teams
from app.reports.states import CaseState, ReportState
from app.reports.tables import cases, reports
from app.rulings.tables import rulings
from app.store.engine import open_engines
from tests.bench.meets import MeetUnderLoad

LANES = range(1, 9)
REPORTS_A_CASE = 2
NUMBER_OF_FIRST = 1_000
"""Of the filled cases: the one that was played over HTTP has its own."""
OTHER_MEETS = 20
HEATS_AT_ONCE = 100
POSITION_OF_FIRST = 100_000

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Pattern:
    """The rows of the case that was played: what all others are copies of."""

    meet: Row
    event: Row
    heat: Row
    team: Row
    lane: Row
    umpire: Row
    post: Row
    case: Row
    report: Row
    ruling: Row


@dataclass(slots=True)
class Heap:
    """Rows that wait to be written, parents before children."""

    rows: dict[Table, list[Row]] = field(
        default_factory=lambda: {
            table: [] for table in (heats, teams, lanes, cases, reports, rulings)
        }
    )

    def write(self, conn: Connection) -> None:
        for table, waiting in self.rows.items():
            if waiting:
                conn.execute(insert(table), waiting)
                waiting.clear()


def fill_store(database_url: str, meet: MeetUnderLoad, stored: int, open_cases: int) -> list[str]:
    """Bring a store to `stored` reports; returns the ids of the open cases of the meet.

    A store that holds no more than the open cases need has them and nothing else; in a larger one
    half of the reports are those of other meets.
    """
    engines = open_engines(database_url)
    try:
        with engines.writing.connect() as conn, conn.begin():
            pattern = _read_pattern(conn, meet)
            here = max(stored // 2, open_cases * REPORTS_A_CASE)
            left_open = _fill_meet(conn, pattern, here, open_cases)
            for number in range(OTHER_MEETS):
                there = (stored - here) // OTHER_MEETS
                if there:
                    _fill_meet(conn, _another_meet(conn, pattern, number), there, open_cases)
        _gather_statistics(database_url, engines.writing.connect())
    finally:
        engines.dispose()
    return left_open


def _gather_statistics(database_url: str, conn: Connection) -> None:
    """What PostgreSQL does by itself within minutes; SQLite is left as the service leaves it."""
    with conn, conn.begin():
        if database_url.startswith("postgresql"):
            conn.execute(text("ANALYZE"))


def _read_pattern(conn: Connection, meet: MeetUnderLoad) -> Pattern:
    def row(table: Table, **where: str) -> Row:
        matching = [table.c[name] == value for name, value in where.items()]
        return dict(conn.execute(select(table).where(*matching).limit(1)).mappings().one())

    ruling = row(rulings, id=meet.ruling)
    report = row(reports, case_id=ruling["case_id"])
    return Pattern(
        meet=row(meets, id=meet.id),
        event=row(events, id=meet.event),
        heat=row(heats, id=ruling["heat_id"]),
        team=row(teams, id=ruling["team_id"]),
        lane=row(lanes, heat_id=ruling["heat_id"], team_id=ruling["team_id"]),
        umpire=row(officials, id=report["official_id"]),
        post=row(posts, id=report["post_id"]),
        case=row(cases, id=ruling["case_id"]),
        report=report,
        ruling=ruling,
    )


def _another_meet(conn: Connection, pattern: Pattern, number: int) -> Pattern:
    """A meet of its own with an event, an umpire and a post."""
    meet = pattern.meet | {"id": new_id(), "name": f"Harbour Relays {number + 2}"}
    event = pattern.event | {"id": new_id(), "meet_id": meet["id"]}
    umpire = pattern.umpire | {"id": new_id(), "meet_id": meet["id"]}
    post = pattern.post | {"id": new_id(), "meet_id": meet["id"], "official_id": umpire["id"]}
    for table, row in ((meets, meet), (events, event), (officials, umpire), (posts, post)):
        conn.execute(insert(table), row)
    parts = {"meet": meet, "event": event, "umpire": umpire, "post": post}
    kept = {"heat": pattern.heat, "team": pattern.team, "lane": pattern.lane}
    return Pattern(**parts, **kept, case=pattern.case, report=pattern.report, ruling=pattern.ruling)


def _fill_meet(conn: Connection, pattern: Pattern, stored: int, open_cases: int) -> list[str]:
    heap = Heap()
    left_open: list[str] = []
    count = stored // REPORTS_A_CASE
    every = max(count // open_cases, 1)
    for number, place in enumerate(_places(heap, pattern, count)):
        is_open = number % every == 0 and len(left_open) < open_cases
        case = _add_case(heap, pattern, place, number, is_open=is_open)
        if is_open:
            left_open.append(case)
        if len(heap.rows[heats]) >= HEATS_AT_ONCE:
            heap.write(conn)
    heap.write(conn)
    return left_open


def _places(heap: Heap, pattern: Pattern, count: int) -> Iterator[Row]:
    """Lane after lane, heat after heat: the columns that say what a case is about."""
    for number in range(count):
        if number % len(LANES) == 0:
            heat = _add_heat(heap, pattern, number // len(LANES) + 1)
        lane = LANES[number % len(LANES)]
        team = pattern.team | {
            "id": new_id(),
            "meet_id": pattern.meet["id"],
            "event_id": pattern.event["id"],
            "name": f"Fulmar {number + 1}",
            "name_key": f"fulmar {number + 1}",
        }
        heap.rows[teams].append(team)
        place = {"heat_id": heat, "lane": lane, "team_id": team["id"]}
        heap.rows[lanes].append(pattern.lane | place)
        yield {"meet_id": pattern.meet["id"], **place}


def _add_heat(heap: Heap, pattern: Pattern, number: int) -> str:
    heat = pattern.heat | {
        "id": new_id(),
        "meet_id": pattern.meet["id"],
        "event_id": pattern.event["id"],
        "round": "season",
        "round_key": "season",
        "number": number,
        "position": POSITION_OF_FIRST + number,
    }
    heap.rows[heats].append(heat)
    return str(heat["id"])


def _add_case(heap: Heap, pattern: Pattern, place: Row, number: int, *, is_open: bool) -> str:
    at = pattern.case["opened_at"] + timedelta(milliseconds=number)
    state = CaseState.OPEN if is_open else CaseState.RULED
    named = {"id": new_id(), "number": NUMBER_OF_FIRST + number}
    case = pattern.case | place | named | {"state": state.value, "opened_at": at}
    heap.rows[cases].append(case)
    for _ in range(REPORTS_A_CASE):
        written = ReportState.WRITTEN if is_open else ReportState.RULED
        its = {"id": new_id(), "case_id": case["id"], "state": written.value, "raised_at": at}
        author = {"official_id": pattern.umpire["id"], "post_id": pattern.post["id"]}
        heap.rows[reports].append(pattern.report | place | its | author)
    if not is_open:
        its = {"id": new_id(), "case_id": case["id"], "ruled_at": at}
        ruled_by = {"official_id": pattern.ruling["official_id"]}
        heap.rows[rulings].append(pattern.ruling | place | its | ruled_by)
    return str(case["id"])
