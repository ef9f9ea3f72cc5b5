"""How many statements does each page and each list ask the database, and does any grow?

Each statement costs some 20 µs on SQLite and ten times that on PostgreSQL, so what is asked anew
for each heat or each report shows first at a large meet. What is pinned here may change, but not
unseen.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass

import httpx
import pytest

from app.access.cookies import cookie_name
from app.access.who_may import MEET, WHO_MAY
from app.ids import new_id
from app.roles import Role
from app.store.engine import database_path
from tests.browser.everything import WholeMeet, a_whole_meet, leaves
from tests.builders import Person, a_meet, add_official
from tests.conftest import ENGINES, NewDatabase
from tests.fuzz.bare import SPARE
from tests.fuzz.played import BUILDS
from tests.growing import grow
from tests.running import Service, a_service
from tests.statements import Statements, statements_of

APART = (
    "/readyz",
    "/metrics",
    ".pdf",
    ".zip",
    "/feed",
    "/record",
    "/original",
    "/copy.jpg",
    "{official}",
    "/seals",
)
"""Files, what is not read while a meet is on, and what tries to store something too."""

GROWN = 2
"""How many times as much has come to pass in the meet that has grown."""
PINNED: Mapping[str, int] = {
    "home-1-anyone": 1,
    "join-1-anyone": 0,
    "set-up-1-anyone": 0,
    "problems-1-anyone": 0,
    "problems-slug-1-anyone": 0,
    "problems-slug-2-anyone": 0,
    "board-1-anyone": 53,
    "results-announcement-1-anyone": 5,
    "jury-1-chief_umpire": 142,
    "jury-appeal-1-juror-1": 173,
    "jury-appeal-1-results": 73,
    "jury-appeal-1-referee": 173,
    "jury-appeal-2-juror-1": 226,
    "record-1-referee": 3,
    "head-1-chief_umpire": 40,
    "cases-case-1-referee": 119,
    "cases-case-1-jury": 104,
    "cases-case-2-referee": 76,
    "cases-case-3-referee": 35,
    "cases-case-4-referee": 30,
    "keys-1-umpire": 3,
    "zone-1-umpire": 15,
    "zone-1-referee": 15,
    "desk-1-chief_umpire": 82,
    "desk-rounds-1-chief_umpire": 16,
    "desk-heats-heat-1-results": 176,
    "desk-heats-heat-2-results": 33,
    "desk-heats-heat-protest-1-referee": 17,
    "desk-heats-heat-protest-2-referee": 14,
    "protests-1-chief_umpire": 197,
    "protests-protest-1-results": 89,
    "protests-protest-1-referee": 105,
    "protests-protest-2-results": 97,
    "organiser-1-organiser": 10,
    "organiser-officials-1-organiser": 3,
    "organiser-start-lists-1-organiser": 6,
    "organiser-crew-1-chief_umpire": 9,
    "organiser-rehearsals-1-chief_umpire": 4,
    "hall": 53,
    "countersign": 31,
    "GET /healthz": 0,
    "GET /problems": 0,
    "GET /problems/{slug}": 0,
    "GET /api/time": 0,
    "GET /api/editions": 0,
    "GET /api/me": 1,
    "GET /api/meets": 1,
    "GET ": 1,
    "GET /officials": 1,
    "GET /me/keys": 2,
    "GET /heats": 25,
    "GET /heats/{heat}": 21,
    "GET /heat-now": 11,
    "GET /rehearsals": 2,
    "GET /heats/{heat}/posts": 6,
    "GET /crew": 5,
    "GET /watch": 14,
    "GET /reports": 4,
    "GET /docket": 6,
    "docket, from a place on": 4,
    "announcements, from a place on": 5,
    "meets, from a place on": 1,
    "GET /cases/{case}": 12,
    "GET /heats/{heat}/rulings": 7,
    "GET /disqualifications": 1,
    "GET /heats/{heat}/result": 69,
    "GET /rounds": 2,
    "GET /heats/{heat}/round": 13,
    "GET /heats/{heat}/round/now": 13,
    "GET /scores": 1,
    "GET /announcements": 40,
    "GET /announcements/{announcement}.json": 4,
    "GET /announcements/{announcement}.csv": 4,
    "GET /announcements/{announcement}.txt": 5,
    "GET /end": 2,
    "GET /end/time-corrections": 2,
    "GET /windows.json": 5,
    "GET /windows.ics": 5,
    "GET /protests": 55,
    "GET /protests/{protest}": 24,
    "GET /appeals": 141,
    "GET /appeals/{appeal}": 29,
    "GET /appeals/{appeal}/dossier": 167,
    "GET /appeals/{appeal}/panel/candidates": 57,
    "GET /cases/{case}/consequences": 48,
    "GET /papers": 1,
    "organiser-survey-1-chief_umpire": 5,
    "organiser-crew-search-1-chief_umpire": 8,
    "GET /crew/wishes": 1,
    "GET /crew.csv": 2,
    "meet-report-1-umpire": 13,
    "meet-report-1-referee": 14,
    "GET /meet-report": 12,
    "GET /meet-report.csv": 12,
    "GET /survey": 3,
    "GET /survey.csv": 3,
}


OF_EACH: Mapping[str, int] = {
    "jury-1-chief_umpire": 77,
    "jury-appeal-1-juror-1": 4,
    "jury-appeal-1-referee": 4,
    "jury-appeal-2-juror-1": 4,
    "desk-heats-heat-1-results": 8,
    "protests-1-chief_umpire": 103,
    "GET /protests": 26,
    "GET /appeals": 77,
    "GET /appeals/{appeal}/dossier": 4,
}
"""What does grow, by how many statements each time that `grow` adds its heats: three protests and
two appeals, each measured by its windows, fifty a page; and an announcement more of the one heat.
"""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is read, by whom, and the name that it has here."""

    name: str
    path: str
    who: Person | None

    def send(self, http: httpx.Client) -> None:
        """Read it, as a browser or as another program."""
        shown = {"Accept": "application/json" if self.path.startswith("/api") else "text/html"}
        if self.who is not None and self.path.startswith("/api"):
            shown["Authorization"] = f"Bearer {self.who.token}"
        elif self.who is not None:
            shown["Cookie"] = f"{cookie_name(self.who.meet, secure=True)}={self.who.token}"
        answer = http.get(self.path, headers=shown)
        assert answer.status_code == 200, (self.name, answer.text)


def everything_read(whole: WholeMeet) -> Iterator[Asked]:
    """All pages of a meet, and all that the service tells of it as JSON, text or CSV."""
    for leaf in leaves(whole):
        yield Asked(leaf.name, leaf.path, leaf.who)
    for (method, path), who in WHO_MAY.items():
        if method != "GET" or any(part in path for part in APART):
            continue
        address = path.replace("{meet}", whole.meet.id)
        for thing in re.findall(r"\{(\w+)\}", address):
            if thing not in whole.things:
                break
            address = address.replace(f"{{{thing}}}", whole.things[thing][0])
        else:
            role = None if who.public else next(role for role in Role if role in who.roles)
            person = whole.meet[role] if role is not None else None
            yield Asked(f"GET {path.removeprefix(MEET)}", address, person)
    api, place = f"/api/meets/{whole.meet.id}", f"2020-01-01T00:00:00.000000Z~{new_id()}"
    for name, path, who in (
        ("docket", f"{api}/docket?after={place}", whole.meet.referee),
        ("announcements", f"{api}/announcements?before={place}", None),
        ("meets", f"/api/meets?before={place}", None),
    ):
        yield Asked(f"{name}, from a place on", path, who)


@dataclass(frozen=True, slots=True)
class Read:
    """The statements of everything that is read, by name: in a meet as it was, and in one that has
    grown; what of it needs a session; and all statements that were heard at all.
    """

    before: Mapping[str, Sequence[str]]
    grown: Mapping[str, Sequence[str]]
    joined: frozenset[str]
    statements: Statements
    service: Service

    @property
    def is_sqlite(self) -> bool:
        return self.service.store.engines.is_sqlite


@pytest.fixture(scope="module", params=ENGINES)
def read(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Read]:
    with a_service(new_database(request.param)) as service:
        statements = statements_of(service)
        whole = a_whole_meet(service)
        grow(whole, 1)
        before = _read(service, statements, whole)
        grow(whole, GROWN)
        joined = frozenset(one.name for one in everything_read(whole) if one.who is not None)
        yield Read(before, _read(service, statements, whole), joined, statements, service)


def _read(
    service: Service, statements: Statements, whole: WholeMeet
) -> Mapping[str, Sequence[str]]:
    found, services = {}, service.app.state.services
    for asked in everything_read(whole):
        asked.send(service.http)
        # What is made once for many is made anew.
        for keeper in (services.boards, services.dockets, services.trials):
            keeper._kept.clear()
        with statements.counted() as heard:
            asked.send(service.http)
        found[asked.name] = heard
    return found


def counted(read: Mapping[str, Sequence[str]]) -> Mapping[str, int]:
    return {name: len(statements) for name, statements in read.items()}


def otherwise(found: Mapping[str, int], pinned: Mapping[str, int]) -> list[str]:
    """What was counted otherwise than it is pinned, a sentence each."""
    names = [*pinned, *(name for name in found if name not in pinned)]
    return [
        f"{name}: {_told(found.get(name), pinned.get(name))}"
        for name in names
        if found.get(name) != pinned.get(name)
    ]


def _told(found: int | None, pinned: int | None) -> str:
    if found is None:
        return "it is pinned and nobody reads it any more: take it out of the table"
    if pinned is None:
        return f"it takes {found} statements and is not pinned: put it into the table"
    if found > pinned:
        return (
            f"{found - pinned} statements MORE than pinned, {found} for {pinned}: ask for several "
            "things at once, or pin it if it is worth them"
        )
    return f"{pinned - found} statements fewer than pinned, {found} for {pinned}: pin it"


def test_everything_that_is_read_takes_as_many_statements_as_are_pinned(read: Read) -> None:
    found = counted(read.before)
    if not read.is_sqlite:  # in one process who is joined is remembered, elsewhere it is asked
        found = {name: found[name] - (name in read.joined) for name in found}
    assert otherwise(found, PINNED) == []


def test_nothing_that_is_read_takes_more_statements_in_a_meet_that_has_grown(read: Read) -> None:
    """But for what is named, by so much for each that there is more."""
    before, grown = counted(read.before), counted(read.grown)
    more = {name: grown[name] - before[name] for name in before}
    assert otherwise(more, {name: OF_EACH.get(name, 0) * GROWN for name in before}) == []


@pytest.mark.parametrize(
    ("found", "told"),
    [
        ({"desk": 9}, "desk: 2 statements MORE than pinned, 9 for 7"),
        ({"desk": 6}, "desk: 1 statements fewer than pinned, 6 for 7: pin it"),
        ({}, "desk: it is pinned and nobody reads it"),
        ({"desk": 7, "head": 3}, "head: it takes 3 statements and is not pinned"),
    ],
)
def test_it_is_said_plainly_what_was_counted_otherwise(found: dict[str, int], told: str) -> None:
    (said,) = otherwise(found, {"desk": 7})
    assert said.startswith(told)


WHOLE = {
    "SCAN alembic_version",  # one row
    "SCAN meets USING INDEX ix_meets_made_at_id",  # as far as the page goes
    "SCAN cases USING INDEX ix_cases_docket",  # the open ones, which are counted for /metrics
    "SCAN record_heads USING INDEX sqlite_autoindex_record_heads_1",  # the last twenty
}
READS_ALL = re.compile(r"SCAN (?!CONSTANT ROW|\(subquery-\d+\))|SEARCH .* AUTOMATIC ")
ALL_CASES = "SEARCH cases USING INDEX ix_cases_meet_id_number (meet_id=?)"
IS_NULL = re.compile(r"(\w+)\.(\w+) IS NULL")
LISTS = re.compile(r"\(\?(?:, \?)+\)")
VALUES = re.compile(r"'(?:[^']|'')*'|\b\d+\b|x'[0-9a-f]*'", re.IGNORECASE)


def read_whole(plan: Sequence[str], statement: str) -> list[str]:
    """The steps of a plan of SQLite that go through a whole table, through all cases of a meet
    for the open ones, or through all rows that name nothing, which is most of them.
    """
    empty = [f"SEARCH {table} USING INDEX" for table, _column in IS_NULL.findall(statement)]
    columns = [f"({column}=?)" for _table, column in IS_NULL.findall(statement)]
    return [
        step
        for step in plan
        if (READS_ALL.match(step) and step not in WHOLE)
        or (step == ALL_CASES and "cases.state = 'open'" in statement)
        or any(
            step.startswith(begin) and step.endswith(end)
            for begin, end in zip(empty, columns, strict=True)
        )
    ]


@pytest.mark.parametrize(
    ("step", "is_found"),
    [
        ("SCAN windows", True),
        ("SCAN windows USING COVERING INDEX ix_windows_heat_id", True),
        ("SEARCH lanes USING AUTOMATIC COVERING INDEX (team_id=?)", True),
        ("SEARCH windows USING INDEX ix_windows_decision_id (decision_id=?)", True),
        ("SEARCH windows USING INDEX ix_windows_heat_id (heat_id=?)", False),
        ("SCAN alembic_version", False),
        ("SCAN CONSTANT ROW", False),
        ("SCAN (subquery-3)", False),
        (ALL_CASES, True),
        ("SEARCH cases USING INDEX ix_cases_docket (meet_id=? AND opened_at>?)", False),
    ],
)
def test_what_reads_a_whole_table_would_be_found(step: str, is_found: bool) -> None:
    asked = (
        "SELECT 1 FROM windows, cases WHERE windows.decision_id IS NULL AND cases.state = 'open'"
    )
    assert (read_whole([step], asked) == [step]) is is_found


@pytest.mark.parametrize("read", ["sqlite"], indirect=True)
def test_no_statement_reads_a_whole_table(read: Read) -> None:
    """Neither of what is read nor of any act: a season makes each table large. SQLite plans without
    looking at what is stored, so what it would do at a large store shows in a small one.
    """
    _do_everything(read.service)
    asked = {LISTS.sub("(?)", VALUES.sub("?", one)): one for one in read.statements.ever}
    path = database_path(read.service.store.engines.url)
    with closing(sqlite3.connect(path)) as conn:
        plans = {one: _plan(conn, one) for one in asked.values() if not one.startswith("PRAGMA")}
    found = {one: steps for one, plan in plans.items() if (steps := read_whole(plan, one))}
    assert len(plans) > 350
    assert found == {}


def _do_everything(service: Service) -> None:
    """Each act once, at a meet of its own."""
    meet = a_meet(service)
    for name in SPARE:
        add_official(meet, name, "umpire")
    meet.start()
    for build in BUILDS.values():
        answer = build(meet).send(service.http)
        assert answer.is_success, answer.text


def _plan(conn: sqlite3.Connection, statement: str) -> list[str]:
    return [str(row[3]) for row in conn.execute(f"EXPLAIN QUERY PLAN {statement}")]
