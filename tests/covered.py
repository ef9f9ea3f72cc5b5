"""How much of the program the tests run, told at the end: `-p tests.covered --least-covered 97`.

Of lines that have bytecode of their own, and of the ways that branches take, as a share of all
there are in `app`. Less than was asked for fails the run. A mark in the bytecode notes each, and is
taken out where it has noted the same some fifty times, so that even a service under load is
measured whole. What a test starts as a process of its own is not counted.
"""

from __future__ import annotations

import io
import json
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest
from slipcover import FileMatcher, ImportManager, Slipcover, merge_coverage, print_coverage

PROGRAM = str(Path(__file__).parents[1] / "app")
NOTES = "covered"
"""What a worker hands over at its end."""

_marks = Slipcover(branch=True, source=[PROGRAM])
# Only what is imported from here on is marked: this is loaded before the tests that import it.
ImportManager(_marks, FileMatcher([PROGRAM])).__enter__()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--least-covered", type=float, default=0.0, metavar="PERCENT")


def pytest_configure(config: pytest.Config) -> None:
    output = getattr(config, "workeroutput", None)
    config.pluginmanager.register(Told(config) if output is None else HandedOver(output))


class HandedOver:
    """In a worker: its notes go to the process that tells of all."""

    def __init__(self, output: dict[str, object]) -> None:
        self.output = output

    def pytest_sessionfinish(self) -> None:
        self.output[NOTES] = json.dumps(_marks.get_coverage())


class Told:
    """In the process that tells: the notes of all workers as one, held against the floor."""

    def __init__(self, config: pytest.Config) -> None:
        self.least: float = config.getoption("--least-covered")
        self.notes: dict[str, Any] | None = None
        self.lost = 0

    @pytest.hookimpl(optionalhook=True)
    def pytest_testnodedown(self, node: Any) -> None:
        """A worker that was ended takes its notes with it."""
        output = getattr(node, "workeroutput", {})
        if NOTES in output:
            self._add(json.loads(output[NOTES]))
        else:
            self.lost += 1

    def _add(self, notes: dict[str, Any]) -> None:
        self.notes = notes if self.notes is None else merge_coverage(self.notes, notes)

    @pytest.hookimpl(wrapper=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> Generator[None, None, None]:
        yield
        if self.notes is None:
            self._add(_marks.get_coverage())
        if session.exitstatus == pytest.ExitCode.OK and self.percent < self.least:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    @property
    def percent(self) -> float:
        assert self.notes is not None
        percent: float = self.notes["summary"]["percent_covered"]
        return percent

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        write = terminalreporter.write_line
        terminalreporter.section("how much of the program was run")
        table = io.StringIO()
        print_coverage(self.notes, outfile=table, skip_covered=True)
        write(table.getvalue().strip())
        if self.lost:
            write(f"{self.lost} of the workers were ended, and what they ran is not counted.")
        least = f"at least {self.least} % is asked for"
        write(f"{self.percent:.2f} % of lines and branches; {least}.")
        if self.percent < self.least:
            write("That is too little.", red=True)
