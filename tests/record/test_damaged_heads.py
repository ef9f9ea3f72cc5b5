"""The head of one meet's record was damaged in the store: that meet is told so, its neighbours
notice nothing, and once the head is mended the record goes on.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import Connection, text

from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.log import DAMAGED
from app.refusals import Unavailable
from app.store.action import Action, Actor, Deed, Done, Unit
from app.store.engine import open_engines
from tests.builders import MeetAtHand, a_meet, a_problem, a_report
from tests.running import Service

SOMEBODY = Actor("somebody")

DAMAGES = {
    "a size below nothing": {"size": -1},
    "a size that no record has": {"size": 2**62},
    "the last size that has a number": {"size": 2**31 - 1, "frontier": json.dumps(["00"] * 31)},
    "another size than it grows from": {"frontier": "[]"},
    "a frontier that is no JSON": {"frontier": "9.9.9"},
    "a frontier that is nothing": {"frontier": "null"},
    "a frontier of something else": {"frontier": '{"a": 1}'},
    "a frontier of no roots": {"frontier": "[1, 2]"},
    "set back to before its first entry": {"size": 0, "frontier": "[]"},
    "set back by all but one": {"size": 1, "frontier": f'["{"00" * 32}"]'},
}
ON_SQLITE = {
    "a size that is bytes": {"size": b"\xff\xfe"},
    "a size that is words": {"size": "many"},
    "a size between two": {"size": 1.5},
    "a frontier that is bytes": {"frontier": b"\xff\xfe"},
}


@contextmanager
def damaged(meet: MeetAtHand, changes: dict[str, Any]) -> Iterator[None]:
    """The head with these columns changed, as somebody does who opens the database by hand."""
    engines = open_engines(meet.service.database_url)
    asked = text("SELECT size, frontier FROM record_heads WHERE meet_id = :meet")
    with engines.writing.begin() as conn:
        before = conn.execute(asked, {"meet": meet.id}).one()._mapping
        _put(conn, meet, {**before, **changes})
    try:
        yield
    finally:
        with engines.writing.begin() as conn:
            _put(conn, meet, before)
        engines.dispose()


def _put(conn: Connection, meet: MeetAtHand, head: Mapping[Any, Any]) -> None:
    change = "UPDATE record_heads SET size = :size, frontier = :frontier WHERE meet_id = :meet"
    conn.execute(text(change), {**head, "meet": meet.id})


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


@pytest.mark.parametrize("damage", [*DAMAGES, *ON_SQLITE])
def test_a_damaged_head_is_told_to_its_meet_and_to_no_neighbour(
    service: Service, damage: str
) -> None:
    if damage in ON_SQLITE and not service.store.engines.is_sqlite:
        damage = "a frontier that is no JSON"  # PostgreSQL keeps no other type in a column
    meet, other = a_meet(service, heats=1), a_meet(service, heats=1)
    before, of_other = meet.head(), other.head()["size"]
    with damaged(meet, (DAMAGES | ON_SQLITE)[damage]):
        mixed = [MeetId(one.id) for one in (meet, other, other, meet, other)]
        outcomes = together(service, mixed)
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
    with damaged(meet, {"size": -1}):
        answer = meet.umpire.put(f"reports/{report}", written)
        told = a_problem(answer, 503, "unavailable")["detail"]
        assert "check --database" in told
    assert meet.umpire.put(f"reports/{report}", written).status_code == 201
