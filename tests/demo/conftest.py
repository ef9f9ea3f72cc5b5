"""The demo's papers, written once for all tests of this folder, and the demo as a real process."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import pytest

from app.cli import main

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class DemoRun:
    """One run of `demo --no-serve`: how it ended, what it printed and where it wrote."""

    ended: int
    printed: str
    out: Path


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoRun:
    out = tmp_path_factory.mktemp("demo") / "out"
    printed = StringIO()
    with redirect_stdout(printed):
        ended = main(["demo", "--no-serve", "--out", str(out)])
    return DemoRun(ended, printed.getvalue(), out)


def bare_environment(folder: Path) -> Mapping[str, str]:
    """An environment that sets nothing of the program, with temporary files in a known folder."""
    ours = ("DATABASE_URL", "ZONEDOCKET_")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    return {**kept, "TMPDIR": str(folder), "PYTHONUNBUFFERED": "1"}
