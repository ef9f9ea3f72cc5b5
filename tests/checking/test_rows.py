"""Ordinary rows are held against the record: what was reported, flagged, lodged, and what became of
it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import delete, insert

from app.checking.rows import SORTS
from app.ids import MeetId, new_id
from app.record.canonical import canonical
from app.record.kinds import Kind
from app.record.queries import Sound, committed_about
from app.reports.attesting import as_taken_in
from app.store.action import Actor
from tests.appeals.desk import a_rejected_protest, an_upheld_appeal
from tests.builders import Json, MeetAtHand
from tests.checking.test_database import Story, amiss, signature_of
from tests.sealing.changing import entered, put, run, stored, table


@pytest.fixture
def story(meet: MeetAtHand) -> Story:
    return Story(meet)


REPORT_CHANGED: dict[str, Callable[[Story], Json]] = {
    "lane": lambda _story: {"lane": 7},
    "words": lambda _story: {"words": "It was another team."},
    "observation": lambda story: {"observation": {**report_of(story)["observation"], "lane": 7}},
    "finding": lambda _story: {"finding": None},
    "author": lambda story: {"official_id": story.meet.referee.id},
    "time": lambda story: {"received_at": report_of(story)["received_at"] - timedelta(hours=1)},
    "flag's time": lambda story: {"raised_at": report_of(story)["raised_at"] - timedelta(hours=1)},
    "marks": lambda _story: {"marks": ["by a stand-in"]},
    "signed": lambda _story: {"attested": {"strength": "phone key", "key": None, "sha256": "0"}},
    "withdrawn": lambda _story: {"state": "withdrawn"},
}


def report_of(story: Story) -> Json:
    return dict(stored(story.meet, "reports", story.report))


@pytest.mark.parametrize("changed", REPORT_CHANGED)
def test_a_report_that_was_changed_behind_the_record_is_told(story: Story, changed: str) -> None:
    put(story.meet, "reports", story.report, **REPORT_CHANGED[changed](story))
    told, _held = amiss(story.meet)
    assert told == [f"the report {story.report}: the record tells it otherwise"]


FLAG_CHANGED: dict[str, Json] = {
    "flag": {"flag": "white"},
    "lane": {"lane": 7},
    "clock": {"clock": {"at": "2026-06-13T11:00:00Z", "offset_ms": 0, "error_ms": 0}},
    "run": {"run": 2},
    "report": {"report_id": None},
}


@pytest.mark.parametrize("changed", FLAG_CHANGED)
def test_a_flag_that_was_changed_behind_the_record_is_told(meet: MeetAtHand, changed: str) -> None:
    meet.start()
    call = meet.call("yellow").json()
    assert amiss(meet)[0] == []
    put(meet, "calls", call["id"], **FLAG_CHANGED[changed])
    (told,) = amiss(meet)[0]
    assert told.endswith(f"the flag {call['id']}: the record tells it otherwise")


def test_what_a_flag_raised_is_held_against_the_flag(meet: MeetAtHand) -> None:
    meet.start()
    raised = meet.call("yellow").json()["report"]
    put(meet, "reports", raised, words="It went wrong.")
    (told,) = amiss(meet)[0]
    assert told.endswith(f"the report {raised}: the record tells it otherwise")


def signed_as_before(story: Story) -> Json:
    """Enter the report once more as before, with its statement beside it; its row of a signature,
    which was stored with it.
    """
    (told,) = entries_on(story.meet, Kind.REPORT_WRITTEN, story.report)
    statement = as_taken_in(told.body or {}, story.meet.id, story.report)
    body = {**(told.body or {}), "statement": statement}
    entered(story.meet, Kind.REPORT_WRITTEN, body, story.report, by=Actor(told.by))
    *_, last = entries_on(story.meet, Kind.REPORT_WRITTEN, story.report)
    at = datetime.fromisoformat(last.at)
    put(story.meet, "reports", story.report, received_at=at, state="ruled")
    return {
        "id": new_id(),
        "meet_id": story.meet.id,
        "act": "report",
        "subject": story.report,
        "official_id": told.by,
        "strength": "server",
        "key_id": None,
        "statement": canonical(statement).decode(),
        "statement_sha256": body["statement_sha256"],
        "proof": None,
        "signed_at": at,
    }


def entries_on(meet: MeetAtHand, kind: Kind, subject: str) -> list[Sound]:
    read = meet.service.store.read_now
    return read(lambda conn: committed_about(conn, MeetId(meet.id), kind, subject))


def test_a_statement_that_was_stored_beside_its_report_is_still_held_against_it(
    story: Story,
) -> None:
    row = signed_as_before(story)
    gone = f"the signature of the report {story.report}: {GONE}"
    assert amiss(story.meet)[0] == [gone]
    run(story.meet, insert(table("signatures")).values(row))
    told, held = amiss(story.meet)
    assert (told, held["signature"]) == ([], 3)
    put(story.meet, "signatures", row["id"], statement="{}")
    otherwise = f"the signature {row['id']}: the record tells it otherwise"
    assert amiss(story.meet)[0] == [otherwise]


def test_a_signature_under_a_report_that_came_without_one_is_told(story: Story) -> None:
    report = report_of(story)
    row = {**signature_of(story), "id": new_id(), "act": "report", "subject": story.report}
    row |= {"official_id": report["official_id"], "strength": "server"}
    row |= {"signed_at": report["received_at"], "statement_sha256": report["attested"]["sha256"]}
    run(story.meet, insert(table("signatures")).values(row))
    told, _held = amiss(story.meet)
    assert told == [f"the signature {row['id']}: the record tells it otherwise"]


def test_a_digest_of_something_else_than_was_taken_in_is_told(story: Story) -> None:
    (told,) = entries_on(story.meet, Kind.REPORT_WRITTEN, story.report)
    unread = "it does not say what such an entry says"
    for number, forged in enumerate(({}, {"words": "Nothing."}, {"statement_sha256": "0" * 64})):
        entered(story.meet, Kind.REPORT_WRITTEN, {**(told.body or {}), **forged}, story.report)
        found, _held = amiss(story.meet)
        assert sum(unread in one for one in found) == number, forged


def test_a_report_that_is_gone_is_told(meet: MeetAtHand) -> None:
    report = meet.report()["id"]
    rows = table("reports")
    run(meet, delete(rows).where(rows.c.id == report))
    assert any(one.endswith(f"the report {report}: {GONE}") for one in amiss(meet)[0])


GONE = "the record tells of it, and it is not there"


def test_what_became_of_a_report_is_no_mismatch(meet: MeetAtHand) -> None:
    meet.start()
    raised = meet.call("yellow").json()["report"]
    report = meet.report()
    again = meet.referee.get(f"reports/{report['id']}")
    returned = meet.referee.post(
        f"reports/{report['id']}/return", {"reason": "Which lane?"}, etag=again.headers["ETag"]
    )
    assert returned.status_code == 200, returned.text
    assert amiss(meet)[0] == []
    put(meet, "reports", report["id"], remark="Which team?")
    assert len(amiss(meet)[0]) == 1
    assert raised


PROTEST_CHANGED: dict[str, Json] = {
    "words": {"words": "We were in our zone."},
    "who": {"lodged_by": "Somebody Else"},
    "time": {"lodged_at": datetime(2026, 6, 13, 6, tzinfo=UTC)},
    "entered": {"entered_at": datetime(2026, 6, 13, 6, tzinfo=UTC)},
    "state": {"state": "upheld"},
    "taken back": {"withdrawn": {"by": "x", "reason": "y", "at": "z"}},
}


@pytest.mark.parametrize("changed", PROTEST_CHANGED)
def test_a_protest_that_was_changed_behind_the_record_is_told(
    meet: MeetAtHand, changed: str
) -> None:
    protest = a_rejected_protest(meet)["id"]
    assert amiss(meet)[0] == []
    put(meet, "protests", protest, **PROTEST_CHANGED[changed])
    (told,) = amiss(meet)[0]
    assert told.endswith(f"the protest {protest}: the record tells it otherwise")


APPEAL_CHANGED: dict[str, Callable[[Json], Json]] = {
    "words": lambda _row: {"words": "They were in their zone."},
    "sought": lambda _row: {"sought": [{"order": "correct_place"}]},
    "time": lambda row: {"lodged_at": row["lodged_at"] - timedelta(hours=1)},
    "deposit": lambda row: {"deposit": {**row["deposit"], "receipt": "R-999"}},
    "what became of it": lambda row: {"deposit": {**row["deposit"], "outcome": "forfeited"}},
    "panel": lambda row: {"panel": {**row["panel"], "chair": row["panel"]["members"][-1]}},
    "admitted": lambda _row: {"admitted": {"admit": True, "reasons": "", "by": "", "at": ""}},
    "sitting": lambda row: {"sitting": row["sitting"] + 1},
    "state": lambda _row: {"state": "rejected"},
}


@pytest.mark.parametrize("changed", APPEAL_CHANGED)
def test_an_appeal_that_was_changed_behind_the_record_is_told(
    meet: MeetAtHand, changed: str
) -> None:
    appeal = an_upheld_appeal(meet)["id"]
    assert amiss(meet)[0] == []
    put(meet, "appeals", appeal, **APPEAL_CHANGED[changed](dict(stored(meet, "appeals", appeal))))
    (told,) = amiss(meet)[0]
    assert told.endswith(f"the appeal {appeal}: the record tells it otherwise")


STRANGE: tuple[Json, ...] = (
    {"signature": 5, "statement": None, "in_place_of": 7, "rows_left": 5, "report": ["x"]},
    {
        "signature": {},
        "statement": {},
        "entries": 5,
        "run": "x",
        "report": {},
        "rows_left": {"x": 1},
    },
    {"signature": {"key": None}, "statement": [], "in_place_of": [{}], "entries": [None]},
)


@pytest.mark.parametrize("body", STRANGE)
def test_entries_of_another_shape_stop_no_check(story: Story, body: Json) -> None:
    """Whoever can write to the database can write such, where a check should tell of theirs."""
    kinds = sorted({kind for sort in SORTS for kind in sort.kinds} | {Kind.ERASED})
    put(story.meet, "reports", story.report, words="It was another team.")
    for kind in kinds:
        for subject in (story.meet.id if kind is Kind.ERASED else story.report, new_id()):
            entered(story.meet, kind, body, subject)
    told, _held = amiss(story.meet)
    assert f"the report {story.report}: the record tells it otherwise" in told


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"verdict": "rejected"}, "verdict"),
        ({"reasons": "Nobody said so.", "orders": []}, "orders, reasons"),
        ({"statement": {"verdict": "upheld"}}, "statement"),
    ],
)
def test_a_decision_that_was_changed_behind_its_statement_is_told(
    meet: MeetAtHand, changed: Json, named: str
) -> None:
    decision = an_upheld_appeal(meet)["decision"]["id"]
    told, _held = amiss(meet)
    assert told == []
    put(meet, "decisions", decision, **changed)
    told, _held = amiss(meet)
    assert f"the decision {decision}: it is not what its statement says ({named})" in told


def test_a_decision_that_was_taken_away_is_told(meet: MeetAtHand) -> None:
    decision = an_upheld_appeal(meet)["decision"]["id"]
    rows = table("decisions")
    run(meet, delete(rows).where(rows.c.id == decision))
    told, _held = amiss(meet)
    assert f"the decision {decision}: the record tells of it, and it is not there" in told
