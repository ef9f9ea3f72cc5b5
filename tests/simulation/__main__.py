"""Plays many meets and says what came of them: `python -m tests.simulation --meets 2000 --seed 1`.

Each meet has a seed of its own, counted up from `--seed`. One that fails is told with the command
that plays it again, alone; put its seed into `seeds.txt` once its cause is mended.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from argon2 import PasswordHasher

from app.access import secrets
from tests.simulation.meet import Played, keep_databases_in, memory, play


@dataclass(frozen=True, slots=True)
class Failed:
    """A seed in which something did not hold."""

    seed: int
    why: str

    def __str__(self) -> str:
        return f"seed {self.seed}: {self.why}\n  again: {again(self.seed)}"


def again(seed: int) -> str:
    """The command that plays a seed once more."""
    return f"python -m tests.simulation --meets 1 --seed {seed}"


def try_seed(seed: int) -> Played | Failed:
    """Play a seed, whatever comes of it."""
    try:
        return play(seed)
    except Exception as error:  # noqa: BLE001  # whatever did not hold is told with its seed
        return Failed(seed, f"{type(error).__name__}: {error}")


def summed_up(outcomes: Iterable[Played | Failed], seconds: float) -> Iterator[str]:
    """What came of many meets, for people."""
    played = [one for one in outcomes if isinstance(one, Played)]
    told = sum((one.told for one in played), Counter())
    looks = sum((one.looks for one in played), Counter())
    lost = told["lost requests"] + told["lost answers"]
    acts = sum(one.acts for one in played)
    per_minute = 60 * len(played) / seconds
    yield f"{len(played)} meets in {seconds:.0f} s, {per_minute:.0f} a minute"
    yield f"{told['requests']} requests, {lost} messages lost, {acts} acts written"
    yield f"{told['restarts']} restarts in the middle of something"
    yield f"{looks.total()} looks at what must hold:"
    yield from (f"  {count:>9}  {what}" for what, count in looks.most_common())
    yield "what was done and refused:"
    yield from (f"  {count:>9}  {what}" for what, count in sorted(told.items()) if ":" in what)


def begin(place: str) -> None:
    """As in all tests a PIN's hash costs nearly nothing (`tests/conftest.py`)."""
    keep_databases_in(place)
    secrets._hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


def main() -> int:
    asked = argparse.ArgumentParser(prog="python -m tests.simulation", description=__doc__)
    asked.add_argument("--meets", type=int, default=100, help="how many (default: 100)")
    asked.add_argument("--seed", type=int, default=1, help="of the first of them (default: 1)")
    asked.add_argument("--processes", type=int, default=1, help="that play them (default: 1)")
    wanted = asked.parse_args()
    seeds = range(wanted.seed, wanted.seed + wanted.meets)
    since = time.monotonic()
    outcomes: list[Played | Failed] = []
    with (
        tempfile.TemporaryDirectory(prefix="zd-simulations-", dir=memory()) as place,
        ProcessPoolExecutor(wanted.processes, initializer=begin, initargs=(place,)) as processes,
    ):
        for outcome in processes.map(try_seed, seeds):
            outcomes.append(outcome)
            if isinstance(outcome, Failed):
                print(outcome, flush=True)
    print(*summed_up(outcomes, time.monotonic() - since), sep="\n")
    return int(any(isinstance(one, Failed) for one in outcomes))


if __name__ == "__main__":
    sys.exit(main())
