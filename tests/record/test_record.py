"""The record: append-only on both engines, complete, and an export that shows every change."""

from __future__ import annotations

import json
import random

import psycopg
import pytest
import rfc8785
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from app.ids import MeetId, new_id
from app.record.check import check_lines
from app.record.kinds import KINDS, Kind
from app.record.queries import entries_after, export_lines, head_of
from app.record.tables import CHECKPOINT_GUARDS, GUARDS
from app.store.engine import open_engines
from tests.builders import MeetAtHand, a_problem
from tests.running import Service


def export(meet: MeetAtHand) -> list[str]:
    return meet.service.store.read_now(lambda conn: list(export_lines(conn, MeetId(meet.id))))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE record_entries SET entry = '{}'",
        "DELETE FROM record_entries",
        "UPDATE record_bodies SET body = '{}'",
    ],
)
def test_the_database_itself_refuses_to_rewrite_the_record(
    meet: MeetAtHand, statement: str
) -> None:
    engines = open_engines(meet.service.database_url)
    with (
        pytest.raises(DBAPIError, match="append-only"),
        engines.writing.connect() as conn,
        conn.begin(),
    ):
        conn.execute(text(statement))
    engines.dispose()


def test_the_guards_are_there_after_migrating(service: Service) -> None:
    engines = service.store.engines
    engine = engines.writing.dialect.name
    query = (
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if engine == "sqlite"
        else "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
    )
    with engines.reading.connect() as conn:
        found = set(conn.execute(text(query)).scalars())
    assert found == {*GUARDS[engine], *CHECKPOINT_GUARDS[engine]}


def test_postgresql_refuses_to_truncate_the_record(meet: MeetAtHand) -> None:
    if meet.service.store.engines.is_sqlite:
        assert (
            "TRUNCATE" not in f"{GUARDS['sqlite']}{CHECKPOINT_GUARDS['sqlite']}"
        )  # SQLite has no such statement
        return
    url = meet.service.database_url
    with psycopg.connect(url) as conn, pytest.raises(psycopg.Error, match="append-only"):
        conn.execute("TRUNCATE record_entries")


def test_the_head_moves_by_one_entry_with_every_act(meet: MeetAtHand) -> None:
    before = meet.referee.get("record/head").json()
    meet.start()
    after = meet.referee.get("record/head").json()
    assert after["size"] == before["size"] + 1
    assert after["root"] != before["root"]


def test_the_head_of_a_meet_that_is_not_there_is_not_found(service: Service) -> None:
    a_problem(service.http.get(f"/api/meets/{new_id()}/record/head"), 404, "not-found")


def test_an_entry_commits_to_its_body_without_telling_it(meet: MeetAtHand) -> None:
    report = meet.report(words="A secret that must not stand in the entry.")
    lines = [json.loads(line) for line in export(meet)[:-1]]
    mine = next(line for line in lines if json.loads(line["entry"])["subject"] == report["id"])
    assert "secret" not in mine["entry"]
    assert "secret" in mine["body"]
    assert len(bytes.fromhex(mine["salt"])) == 32


def test_the_export_agrees_with_the_head_that_was_published(meet: MeetAtHand) -> None:
    meet.report()
    checked = check_lines(export(meet))
    published = meet.referee.get("record/head").json()
    assert checked.is_good
    assert (checked.size, checked.root) == (published["size"], published["root"])


def test_a_body_that_no_entry_says_was_erased_is_missing(meet: MeetAtHand) -> None:
    """It was good before: then a body that somebody took away looked like one that was erased."""
    meet.report()
    lines = export(meet)
    lines[2] = json.dumps(json.loads(lines[2]) | {"salt": None, "body": None})
    (mismatch,) = check_lines(lines).mismatches
    assert mismatch == (
        "line 3 (entry 3): what was done is missing, and no entry says that it was erased"
    )


def test_any_removal_swap_or_cut_is_found(meet: MeetAtHand) -> None:
    lines = export(meet)
    removed = lines[:3] + lines[4:]
    swapped = [*lines[:3], lines[4], lines[3], *lines[5:]]
    doubled = [*lines[:3], lines[3], *lines[3:]]
    cut = lines[:-1]
    for tampered in (removed, swapped, doubled, cut, [*lines, lines[0]]):
        assert not check_lines(tampered).is_good


def test_any_flipped_character_of_an_export_is_found(meet: MeetAtHand) -> None:
    meet.report()
    whole = "\n".join(export(meet))
    chance = random.Random(20261125)
    for _ in range(400):
        place = chance.randrange(len(whole))
        if whole[place] == "\n":
            continue
        flipped = chr(ord(whole[place]) ^ 1)
        tampered = whole[:place] + flipped + whole[place + 1 :]
        checked = check_lines(tampered.split("\n"))
        assert not checked.is_good, (place, whole[place - 20 : place + 20])


def test_every_kind_has_a_sentence_and_followers() -> None:
    assert set(KINDS) == set(Kind)
    assert all(facts.sentence.endswith(".") and facts.followers for facts in KINDS.values())


def test_entries_are_canonical_and_numbered_from_one(meet: MeetAtHand) -> None:
    found = meet.service.store.read_now(lambda conn: entries_after(conn, MeetId(meet.id), 0, 1000))
    assert [entry.seq for entry in found] == list(range(1, len(found) + 1))
    for entry in found:
        facts = json.loads(entry.entry)
        assert rfc8785.dumps(facts).decode() == entry.entry
        assert facts["meet"] == meet.id


def test_a_meet_without_a_record_has_the_empty_head(service: Service) -> None:
    # RFC 9162, 2.1.1: the hash of an empty list is the hash of an empty string.
    head = service.store.read_now(lambda conn: head_of(conn, MeetId("none")))
    assert head.size == 0
    assert head.root == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
