"""How much of the program the tests run is told at their end, and too little fails the run."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
A_TEST = """
def test_it():
    from app.rules import windows
    assert windows
"""


@pytest.fixture
def own_test(tmp_path: Path) -> Path:
    path = tmp_path / "test_own.py"
    path.write_text(A_TEST)
    return path


def run(test: Path, workers: int, least: float) -> subprocess.CompletedProcess[str]:
    given = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST")}
    command = [sys.executable, "-m", "pytest", "-q", f"-n{workers}", "-p", "no:cacheprovider"]
    return subprocess.run(
        [*command, "-p", "tests.covered", f"--least-covered={least}", "--rootdir", TESTS, test],
        cwd=TESTS.parent,
        env=given,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.slow
@pytest.mark.parametrize("workers", [0, 2])
def test_too_little_fails_the_run_and_what_was_not_run_is_told(
    own_test: Path, workers: int
) -> None:
    told = run(own_test, workers, 100)
    assert told.returncode == 1, told.stdout + told.stderr
    [share] = re.findall(r"^([\d.]+) % of lines and branches", told.stdout, re.MULTILINE)
    assert 0 < float(share) < 50, "all of `app` counts, imported or not"
    assert re.search(r"^app/store/writer\.py .* \d+-\d+", told.stdout, re.MULTILINE)
    assert "at least 100.0 % is asked for.\nThat is too little." in told.stdout
    assert "1 passed" in told.stdout
    assert run(own_test, workers, float(share) - 0.01).returncode == 0
