"""From what the command is called with to the task; what is wrong is told by file and row."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from app.files import read_list
from app.planning.facts import Before, Person, Pin, PlannedHeat, Settings, Task, Template
from app.planning.reading import (
    FileRefused,
    Programme,
    assignments_of,
    in_words,
    people_of,
    programme_of,
    template_of,
)
from app.planning.templates import default_template
from app.rules.relay import Edge
from app.rules.track import Track, is_run_on
from app.sheets.columns import tell_of_unknown
from app.sheets.crew_list import DroppedRow
from app.sheets.crew_template import read_crew_template
from app.sheets.fields import parse_scheduled
from app.sheets.made_plan import PlanRow, read_made_plan
from app.sheets.people_list import read_people_list
from app.sheets.problems import Problem, SheetRefused
from app.sheets.start_list import HeatRows, read_start_list

Row = TypeVar("Row")
Read = Callable[[bytes], tuple[Sequence[Row], tuple[str, ...], tuple[Problem, ...]]]
USUAL_LANES = 8
SHOWN = 20
"""So many problems of a file are told in one go."""
_PIN = re.compile(
    r"(?P<name>.+)=(?P<at>[^=,]+),\s*"  # a name may have a “=” of its own
    r"(?:off|take-over (?P<take_over>[123])(?:\s+(?P<edge>start|end))?)"
)


@dataclass(frozen=True, slots=True)
class Asked:
    """The task, the programme in whose words it is told, its columns that nobody knows, and heats
    of the plan that is kept which it has no more.
    """

    task: Task
    programme: Programme
    left_aside: tuple[str, ...] = ()
    run_no_more: tuple[str, ...] = ()


def asked_by(parsed: argparse.Namespace) -> Asked:
    """Raises ValueError with every problem of the first file that has any, a line for each."""
    settings = Settings.resting(parsed.longest_stint, parsed.shortest_break)
    with _told_of(parsed.programme):
        heats, aside = _start_list(parsed.programme)
        programme = programme_of(heats, settings)
    with _told_of(parsed.officials):
        people = people_of(_rows(read_people_list, parsed.officials), programme)
    named = {person.name: person for person in people}
    pins = tuple(_pin(text, named, programme) for text in parsed.pin)
    before, gone = _before(parsed, programme, named)
    template = _template(parsed.template, parsed.lanes, programme.heats)
    track = _track(parsed, programme.heats)
    task = Task(people, programme.heats, template, settings, pins, before, track)
    return Asked(task, programme, aside, gone)


@contextmanager
def _told_of(path: Path) -> Iterator[None]:
    try:
        yield
    except (FileRefused, SheetRefused) as refused:
        lines = [f"{path}: {in_words(problem)}" for problem in refused.problems[:SHOWN]]
        if more := len(refused.problems) - SHOWN:
            lines += [f"{path}: {more} more."] if more > 0 else []
        raise ValueError("\n".join(lines)) from refused


def _rows(read: Read[Row], path: Path) -> Sequence[Row]:
    rows, aside, problems = read(read_list(path))
    if problems:
        raise FileRefused(problems)
    if unknown := tell_of_unknown(aside):
        raise FileRefused(unknown)
    return rows


def _start_list(path: Path) -> tuple[Sequence[HeatRows], tuple[str, ...]]:
    listed, problems = read_start_list(read_list(path))
    if problems:
        raise FileRefused(problems)
    return listed.heats, listed.ignored_columns


def _template(path: Path | None, lanes: int | None, heats: Sequence[PlannedHeat]) -> Template:
    if path is None:
        return default_template(_insist_on_lanes(lanes or USUAL_LANES, heats))
    if lanes is not None:
        raise ValueError("--lanes is for the usual posts; a --template says itself how many it has")
    with _told_of(path):
        return template_of(_rows(read_crew_template, path), path.name)


def _track(parsed: argparse.Namespace, heats: Sequence[PlannedHeat]) -> Track:
    """The one that is described, else a standard one."""
    highest = max((lane for heat in heats for lane in heat.lanes), default=USUAL_LANES)
    usual = Track(lanes=parsed.lanes or max(highest, USUAL_LANES))
    track = replace(
        usual,
        radius_m=usual.radius_m if parsed.radius is None else parsed.radius,
        straight_m=usual.straight_m if parsed.straight is None else parsed.straight,
    )
    for heat in heats:
        if not is_run_on(track, heat.relay):
            why = f"no {heat.relay} is run on an oval of {track.lap_m} m"
            raise ValueError(f"{heat.label}: {why}; say the track's --radius and --straight")
    return track


def _insist_on_lanes(lanes: int, heats: Sequence[PlannedHeat]) -> int:
    """That the track has the lanes of the programme. As many as posts must take: places on a
    common line may be more.
    """
    for heat in heats:
        highest = max(heat.lanes, default=0)
        if heat.relay.places(lanes) < highest:
            raise ValueError(
                f"{heat.label} has a team in lane {highest}, so the track has more than {lanes} "
                f"lanes: say --lanes {highest}"
            )
    return max((lanes, *(lane for heat in heats for lane in heat.lanes)))


def _before(
    parsed: argparse.Namespace, programme: Programme, named: Mapping[str, Person]
) -> tuple[Before | None, tuple[str, ...]]:
    """The plan that is kept, and its heats that are run no more."""
    if parsed.keep is None:
        if parsed.drop or parsed.since:
            raise ValueError("--drop and --from go with --keep: they change a plan that was made")
        return None, ()
    for name in parsed.drop:
        _insist_known(name, named)
    with _told_of(parsed.keep):
        rows = _rows(read_made_plan, parsed.keep)
        posts = [one for one in rows if isinstance(one, PlanRow)]
        assignments, gone = assignments_of(posts, programme, named)
    since_s = _instant(parsed.since, programme) if parsed.since else 0
    remembered = {one.official for one in rows if isinstance(one, DroppedRow)}
    dropped = frozenset(named[name].id for name in {*remembered, *parsed.drop} & named.keys())
    return Before(assignments, since_s, dropped), gone


def _pin(text: str, named: Mapping[str, Person], programme: Programme) -> Pin:
    found = _PIN.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"{text} is no pin; write NAME=10:05,take-over 2 end or NAME=10:05,off")
    name = found["name"].strip()
    _insist_known(name, named)
    at_s = _instant(found["at"].strip(), programme, programme.starts())
    heat = next((one for one in programme.heats if one.starts_s == at_s), None)
    if heat is None:
        nearest = min((one.starts_s for one in programme.heats), key=lambda s: abs(s - at_s))
        told = f"no heat of the programme starts at {programme.written(at_s)}"
        raise ValueError(f"{told}; the nearest starts at {programme.written(nearest)}")
    take_over = int(found["take_over"]) if found["take_over"] else None
    edge = None if found["edge"] is None else Edge(found["edge"])
    return Pin(named[name].id, heat.id, take_over, edge)


def _insist_known(name: str, named: Mapping[str, Person]) -> None:
    if name not in named:
        raise ValueError(f"nobody who can stand at a zone is called {name}")


def _instant(text: str, programme: Programme, among: Collection[int] = ()) -> int:
    """A time of the day alone is of the one day on which it can be meant: where it is one among
    others, only those can be.
    """
    like = programme.written(programme.heats[0].starts_s)
    try:
        meant = programme.meant_by(parse_scheduled(text))
    except ValueError:
        raise ValueError(f"{text} is no time of this programme; write it as {like}") from None
    if len(meant) > 1 and among:
        meant = tuple(one for one in meant if one in among)
    if len(meant) == 1:
        return meant[0]
    like = programme.written(meant[0]) if meant else like
    raise ValueError(f"{text} of which day? Write it with its day, as {like}")
