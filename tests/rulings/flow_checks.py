"""What must hold of the stored heats, cases, reports and rulings, whatever was done before."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from sqlalchemy import Connection, Table, select

from app.meets.tables import heats
from app.reports.tables import cases, reports
from app.rulings.tables import disqualifications, rulings
from app.transitions import StateTable

Rows = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Stored:
    """What the database holds of the two heats."""

    heats: Rows
    cases: Rows
    reports: Rows
    rulings: Rows
    disqualifications: Rows


def read_stored(conn: Connection, ids: list[str]) -> Stored:
    def rows(table: Table, column: str) -> Rows:
        found = conn.execute(select(table).where(table.c[column].in_(ids)))
        return {row.id: row for row in found}

    return Stored(
        rows(heats, "id"),
        rows(cases, "heat_id"),
        rows(reports, "heat_id"),
        rows(rulings, "heat_id"),
        rows(disqualifications, "heat_id"),
    )


def insist_on_steps(
    table: StateTable[Any, Any], states: type[StrEnum], before: Rows, now: Rows
) -> None:
    """Whatever changed its state did so by a step of the table, and nothing went away."""
    assert before.keys() <= now.keys()
    steps = {(step.state, step.becomes) for step in table.steps}
    for ident, row in now.items():
        state = states(row.state)
        if ident in before and before[ident].state != row.state:
            assert (states(before[ident].state), state) in steps, table.thing


def insist_on_one_open_case(now: Stored) -> None:
    known = [one for one in now.cases.values() if one.state == "open"]
    places = [(one.heat_id, one.team_id or one.lane) for one in known if one.team_id or one.lane]
    assert not [place for place, times in Counter(places).items() if times > 1]


def insist_on_places(now: Stored) -> None:
    """Each report lies where the head official will meet it."""
    for report in now.reports.values():
        case = now.cases[report.case_id]
        allowed = {
            "raised": {"open", "ruled"},
            "written": {"open"},
            "returned": {"open", "ruled"},
            "ruled": {"ruled"},
            "withdrawn": {"open", "ruled", "joined"},
        }
        assert case.state in allowed[report.state], (report.state, case.state)
        if report.state == "written":
            assert (report.heat_id, report.team_id) == (case.heat_id, case.team_id)
    occupied = {report.case_id for report in now.reports.values()}
    for case in now.cases.values():
        assert case.state != "open" or case.id in occupied
        assert (case.joined_to is not None) == (case.state == "joined")
        assert case.joined_to != case.id
        assert case.joined_to is None or case.joined_to in now.cases
        assert case.further_of is None or now.cases[case.further_of].state == "ruled"


def insist_on_effects(now: Stored) -> None:
    """A case that is ruled has one ruling that stands; only those disqualify."""
    standing = [one for one in now.rulings.values() if one.replaced_by is None]
    ruled = Counter(one.case_id for one in standing)
    assert ruled == Counter(one.id for one in now.cases.values() if one.state == "ruled")
    in_force = Counter(
        one.by_ruling for one in now.disqualifications.values() if one.state == "in force"
    )
    assert in_force == Counter(one.id for one in standing if one.effect == "disqualification")
    noted: Counter[str] = Counter()
    for one in standing:
        noted[one.team_id] += one.separate if one.effect == "noted" else 0
    assert not [team for team, times in noted.items() if times > 1]
