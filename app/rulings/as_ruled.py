"""What lies in a case, and what lay there when it was ruled on?

A report that was out with its umpire at the ruling, as a flag without an account or with a
question, belongs to a further case once it is written. The ruling rests on what it said before: so
the case that was ruled on keeps that, read from the record as it stood at the ruling. Where the
entry's body was erased, nothing is left of what was seen and where.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import Connection

from app.access.names import NamesThen
from app.ids import CaseId, MeetId, OfficialId, ReportId
from app.record.kinds import Kind
from app.record.queries import entries_about
from app.reports.as_recorded import ReportsTold, drawn_from_report
from app.reports.queries import (
    case_out,
    case_row,
    completed,
    marks_by,
    report_from,
    reports_of_case,
)
from app.reports.wire import CaseOut, GoneOn, ReportOut
from app.rulings.queries import LayThere, gone_since, reports_ruled_on, rulings_of_case
from app.sealing.left_rows import Row, learn
from app.store.rows import AnyRow


def case_told(conn: Connection, meet_id: MeetId, case_id: CaseId) -> CaseOut:
    """A case with its rulings and all that they rest on; NotFound for an id not of this meet."""
    ruled_on = reports_ruled_on(conn, meet_id, case_id)
    gone = gone_since(conn, case_id, ruled_on)
    return case_out(
        conn,
        meet_id,
        case_id,
        reports=_lying_and_gone(conn, meet_id, case_id, _gone_of(ruled_on, gone)),
        rulings=rulings_of_case(conn, meet_id, case_id),
        gone_on=gone,
    )


def reports_in(conn: Connection, meet_id: MeetId, case_id: CaseId) -> list[ReportOut]:
    """The reports that lie in a case, and those that have gone on since it was ruled on, as they
    were then; in the order in which their flags came.
    """
    ruled_on = reports_ruled_on(conn, meet_id, case_id)
    gone = _gone_of(ruled_on, gone_since(conn, case_id, ruled_on))
    return _lying_and_gone(conn, meet_id, case_id, gone)


class GoneReport(NamedTuple):
    """A report that a case was ruled on and that has gone on since; `ruled` is the ruling's number
    in the record: what came after it is of the other case.
    """

    report: ReportId
    ruled: int


def gone_from(conn: Connection, meet_id: MeetId, case_id: CaseId) -> list[GoneReport]:
    """The reports that a case was ruled on and that have gone on since."""
    ruled_on = reports_ruled_on(conn, meet_id, case_id)
    return [
        GoneReport(one.report, _number_of(conn, meet_id, one))
        for one in _gone_of(ruled_on, gone_since(conn, case_id, ruled_on))
    ]


def _number_of(conn: Connection, meet_id: MeetId, lay: LayThere) -> int:
    [ruled] = entries_about(conn, meet_id, Kind.RULING, lay.ruling)
    return ruled.seq


def _gone_of(ruled_on: Iterable[LayThere], gone: Iterable[GoneOn]) -> list[LayThere]:
    named = {one.report for one in gone}
    return [one for one in ruled_on if one.report in named]


def _lying_and_gone(
    conn: Connection, meet_id: MeetId, case_id: CaseId, gone: Sequence[LayThere]
) -> list[ReportOut]:
    found = reports_of_case(conn, case_id)
    if gone:
        case = case_row(conn, meet_id, case_id)
        found += [_as_it_lay(conn, case, one) for one in gone]
    return sorted(found, key=lambda one: (one.raised_at, one.id))


def _as_it_lay(conn: Connection, case: AnyRow, lay: LayThere) -> ReportOut:
    meet_id, ident = MeetId(case.meet_id), ReportId(lay.report)
    ruled = _number_of(conn, meet_id, lay)
    drawn, told = drawn_from_report(conn, meet_id, ident), ReportsTold()
    before = [one for one in drawn.entries if one.seq < ruled]
    learn(told, sorted(before, key=lambda one: one.seq))
    stored = dict(_stored(case, drawn.row, told, lay))
    name = NamesThen(conn, meet_id).at(
        OfficialId(stored["official_id"]), stored["received_at"] or stored["raised_at"]
    )
    [out] = completed(conn, [report_from(stored, name, case.team_name)])
    pictures = [one for one in out.pictures if _came_before(conn, meet_id, one.id, ruled)]
    return out.model_copy(update={"pictures": pictures, "possible": []})


def _came_before(conn: Connection, meet_id: MeetId, picture: str, seq: int) -> bool:
    """Whether the record tells of a picture before an entry: a clock may have been set back."""
    return any(one.seq < seq for one in entries_about(conn, meet_id, Kind.PICTURE_ADDED, picture))


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
    yield "marks", marks_by(said.get("marks", ()), row["run"], case.present_run)
    yield "words", said.get("words", "")
    for name in ("observation", "finding", "clock", "attested"):
        yield name, said.get(name)
    received = said.get("received_at")
    yield "received_at", None if received is None else datetime.fromisoformat(received)
