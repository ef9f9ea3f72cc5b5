"""The numbers of a running service, in Prometheus' text format 0.0.4; none names anybody.

What the store tells is left out where the store cannot answer: then the numbers of the process are
what is wanted most, and a gap is true where a zero would not be.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    Metric,
    SummaryMetricFamily,
)
from prometheus_client.registry import Collector
from sqlalchemy import Connection

from app.measures import BOUNDS, Measures
from app.record.feed import Feed
from app.reports.queries import cases_awaiting_a_ruling
from app.results.windows import windows_that_close
from app.store.store import Store

MEDIA_TYPE = "text/plain; version=0.0.4"
SOON = timedelta(minutes=10)
_LIMITS = (*map(str, BOUNDS), "+Inf")


@dataclass(frozen=True, slots=True)
class Stored:
    """What is asked of the store."""

    open_cases: int
    oldest_opened: datetime | None
    closing_soon: int
    next_closes: datetime | None


def stored(conn: Connection, now: datetime) -> Stored:
    """The numbers of all meets together."""
    count, oldest = cases_awaiting_a_ruling(conn)
    soon = windows_that_close(conn, now, now + SOON)
    return Stored(count, oldest, soon.count, soon.first)


def of_store(found: Stored, now: datetime) -> Iterator[Metric]:
    """Cases that wait, windows that close."""
    yield _gauge("open_cases", "Cases that await a ruling.", found.open_cases)
    age = _seconds(now - found.oldest_opened) if found.oldest_opened else 0.0
    yield _gauge("oldest_open_case_seconds", "Age of the oldest open case.", age)
    within = "Windows that close within ten minutes."
    yield _gauge("windows_closing_soon", within, found.closing_soon)
    if found.next_closes is not None:
        words = "Time until the next window closes; absent where none closes within ten minutes."
        yield _gauge("next_window_closes_seconds", words, _seconds(found.next_closes - now))


def of_process(feed: Feed, store: Store, measures: Measures) -> Iterator[Metric]:
    """The live feed, the writer and the requests of this process."""
    yield _gauge("open_streams", "Open live feeds of this process.", feed.open_streams)
    late = feed.lateness()
    behind = "Entries that are stored and were not yet given to those who follow them."
    yield _gauge("feed_behind_entries", behind, late.entries)
    yield _gauge("feed_behind_seconds", "Since when the oldest of them is stored.", late.seconds)
    words = "Time from commits to what was given to those who follow them."
    yield SummaryMetricFamily("zonedocket_feed_lag_seconds", words, late.times, late.lag)
    load = store.load
    yield _gauge("writer_queue", "Actions that wait for the writer.", load.waiting)
    yield _counter("writer_groups", "Groups of actions that the writer took up.", load.groups)
    yield _counter("writer_actions", "Actions in these groups.", load.actions)
    yield _of_requests(measures)


def of_readiness(*, is_ready: bool) -> Iterator[Metric]:
    """What `/readyz` would say."""
    yield _gauge("ready", "1 where /readyz answers 200.", int(is_ready))


def of_disk(last_backup: datetime | None, free: int | None, now: datetime) -> Iterator[Metric]:
    """Both of a SQLite database alone: of PostgreSQL's its own tools tell."""
    if last_backup is not None:
        words = "Age of the last copy by `backup`; absent where none was made."
        yield _gauge("last_backup_seconds", words, _seconds(now - last_backup))
    if free is not None:
        yield _gauge("disk_free_bytes", "Room on the disk of the SQLite database.", free)


def as_text(metrics: Iterable[Metric]) -> bytes:
    """The text that is scraped."""
    registry = CollectorRegistry()
    registry.register(_Given(metrics))
    return generate_latest(registry)


class _Given(Collector):
    def __init__(self, metrics: Iterable[Metric]) -> None:
        self._metrics = list(metrics)

    def collect(self) -> Iterable[Metric]:
        return self._metrics


def _of_requests(measures: Measures) -> HistogramMetricFamily:
    words = "Time until an answer began, by method, route and class of status."
    labels = ("method", "route", "status")
    family = HistogramMetricFamily("zonedocket_request_seconds", words, labels=labels)
    for one in measures.measured():
        buckets = list(zip(_LIMITS, one.within, strict=True))
        family.add_metric((one.method, one.template, one.status), buckets, one.seconds)
    return family


def _gauge(name: str, words: str, value: float) -> Metric:
    return GaugeMetricFamily(f"zonedocket_{name}", words, value)


def _counter(name: str, words: str, value: float) -> Metric:
    return CounterMetricFamily(f"zonedocket_{name}", words, value)


def _seconds(time: timedelta) -> float:
    return max(0.0, time.total_seconds())
