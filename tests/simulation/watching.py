"""What must hold after every commit and at every answer, whatever the network and the server did.

It looks by a connection of its own, so it sees what is committed and nothing else, and it knows
about the service only its tables and the state tables of the design.
"""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from enum import StrEnum
from hashlib import sha256
from typing import Any

from app.appeals.states import APPEAL_TABLE, PROTEST_TABLE
from app.meets.states import HEAT_TABLE
from app.record.kinds import Kind
from app.reports.states import CASE_TABLE, REPORT_TABLE
from app.rulings.states import DISQUALIFICATION_TABLE
from app.transitions import StateTable
from tests.builders import Json
from tests.simulation.phones import RECEIVED, Phone
from tests.simulation.server import Answer

HALF_AN_HOUR = timedelta(minutes=30)

ONCE = frozenset(
    {
        *(Kind.CALL, Kind.REPORT_WITHDRAWN, Kind.RULING, Kind.ANNOUNCEMENT),
        *(Kind.HEAT_STARTED, Kind.RESULT_LOADED, Kind.PROTEST_LODGED, Kind.APPEAL_LODGED),
    }
)
"""What is done to one thing once in these meets: twice in the record, it was done twice."""
RECORDED = {
    "call": Kind.CALL,
    "report": Kind.REPORT_WRITTEN,
    "withdrawal": Kind.REPORT_WITHDRAWN,
    "ruling": Kind.RULING,
    "announcement": Kind.ANNOUNCEMENT,
    "protest": Kind.PROTEST_LODGED,
    "appeal": Kind.APPEAL_LODGED,
}
TABLES: Mapping[str, tuple[StateTable[Any, Any], frozenset[str]]] = {
    "reports": (REPORT_TABLE, frozenset({"raised", "written"})),
    "cases": (CASE_TABLE, frozenset({"open"})),
    "disqualifications": (DISQUALIFICATION_TABLE, frozenset({"in force"})),
    "protests": (PROTEST_TABLE, frozenset({"lodged"})),
    "appeals": (APPEAL_TABLE, frozenset({"lodged"})),
    "heats": (HEAT_TABLE, frozenset()),
}
"""The state table of each thing, and the states that it begins in."""
KEPT = (
    (("call",), "calls", ("heat_id", "post_id", "flag", "lane")),
    (("report", "again"), "reports", ("heat_id", "post_id", "lane", "words")),
)
"""What phones send, the last of it counting, the table it comes to, and the columns that say it
word for word.
"""
DERIVED = {("appeals", "lodged"): {"late", "admitted"}}
"""Whether an appeal that is stored as lodged is late or admitted follows from its deposit, its
window and the jury's word (`app/appeals/states.py`)."""


class Watcher:
    """Follows one meet in its database."""

    def __init__(self, path: str, meet: str) -> None:
        self._db = sqlite3.connect(f"file:{path}?mode=ro", uri=True, isolation_level=None)
        self._meet = meet
        self._leaves: list[bytes] = []
        self._done: Counter[tuple[str, str]] = Counter()
        self._states: dict[tuple[str, str], str] = {}
        self._announced: dict[str, str] = {}
        self.looks: Counter[str] = Counter()
        self._look_at_record()
        self._set_up = len(self._leaves)
        for table in TABLES:
            self._states |= {(table, ident): state for ident, state in self._states_in(table)}

    def close(self) -> None:
        self._db.close()

    def after_commit(self, _acts: int) -> None:
        """All that holds after every commit."""
        new = self._look_at_record()
        self._look_at_states(len(new))
        self._look_at_announcements(new)
        if any(kind in {Kind.ANNOUNCEMENT, Kind.ADVICE_GIVEN} for kind, _subject in new):
            self._look_at_windows()

    def rows(self, asked: str, *values: object) -> list[tuple[Any, ...]]:
        return self._db.execute(asked, values).fetchall()

    def _look_at_record(self) -> list[tuple[str, str]]:
        """It grows without a gap, nothing in it is done twice, and its head is the root over it."""
        self.looks["record"] += 1
        asked = "SELECT seq, kind, subject, entry FROM record_entries WHERE meet_id=? AND seq>?"
        found = self.rows(f"{asked} ORDER BY seq", self._meet, len(self._leaves))
        for seq, kind, subject, entry in found:
            self._leaves.append(sha256(b"\x00" + entry.encode()).digest())
            assert seq == len(self._leaves), f"the record has a gap before entry {seq}"
            assert json.loads(entry)["seq"] == seq
            self._done[kind, subject] += 1
            self._insist_no_more_often_than_due(kind, subject)
        if found:
            self.looks["root"] += 1
            ((size, root),) = self.rows(
                "SELECT size, root FROM record_heads WHERE meet_id=?", self._meet
            )
            assert (size, root) == (len(self._leaves), tree_root(self._leaves).hex())
        return [(kind, subject) for _seq, kind, subject, _entry in found]

    def _insist_no_more_often_than_due(self, kind: str, subject: str) -> None:
        """An account once, and once more each time that it was returned."""
        times = self._done[kind, subject]
        due = 1 + (self._done[Kind.REPORT_RETURNED, subject] if kind == Kind.REPORT_WRITTEN else 0)
        is_counted = kind in ONCE or kind == Kind.REPORT_WRITTEN
        assert not is_counted or times <= due, (
            f"{kind} {subject} stands in the record {times} times"
        )

    def _states_in(self, table: str) -> list[tuple[Any, ...]]:
        return self.rows(f"SELECT id, state FROM {table} WHERE meet_id=?", self._meet)

    def _look_at_states(self, entries: int) -> None:
        """Whatever moved did so along its table, in no more steps than there were acts."""
        self.looks["states"] += 1
        for table, (steps, first) in TABLES.items():
            for ident, state in self._states_in(table):
                before = self._states.get((table, ident))
                if state == before:
                    continue
                come_from = (
                    first if before is None else {before} | DERIVED.get((table, before), set())
                )
                able = reached(steps, come_from, entries)
                assert state in able, f"{table} {ident}: from {before} to {state}"
                self._states[table, ident] = state
        assert len(self._states) == sum(len(self._states_in(table)) for table in TABLES)

    def _look_at_announcements(self, new: list[tuple[str, str]]) -> None:
        """One that was made never changes; a new one has the next number, and the
        disqualifications that are in force.
        """
        self.looks["announcements"] += 1
        asked = "SELECT id, heat_id, number, announced_at, content, snapshot FROM announcements"
        rows = self.rows(f"{asked} WHERE meet_id=? ORDER BY heat_id, number", self._meet)
        assert len(rows) >= len(self._announced), "an announcement is gone"
        for ident, *fixed in rows:
            digest = sha256(json.dumps(fixed).encode()).hexdigest()
            known = self._announced.setdefault(ident, digest)
            assert known == digest, f"announcement {ident} was changed"
        for heat, numbers in grouped((heat, number) for _ident, heat, number, *_more in rows):
            assert numbers == list(range(1, len(numbers) + 1)), f"numbers in heat {heat}: {numbers}"
        if new and new[-1][0] == Kind.ANNOUNCEMENT:
            (row,) = [row for row in rows if row[0] == new[-1][1]]
            self.insist_in_force(row[1], json.loads(row[5])["lines"])

    def insist_in_force(self, heat: str, lines: Iterable[Json]) -> None:
        """A result shows the disqualifications in force, and none that was set aside."""
        self.looks["disqualifications on a result"] += 1
        shown = {one["team"] for one in lines if one["annotation"].startswith("DQ")}
        asked = "SELECT team_id FROM disqualifications WHERE heat_id=? AND state='in force'"
        in_force = {team for (team,) in self.rows(asked, heat)}
        assert shown == in_force, f"heat {heat} shows {shown}, in force is {in_force}"

    def _look_at_windows(self) -> None:
        """Each is open for half an hour from the instant that opened it, to the microsecond."""
        self.looks["windows"] += 1
        for opened, closes, announced, decision in self.rows(
            "SELECT opened_at, closes_at, announced_at, decision_id FROM windows "
            "JOIN announcements ON announcements.id = windows.announcement_id "
            "WHERE windows.meet_id=?",
            self._meet,
        ):
            since = datetime.fromisoformat(opened)
            assert datetime.fromisoformat(closes) - since == HALF_AN_HOUR, (opened, closes)
            assert decision is not None or opened == announced, (opened, announced)

    def insist_judged_in_time(self, kind: str, told: Json) -> None:
        """Late is what was lodged after its window closed, by a microsecond or more."""
        self.looks["timeliness"] += 1
        measured = told["timeliness"]
        closes, lodged = measured["closes_at"], datetime.fromisoformat(told["lodged_at"])
        if kind == "appeal":  # it is not lodged before its deposit is paid
            lodged = max(lodged, datetime.fromisoformat(told["deposit"]["received_at"]))
        is_late = closes is not None and lodged > datetime.fromisoformat(closes)
        assert measured["in_time"] == (not is_late), told
        if closes is not None:
            ((opened,),) = self.rows("SELECT opened_at FROM windows WHERE id=?", measured["window"])
            assert datetime.fromisoformat(closes) - datetime.fromisoformat(opened) == HALF_AN_HOUR
        if kind == "protest":
            assert ("late" in told["marks"]) == is_late, told
        elif told["state"] in {"late", "admitted"}:
            assert (told["state"] == "late") == is_late, told

    @property
    def size(self) -> int:
        """How many entries were seen in the record."""
        return len(self._leaves)

    @property
    def digest(self) -> str:
        """Of all that was done since the meet was set up; its seal's key comes from no seed."""
        return sha256(b"".join(self._leaves[self._set_up :])).hexdigest()

    def hear(self, kind: str, ident: str, answer: Answer) -> None:
        """Somebody was told that it is done, or that it is refused."""
        if kind == "again":
            return  # held word for word when all was sent
        if not answer.is_good:
            self.insist_not_done(kind, ident)
            return
        self.insist_done(kind, ident)
        if kind in {"protest", "appeal"}:
            self.insist_judged_in_time(kind, answer.document)

    def insist_done(self, what: str, ident: str) -> None:
        """What was answered as done is in the record at this moment."""
        self.looks["acknowledged"] += 1
        assert self._done_in_database(what, ident) > 0, f"{what} {ident}: answered, and not there"

    def insist_not_done(self, what: str, ident: str) -> None:
        """What was refused has left nothing."""
        self.looks["refused"] += 1
        assert self._done_in_database(what, ident) == 0, f"{what} {ident}: refused, and there"

    def insist_ruled_as_seen(self, case: str, seen: Iterable[Json]) -> None:
        """A ruling takes along no account that its official has not looked at."""
        self.looks["rulings as seen"] += 1
        asked = "SELECT id FROM reports WHERE case_id=? AND state='ruled'"
        ruled = {report for (report,) in self.rows(asked, case)}
        assert ruled <= {one["id"] for one in seen}, f"case {case}: ruled on unseen"

    def insist_announced_as_seen(self, told: str, seen: Iterable[Json]) -> None:
        """An announcement says of each team what the desk has looked at."""
        self.looks["announcements as seen"] += 1
        ((snapshot,),) = self.rows("SELECT snapshot FROM announcements WHERE id=?", told)
        said = {one["lane"]: one["annotation"] for one in json.loads(snapshot)["lines"]}
        assert said == {one["lane"]: one["annotation"] for one in seen}, f"{told}: not as seen"

    def _done_in_database(self, what: str, ident: str) -> int:
        asked = "SELECT count(*) FROM record_entries WHERE meet_id=? AND kind=? AND subject=?"
        ((count,),) = self.rows(asked, self._meet, RECORDED[what], ident)
        return int(count)

    def open_cases(self) -> set[str]:
        asked = "SELECT id FROM cases WHERE meet_id=? AND state='open'"
        return {case for (case,) in self.rows(asked, self._meet)}

    def insist_nobody_forgotten(self) -> None:
        """Each account that was written and neither ruled on nor withdrawn is in an open case."""
        self.looks["accounts in cases"] += 1
        found = self.rows(
            "SELECT reports.id FROM reports JOIN cases ON cases.id = reports.case_id "
            "WHERE reports.meet_id=? AND reports.state='written' AND cases.state != 'open'",
            self._meet,
        )
        assert not found, f"accounts that nobody will rule on: {found}"

    def insist_server_has(self, phones: Iterable[Phone]) -> None:
        """In the end every outbox is empty, and the server has what each phone was told it has,
        word for word, and nothing of anybody else.
        """
        self.looks["outboxes"] += 1
        for kinds, table, columns in KEPT:
            sent = {one.id: one for phone in phones for one in phone.items if one.kind in kinds}
            asked = f"SELECT id, {', '.join(columns)} FROM {table} WHERE meet_id=?"
            came = f"{asked} AND content IS NOT NULL"
            kept = {ident: said for ident, *said in self.rows(came, self._meet)}
            assert kept.keys() == sent.keys(), f"{table}: {kept.keys() ^ sent.keys()}"
            for ident, one in sent.items():
                assert one.state == RECEIVED, (one.kind, ident, one.state, one.answer)
                said = [one.document.get(name.removesuffix("_id")) for name in columns]
                assert kept[ident] == said, (one.kind, ident, kept[ident], said)


def reached(
    table: StateTable[Any, Any], come_from: Iterable[str], steps: int
) -> set[str | StrEnum]:
    """The states that can be reached from these in so many steps; those of a new thing are its
    first step.
    """
    found: set[str | StrEnum] = set(come_from) if steps else set()
    for _ in range(steps):
        found |= {step.becomes for step in table.steps if step.state in found}
    return found


def grouped(pairs: Iterable[tuple[str, int]]) -> Iterable[tuple[str, list[int]]]:
    found: dict[str, list[int]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return found.items()


def tree_root(leaves: list[bytes]) -> bytes:
    """RFC 9162, section 2.1.1, word for word, and not as the program does it."""
    level = leaves
    while len(level) > 1:
        pairs = zip(level[::2], level[1::2], strict=False)
        odd = level[-1:] if len(level) % 2 else []
        level = [*(sha256(b"\x01" + one + other).digest() for one, other in pairs), *odd]
    return level[0]
