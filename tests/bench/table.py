"""How is a run shown? As a table for people, and as JSON for comparing runs."""

from __future__ import annotations

import json
import os
import platform
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from tests.bench.lines import Line
from tests.bench.plan import EngineName, GrowthPlan, Plan

HEADER = ("measured", "median", "p50 ms", "p99 ms", "ratio", "goal", "met")

Measured = Mapping[EngineName, Sequence[Line]]


def as_table(engine: EngineName, lines: Sequence[Line]) -> str:
    """The rows of one engine, in columns."""
    rows = [HEADER, *(_cells(line) for line in lines)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADER))]
    shown = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]
    rule = "  ".join("-" * width for width in widths)
    return "\n".join([f"\n{engine}", shown[0], rule, *shown[1:]])


def _cells(line: Line) -> tuple[str, ...]:
    return (
        line.name,
        _number(line.median, line.unit),
        "" if line.p50_ms is None else f"{line.p50_ms:.2f}",
        "" if line.p99_ms is None else f"{line.p99_ms:.2f}",
        "" if line.ratio is None else f"{line.ratio.value:.2f} {line.ratio.against}",
        "" if line.goal is None else line.goal.words,
        "" if line.goal is None else ("yes" if line.goal.met else "NO"),
    )


def _number(value: float, unit: str) -> str:
    if unit != "s":
        return f"{value:,.0f} {unit}".rstrip()
    return f"{value * 1000:,.1f} ms" if value < 1 else f"{value:.2f} s"


def as_document(plan: Plan | GrowthPlan, measured: Measured, load_before: float) -> str:
    """The whole run with every round, as JSON.

    `load_before` is what else the machine did when the run began: its load average of a minute.
    """
    return json.dumps(
        {
            "machine": _machine(load_before),
            "plan": asdict(plan),
            "engines": {
                engine.value: [_row(line) for line in lines] for engine, lines in measured.items()
            },
        },
        ensure_ascii=False,
        indent=2,
    )


def _machine(load_before: float) -> dict[str, object]:
    return {
        "python": platform.python_version(),
        "sqlite": sqlite3.sqlite_version,
        "system": platform.platform(),
        "processors": os.cpu_count(),
        "load_before": load_before,
    }


def _row(line: Line) -> dict[str, Any]:
    return {**asdict(line), "median": line.median}
