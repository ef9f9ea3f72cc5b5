"""How fast is the service on this machine? `python -m tests.bench` measures and prints a table.

What is compared runs side by side in one run: rounds alternate between the two sides, and the
ratios are those of rounds that followed each other.

    python -m tests.bench --quick --json measured.json
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from time import perf_counter

from tests.bench import general
from tests.bench.checking import measure_checking
from tests.bench.databases import fresh_databases
from tests.bench.following import measure_following
from tests.bench.foreseeing import measure_foreseeing
from tests.bench.lines import Line
from tests.bench.load import LoadFailed
from tests.bench.meets import set_up_meet
from tests.bench.plan import FULL, QUICK, EngineName, Plan
from tests.bench.reading import measure_reading
from tests.bench.records import measure_records
from tests.bench.sealing import measure_sealing
from tests.bench.single_acts import measure_papers, measure_start
from tests.bench.submissions import measure_submissions
from tests.bench.table import as_document, as_table


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, print, and write the JSON that was asked for; 1 where a load failed."""
    parsed = _parser().parse_args(arguments)
    plan = QUICK if parsed.quick else FULL
    engines = list(EngineName) if parsed.engine == "both" else [EngineName(parsed.engine)]
    load_before = os.getloadavg()[0]
    try:
        measured = {engine: measure_engine(plan, engine) for engine in engines}
    except LoadFailed as error:
        print(f"The benchmark was broken off: {error}", file=sys.stderr)
        return 1
    for engine, lines in measured.items():
        print(as_table(engine, lines))
    if not general.IS_INSTALLED:
        print(f"\nNot measured: an app of a general-purpose framework. {general.HOW_TO_INSTALL}")
    print(f"\n{os.cpu_count()} processors; load of the minute before: {load_before:.1f}")
    if parsed.json is not None:
        parsed.json.write_text(as_document(plan, measured, load_before) + "\n", encoding="utf-8")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench",
        description="Measure the service side by side with the least that its work could take.",
        epilog="Example: python -m tests.bench --quick --engine both",
    )
    parser.add_argument("--quick", action="store_true", help="fewer and shorter rounds")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write every round to FILE")
    parser.add_argument(
        "--engine", choices=[*EngineName, "both"], default="sqlite", help="sqlite by default"
    )
    return parser


def measure_engine(plan: Plan, engine: EngineName) -> list[Line]:
    """All measurements on one engine, in the order of the table."""
    with fresh_databases(engine) as databases:
        meet = set_up_meet(databases.migrated(), plan)
        steps: dict[str, Callable[[], list[Line]]] = {
            "cold start": lambda: measure_start(plan, databases),
            "submissions": lambda: measure_submissions(plan, engine, meet, databases),
            "following": lambda: measure_following(plan, databases),
            "reading": lambda: measure_reading(plan, meet, databases),
            "start list and form": lambda: measure_papers(plan, meet, databases),
            "consequences": lambda: measure_foreseeing(plan, databases),
            "sealing": lambda: measure_sealing(plan),
            "records": lambda: measure_records(plan, databases),
            "checking": lambda: measure_checking(plan),
        }
        lines: list[Line] = []
        for name, step in steps.items():
            began = perf_counter()
            lines += step()
            print(f"{engine}: {name} took {perf_counter() - began:.1f} s", file=sys.stderr)
        return lines


if __name__ == "__main__":
    sys.exit(main())
