"""How is a season told? As tables for people, and as JSON for comparing runs."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from tests.bench.season.ledger import SPANS
from tests.bench.season.meters import DATABASE
from tests.bench.season.running import Measured

Row = tuple[str, ...]


def percentile(values: Sequence[float], percent: float) -> float:
    """The value that so many of a hundred do not exceed (nearest rank)."""
    ranked = sorted(values)
    return ranked[max(-int(-len(ranked) * percent // 100), 1) - 1]


def as_document(measured: Measured) -> str:
    """Everything, as JSON."""
    return json.dumps(facts(measured), ensure_ascii=False, indent=2)


def facts(measured: Measured) -> dict[str, Any]:
    """All figures of a season by name; times in milliseconds."""
    season, ledger = measured.season, measured.ledger
    return {
        "season": asdict(season),
        "processors": os.cpu_count(),
        "load_before": measured.load_before,
        "acts": dict(sorted(measured.acts.items())),
        "unknown": measured.unknown,
        "spans": {
            name: _times(ledger.spans[name]) | {"taken out": _times(ledger.thought[name])}
            for name in SPANS
        },
        "answers": {
            what: _times(took) | {"unchanged": ledger.unchanged[what]}
            for what, took in sorted(ledger.answers.items())
        },
        "load_late": _times(ledger.late),
        "errors": dict(ledger.errors),
        "overtaken": dict(ledger.overtaken),
        "used": {name: asdict(one) for name, one in used(measured).items()},
        "cost": cost(measured),
        "checked": dict(measured.held),
        "amiss": list(measured.amiss),
    }


def used(measured: Measured) -> dict[str, Any]:
    """What each process used while the clock ran, and the memory that it had at the end."""
    return {
        name: type(one)(one.seconds - measured.before[name].seconds, one.memory_mb)
        for name, one in measured.after.items()
    }


def cost(measured: Measured) -> dict[str, float]:
    """What one meet costs: for each hour as the stadium counts, and for each heat."""
    hours, heats = measured.season.meet_hours, max(measured.acts["heat started"], 1)
    taken = used(measured)
    workers = sum(one.seconds for name, one in taken.items() if name.startswith("worker"))
    database = taken[DATABASE].seconds if DATABASE in taken else 0.0
    stored = measured.stored_after - measured.stored_before
    return {
        "worker CPU s per meet-hour": workers / hours,
        "database CPU s per meet-hour": database / hours,
        "stored KB per meet-hour": stored / 1000 / hours,
        "stored KB per heat": stored / 1000 / heats,
    }


def _times(took: Sequence[float]) -> dict[str, float]:
    if not took:
        return {"count": 0}
    in_ms = {
        "p50": percentile(took, 50),
        "p99": percentile(took, 99),
        "max": max(took),
    }
    return {"count": len(took)} | {name: one * 1000 for name, one in in_ms.items()}


def as_text(measured: Measured) -> str:
    """Tables in columns."""
    told = facts(measured)
    parts = [_heading(measured), _table(_span_rows(told)), _table(_answer_rows(told))]
    parts += [_table(_used_rows(told)), _verdict(measured, told)]
    return "\n\n".join(parts)


def _heading(measured: Measured) -> str:
    season = measured.season
    return (
        f"{season.meets} meets on {season.engine} before {season.workers} workers, "
        f"{season.minutes:g} minutes at {season.pace:g} times the pace of a stadium, seed "
        f"{season.seed}; {os.cpu_count()} processors, load of the minute before: "
        f"{measured.load_before:.1f}"
    )


def _span_rows(told: dict[str, Any]) -> Iterator[Row]:
    yield "from … to", "count", "p50 ms", "p99 ms", "max ms", "taken out, p50 ms"
    for name, took in told["spans"].items():
        yield name, *_cells(took), _ms(took["taken out"].get("p50"))
    yield "the load itself woke late by", *_cells(told["load_late"]), ""


def _answer_rows(told: dict[str, Any]) -> Iterator[Row]:
    yield "answered", "count", "p50 ms", "p99 ms", "max ms", "nothing new (304)"
    for what, took in told["answers"].items():
        yield what, *_cells(took), str(took["unchanged"] or "")


def _used_rows(told: dict[str, Any]) -> Iterator[Row]:
    yield "used", "CPU s", "memory at the end, MB"
    for name, one in told["used"].items():
        yield name, f"{one['seconds']:.1f}", f"{one['memory_mb']:.0f}"


def _verdict(measured: Measured, told: dict[str, Any]) -> str:
    lines = ["done: " + ", ".join(f"{count} × {kind}" for kind, count in told["acts"].items())]
    lines += [f"{name}: {value:,.1f}" for name, value in told["cost"].items()]
    stored = measured.stored_after
    lines.append(f"database: {measured.stored_before / 1e6:.1f} → {stored / 1e6:.1f} MB")
    lines.append(f"outcome unknown: {measured.unknown}")
    lines += [
        f"somebody else was first: {count} × {what}" for what, count in told["overtaken"].items()
    ]
    lines += [f"ERROR: {count} × {what}" for what, count in told["errors"].items()]
    lines += [f"AMISS: {one}" for one in told["amiss"]]
    if not measured.ledger.errors:
        lines.append("no errors")
    if not measured.amiss:
        held = ", ".join(f"{count} {what}" for what, count in told["checked"].items())
        lines.append(f"all records check ({held}); all that was acknowledged is there, once")
    return "\n".join(lines)


def _cells(took: dict[str, float]) -> Row:
    return f"{took['count']:,}", *(_ms(took.get(name)) for name in ("p50", "p99", "max"))


def _ms(value: float | None) -> str:
    return "" if value is None else f"{value:,.1f}"


def _table(rows: Iterator[Row]) -> str:
    found = list(rows)
    widths = [max(len(row[column]) for row in found) for column in range(len(found[0]))]
    shown = [
        "  ".join(
            cell.rjust(width) if column else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in found
    ]
    return "\n".join([shown[0], "  ".join("-" * width for width in widths), *shown[1:]])
