"""Erasing a whole meet: nothing of anybody is left, and all of it still answers."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta

import httpx
import pytest
from sqlalchemy import Connection, select

from app.checking.account import account_of
from app.checking.rows import rows_amiss
from app.erasing.what import is_id_or_instant
from app.ids import MeetId, new_id
from app.record.check import Checked, check_lines
from app.record.kinds import Kind
from app.record.queries import entries_about, export_lines
from app.schema import all_tables
from tests.builders import PIN, Json, a_problem, founder
from tests.conftest import ENGINES, NewDatabase
from tests.erasing.looking import (
    dump_of,
    found_in,
    pictures_in,
    plan_by_values,
    relations_of,
)
from tests.erasing.played import (
    BECAUSE,
    BY,
    Played,
    a_stopped_service,
    afterwards,
    answers,
    erase,
    files_of,
    let_in,
    rows_of,
)
from tests.forms.pdf_reading import read_text

NOTE = f", by {BY}, for: {BECAUSE}"


@pytest.fixture(scope="module", params=ENGINES)
def story(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Played]:
    """A meet that was played and erased; the service runs."""
    with a_stopped_service(new_database, request.param) as played:
        if request.param == "postgresql":
            plan_by_values(played.service.database_url)
        assert rows_amiss_in(played) == NOT_SIGNED
        before = everything(played)
        missing = set(played.erased_marks) - found_in(before, played.erased_marks)
        assert not missing, [played.marks[mark] for mark in missing]
        assert len(pictures_in(before)) >= 2
        assert erase(played.service, played.meet.id, "--all", "--because", BECAUSE, "--by", BY) == 0
        with afterwards(played) as again:
            yield again


def everything(story: Played) -> bytes:
    """The bytes of a SQLite database's files; of PostgreSQL's tables and a dump of them."""
    url = story.service.database_url
    if url.startswith("sqlite"):
        return b"".join(path.read_bytes() for path in files_of(url))
    return dump_of(url) + relations_of(url)


def test_nothing_that_was_erased_is_found_in_the_files(story: Played) -> None:
    content = everything(story)
    left = found_in(content, story.erased_marks)
    assert not left, sorted(story.marks[mark] for mark in left)
    assert pictures_in(content) == []
    assert found_in(content, story.elsewhere) == set(story.elsewhere)  # another meet keeps its own


def test_its_record_checks_and_says_that_it_was_erased(story: Played) -> None:
    checked = checked_record(story)
    assert checked.mismatches == []
    erasure = checked.erasures[0]
    assert str(erasure).endswith(NOTE)
    assert len(erasure.entries) > 50


def checked_record(story: Played) -> Checked:
    meet = MeetId(story.meet.id)
    lines = story.service.store.read_now(lambda conn: list(export_lines(conn, meet)))
    return check_lines(lines)


NOT_SIGNED = 1
"""What these tests have put among the signatures, which nobody gave."""


def rows_amiss_in(story: Played) -> int:
    """How many rows the record tells otherwise."""

    def look(conn: Connection) -> int:
        meet = MeetId(story.meet.id)
        return len(list(rows_amiss(conn, account_of(conn, meet, check_lines([])))))

    return story.service.store.read_now(look)


def test_its_rows_are_what_the_erasure_says_that_it_left(story: Played) -> None:
    assert rows_amiss_in(story) == NOT_SIGNED


def test_no_entry_of_the_record_ever_held_a_name(story: Played) -> None:
    entries = all_tables().tables["record_entries"]
    asked = select(entries.c.entry, entries.c.subject).where(entries.c.meet_id == story.meet.id)
    rows = story.service.store.read_now(lambda conn: conn.execute(asked).all())
    keys = {"actor", "at", "commitment", "kind", "meet", "seq", "subject"}
    for row in rows:
        entry = json.loads(row.entry)
        assert entry.keys() == keys
        assert is_id_or_instant(entry["subject"])
        assert row.subject == entry["subject"]
        assert entry["actor"] in {"founder", "operator", "server"} or is_id_or_instant(
            entry["actor"]
        )


def test_results_read_as_before(story: Played) -> None:
    """Teams, lanes, times and rules; runners' names and words are gone."""
    for path, before in story.before.items():
        now = story.service.http.get(f"/api/meets/{story.meet.id}/{path}").json()
        assert without_people(now) == without_people(before), path


def without_people(document: object) -> object:
    """What of a document tells of teams: its free texts and names left out."""
    if isinstance(document, dict):
        apart = {"legs", "despite", "remark", "announced_by_name", "because", "version", "now"}
        return {key: without_people(value) for key, value in document.items() if key not in apart}
    if isinstance(document, list):
        return [without_people(value) for value in document]
    return document


def test_every_page_and_paper_of_it_still_answers(story: Played) -> None:
    """As before the erasure; but pictures, and papers as they were sealed, are gone."""
    people = let_in(story)
    now = dict(answers(story.service, story.meet.id, people))
    for address, before in story.answered.items():
        answer = now.get(address) or people["referee"].get(address)
        is_file = address.endswith(("/original", "/copy.jpg")) or "/papers/" in address
        assert answer.status_code == (404 if is_file else before), (address, answer.text)
        left = found_in(answer.content, story.erased_marks)
        assert not left, (address, [story.marks[mark] for mark in left])


def test_its_papers_say_what_was_erased_by_whom_and_for_what(story: Played) -> None:
    people = let_in(story)
    for table, who in (("rulings", "referee"), ("protests", "referee"), ("decisions", "referee")):
        row = rows_of(story.service, story.meet.id, table)[-1]
        address = f"/api/meets/{story.meet.id}/{table}/{row.id}/form.pdf"
        paper = people[who].get(address)
        assert paper.status_code == 200, paper.text
        told = " ".join(read_text(paper.content).split())
        assert NOTE.strip(", ") in told, told
        assert "from the start of the zone, erased" not in told, "a name went, not a baton"


def test_keys_are_told_again_without_the_device(story: Played) -> None:
    """So what was signed with them and stays can be checked from an export alone."""
    meet = MeetId(story.meet.id)
    made = story.service.store.read_now(
        lambda conn: entries_about(conn, meet, Kind.ERASED, story.meet.id)
    )
    assert made[0].body is not None
    keys = made[0].body["keys"]
    assert story.meet.referee.id in {key["official"] for key in keys}
    assert all(key.keys() == {"key", "kind", "official", "public_key", "rp_id"} for key in keys)


def test_pictures_say_that_they_were_erased(story: Played) -> None:
    referee = let_in(story)["referee"]
    (row, *_) = rows_of(story.service, story.meet.id, "pictures")
    address = f"/api/meets/{story.meet.id}/reports/{row.report_id}/pictures/{row.id}"
    known: Json = referee.get(address).json()
    assert known["official_name"] == "(name erased)"
    told = a_problem(referee.get(f"{address}/original"), 404, "not-found")
    assert "erased" in told["detail"]


def test_sessions_and_links_from_before_let_nobody_in(story: Played) -> None:
    for person in story.meet.people.values():
        bearer = {"Authorization": f"Bearer {person.token}"}
        a_problem(story.service.http.get("/api/me", headers=bearer), 401, "not-joined")


def test_nothing_is_written_into_it_that_could_tell_of_anybody(story: Played) -> None:
    organiser = let_in(story)["organiser"]
    size = checked_record(story).size
    address = f"/api/meets/{story.meet.id}/officials/{story.meet.referee.id}"
    seen = organiser.get(address)
    document = {"name": "Bo Halyard", "affiliation": "", "roles": ["referee"]}
    refused = organiser.put(address, document, etag=seen.headers["ETag"])
    told = a_problem(refused, 409, "conflict")
    assert "erased" in told["detail"]
    assert organiser.get(address).json()["name"] == "(name erased)"
    assert checked_record(story).size == size


def test_devices_that_join_it_and_keys_that_are_revoked_in_it_bring_nobody_back(
    story: Played,
) -> None:
    """Nor did they before: a device's name and the reason of a revoking tell of people."""
    marks = {"QqPhoneOfBoHalyardQq": "device", "QqLostByBoHalyardQq": "reason"}
    device, reason = marks
    organiser = let_in(story)["organiser"]
    joined = join(story, story.meet.umpire.id, device)
    assert joined.status_code == 200, joined.text
    key = rows_of(story.service, story.meet.id, "device_keys")[0]
    address = f"/api/meets/{story.meet.id}/officials/{key.official_id}/keys/{key.id}/revoke"
    since = {"revoked_from": (story.service.clock.now() - timedelta(days=1)).isoformat()}
    revoked = organiser.post(address, {"reason": reason, **since})
    assert revoked.status_code == 200, revoked.text
    assert not found_in(everything(story), marks)
    assert checked_record(story).mismatches == []


def join(story: Played, official: str, device: str) -> httpx.Response:
    """Let somebody in by a link of the founder's, with a device that has a name."""
    link, http = new_id(), story.service.http
    address = f"/api/meets/{story.meet.id}/officials/{official}/join-links/{link}"
    token = http.put(address, headers=founder(story.service)).json()["token"]
    sent = {"token": token, "session": new_id(), "pin": PIN, "device": device}
    return http.post("/api/join", json=sent)


def test_a_second_time_only_what_came_since_is_found(
    story: Played, capsys: pytest.CaptureFixture[str]
) -> None:
    """Those who were let in since have a PIN and a session; then nothing is left."""
    asked = (story.meet.id, "--all", "--because", BECAUSE, "--by", BY)
    let_in(story)
    assert erase(story.service, *asked) == 0
    assert "devices that have joined: what lets somebody in" in capsys.readouterr().out
    assert erase(story.service, *asked) == 0
    assert "nothing of it was there" in capsys.readouterr().out
    assert checked_record(story).mismatches == []
