"""Builders for the facts that the tests of the rules speak about."""

import csv
from pathlib import Path
from typing import get_args, get_type_hints

from hypothesis import strategies as st

from app.rules.book import Book, editions, load_book
from app.rules.finding import Circumstances, Finding, judge
from app.rules.observation import (
    Infringement,
    Mark,
    Observation,
    PassBegunBeforeZone,
    PassCompletedBeforeZone,
    PassCompletedBeyondZone,
    Position,
)
from app.rules.relay import Relay

OBSERVATION_OF: dict[Infringement, type[Observation]] = {
    Infringement(kind().seen): kind for kind in get_args(Observation)
}
PUBLISHED = Path(__file__).parent / "published"
NEW = "world-athletics-2025"
BEFORE_2025 = "world-athletics-2021"
OLD = "older-20-plus-10"
NFHS = "nfhs-2019"


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a published table."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def all_books() -> list[Book]:
    """Every edition at hand."""
    return [load_book(key) for key in editions()]


def at(metres: float, uncertainty: float = 0.2, mark: Mark | None = None) -> Position:
    """A position with the uncertainty of a marked spot."""
    return Position(metres, uncertainty, mark)


def found(
    observation: Observation,
    key: str = NEW,
    relay: Relay = Relay.FOUR_BY_100,
    take_over: int | None = 1,
    earlier: int = 0,
) -> Finding:
    """What an edition makes of an observation."""
    return judge(observation, Circumstances(relay, take_over, earlier), load_book(key))


def begun(position: Position) -> PassBegunBeforeZone:
    """A first touch with the leading end of the baton here."""
    return PassBegunBeforeZone(baton=position)


def completed_before(position: Position) -> PassCompletedBeforeZone:
    """Sole possession with the leading end of the baton here, seen from the start."""
    return PassCompletedBeforeZone(baton=position)


def completed_beyond(position: Position) -> PassCompletedBeyondZone:
    """Sole possession with the leading end of the baton here, seen from the end."""
    return PassCompletedBeyondZone(baton=position)


def positions() -> st.SearchStrategy[Position]:
    """Any position that can be reported."""
    return st.builds(
        Position,
        metres=st.floats(-60, 60),
        uncertainty=st.floats(0, 10),
        measured_from=st.none() | st.sampled_from(Mark),
    )


def observations_of(infringement: Infringement) -> st.SearchStrategy[Observation]:
    """Any observation of one kind, with every field drawn."""
    kind = OBSERVATION_OF[infringement]
    drawn: dict[str, st.SearchStrategy[object]] = {}
    for name, hint in get_type_hints(kind).items():
        if name == "steps":
            drawn[name] = st.none() | st.integers(1, 50)
        elif hint == Position | None:
            drawn[name] = st.none() | positions()
        elif not name.startswith("__"):
            drawn[name] = st.from_type(hint)
    return st.builds(kind, **drawn)


def observations() -> st.SearchStrategy[Observation]:
    """Any observation at all."""
    return st.sampled_from(Infringement).flatmap(observations_of)


def circumstances() -> st.SearchStrategy[Circumstances]:
    """Any circumstances an observation can come with."""
    return st.builds(
        Circumstances,
        relay=st.sampled_from(Relay),
        take_over=st.none() | st.integers(1, 3),
        earlier_lane_infringements=st.integers(0, 3),
    )
