"""What do the processes use? Read from the system (Linux), for each by its number.

Of PostgreSQL all processes count: those that have ended are in the account of the one that started
them all. Its memory is told as each one's proportional share (PSS), since the buffers belong to all
of them.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import text

from app.store.engine import Engines

TICKS = os.sysconf("SC_CLK_TCK")
DATABASE, CLIENTS = "PostgreSQL", "clients of the load"


@dataclass(frozen=True, slots=True)
class Use:
    """Seconds of a processor since a process began, and the MB of memory that it has now."""

    seconds: float
    memory_mb: float


Used = Mapping[str, Use]


class Meters:
    """Reads what the server processes, the database and the load itself have used."""

    def __init__(self, workers: Sequence[int], postmaster: int | None) -> None:
        self._workers, self._postmaster = workers, postmaster

    def read(self) -> Used:
        used = {
            f"worker {number}": Use(_seconds(pid), _memory_mb(pid))
            for number, pid in enumerate(self._workers, start=1)
        }
        if self._postmaster is not None:
            family = [self._postmaster, *_children(self._postmaster)]
            seconds = sum(map(_seconds, family)) + _seconds_of_ended(self._postmaster)
            used[DATABASE] = Use(seconds, sum(_shared_mb(pid) for pid in family))
        return used | {CLIENTS: Use(_seconds(os.getpid()), _memory_mb(os.getpid()))}


def postmaster_of(engines: Engines) -> int | None:
    """The process that started the one that answers here; None on SQLite, which has none, and where
    PostgreSQL runs elsewhere.
    """
    if engines.is_sqlite:
        return None
    with engines.reading.connect() as conn:
        backend = int(conn.execute(text("SELECT pg_backend_pid()")).scalar_one())
        fields = _stat(backend)
        return int(fields[1]) if fields else None


def stored_bytes(engines: Engines) -> int:
    """How large the database is on its disk."""
    if engines.is_sqlite:
        path = Path(engines.url.database or "")
        parts = (path, path.with_name(f"{path.name}-wal"))
        return sum(part.stat().st_size for part in parts if part.exists())
    with engines.reading.connect() as conn:
        asked = text("SELECT pg_database_size(current_database())")
        return int(conn.execute(asked).scalar_one())


def _stat(pid: int) -> list[str]:
    """The fields of proc(5) from the third on, which is the state; none of one that has ended."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []


def _seconds(pid: int) -> float:
    fields = _stat(pid)
    return (int(fields[11]) + int(fields[12])) / TICKS if fields else 0.0


def _seconds_of_ended(pid: int) -> float:
    """Of the children that have ended and were waited for."""
    fields = _stat(pid)
    return (int(fields[13]) + int(fields[14])) / TICKS if fields else 0.0


def _children(pid: int) -> list[int]:
    known = [int(one.name) for one in Path("/proc").iterdir() if one.name.isdigit()]
    return [one for one in known if (fields := _stat(one)) and int(fields[1]) == pid]


def _memory_mb(pid: int) -> float:
    return _kb(Path(f"/proc/{pid}/status"), "VmRSS:") / 1024


def _shared_mb(pid: int) -> float:
    return _kb(Path(f"/proc/{pid}/smaps_rollup"), "Pss:") / 1024


def _kb(path: Path, name: str) -> float:
    try:
        lines = path.read_text().splitlines()
    except OSError:
        return 0.0
    return next((float(line.split()[1]) for line in lines if line.startswith(name)), 0.0)
