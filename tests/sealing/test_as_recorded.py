"""What papers are drawn from beside signed acts is held against the record too: reports, flags,
protests, appeals.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import pytest

from tests.appeals.desk import a_rejected_protest, an_upheld_appeal
from tests.builders import Json, MeetAtHand, a_problem
from tests.sealing.changing import put, stored


class Row(NamedTuple):
    """A row, and the paper that is drawn from it."""

    address: str
    table: str
    id: str
    changes: Json


def a_report(meet: MeetAtHand) -> Row:
    ident = meet.report()["id"]
    return Row(f"reports/{ident}/form.pdf", "reports", ident, {"words": "It was lane 7."})


def a_flag(meet: MeetAtHand) -> Row:
    meet.start()
    ident = meet.call("yellow").json()["report"]
    return Row(f"reports/{ident}/form.pdf", "reports", ident, {"words": "It was lane 7."})


def a_ruled_report(meet: MeetAtHand) -> Row:
    report = meet.report()
    assert meet.rule(report["case"]).status_code == 201
    ident = report["id"]
    return Row(f"reports/{ident}/form.pdf", "reports", ident, {"lane": 7})


def a_protest(meet: MeetAtHand) -> Row:
    ident = a_rejected_protest(meet)["id"]
    return Row(f"protests/{ident}/form.pdf", "protests", ident, {"words": "We were in time."})


def an_appeal(meet: MeetAtHand) -> Row:
    ident = an_upheld_appeal(meet)["id"]
    return Row(f"appeals/{ident}/form.pdf", "appeals", ident, {"state": "rejected"})


def of_case(meet: MeetAtHand) -> Row:
    report = meet.report()
    address = f"cases/{report['case']}/file.pdf"
    return Row(address, "reports", report["id"], {"words": "It was lane 7."})


def of_appeal(meet: MeetAtHand) -> Row:
    ident = an_upheld_appeal(meet)["id"]
    return Row(f"appeals/{ident}/file.pdf", "appeals", ident, {"words": "We were in time."})


ROWS: dict[str, Callable[[MeetAtHand], Row]] = {
    "a report": a_report,
    "what a flag raised": a_flag,
    "a report that was ruled on": a_ruled_report,
    "a protest": a_protest,
    "an appeal": an_appeal,
    "a report in the file of its case": of_case,
    "an appeal in its file": of_appeal,
}


@pytest.mark.parametrize("made", ROWS)
def test_what_was_changed_behind_the_record_is_sealed_no_more(meet: MeetAtHand, made: str) -> None:
    row = ROWS[made](meet)
    known = stored(meet, row.table, row.id)
    put(meet, row.table, row.id, **row.changes)
    told = a_problem(meet.referee.get(row.address), 503, "not-as-signed")
    assert "check --database" in told["detail"]
    put(meet, row.table, row.id, **{name: known[name] for name in row.changes})
    answer = meet.referee.get(row.address)
    assert answer.status_code == 200, answer.text
