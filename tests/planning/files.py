"""Files as people send them, for the tests of the command."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

HEADER = "event,round,heat,lane,team,affiliation,scheduled"
CLUBS = ("Harbour", "Millbrook", "Old Quarry", "Reed Island")


def a_programme(
    folder: Path,
    starts: Sequence[str],
    event: str = "Women 4x400",
    lanes: Sequence[int] = (1, 2, 3, 4),
) -> Path:
    """A heat for each start, with a team in each lane."""
    rows = [
        f"{event},heats,{number},{lane},{CLUBS[lane % 4]} {lane},{CLUBS[lane % 4]},{start}"
        for number, start in enumerate(starts, start=1)
        for lane in lanes
    ]
    return written(folder / "programme.csv", HEADER, rows)


def a_crew(folder: Path, rows: Sequence[str], header: str = "name") -> Path:
    """A list of people."""
    return written(folder / "crew.csv", header, rows)


def written(path: Path, header: str, rows: Sequence[str]) -> Path:
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path
