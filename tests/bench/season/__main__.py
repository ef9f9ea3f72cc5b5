"""How much of a season does one server carry? `python -m tests.bench.season` plays it and tells.

python -m tests.bench.season --meets 60 --workers 2 --minutes 5 --pace 10 --json measured.json
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from random import SystemRandom

from tests.bench.plan import EngineName
from tests.bench.season.plan import Season
from tests.bench.season.running import run_season
from tests.bench.season.telling import as_document, as_text


def main(arguments: Sequence[str] | None = None) -> int:
    """Play a season and print what it came to; 1 where anything failed or was lost."""
    parser = _parser()
    parsed = parser.parse_args(arguments)
    engine = EngineName(parsed.engine)
    workers = parsed.workers or (1 if engine is EngineName.SQLITE else 2)
    if engine is EngineName.SQLITE and workers > 1:
        parser.error("SQLite serves one process: leave --workers out, or take postgresql")
    season = Season(
        meets=parsed.meets,
        workers=workers,
        engine=engine,
        minutes=parsed.minutes,
        pace=parsed.pace,
        seed=parsed.seed,
        watchers=parsed.watchers,
    )
    measured = run_season(season)
    print(as_text(measured))
    if parsed.json is not None:
        parsed.json.write_text(as_document(measured) + "\n", encoding="utf-8")
    return 0 if measured.is_good else 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.season",
        description="Play many meets at once over HTTP, faster than a stadium, and measure.",
        epilog="Example: python -m tests.bench.season --meets 6 --minutes 1",
    )
    parser.add_argument("--meets", type=int, default=60)
    parser.add_argument("--workers", type=int, help="2 by default, 1 on SQLite")
    parser.add_argument("--engine", choices=[*EngineName], default="postgresql")
    parser.add_argument("--minutes", type=float, default=5.0, help="of the clock on the wall")
    parser.add_argument("--pace", type=float, default=10.0, help="times that of a stadium")
    parser.add_argument("--watchers", type=int, default=40, help="of the notice board, a meet")
    parser.add_argument("--seed", type=int, default=SystemRandom().randrange(1_000_000))
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all figures to FILE")
    return parser


if __name__ == "__main__":
    sys.exit(main())
