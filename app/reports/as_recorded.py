"""What does the record tell of a report and of a flag, to hold their rows against?

The entry of a written report has all that was sent, and what followed from it; that of a flag the
same, so that of a report that was only raised as much is told as its flag told. A report that was
written again is told by its last entry. Which post it was, and who ran there, a flag does not tell.
Entries of before have less in them: what they do not name cannot be told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, bindparam, select

from app.clock import rfc3339
from app.ids import MeetId, ReportId
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.record.queries import Sound, committed_about, committed_on
from app.reports.attesting import as_taken_in
from app.reports.states import ReportState
from app.reports.tables import calls, reports
from app.sealing.left_rows import Drawn, Part, Row, Says, agrees, counted_from_none

OF_REPORTS = frozenset(
    {Kind.MEET_MADE, Kind.CALL, Kind.REPORT_WRITTEN, Kind.REPORT_RETURNED, Kind.REPORT_WITHDRAWN}
)
OF_CALLS = frozenset({Kind.MEET_MADE, Kind.CALL, Kind.REPORT_WRITTEN})
_NAMED = {"case": "case_id", "heat": "heat_id", "post": "post_id", "team": "team_id"}
_WRITTEN = (
    *("case", "clock", "finding", "heat", "lane", "marks", "observation", "post", "post_words"),
    *("run", "take_over", "team", "words"),
)
_FLAGGED = ("heat", "lane", "marks", "post", "run")
_CALLED = ("clock", "flag", "heat", "lane", "marks", "post", "run")
_NOTHING_YET: Says = {
    "attested": None,
    "clock": None,
    "finding": None,
    "observation": None,
    "received_at": None,
    "words": "",
}
"""What a report says of which only the flag is up."""
_STATES = {
    Kind.REPORT_WRITTEN: ReportState.WRITTEN,
    Kind.REPORT_RETURNED: ReportState.RETURNED,
    Kind.REPORT_WITHDRAWN: ReportState.WITHDRAWN,
}

_REPORT = select(reports).where(
    reports.c.meet_id == bindparam("meet"), reports.c.id == bindparam("report")
)
_CALLS = select(calls.c.id).where(
    calls.c.meet_id == bindparam("meet"),
    calls.c.report_id.in_(bindparam("reports", expanding=True)),
)


@dataclass(frozen=True, slots=True)
class _Standing:
    """Where a report stands by its entries, and what was said with that, which `gone` told."""

    state: ReportState | None
    remark: str | None = None
    came_as: str | None = None
    gone: tuple[Sound, ...] = ()

    def is_that_of(self, row: Row) -> bool:
        """Whether a row stands so; a ruling takes written reports along."""
        if row["came_as"] != self.came_as:
            return False
        is_ruled = self.state is ReportState.WRITTEN and row["state"] == ReportState.RULED
        return bool(is_ruled or row["state"] == self.state)


_NOWHERE = _Standing(None)


@dataclass(slots=True)
class ReportsTold:
    """What the entries of a record say of reports."""

    told: dict[str, Says] = field(default_factory=dict)
    standing: dict[str, _Standing] = field(default_factory=dict)
    raised_at: dict[str, str] = field(default_factory=dict)
    gone: dict[str, list[Sound]] = field(default_factory=dict)
    found: set[str] = field(default_factory=set)
    runs_moved: bool = False
    meet: str = ""

    def add(self, one: Sound) -> None:
        """What one more entry says."""
        if one.kind == Kind.MEET_MADE:
            self.meet, self.runs_moved = one.subject, counted_from_none(one)
        elif one.kind == Kind.CALL:
            self._raise(one, one.body or {})
        else:
            self._move(one)

    def _move(self, one: Sound) -> None:
        if one.kind == Kind.REPORT_WRITTEN:
            self._write(one)
        state, was = _STATES[Kind(one.kind)], self.standing.get(one.subject, _NOWHERE)
        if one.kind == Kind.REPORT_WRITTEN:  # what was asked with a return stays
            self.standing[one.subject] = _Standing(state, was.remark, None, was.gone)
        elif one.body is None:
            self.standing[one.subject] = _Standing(state, gone=(one,))
        else:
            self.standing[one.subject] = _Standing(state, one.body.get("reason"))

    def _raise(self, one: Sound, body: Mapping[str, Any]) -> None:
        report = body.get("report")
        if report is None or report in self.raised_at:
            return
        self.raised_at[report] = one.at
        self.standing[report] = _Standing(ReportState.RAISED)
        said = {name: body[name] for name in _FLAGGED if name in body}
        if said.get("run") is None:  # it speaks for no post: its run is not told
            said.pop("run", None)
        author = {"official": body["report_of"]} if "report_of" in body else {}
        self.told[report] = {**_NOTHING_YET, **said, **author, "raised_at": one.at}

    def _write(self, one: Sound) -> None:
        ident = one.subject
        if one.body is None:
            self.gone.setdefault(ident, []).append(one)
            self.told.pop(ident, None)
            self.raised_at.setdefault(
                ident, ""
            )  # that of a flag in whose place it came, or its own
            return
        flags = one.body.get("in_place_of", ())
        first = self.raised_at.get(flags[0], "") if flags else one.at
        at = self.raised_at.setdefault(ident, first)
        self.told[ident] = {
            **{name: one.body[name] for name in _WRITTEN if name in one.body},
            **({"raised_at": at} if at else {}),
            "attested": _attested(one, one.body, self.meet),
            "official": one.by,
            "received_at": one.at,
        }
        for flag in flags:
            self.standing[flag] = _Standing(ReportState.WITHDRAWN, came_as=ident)

    def parts(self, row: Row) -> Iterator[Part]:
        """What a stored report says, where it stands, and what was asked or said with that."""
        ident, says = row["id"], says_of_report(row)
        self.found.add(ident)
        told, stands = self.told.get(ident), self.standing.get(ident, _NOWHERE)
        is_told = told is not None and agrees(says, told, runs_moved=self.runs_moved)
        yield Part(ident, says, is_told, self.gone.get(ident, ()))
        yield Part(f"{ident} state", {"state": row["state"]}, stands.is_that_of(row))
        is_remark = row["remark"] == stands.remark or stands.came_as is not None
        yield Part(f"{ident} remark", {"remark": row["remark"]}, is_remark, stands.gone)

    def missing(self) -> Iterator[str]:
        """The reports that are not there."""
        yield from (f"the report {one}" for one in sorted(self.standing.keys() - self.found))


def says_of_report(row: Row) -> Says:
    """What a stored report says; where it stands is told apart, since that changes."""
    columns = {name: row[_NAMED.get(name, name)] for name in _WRITTEN}
    received = row["received_at"]
    return {
        **columns,
        "attested": row["attested"],
        "official": row["official_id"],
        "raised_at": rfc3339(row["raised_at"]),
        "received_at": None if received is None else rfc3339(received),
    }


def _attested(one: Sound, body: Mapping[str, Any], meet: str) -> Mapping[str, Any] | None:
    """How a report is attested; ValueError where the digest of what the server took in is of
    something else than the entry says.
    """
    if "signature" not in body:
        return None
    signature, digest = body["signature"], body["statement_sha256"]
    if "statement" not in body and digest != digest_of(as_taken_in(body, meet, one.subject)):
        raise ValueError("this is not the digest of what was taken in")
    return {"key": signature["key"], "sha256": digest, "strength": signature["strength"]}


@dataclass(slots=True)
class CallsTold:
    """What the entries of a record say of flags."""

    told: dict[str, Says] = field(default_factory=dict)
    gone: dict[str, list[Sound]] = field(default_factory=dict)
    found: set[str] = field(default_factory=set)
    runs_moved: bool = False
    of_report: dict[str, list[str]] = field(default_factory=dict)

    def add(self, one: Sound) -> None:
        """What one more entry says: a flag, or that an account came for one."""
        body = one.body
        if one.kind == Kind.MEET_MADE:
            self.runs_moved = counted_from_none(one)
        elif one.kind == Kind.REPORT_WRITTEN:
            for flag in (body or {}).get("in_place_of", ()):
                self._give(flag, one.subject)
        elif body is None:
            self.gone.setdefault(one.subject, []).append(one)
        else:
            said = {name: body[name] for name in (*_CALLED, "report") if name in body}
            self.told[one.subject] = {**said, "official": one.by, "received_at": one.at}
            self.of_report.setdefault(str(body.get("report")), []).append(one.subject)

    def _give(self, raised: str, written: str) -> None:
        given = self.of_report.pop(raised, [])
        for call in given:
            self.told[call] = {**self.told[call], "report": written}
        self.of_report.setdefault(written, []).extend(given)

    def parts(self, row: Row) -> Iterator[Part]:
        """What a stored flag says."""
        ident, says = row["id"], says_of_call(row)
        self.found.add(ident)
        told = self.told.get(ident)
        is_told = told is not None and agrees(says, told, runs_moved=self.runs_moved)
        yield Part(ident, says, is_told, self.gone.get(ident, ()))

    def missing(self) -> Iterator[str]:
        """The flags that are not there."""
        known = self.told.keys() | self.gone.keys()
        yield from (f"the flag {one}" for one in sorted(known - self.found))


def says_of_call(row: Row) -> Says:
    """What a stored flag says."""
    return {
        **{name: row[_NAMED.get(name, name)] for name in _CALLED},
        "official": row["official_id"],
        "received_at": rfc3339(row["received_at"]),
        "report": row["report_id"],
    }


def drawn_from_report(conn: Connection, meet: MeetId, report: ReportId) -> Drawn:
    """A report's row, and the entries that tell of it and of its flags."""
    row = dict(conn.execute(_REPORT, {"meet": meet, "report": report}).mappings().one())
    subjects = [one for one in (report, row["came_as"]) if one is not None]
    called = conn.execute(_CALLS, {"meet": meet, "reports": subjects}).scalars().all()
    entries = committed_about(conn, meet, Kind.MEET_MADE, meet)
    for subject in (*subjects, *called):
        entries += committed_on(conn, meet, subject)
    told = [one for one in entries if one.kind in OF_REPORTS]
    return Drawn(row, ReportsTold(), told)
