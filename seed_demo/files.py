"""Who is at the invented meet and where do they stand: the plain files beside this one, read.

Start lists and finish lists go through the program's own readers (`app/sheets`) when the story
loads them; this reads what an organiser would type in: the meet, its officials, its crew.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from app.meets.wire import TermsIn
from app.roles import Role
from app.rules.relay import Edge, Side

FOLDER = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class OfficialLine:
    """An official as the file has them; `phone_ms` is how far the server's clock is ahead."""

    key: str
    name: str
    affiliation: str
    roles: tuple[Role, ...]
    phone_ms: int


@dataclass(frozen=True, slots=True)
class PostLine:
    """A post of the crew plan as the file has it."""

    official: str
    take_over: int
    edge: Edge
    lanes: tuple[int, ...]
    side: Side


@dataclass(frozen=True, slots=True)
class MeetFiles:
    """The meet as its organiser writes it down."""

    set_up_at: datetime
    organiser: str
    name: str
    venue: str
    time_zone: str
    edition: str
    terms: TermsIn
    officials: tuple[OfficialLine, ...]
    crew: tuple[PostLine, ...]


def read_meet(folder: Path = FOLDER) -> MeetFiles:
    """The meet, its officials and its crew."""
    known = tomllib.loads((folder / "meet.toml").read_text("utf-8"))
    known["terms"] = TermsIn.model_validate(known["terms"])
    officials = tuple(_read_official(row) for row in _rows(folder / "officials.csv"))
    crew = tuple(_read_post(row) for row in _rows(folder / "crew.csv"))
    return MeetFiles(**known, officials=officials, crew=crew)


def read_bytes(name: str, folder: Path = FOLDER) -> bytes:
    """A start list or a finish list as it would be sent."""
    return (folder / name).read_bytes()


def _rows(path: Path) -> Iterator[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        yield from csv.DictReader(lines, strict=True)


def _read_official(row: dict[str, str]) -> OfficialLine:
    roles = tuple(Role(role) for role in row["roles"].split())
    return OfficialLine(row["key"], row["name"], row["affiliation"], roles, int(row["phone_ms"]))


def _read_post(row: dict[str, str]) -> PostLine:
    first, last = (int(lane) for lane in row["lanes"].split("-"))
    return PostLine(
        official=row["official"],
        take_over=int(row["take_over"]),
        edge=Edge(row["edge"]),
        lanes=tuple(range(first, last + 1)),
        side=Side(row["side"]),
    )
