"""Kill the service as often as you like: `python -m tests.faults` prints what was lost, and fails.

python -m tests.faults --rounds 1000 --engine postgresql --seed 7
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from random import SystemRandom

from argon2 import PasswordHasher

from app.access import secrets
from tests.bench.plan import EngineName
from tests.faults.campaign import run_campaign
from tests.faults.figures import Figures


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the rounds that were asked for and print what they have come to."""
    parsed = _parser().parse_args(arguments)
    # A PIN's hash is slow on purpose, and each meet has a crew whose PINs are all the same.
    secrets._hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    engines = list(EngineName) if parsed.engine == "both" else [EngineName(parsed.engine)]
    for engine in engines:
        print(f"{engine}, {parsed.rounds} rounds, seed {parsed.seed}", flush=True)
        print(f"  {run_campaign(engine, parsed.rounds, parsed.seed, _say_how_far)}")
        print("  nothing lost, nothing unexpected, nothing twice; every record checks", flush=True)
    return 0


def _say_how_far(figures: Figures) -> None:
    print(f"  {figures.rounds} rounds, {figures.acknowledged} acknowledged", file=sys.stderr)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.faults",
        description="Kill the service, or PostgreSQL under it, in rounds under load.",
        epilog="Example: python -m tests.faults --rounds 1000 --engine postgresql --seed 7",
    )
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--engine", choices=[*EngineName, "both"], default="sqlite")
    parser.add_argument("--seed", type=int, default=SystemRandom().randrange(1_000_000))
    return parser


if __name__ == "__main__":
    sys.exit(main())
