"""Which cases of the tests run on which engine."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter

import pytest

from tests.conftest import EVERY_CASE, TESTS

FEW = "appeals/test_reopening.py"
"""A test file with tests of one case and of many."""
OF_THE_STORE = "faults/test_clock_steps.py"
"""One of `ON_BOTH`, and none of its tests is of one engine alone."""


def collected(where: str, seed: int, environment: dict[str, str]) -> tuple[Counter[str], set[str]]:
    """How many cases of each test run on SQLite, and all that run on PostgreSQL."""
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-n0", str(TESTS / where)]
    told = subprocess.run(
        [*command, "-p", "no:cacheprovider", f"--randomly-seed={seed}"],
        cwd=TESTS.parent,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.splitlines()
    on_sqlite = Counter(one.partition("[")[0] for one in told if "[sqlite" in one)
    return on_sqlite, {one for one in told if "[postgresql" in one}


@pytest.fixture
def environment(monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    monkeypatch.delenv(EVERY_CASE, raising=False)
    for name in ("PYTEST_ADDOPTS", "PYTEST_XDIST_WORKER"):
        monkeypatch.delenv(name, raising=False)
    return dict(os.environ)


@pytest.mark.slow
def test_of_each_test_one_case_runs_on_postgresql_and_another_one_from_run_to_run(
    environment: dict[str, str],
) -> None:
    on_sqlite, on_postgresql = collected(FEW, 1, environment)
    assert max(on_sqlite.values()) > 1
    assert Counter(one.partition("[")[0] for one in on_postgresql) == dict.fromkeys(on_sqlite, 1)
    assert collected(FEW, 1, environment)[1] == on_postgresql
    assert any(collected(FEW, seed, environment)[1] != on_postgresql for seed in (2, 3, 4))


@pytest.mark.slow
def test_where_it_is_asked_for_and_of_the_store_each_case_runs_on_both_engines(
    environment: dict[str, str],
) -> None:
    on_sqlite, on_postgresql = collected(FEW, 1, {**environment, EVERY_CASE: "1"})
    assert Counter(one.partition("[")[0] for one in on_postgresql) == on_sqlite
    on_sqlite, on_postgresql = collected(OF_THE_STORE, 1, environment)
    assert max(on_sqlite.values()) > 1
    assert Counter(one.partition("[")[0] for one in on_postgresql) == on_sqlite
