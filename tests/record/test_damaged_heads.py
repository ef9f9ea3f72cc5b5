"""The head of one meet's record was damaged in the store: that meet is told so, its neighbours
notice nothing, and once the head is mended the record goes on.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from typing import Any

import pytest
from sqlalchemy import Connection, delete, insert, text

from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.log import DAMAGED
from app.record.merkle import EMPTY_ROOT
from app.record.tables import record_bodies
from app.refusals import Unavailable
from app.store.action import Action, Actor, Deed, Done, Unit
from app.store.engine import open_engines
from app.store.writer import UNREADABLE
from tests.builders import MeetAtHand, a_meet, a_problem, a_report
from tests.running import Service

SOMEBODY = Actor("somebody")

Damage = Callable[[Any], Mapping[str, Any]]
"""What is changed in a head, given what it is: as many roots may be those of several sizes."""

DAMAGES: dict[str, Damage] = {
    "a size below nothing": lambda head: {"size": -head.size},
    "a size that has no number": lambda head: {"size": head.size << 40},
    "another size than it grows from": lambda _head: {"frontier": "[]"},
    "another root than it grows from": lambda _head: {"root": "00" * 32},
    "a frontier that is no JSON": lambda _head: {"frontier": "9.9.9"},
    "a frontier that is nothing": lambda _head: {"frontier": "null"},
    "a frontier of something else": lambda _head: {"frontier": '{"a": 1}'},
    "a frontier of no roots": lambda _head: {"frontier": "[1, 2]"},
    "set back to before its first entry": lambda _head: {
        "size": 0,
        "frontier": "[]",
        "root": EMPTY_ROOT.hex(),
    },
    "set back by all but one": lambda _head: {
        "size": 1,
        "frontier": json.dumps(["00" * 32]),
        "root": "00" * 32,
    },
}
ON_SQLITE: dict[str, Damage] = {
    "a size that is bytes": lambda _head: {"size": b"\xff\xfe"},
    "a size that is words": lambda _head: {"size": "many"},
    "a size between two": lambda head: {"size": head.size + 0.5},
    "a frontier that is bytes": lambda _head: {"frontier": b"\xff\xfe"},
}
NO_TEXT = "CAST(x'fffe' AS TEXT)"
"""What is not UTF-8, in a column that is read as text: SQLite's driver fails to read it."""


@contextmanager
def damaged(meet: MeetAtHand, damage: Damage) -> Iterator[None]:
    """The head with these columns changed, as somebody does who opens the database by hand."""
    engines = open_engines(meet.service.database_url)
    asked = text("SELECT size, frontier, root FROM record_heads WHERE meet_id = :meet")
    with engines.writing.begin() as conn:
        before = conn.execute(asked, {"meet": meet.id}).one()
        _put(conn, meet, {**before._mapping, **damage(before)})
    try:
        yield
    finally:
        with engines.writing.begin() as conn:
            _put(conn, meet, before._mapping)
        engines.dispose()


def _put(conn: Connection, meet: MeetAtHand, head: Mapping[Any, Any]) -> None:
    change = "UPDATE record_heads SET size = :size, frontier = :frontier, root = :root"
    conn.execute(text(f"{change} WHERE meet_id = :meet"), {**head, "meet": meet.id})


def tell(words: str) -> Action[str]:
    def act(unit: Unit) -> Done[str]:
        return Done(words, Deed(Kind.CALL, new_id(), {"words": words}))

    return act


def together(service: Service, meets: list[MeetId]) -> list[object]:
    """What comes of acts of these meets that stand in one group."""

    async def all_at_once() -> list[object]:
        acts = [service.store.act(meet, SOMEBODY, tell(meet)) for meet in meets]
        return await asyncio.gather(*acts, return_exceptions=True)

    return service.do(all_at_once())


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_head_is_told_to_its_meet_and_to_no_neighbour(
    service: Service, damage: str
) -> None:
    meet, other = a_meet(service, heats=1), a_meet(service, heats=1)
    insist_told_to_its_meet_alone(meet, other, damaged(meet, DAMAGES[damage]))


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
@pytest.mark.parametrize("damage", ON_SQLITE)
def test_so_is_one_of_another_type_which_sqlite_alone_keeps(service: Service, damage: str) -> None:
    meet, other = a_meet(service, heats=1), a_meet(service, heats=1)
    insist_told_to_its_meet_alone(meet, other, damaged(meet, ON_SQLITE[damage]))


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
@pytest.mark.parametrize("column", ["size", "frontier", "root", "closed"])
def test_so_is_one_that_cannot_be_read(service: Service, column: str) -> None:
    meet, other = a_meet(service, heats=1), a_meet(service, heats=1)
    insist_told_to_its_meet_alone(meet, other, unreadable(meet, column))


def test_so_is_one_whose_next_body_is_there_already(service: Service) -> None:
    meet, other = a_meet(service, heats=1), a_meet(service, heats=1)
    insist_told_to_its_meet_alone(meet, other, a_body_ahead(meet))


@contextmanager
def unreadable(meet: MeetAtHand, column: str) -> Iterator[None]:
    """One column of the head holds a text that is none."""
    change = "UPDATE record_heads SET {} = {} WHERE meet_id = :meet"
    engines = open_engines(meet.service.database_url)
    with engines.writing.begin() as conn:
        asked = text(f"SELECT {column} FROM record_heads WHERE meet_id = :meet")
        was = {"before": conn.execute(asked, {"meet": meet.id}).scalar_one(), "meet": meet.id}
        conn.execute(text(change.format(column, NO_TEXT)), {"meet": meet.id})
    try:
        yield
    finally:
        with engines.writing.begin() as conn:
            conn.execute(text(change.format(column, ":before")), was)
        engines.dispose()


@contextmanager
def a_body_ahead(meet: MeetAtHand) -> Iterator[None]:
    """Of the entry that comes next, the body alone is stored."""
    engines = open_engines(meet.service.database_url)
    key = {"meet_id": meet.id, "seq": meet.head()["size"] + 1}
    with engines.writing.begin() as conn:
        conn.execute(insert(record_bodies).values(**key, salt=b"", body="{}"))
    try:
        yield
    finally:
        with engines.writing.begin() as conn:
            conn.execute(delete(record_bodies).filter_by(**key))
        engines.dispose()


def insist_told_to_its_meet_alone(
    meet: MeetAtHand, other: MeetAtHand, while_so: AbstractContextManager[None]
) -> None:
    service = meet.service
    before, of_other = meet.head(), other.head()["size"]
    with while_so:
        groups = service.store.load.groups
        mixed = [MeetId(one.id) for one in (meet, other, other, meet, other)]
        outcomes = together(service, mixed)
        assert service.store.load.groups == groups + 1  # they stood in one, side by side
        assert [type(one) for one in outcomes] == [Unavailable, str, str, Unavailable, str]
        assert {str(one) for one in outcomes if isinstance(one, Unavailable)} == {DAMAGED}
    assert other.head()["size"] == of_other + 3
    assert meet.head() == before
    assert together(service, [MeetId(meet.id)]) == [meet.id]
    assert meet.head()["size"] == before["size"] + 1


def test_who_reports_to_a_damaged_record_is_told_to_keep_it_and_sends_it_again_once_it_is_mended(
    meet: MeetAtHand,
) -> None:
    report, written = new_id(), a_report(meet.heat(), meet.posts["umpire"])
    with damaged(meet, DAMAGES["a size below nothing"]):
        answer = meet.umpire.put(f"reports/{report}", written)
        told = a_problem(answer, 503, "unavailable")["detail"]
        assert "check --database" in told
        assert int(answer.headers["Retry-After"]) >= 60  # each try makes its neighbours wait
    assert meet.umpire.put(f"reports/{report}", written).status_code == 201


READS_OF_A_HEAD = ("record", "record/head", "record/proofs/consistency?from=1", "feed", "page")
DAMAGES_OF_WHAT_IS_READ = ("a size that is bytes", "a size that is words", "size", "root")


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
@pytest.mark.parametrize("what", READS_OF_A_HEAD)
@pytest.mark.parametrize("damage", DAMAGES_OF_WHAT_IS_READ)
def test_who_reads_a_head_that_tells_no_size_or_no_root_is_told_that_it_is_damaged(
    meet: MeetAtHand, damage: str, what: str
) -> None:
    address = f"/meets/{meet.id}/record" if what == "page" else what
    with damaged_as(meet, damage):
        told = a_problem(meet.referee.get(address), 503, "unavailable")
        assert told["detail"] == DAMAGED


def damaged_as(meet: MeetAtHand, damage: str) -> AbstractContextManager[None]:
    if damage in ON_SQLITE:
        return damaged(meet, ON_SQLITE[damage])
    return unreadable(meet, damage)


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
@pytest.mark.parametrize("what", ["docket", "board"])
@pytest.mark.parametrize("damage", DAMAGES_OF_WHAT_IS_READ)
def test_what_was_reported_and_announced_is_shown_beside_a_damaged_head(
    meet: MeetAtHand, damage: str, what: str
) -> None:
    meet.report()
    address = f"/meets/{meet.id}" if what == "board" else what
    before = meet.referee.get(address)
    with damaged_as(meet, damage):
        shown = meet.referee.get(address)
        assert shown.status_code == 200
        if what == "docket":
            assert shown.json() == before.json()


@pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)
def test_an_act_that_meets_another_text_that_is_none_is_refused_alone_and_in_words(
    service: Service, caplog: pytest.LogCaptureFixture
) -> None:
    meet, other = a_meet(service, heats=1), a_meet(service, heats=1)

    def look(unit: Unit) -> Done[str]:
        seen = unit.conn.connection.cursor().execute("SELECT CAST(x'4164612050696c6f74ff' AS TEXT)")
        return Done(str(seen.fetchone()), None)

    async def all_at_once() -> list[object]:
        acts = [
            service.store.act(MeetId(one.id), SOMEBODY, action)
            for one, action in [(meet, look), (other, tell("unharmed")), (meet, tell("after it"))]
        ]
        return await asyncio.gather(*acts, return_exceptions=True)

    refused, *others = service.do(all_at_once())
    assert isinstance(refused, Unavailable)
    assert str(refused) == UNREADABLE
    assert others == ["unharmed", "after it"]
    assert "Ada Pilot" not in caplog.text  # what is stored may name somebody
