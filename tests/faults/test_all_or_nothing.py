"""Every act is stored whole or not at all, whichever of its statements fails.

On SQLite each statement of each act fails in turn; on PostgreSQL some that are drawn by a seed.
All of both in both ways takes minutes: `python -m tests.faults.all_or_nothing`.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

import pytest

from tests.builders import a_meet, a_problem
from tests.conftest import NewDatabase
from tests.faults.all_or_nothing import (
    a_failing_service,
    every_commit,
    every_statement_and_some_refused,
    some_statements,
    walk,
)
from tests.faults.every_act import EVERY_ACT, a_wrong_pin, changing_routes, route_of
from tests.faults.failing import Failure, Fault
from tests.running import Service

CHANGE_NOTHING = {"look", "look at orders", "look at what is sought", "options for a key"}
Failing = tuple[Service, Fault]


@pytest.fixture(scope="module")
def sqlite(new_database: NewDatabase) -> Iterator[Failing]:
    with a_failing_service(new_database("sqlite")) as failing:
        yield failing


@pytest.fixture(scope="module")
def postgresql(new_database: NewDatabase) -> Iterator[Failing]:
    with a_failing_service(new_database("postgresql")) as failing:
        yield failing


def test_every_route_that_changes_something_is_walked_through(sqlite: Failing) -> None:
    meet = a_meet(sqlite[0])
    # The last ones end the meet.
    assert {route_of(build(meet)) for build in EVERY_ACT.values()} == set(changing_routes())


@pytest.mark.slow
@pytest.mark.parametrize("name", EVERY_ACT)
def test_whichever_statement_fails_nothing_of_an_act_is_stored(sqlite: Failing, name: str) -> None:
    service, fault = sqlite
    walked = walk(a_meet(service), fault, name, every_statement_and_some_refused(name))
    assert bool(walked.failed) == (name not in CHANGE_NOTHING)


@pytest.mark.slow
@pytest.mark.parametrize("name", EVERY_ACT)
def test_whichever_statement_fails_nothing_is_stored_on_postgresql(
    postgresql: Failing, name: str
) -> None:
    service, fault = postgresql
    walk(a_meet(service), fault, name, some_statements(name))


@pytest.mark.parametrize("name", ["call", "report", "ruling", "announcement", "join link"])
def test_a_commit_that_fails_on_postgresql_stores_nothing(postgresql: Failing, name: str) -> None:
    service, fault = postgresql
    assert walk(a_meet(service), fault, name, every_commit()).failed


@pytest.mark.parametrize("name", ["call", "report", "ruling", "announcement"])
def test_wherever_a_line_to_postgresql_breaks_an_act_is_done_once_or_not_at_all(
    postgresql: Failing, name: str
) -> None:
    """Before the commit it begins anew on a fresh line; at the commit nobody knows."""
    service, fault = postgresql
    meet, growth = a_meet(service), []
    for nth in count(1):
        sending, before = EVERY_ACT[name](meet), meet.head()
        with fault.at(Failure(nth, once=True)):
            answer = sending.send(service.http)
        if answer.is_success:
            growth.append(meet.head()["size"] - before["size"])
            assert sending.send(service.http).json() == answer.json()
        else:
            assert fault.failed == ["COMMIT"]
            a_problem(answer, 503, "unavailable")
            assert meet.head() == before
        if not fault.failed:
            break
    assert len(growth) > 5
    assert set(growth) == {1}


@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_a_wrong_pin_is_counted_and_recorded_together_or_not_at_all(
    request: pytest.FixtureRequest, engine: str
) -> None:
    """Whoever could try without being counted could try for ever."""
    service, fault = request.getfixturevalue(engine)
    meet = a_meet(service)
    sending, before, nth = a_wrong_pin(meet), meet.head(), 0
    while True:
        nth += 1
        with fault.at(Failure(nth)):
            answer = sending.send(service.http)
        if not fault.failed:
            break
        assert answer.status_code == 503
        assert meet.head() == before
    assert answer.status_code == 403
    assert meet.head()["size"] == before["size"] + 1
    assert nth > 5
