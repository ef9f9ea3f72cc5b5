"""`demo` as a real process that serves the played meet, and the links that it printed."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.demo.conftest import ROOT, bare_environment

LAST_LINE = "windows.ics"
LINK = re.compile(r"(http://\S+)/join#(\S+)")


@dataclass(frozen=True, slots=True)
class Served:
    """A running demo and what it had printed when it was ready."""

    process: subprocess.Popen[str]
    lines: tuple[str, ...]

    @property
    def board(self) -> str:
        """The address of the meet's notice board."""
        return next(line.split(": ", 1)[1] for line in self.lines if "notice board" in line)

    def link(self, role: str) -> str:
        """The personal link of a role's official."""
        place = next(at for at, line in enumerate(self.lines) if line.startswith(f"  {role:<12}  "))
        return self.lines[place + 1].strip()

    @property
    def links(self) -> list[tuple[str, str]]:
        """Address and token of every personal link, in the order printed."""
        return [(found[1], found[2]) for line in self.lines if (found := LINK.search(line))]


@contextmanager
def a_served_demo(folder: Path, *arguments: str) -> Iterator[Served]:
    temporary = folder / "temporary"
    temporary.mkdir()
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "demo", "--port", "0", *arguments],
        cwd=ROOT,
        env=bare_environment(temporary),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
    )
    assert process.stdout is not None
    try:
        lines = []
        for line in process.stdout:
            lines.append(line.rstrip("\n"))
            if line.rstrip().endswith(LAST_LINE) and "http" in line:
                break
        assert LAST_LINE in "".join(lines[-1:]), "\n".join(lines)
        yield Served(process, tuple(lines))
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
