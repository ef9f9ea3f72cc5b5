"""The command line: serving as a real process, migrating, checking, backup and restore."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from app.cli import main
from app.ids import new_id
from tests.builders import a_meet_document

KEY = "a-setup-key-for-this-test"


def environment(folder: Path) -> Mapping[str, str]:
    database = f"sqlite:///{folder / 'meet.db'}"
    return {**os.environ, "DATABASE_URL": database, "ZONEDOCKET_SETUP_KEY": KEY}


@contextmanager
def serving(folder: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A real server process on a free port, and its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "serve", "--port", "0"],
        env=environment(folder),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    try:
        line = process.stdout.readline()
        assert line.startswith("Serving "), line
        yield process, line.split()[1]
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def make_meet(address: str) -> str:
    meet = new_id()
    made = httpx.put(
        f"{address}/api/meets/{meet}",
        json=a_meet_document(),
        headers={"Authorization": f"Bearer {KEY}"},
    )
    assert made.status_code == 201, made.text
    return meet


def join_organiser(address: str, meet: str, document: dict[str, object]) -> str:
    organiser = document["organiser"]
    assert isinstance(organiser, dict)
    link = httpx.put(
        f"{address}/api/meets/{meet}/officials/{organiser['id']}/join-links/{new_id()}",
        headers={"Authorization": f"Bearer {KEY}"},
    ).json()
    joined = httpx.post(
        f"{address}/api/join",
        json={"token": link["token"], "session": new_id(), "pin": "480213"},
    )
    return str(joined.json()["token"])


def test_what_was_answered_is_there_after_a_kill(tmp_path: Path) -> None:
    with serving(tmp_path) as (process, address):
        meets = [make_meet(address) for _ in range(5)]
        process.send_signal(signal.SIGKILL)
        process.wait()
    with serving(tmp_path) as (_, address):
        for meet in meets:
            assert httpx.get(f"{address}/api/meets/{meet}").status_code == 200


def test_sigterm_says_goodbye_on_open_streams_and_ends_at_once(tmp_path: Path) -> None:
    with serving(tmp_path) as (process, address):
        meet, document = new_id(), a_meet_document()
        httpx.put(
            f"{address}/api/meets/{meet}",
            json=document,
            headers={"Authorization": f"Bearer {KEY}"},
        )
        token = join_organiser(address, meet, document)
        with httpx.stream(
            "GET",
            f"{address}/api/meets/{meet}/feed?after=0",
            headers={"Authorization": f"Bearer {token}"},
            timeout=10,
        ) as stream:
            lines = stream.iter_lines()
            assert next(lines) == "retry: 1000"
            began = time.monotonic()
            process.send_signal(signal.SIGTERM)
            assert "event: bye" in list(lines)
        assert process.wait(5) == 0
        assert time.monotonic() - began < 2


def test_a_second_server_on_the_same_file_is_refused(tmp_path: Path) -> None:
    with serving(tmp_path):
        second = subprocess.run(
            [sys.executable, "-m", "app", "serve", "--port", "0"],
            env=environment(tmp_path),
            capture_output=True,
            text=True,
            timeout=30,
            check=False,
        )
    assert second.returncode == 1
    assert "Another process uses" in second.stderr


def test_ready_means_the_schema_is_this_programs(tmp_path: Path) -> None:
    with serving(tmp_path) as (_, address):
        assert httpx.get(f"{address}/readyz").json()["status"] == "ready"
        assert httpx.get(f"{address}/healthz").status_code == 200
        assert "zonedocket_open_cases 0.0" in httpx.get(f"{address}/metrics").text


def test_a_backup_taken_while_writing_is_whole_and_restores(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.db"
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'meet.db'}")
    with serving(tmp_path) as (_, address):
        first = make_meet(address)
        stop = threading.Event()

        def keep_writing() -> None:
            while not stop.is_set():
                make_meet(address)

        writer = threading.Thread(target=keep_writing)
        writer.start()
        time.sleep(0.2)
        assert main(["backup", str(copy)]) == 0
        stop.set()
        writer.join()
        assert main(["restore", str(copy), "--replace"]) == 1  # the server still runs
    assert main(["restore", str(copy)]) == 1  # a database is there
    assert main(["restore", str(copy), "--replace"]) == 0
    assert "Restored" in capsys.readouterr().out
    with sqlite3.connect(tmp_path / "meet.db") as conn:
        heads = dict(conn.execute("SELECT meet_id, size FROM record_heads"))
        entries = dict(conn.execute("SELECT meet_id, count(*) FROM record_entries GROUP BY 1"))
    conn.close()
    assert heads == entries
    with serving(tmp_path) as (_, address):
        assert httpx.get(f"{address}/api/meets/{first}").status_code == 200


def test_a_damaged_copy_is_not_restored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'meet.db'}")
    bad = tmp_path / "bad.db"
    bad.write_bytes(b"this is no database" * 1000)
    assert main(["restore", str(bad)]) == 1
    assert "not a database" in capsys.readouterr().err
    assert not (tmp_path / "meet.db").exists()


def test_every_command_explains_itself_with_an_example(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for command in ("demo", "serve", "migrate", "check", "backup", "restore"):
        with pytest.raises(SystemExit) as ended:
            main([command, "--help"])
        assert ended.value.code == 0
        assert "Example: python -m app" in capsys.readouterr().out


def test_a_failed_command_ends_non_zero_and_says_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(tmp_path / "nothing.jsonl")]) == 1
    monkeypatch.setenv("DATABASE_URL", "mysql://somewhere/else")
    assert main(["migrate"]) == 1
    assert "must be sqlite" in capsys.readouterr().err
