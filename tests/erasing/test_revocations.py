"""What revoked a key is kept where its words go: what the key signed does not pass as good then."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import insert

from app.erasing.mentions import Names, Phrases
from app.erasing.plan import Plan, plan_of
from app.erasing.scope import Notes, WholeMeet
from app.ids import MeetId, new_id
from app.record.tables import record_bodies, record_entries
from app.store.engine import Engines, open_engines
from tests.conftest import ENGINES, NewDatabase

NOW = datetime(2026, 6, 13, 12, 0, tzinfo=UTC)
WHOLE = WholeMeet(Notes("erased"), Names(["Iris Vale"]), Phrases([]))
REVOKED = {"key": "k1", "official": "o1", "revoked_from": "2026-06-13T10:00:00.000000Z"}
OTHER = {**REVOKED, "key": "k2"}


@pytest.fixture(params=ENGINES)
def engines(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Engines]:
    opened = open_engines(new_database(request.param))
    yield opened
    opened.dispose()


def planned(engines: Engines, kind: str, body: dict[str, Any]) -> Plan:
    """What would go of a meet whose record has this one entry."""
    meet = MeetId(new_id())
    key = {"meet_id": meet, "seq": 1}
    with engines.writing.connect() as conn, conn.begin():
        entry = {**key, "kind": kind, "subject": "k1", "entry": "{}"}
        conn.execute(insert(record_entries), [entry])
        conn.execute(insert(record_bodies), [{**key, "salt": b"x" * 32, "body": json.dumps(body)}])
    with engines.writing.connect() as conn:
        return plan_of(conn, meet, WHOLE, NOW)


def test_a_revocation_is_kept_without_its_reason(engines: Engines) -> None:
    plan = planned(engines, "key revoked", {**REVOKED, "reason": "Iris lost the phone."})
    assert (plan.entries, plan.keys_revoked) == ([1], [REVOKED])


def test_what_ended_a_session_keeps_the_keys_that_it_revoked(engines: Engines) -> None:
    body = {"device": "Iris Vale's phone", "keys_revoked": [REVOKED, OTHER]}
    plan = planned(engines, "left", body)
    assert (plan.entries, plan.keys_revoked) == ([1], [REVOKED, OTHER])


def test_an_erasure_that_goes_itself_tells_it_again(engines: Engines) -> None:
    told = {"because": "asked for by Iris Vale", "by": "the organiser", "entries": [], "keys": []}
    plan = planned(engines, "erased", {**told, "keys_revoked": [OTHER]})
    assert (plan.entries, plan.keys_revoked) == ([1], [OTHER])
    assert planned(engines, "erased", told).keys_revoked == []


def test_a_revocation_that_stays_is_not_told_twice(engines: Engines) -> None:
    assert planned(engines, "key revoked", dict(REVOKED)).keys_revoked == []
