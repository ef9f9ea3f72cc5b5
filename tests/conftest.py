"""Fixtures that all tests share: both engines, a running service on each, a meet at hand."""

from __future__ import annotations

import os
import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from hypothesis import HealthCheck, settings

from app.access import secrets
from app.collector import leave_what_is_there, look_seldom
from app.serving import bring_up_to_date
from tests.builders import MeetAtHand, a_meet
from tests.postgres import Databases, a_postgres
from tests.running import Service, a_service

settings.register_profile(
    "suite", deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("suite")

ENGINES = ("sqlite", "postgresql")
TESTS = Path(__file__).parent

NewDatabase = Callable[[str], str]

EVERY_CASE = "EVERY_CASE"
"""Set in the environment, each case of each test runs on both engines."""
ON_BOTH = (
    *("checking/", "faults/", "record/", "store/"),
    *("access/test_objects.py", "access/test_pins.py", "appeals/test_orders.py"),
    *("meets/test_start_list_texts.py", "pages/test_security.py"),
    *("test_bad_fields.py", "test_bad_input.py"),
)
"""Of what the engines could do otherwise, as with the length and the letters of a text, or with
cases that are routes and acts of their own: all cases of these run on both.
"""

# A process that a test starts keeps the program's bytecode for the next one, as an installation
# does: without it, each start takes half as long again.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Of the cases of one test, one runs on PostgreSQL too, another one from run to run.

    It is a sample, for the sake of time: most cases send the same requests with other values, and
    what these make of it is the program's, and is held on SQLite. Each case runs on both engines
    in `ON_BOTH`, or where it is marked `both_engines`, or where the environment asks for it.
    """
    if EVERY_CASE in os.environ:
        return
    cases: dict[str, list[pytest.Item]] = {}
    for item in items:
        if _may_stand_for_others(item):
            cases.setdefault(item.nodeid.partition("[")[0], []).append(item)
    chance = random.Random(config.getoption("randomly_seed", 0))
    left_out: set[pytest.Item] = set()
    for _, alike in sorted(cases.items()):
        alike.sort(key=lambda item: item.nodeid)
        chosen = chance.choice(alike)
        left_out.update(item for item in alike if item is not chosen)
    config.hook.pytest_deselected(items=list(left_out))
    items[:] = [item for item in items if item not in left_out]


def _may_stand_for_others(item: pytest.Item) -> bool:
    case = getattr(item, "callspec", None)
    return (
        case is not None
        and case.params.get("running_service") == "postgresql"
        and not item.path.relative_to(TESTS).as_posix().startswith(ON_BOTH)
        and item.get_closest_marker("both_engines") is None
    )


@pytest.fixture(scope="session", autouse=True)
def cheap_pins() -> Iterator[None]:
    """A PIN's hash is slow on purpose, and tests sign many times: here it costs nearly nothing.

    What it costs in earnest is held in `tests/access/test_pin_cost.py`, in a process of its own.
    """
    real = secrets._hasher
    secrets._hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    yield
    secrets._hasher = real


@pytest.fixture(scope="session", autouse=True)
def seldom_collected() -> None:
    """As the served program does: what the imports made outlives all tests."""
    look_seldom()
    leave_what_is_there()


@pytest.fixture(scope="session")
def postgres() -> Iterator[Databases]:
    with a_postgres() as url:
        yield Databases(url)


@pytest.fixture(scope="session")
def new_database(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> NewDatabase:
    """Makes a migrated database of an engine and returns its URL."""
    folder = tmp_path_factory.mktemp("databases")
    templates: dict[str, str] = {}
    made = iter(range(10_000))

    def make(engine: str) -> str:
        if engine == "sqlite":
            if engine not in templates:
                templates[engine] = str(folder / "template.db")
                bring_up_to_date(f"sqlite:///{templates[engine]}")
            path = Path(folder / f"{next(made)}.db")
            shutil.copy(templates[engine], path)
            return f"sqlite:///{path}"
        databases: Databases = request.getfixturevalue("postgres")
        if engine not in templates:
            url = databases.make()
            bring_up_to_date(url)
            templates[engine] = url.split("?")[0].rsplit("/", 1)[1]
        return databases.make(templates[engine])

    return make


@pytest.fixture(scope="session", params=ENGINES)
def running_service(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Service]:
    with a_service(new_database(request.param)) as service:
        yield service


@pytest.fixture
def service(running_service: Service) -> Iterator[Service]:
    """The running service, its clock set right again after the test."""
    yield running_service
    running_service.clock.run_again()


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    """A fresh meet with a crew and two heats of 4x100; see `tests/builders.py`."""
    return a_meet(service)
