"""The log says what went wrong and where; it shows no value that people sent."""

from __future__ import annotations

import logging
import sys
import time
from collections.abc import Callable

import pytest
from pydantic import ValidationError
from sqlalchemy import insert, text
from sqlalchemy.exc import DBAPIError

from app.access.tables import tries
from app.ids import MeetId, new_id
from app.logs import WithoutData, keep_log
from app.meets.wire import MeetIn
from app.record.kinds import Kind
from app.store.action import Actor, Deed, Done, Unit
from app.store.prepared import Prepared
from tests.running import Service

NAME = "Nora Newcomer"
_ADD = Prepared(insert(tries))


def by_the_toolkit(unit: Unit) -> None:
    unit.conn.execute(insert(tries).values(key=NAME, count=1))


def on_the_driver(unit: Unit) -> None:
    _ADD.run(unit.conn, {"key": NAME, "count": 1, "blocked_until": None})


def without_its_count(unit: Unit) -> None:
    unit.conn.execute(text("INSERT INTO tries (key, count) VALUES (:key, NULL)"), {"key": NAME})


def fail(error: Exception, cause: Exception | None = None) -> None:
    raise error from cause


def log_text() -> str:
    """What stands in the log of the error at hand."""
    record = logging.LogRecord("a", logging.ERROR, "a.py", 1, "it failed", (), sys.exc_info())
    return WithoutData().format(record)


@pytest.mark.parametrize("write", [by_the_toolkit, on_the_driver, without_its_count])
def test_an_error_of_the_database_does_not_name_people_in_the_log(
    service: Service, write: Callable[[Unit], None]
) -> None:
    def act(unit: Unit) -> Done[None]:
        write(unit)
        write(unit)
        return Done(None, Deed(Kind.CALL, NAME, {}))

    try:
        service.store.act_now(MeetId(new_id()), Actor("somebody"), act)
    except (DBAPIError, service.store.engines.driver_error):
        shown = log_text()
    assert "IntegrityError" in shown or "Violation" in shown
    assert "constraint" in shown
    assert "test_logs.py" in shown
    assert NAME not in shown


def test_input_that_does_not_fit_is_not_shown_in_the_log() -> None:
    try:
        MeetIn.model_validate({"name": NAME, "organiser": NAME})
    except ValidationError:
        shown = log_text()
    assert "validation error" in shown
    assert NAME not in shown


def test_every_cause_stands_in_the_log_with_its_place() -> None:
    try:
        try:
            fail(KeyError(7))
        except KeyError as error:
            fail(OSError(f"the disk is gone\n{NAME}"), error)
    except OSError:
        shown = log_text()
    assert "builtins.OSError: the disk is gone\n" in shown
    assert "because of builtins.KeyError: 7\n" in shown
    assert shown.count("test_logs.py") == 4
    assert NAME not in shown


def test_a_line_of_the_log_says_when_in_utc(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    time.tzset()
    try:
        record = logging.LogRecord("a", logging.WARNING, "a.py", 1, "it failed", (), None)
        record.created = 1_781_352_190.25
        assert WithoutData("%(asctime)s %(message)s").format(record) == (
            "2026-06-13T12:03:10.250000Z it failed"
        )
    finally:
        monkeypatch.undo()
        time.tzset()


def test_the_whole_process_keeps_this_log(capsys: pytest.CaptureFixture[str]) -> None:
    root = logging.getLogger()
    before, level = root.handlers[:], root.level
    root.handlers.clear()
    try:
        keep_log()
        fail(OSError(f"the disk is gone\n{NAME}"))
    except OSError:
        logging.getLogger("app.somewhere").exception("it failed")
    finally:
        root.handlers[:], root.level = before, level
    shown = capsys.readouterr().err
    assert "it failed" in shown
    assert "the disk is gone" in shown
    assert NAME not in shown
