"""What a running service tells of itself: true numbers in a published form, whatever is broken."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any, NoReturn

import pytest
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import make_url

from app import operating
from app.ids import MeetId, new_id
from app.last_backup import last_backup, trace_beside
from app.refusals import Unavailable
from app.store.action import Action, Done, Unit
from app.store.engine import database_path, open_engines
from app.store.store import Store
from tests.builders import a_meet, a_problem
from tests.conftest import ENGINES, NewDatabase
from tests.running import Service, a_service
from tests.store.test_writer import SOMEBODY, add
from tests.test_backups import run

Labels = dict[str, str]


@pytest.fixture(params=ENGINES)
def own_service(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Service]:
    """A service of one's own: its numbers are of nobody else's meets."""
    with a_service(new_database(request.param)) as service:
        yield service


@pytest.fixture
def on_sqlite(new_database: NewDatabase) -> Iterator[Service]:
    """The same where no database is asked, or it does not matter which."""
    with a_service(new_database("sqlite")) as service:
        yield service


def scraped(service: Service) -> str:
    answer = service.http.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"].split("; ")[:2] == ["text/plain", "version=0.0.4"]
    return answer.text


def numbers(service: Service) -> list[tuple[str, Labels, float]]:
    families = text_string_to_metric_families(scraped(service))
    return [
        (one.name.removeprefix("zonedocket_"), dict(one.labels), one.value)
        for family in families
        for one in family.samples
    ]


def number(service: Service, name: str, **labels: str) -> float | None:
    """The number of this name; None where there is none."""
    found = [
        value
        for one, has, value in numbers(service)
        if one == name and labels.items() <= has.items()
    ]
    assert len(found) <= 1, found
    return found[0] if found else None


NAME = r"[a-zA-Z_:][a-zA-Z0-9_:]*"
LABEL = r'[a-zA-Z_][a-zA-Z0-9_]*="(?:[^"\\\n]|\\[\\"n])*"'
VALUE = r"(?:[+-]?(?:\d+(?:\.\d+)?(?:e[+-]?\d+)?)|\+Inf|-Inf|NaN)"
LINE = re.compile(
    rf"# HELP {NAME} (?:[^\\\n]|\\[\\n])*"
    rf"|# TYPE {NAME} (?:counter|gauge|histogram|summary|untyped)"
    rf"|{NAME}(?:\{{{LABEL}(?:,{LABEL})*\}})? {VALUE}"
)
"""Prometheus, exposition formats, text-based format 0.0.4: lines, comments, samples."""
ENDS = {"histogram": ("_bucket", "_sum", "_count"), "summary": ("", "_sum", "_count")}


def test_the_text_is_what_the_published_format_says(on_sqlite: Service) -> None:
    """Each line by its grammar; a metric's lines in one group, its type before its samples."""
    a_meet(on_sqlite).report(lane=3)
    whole = scraped(on_sqlite)
    assert whole.endswith("\n")
    lines = whole.splitlines()
    assert [line for line in lines if not LINE.fullmatch(line)] == []
    typed = [line.split()[2:] for line in lines if line.startswith("# TYPE ")]
    assert len({name for name, _type in typed}) == len(typed)
    for line in lines:
        if line.startswith("# TYPE "):
            name, kind = line.split()[2:]
        elif not line.startswith("#"):
            sample = re.match(NAME, line)
            assert sample is not None
            assert sample[0] in [f"{name}{end}" for end in ENDS.get(kind, ("",))], line


def test_buckets_hold_what_the_smaller_ones_hold_and_the_last_one_all(service: Service) -> None:
    """The same: the buckets of a histogram are cumulative, `+Inf` is there and equals the count."""
    service.http.get("/healthz")
    asked = {"method": "GET", "route": "/healthz", "status": "2xx"}
    found = [
        (name, has, value) for name, has, value in numbers(service) if asked.items() <= has.items()
    ]
    buckets = [(has["le"], value) for name, has, value in found if name.endswith("_bucket")]
    counts = [value for name, _has, value in found if name.endswith("_count")]
    limits, values = zip(*buckets, strict=True)
    assert list(map(float, limits)) == sorted(map(float, limits))
    assert limits[-1] == "+Inf"
    assert list(values) == sorted(values)
    assert [values[-1]] == counts
    assert counts[0] >= 1


def test_requests_are_counted_by_route_and_class_and_no_address_is_shown(service: Service) -> None:
    def asked(route: str, status: str, method: str = "GET") -> float:
        labels = {"route": route, "status": status, "method": method}
        return number(service, "request_seconds_count", **labels) or 0

    before = asked("/healthz", "2xx"), asked("none", "4xx"), asked("/api/join", "4xx", "POST")
    service.http.get("/healthz")
    service.http.get("/Nora-Newcomer")
    service.http.post("/api/join", content=b"{")
    after = asked("/healthz", "2xx"), asked("none", "4xx"), asked("/api/join", "4xx", "POST")
    assert [later - one for one, later in zip(before, after, strict=True)] == [1, 1, 1]
    assert "Nora" not in scraped(service)


def test_windows_that_close_within_ten_minutes_are_counted_down(own_service: Service) -> None:
    """The protest window of World Athletics TR8.2: 30 minutes from the announcement."""
    service, meet = own_service, a_meet(own_service)
    service.clock.stand_at(service.clock.now())
    meet.start()
    assert meet.load_result().status_code in {200, 201}
    assert meet.announce(despite="nobody raised a flag").status_code == 201

    def told() -> tuple[float | None, float | None]:
        closing = number(service, "windows_closing_soon")
        return closing, number(service, "next_window_closes_seconds")

    service.clock.move(timedelta(minutes=20) - timedelta(microseconds=1))
    assert told() == (0, None)
    service.clock.move(timedelta(microseconds=1))
    count, seconds = told()
    assert count is not None
    assert count >= 1
    assert seconds == 600
    service.clock.move(timedelta(minutes=10))
    assert told() == (count, 0)  # inclusive: a protest is still in time
    service.clock.move(timedelta(microseconds=1))
    assert told() == (0, None)


async def nothing_tried(store: Store) -> list[str]:
    return []


def test_what_waits_for_the_writer_is_counted_and_what_it_took_up(
    own_service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A look at readiness stores something too, and would be counted.
    monkeypatch.setattr(operating, "_try", nothing_tried)
    store, meet = own_service.store, MeetId(new_id())
    begun, go_on = threading.Event(), threading.Event()

    def wait(unit: Unit) -> Done[None]:
        begun.set()
        go_on.wait(30)
        return Done(None, None)

    actions: list[Action[Any]] = [wait, add("one"), add("two"), add("three")]
    threads = [
        threading.Thread(target=store.act_now, args=(meet, SOMEBODY, act)) for act in actions
    ]
    threads[0].start()
    assert begun.wait(30)
    before = number(own_service, "writer_actions_total")
    for thread in threads[1:]:
        thread.start()
    until = time.monotonic() + 30
    while number(own_service, "writer_queue") != 3:
        assert time.monotonic() < until
    go_on.set()
    for thread in threads:
        thread.join()
    assert before is not None
    assert number(own_service, "writer_queue") == 0
    assert number(own_service, "writer_actions_total") == before + 3
    groups = number(own_service, "writer_groups_total")
    assert groups is not None
    assert 2 <= groups < before + 3


def test_a_backup_is_told_and_grows_old(new_database: NewDatabase, tmp_path: Path) -> None:
    url = new_database("sqlite")
    with a_service(url) as service:
        assert number(service, "last_backup_seconds") is None
        assert run(url, "backup", str(tmp_path / "copy.db")) == 0
        fresh = number(service, "last_backup_seconds")
        service.clock.move(timedelta(hours=7))
        old = number(service, "last_backup_seconds")
    assert fresh is not None
    assert old is not None
    assert fresh < 60
    assert 7 * 3600 <= old < 7 * 3600 + 60


def test_a_backup_that_cannot_be_noted_says_that_the_copy_is_whole(
    new_database: NewDatabase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    url = new_database("sqlite")
    trace_beside(database_path(make_url(url))).mkdir()
    copy = tmp_path / "copy.db"
    assert run(url, "backup", str(copy)) == 1
    assert f"{copy} is whole" in capsys.readouterr().err
    assert run(f"sqlite:///{tmp_path / 'again.db'}", "restore", str(copy)) == 0


@pytest.mark.parametrize("noted", ["", "yesterday", "2026-06-13T12:00:00", "\x00\xff"])
def test_a_note_that_tells_no_instant_is_no_backup(tmp_path: Path, noted: str) -> None:
    trace_beside(tmp_path / "meet.db").write_text(noted, encoding="utf-8")
    assert last_backup(tmp_path / "meet.db") is None


def test_where_the_store_cannot_answer_the_process_still_tells_its_own_numbers(
    on_sqlite: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def fail(_query: object) -> NoReturn:
        raise Unavailable("The store cannot answer just now; try again.")

    assert number(on_sqlite, "ready") == 1
    monkeypatch.setattr(on_sqlite.store, "read_apart", fail)
    told = {name for name, _labels, _value in numbers(on_sqlite)}
    assert number(on_sqlite, "ready") == 0
    assert {"writer_queue", "open_streams", "request_seconds_count"} <= told
    assert "open_cases" not in told


def spoil(service: Service, change: str, **values: object) -> None:
    engines = open_engines(service.database_url)
    with engines.writing.begin() as conn:
        conn.exec_driver_sql(change % values)
    engines.dispose()


@pytest.mark.parametrize(
    "change",
    [
        "root = '%(root)s'",
        "size = size + 1",
        "frontier = '[\"zz\"]'",
        "frontier = '[null]'",
        "frontier = 'x'",
    ],
)
def test_a_record_that_does_not_agree_with_its_head_is_not_ready(
    own_service: Service, change: str
) -> None:
    meet, other = a_meet(own_service), a_meet(own_service)
    assert own_service.http.get("/readyz").status_code == 200
    where = f"UPDATE record_heads SET {change} WHERE meet_id = '{meet.id}'"
    spoil(own_service, where, root="0" * 64)
    told = a_problem(own_service.http.get("/readyz"), 503, "unavailable")["detail"]
    assert told.startswith(f"The record of meet {meet.id} does not agree with its head.")
    assert other.id not in told
    assert number(own_service, "ready") == 0
    assert own_service.http.get("/healthz").status_code == 200


def test_a_schema_that_is_not_this_programs_is_not_ready(own_service: Service) -> None:
    spoil(own_service, "UPDATE alembic_version SET version_num = '0001'")
    told = a_problem(own_service.http.get("/readyz"), 503, "unavailable")["detail"]
    assert told.startswith("The database has schema 0001; run `migrate` to get")


def test_a_server_that_was_told_to_stop_is_not_ready(on_sqlite: Service) -> None:
    on_sqlite.app.state.services.feed.stop()
    told = a_problem(on_sqlite.http.get("/readyz"), 503, "unavailable")["detail"]
    assert told == "The server is shutting down."
    assert number(on_sqlite, "ready") == 0


def test_little_room_is_a_warning_on_sqlite_before_it_is_a_fault(
    own_service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It still stores: taking the only process away then would lose more than it saves."""
    is_sqlite = own_service.store.engines.is_sqlite
    others = own_service.http.get("/readyz").json()["warnings"]  # of a test's PostgreSQL
    assert not [one for one in others if "disk of the database" in one]
    assert (number(own_service, "disk_free_bytes") is not None) == is_sqlite
    monkeypatch.setattr(operating, "LITTLE_ROOM", 2**60)
    answer = own_service.http.get("/readyz")
    assert answer.status_code == 200
    told = answer.json()["warnings"]
    assert [re.sub(r"[\d,]+", "7", one) for one in told[len(others) :]] == is_sqlite * [
        "The disk of the database has only 7 MiB left."
    ]
