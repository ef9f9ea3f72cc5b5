"""How fast is a crew planned, and how near to the best is it? `python -m tests.bench.planning`.

Each line is one day of relays by chance: how many officials, how long it took, and each wish with
what the plan comes to and what no plan can go below. `--people 18 40 60 --heats 100 --seeds 3`.
With `--command` the same days as lists for the command `crew`, with its own time: seconds on the
clock from its start to its end, and again where somebody drops out halfway.
"""

from __future__ import annotations

import argparse
import csv
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from random import Random
from resource import RUSAGE_SELF, getrusage

from app.planning.command import UNWATCHED, WHOLE
from app.planning.effort import Effort
from app.planning.facts import Barred, Person, PlannedHeat, Settings, Span, Task
from app.planning.making import plan_crew
from app.planning.results import CrewPlan
from app.planning.templates import default_template
from app.rules.relay import Edge, Relay

CLUBS = tuple(f"Club {number}" for number in range(1, 13))
DAY = (
    *(Relay.FOUR_BY_100,) * 40,
    *(Relay.FOUR_BY_400,) * 25,
    *(Relay.FOUR_BY_200,) * 15,
    *(Relay.FOUR_BY_100,) * 12,
    *(Relay.FOUR_BY_400,) * 8,
)
EIGHT = tuple(range(1, 9))
MORNING = Span(9 * 3600 - 600, 13 * 3600)
AFTERNOON = Span(12 * 3600, 48 * 3600)


def a_day(people: int, heats: int, seed: int) -> Task:
    """Eight lanes, of which one is empty now and then and in one heat of ten the two outermost; a
    heat every five or eight minutes, half an hour's pause after each 25; one in five is there for
    half of the day, two in three have a club.
    """
    chance = Random(seed)
    programme = tuple(_heats(chance, heats))
    return Task(tuple(_people(chance, people)), programme, default_template(8))


def _heats(chance: Random, count: int) -> Sequence[PlannedHeat]:
    clock_s, made = 9 * 3600, []
    for number in range(1, count + 1):
        relay = DAY[(number - 1) * len(DAY) // count]
        in_use = chance.choice([8] * 6 + [7] * 3 + [6])
        lanes = list(EIGHT[:6]) if in_use == 6 else sorted(chance.sample(EIGHT, in_use))
        teams = dict(zip(lanes, chance.sample(CLUBS, len(lanes)), strict=True))
        event = f"Women {relay}"
        made.append(PlannedHeat(f"{number}", event, "heats", number, relay, clock_s, teams))
        usual_s = (8 if relay is Relay.FOUR_BY_400 else 5) * 60
        clock_s += max(usual_s, Settings().takes_s(relay))
        clock_s += 30 * 60 if number % 25 == 0 else 0
    return made


def _people(chance: Random, count: int) -> Sequence[Person]:
    hours = [()] * 8 + [(MORNING,), (AFTERNOON,)]
    bars = [()] * 12 + [(Barred(edge=Edge.START),), (Barred(edge=Edge.END),)]
    return [
        Person(
            id=f"{number}",
            name=f"Umpire {number}",
            affiliation=chance.choice([*CLUBS, *[""] * 5]),
            experience=chance.choice([0, 1, 1, 2, 2, 3]),
            hours=chance.choice(hours),
            barred=chance.choice(bars),
        )
        for number in range(1, count + 1)
    ]


def main(arguments: Sequence[str] | None = None) -> int:
    """Plan and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, nargs="+", default=[18, 24, 40, 60])
    parser.add_argument("--heats", type=int, default=100)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=9.0)
    parser.add_argument("--command", action="store_true")
    parsed = parser.parse_args(arguments)
    if parsed.command:
        _time_command(parsed.people, parsed.heats, parsed.seeds)
        return 0
    for people in parsed.people:
        for seed in range(1, parsed.seeds + 1):
            plan = plan_crew(a_day(people, parsed.heats, seed), Effort(parsed.seconds))
            print(_line(people, parsed.heats, plan), flush=True)
    print(f"most memory held: {getrusage(RUSAGE_SELF).ru_maxrss // 1024} MB")
    return 0


def _line(people: int, heats: int, plan: CrewPlan) -> str:
    counts = ", ".join(
        f"{one.wish.name.lower()} {one.value}" + (f" (at least {one.bound})" if one.gap else "")
        for one in plan.counted
    )
    return f"{people} people, {heats} heats, {plan.seconds:.1f} s: {counts}"


def _time_command(crews: Iterable[int], heats: int, seeds: int) -> None:
    for people in crews:
        for seed in range(1, seeds + 1):
            with tempfile.TemporaryDirectory() as folder:
                for told in _timed(a_day(people, heats, seed), Path(folder)):
                    print(f"{people} people, {heats} heats, by command: {told}", flush=True)


def _timed(task: Task, folder: Path) -> Iterator[str]:
    crew, programme, plan = (folder / name for name in ("crew.csv", "programme.csv", "plan.csv"))
    _write(crew, "name affiliation experience from until not", map(_crew_row, task.people))
    heads = "event round heat lane team affiliation scheduled"
    _write(programme, heads, [row for heat in task.heats for row in _programme_rows(heat)])
    command = [sys.executable, "-m", "app", "crew", "--officials", crew, "--programme", programme]
    yield f"{_seconds_of([*command, '--out', plan]):.1f} s"
    half, late = task.heats[len(task.heats) // 2], task.people[0].name
    dropping = ["--keep", plan, "--drop", late, "--from", _clock(half.starts_s)]
    took_s = _seconds_of([*command, *dropping, "--out", folder / "changed.csv"])
    yield f"{took_s:.1f} s where one drops out halfway"


def _seconds_of(command: Sequence[str | Path]) -> float:
    began = time.monotonic()
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    if ended.returncode not in {WHOLE, UNWATCHED}:
        raise SystemExit(ended.stderr)
    return time.monotonic() - began


def _write(path: Path, heads: str, rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([heads.split(), *rows])


def _crew_row(person: Person) -> Sequence[object]:
    begins, ends = "", ""
    for span in person.hours:
        begins = _clock(span.begins_s)
        ends = _clock(span.ends_s) if span.ends_s < 24 * 3600 else ""
    bars = ", ".join(bar.edge for bar in person.barred if bar.edge)
    return person.name, person.affiliation, person.experience, begins, ends, bars


def _programme_rows(heat: PlannedHeat) -> Iterator[Sequence[object]]:
    for lane, club in heat.lanes.items():
        place = (heat.event, heat.round, heat.number, lane)
        yield *place, f"{club} {lane}", club, _clock(heat.starts_s)


def _clock(seconds: int) -> str:
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}"


if __name__ == "__main__":
    sys.exit(main())
