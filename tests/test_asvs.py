"""The section on OWASP ASVS in DEVELOPERS.md answers every requirement, and what it names is there.

The numbers and levels are those of ASVS 5.0.0 (`asvs-5.0.0-levels.txt`); whether an answer is true
is shown by the tests that it names.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LEVELS = ROOT / "tests" / "asvs-5.0.0-levels.txt"
SECTION = "\n## Security, held against OWASP ASVS 5.0.0\n"
REQUIREMENT = re.compile(r"\d+\.\d+\.\d+")
ANSWERS = {"met", "n/a", "departure"}


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the table: which requirements, how they are answered, where, and what shows it."""

    requirements: tuple[str, ...]
    answer: str
    places: tuple[str, ...]
    shown_by: tuple[str, ...]
    in_short: str


def lines() -> Iterator[Line]:
    told = (ROOT / "DEVELOPERS.md").read_text("utf-8").partition(SECTION)[2].partition("\n## ")[0]
    for row in re.findall(r"^\| (\d.*) \|$", told, re.MULTILINE):
        numbers, answer, places, shown_by, in_short = row.split(" | ")
        named = [tuple(re.findall(r"`([^`]+)`", cell)) for cell in (places, shown_by)]
        yield Line(tuple(numbers.split(", ")), answer, *named, in_short)


def levels() -> Iterator[tuple[str, int]]:
    for row in LEVELS.read_text("utf-8").splitlines():
        if not row.startswith("#"):
            section, *of_each = row.split()
            yield from ((f"{section}.{at}", int(level)) for at, level in enumerate(of_each, 1))


def test_the_numbers_are_all_those_of_the_standard() -> None:
    """ASVS 5.0.0 has 70 requirements of level 1, 183 of level 2 and 92 of level 3."""
    assert Counter(level for _, level in levels()) == {1: 70, 2: 183, 3: 92}


def test_every_requirement_of_levels_1_and_2_is_answered_once() -> None:
    wanted = Counter(number for number, level in levels() if level < 3)
    answered = Counter(number for line in lines() for number in line.requirements)
    assert answered == wanted


@pytest.mark.parametrize("line", list(lines()), ids=lambda line: line.requirements[0])
def test_an_answer_names_what_is_there_or_says_why_not(line: Line) -> None:
    assert line.answer in ANSWERS
    for place in line.places:
        assert (ROOT / "app" / place).exists() or (ROOT / place).exists(), place
    for test in line.shown_by:
        assert test == "reading" or (ROOT / "tests" / test).is_file(), test
    if line.answer == "met":
        assert line.places
        assert line.shown_by
        assert line.in_short
    else:
        assert len(line.in_short.split()) > (5 if line.answer == "departure" else 2)
        assert line.places or line.answer == "n/a"


AUDIT = ROOT / ".ci" / "audit.py"
FAULT = {"id": "CVE-2026-0001", "fix_versions": ["2.0"]}
ASKED = {"name": "one", "version": "1.0", "vulns": []}
NOT_ASKED = {"name": "two", "skip_reason": "not found"}


def audited(folder: Path, body: str) -> tuple[int, str]:
    """What the step of CI does with what its tool says."""
    tool = folder / "tool"
    tool.write_text(f"#!/bin/sh\n{body}\n")
    tool.chmod(0o755)
    command = [sys.executable, str(AUDIT), str(tool), "pins.txt"]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    return ended.returncode, ended.stdout + ended.stderr


def saying(*told: dict[str, object], status: int = 0) -> str:
    return f"echo '{json.dumps({'dependencies': told})}'; exit {status}"


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        (saying(ASKED | {"vulns": [FAULT]}, status=1), 1, "one 1.0: CVE-2026-0001"),
        (saying(ASKED | {"vulns": [FAULT]}, NOT_ASKED, status=1), 1, "could not be looked up: two"),
        (saying(ASKED), 0, "no known fault of 1"),
        (saying(NOT_ASKED), 0, "SKIPPED: not found"),
        ("echo ERROR: no line >&2; exit 1", 0, "SKIPPED: ERROR: no line"),
        ("exit 1", 0, "SKIPPED: the tool said nothing"),
    ],
)
def test_a_known_fault_of_what_is_installed_fails_ci_and_a_lost_line_is_told(
    tmp_path: Path, body: str, status: int, words: str
) -> None:
    ended, said = audited(tmp_path, body)
    assert ended == status, said
    assert words in said


def test_ci_asks_for_known_faults_of_the_versions_that_it_installs() -> None:
    run = (ROOT / ".ci" / "run").read_text("utf-8")
    assert '.ci/audit.py "$auditing/bin/pip-audit" .ci/constraints.txt' in run
    assert "-c .ci/constraints.txt" in run
