"""What lies in a case, and what lay there when it was ruled on?

A report that was out with its umpire at the ruling, as a flag without an account or with a
question, belongs to a further case once it is written. The ruling rests on what it said before: so
the case that was ruled on keeps that, read from the record as it stood at the ruling. Where the
entry's body was erased, only who raised it, and when, is left.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from app.access.names import NamesThen
from app.ids import CaseId, MeetId, OfficialId, ReportId
from app.record.kinds import Kind
from app.record.queries import entries_about
from app.reports.as_recorded import ReportsTold, drawn_from_report
from app.reports.queries import case_out, case_row, completed, report_from, reports_of_case
from app.reports.states import Mark
from app.reports.wire import CaseOut, ReportOut
from app.rulings.queries import LayThere, reports_gone_on, reports_ruled_on, rulings_of_case
from app.sealing.left_rows import Row, learn
from app.store.rows import AnyRow


def case_told(conn: Connection, meet_id: MeetId, case_id: CaseId) -> CaseOut:
    """A case with its rulings and all that they rest on; NotFound for an id not of this meet."""
    return case_out(
        conn,
        meet_id,
        case_id,
        reports=reports_in(conn, meet_id, case_id),
        rulings=rulings_of_case(conn, meet_id, case_id),
        gone_on=reports_gone_on(conn, meet_id, case_id),
    )


def reports_in(conn: Connection, meet_id: MeetId, case_id: CaseId) -> list[ReportOut]:
    """The reports that lie in a case, and those that have gone on since it was ruled on, as they
    were then; in the order in which their flags came.
    """
    lying = reports_of_case(conn, case_id)
    gone = {one.report for one in reports_gone_on(conn, meet_id, case_id)}
    if not gone:
        return lying
    case = case_row(conn, meet_id, case_id)
    then = [
        _as_it_lay(conn, case, one)
        for one in reports_ruled_on(conn, meet_id, case_id)
        if one.report in gone
    ]
    return sorted([*lying, *then], key=lambda one: (one.raised_at, one.id))


def _as_it_lay(conn: Connection, case: AnyRow, lay: LayThere) -> ReportOut:
    meet_id, ident = MeetId(case.meet_id), ReportId(lay.report)
    [ruled] = entries_about(conn, meet_id, Kind.RULING, lay.ruling)
    drawn, told = drawn_from_report(conn, meet_id, ident), ReportsTold()
    before = [one for one in drawn.entries if one.seq < ruled.seq]
    learn(told, sorted(before, key=lambda one: one.seq))
    stored = dict(_stored(case, drawn.row, told, lay))
    name = NamesThen(conn, meet_id).at(
        OfficialId(stored["official_id"]), stored["received_at"] or stored["raised_at"]
    )
    [out] = completed(conn, [report_from(stored, name, case.team_name)])
    pictures = [one for one in out.pictures if one.received_at <= ruled.at]
    return out.model_copy(update={"pictures": pictures, "possible": []})


def _stored(case: AnyRow, row: Row, told: ReportsTold, lay: LayThere) -> Iterator[tuple[str, Any]]:
    """The columns of a report as they were, from what its entries tell."""
    said: Mapping[str, Any] = told.told.get(row["id"], {})
    stands = told.standing.get(row["id"])
    yield from row.items()
    yield "heat_id", case.heat_id
    yield "case_id", case.id
    yield "team_id", case.team_id
    yield "lane", said.get("lane", case.lane)
    yield "post_id", said.get("post")
    # A flag names its post alone: what that is called stands with a later account from there.
    is_there = said.get("post") is not None and said["post"] == row["post_id"]
    yield "post_words", said.get("post_words", row["post_words"] if is_there else "")
    yield "take_over", said.get("take_over", row["take_over"] if is_there else None)
    yield "state", lay.state
    yield "version", lay.version
    yield "came_as", None
    yield "remark", None if stands is None else stands.remark
    yield "marks", [*said.get("marks", ()), *_of_earlier_run(case, row)]
    yield "words", said.get("words", "")
    for name in ("observation", "finding", "clock", "attested"):
        yield name, said.get(name)
    received = said.get("received_at")
    yield "received_at", None if received is None else datetime.fromisoformat(received)


def _of_earlier_run(case: AnyRow, row: Row) -> list[str]:
    """An account that is written again is about the run of its flag."""
    return [Mark.EARLIER_RUN.value] if row["run"] < case.present_run else []
