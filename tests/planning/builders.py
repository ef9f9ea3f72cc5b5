"""People, heats and tasks for tests of the crew planner; the names are invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from app.planning.effort import Effort
from app.planning.facts import (
    Barred,
    Person,
    PlannedHeat,
    PostShape,
    Settings,
    Span,
    Task,
    Template,
)
from app.planning.templates import default_template
from app.rules.relay import Edge, Relay, Side

HOUR_S = 3600
EFFORT = Effort(limit_s=20.0)


def at(clock: str) -> int:
    """Seconds after midnight."""
    hours, minutes = clock.split(":")
    return int(hours) * HOUR_S + int(minutes) * 60


def a_span(begins: str, ends: str) -> Span:
    return Span(at(begins), at(ends))


def a_person(name: str, **facts: Any) -> Person:
    return Person(id=name, name=name, **facts)


def people(count: int, **facts: Any) -> tuple[Person, ...]:
    return tuple(a_person(f"Umpire {number}", **facts) for number in range(1, count + 1))


def a_heat(
    number: int,
    clock: str,
    relay: Relay = Relay.FOUR_BY_400,
    lanes: Sequence[int] | Mapping[int, str] = (1, 2, 3, 4),
) -> PlannedHeat:
    teams = lanes if isinstance(lanes, Mapping) else dict.fromkeys(lanes, "")
    return PlannedHeat(f"heat {number}", f"Women {relay}", "heats", number, relay, at(clock), teams)


def heats(
    count: int,
    relay: Relay = Relay.FOUR_BY_400,
    *,
    begin: str = "10:00",
    every_min: int = 5,
    lanes: Sequence[int] | Mapping[int, str] = (1, 2, 3, 4),
    first: int = 1,
) -> tuple[PlannedHeat, ...]:
    clocks = [at(begin) + every_min * 60 * step for step in range(count)]
    return tuple(
        a_heat(first + step, f"{clock // HOUR_S}:{clock % HOUR_S // 60}", relay, lanes)
        for step, clock in enumerate(clocks)
    )


def a_small_template(lanes: int = 4) -> Template:
    """Two people, one an edge, or three, two of them at the end."""
    half = (lanes + 1) // 2
    start = PostShape(Edge.START, Side.INSIDE, lanes)
    two = (start, PostShape(Edge.END, Side.OUTSIDE, lanes))
    three = (
        start,
        PostShape(Edge.END, Side.INSIDE, half),
        PostShape(Edge.END, Side.OUTSIDE, half),
    )
    return Template({2: two, 3: three})


def a_task(
    crew: Sequence[Person],
    programme: Sequence[PlannedHeat],
    template: Template | None = None,
    **more: Any,
) -> Task:
    settings = more.pop("settings", Settings())
    return Task(tuple(crew), tuple(programme), template or default_template(8), settings, **more)


def not_at(**what: Any) -> Barred:
    return Barred(**what)
