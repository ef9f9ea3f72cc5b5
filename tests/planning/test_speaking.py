"""A plan is written whoever reads along, wherever there is room, and Ctrl-C ends in words."""

from __future__ import annotations

import fcntl
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from app.cli import main
from tests.planning.files import a_crew, a_programme
from tests.test_files import a_full_disk

CREW = ("crew", "--officials", "crew.csv", "--programme", "programme.csv", "--out", "plan.csv")
SURVEY = ("survey", "--relay", "4x100", "--out", "survey")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """With two lists, and an older plan."""
    a_programme(tmp_path, ("10:00", "10:05", "10:10"))
    a_crew(tmp_path, [f"Umpire {number}" for number in range(1, 7)])
    (tmp_path / "plan.csv").write_text("the plan before")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def by_shell(command: str, folder: Path) -> tuple[int, str]:
    """How the command ended, and what it said on stdout."""
    called = f"set -o pipefail; {sys.executable} -m app {' '.join(CREW)} {command}"
    done = subprocess.run(
        ["bash", "-c", called], cwd=folder, capture_output=True, text=True, check=False
    )
    return done.returncode, done.stdout


@pytest.mark.parametrize("nobody", ["2>/dev/full", "2>&-", "2> >(true)"])
def test_progress_that_nobody_hears_ends_no_search_and_is_never_taken_for_the_result(
    folder: Path, nobody: str
) -> None:
    ended, out = by_shell(nobody, folder)
    assert ended == 0
    assert out.startswith("3 heats: ")
    assert (folder / "plan.csv").read_text().startswith("first,last,")


def test_whoever_reads_one_line_has_the_plan_all_the_same(folder: Path) -> None:
    ended, out = by_shell("2>&1 | head -1", folder)
    assert (ended, out.count("\n")) == (0, 1)
    assert (folder / "plan.csv").read_text().startswith("first,last,")


def test_a_plan_that_cannot_be_told_is_said_to_be_written(folder: Path) -> None:
    ended, out = by_shell("2>&1 >/dev/full", folder)
    assert ended == 1
    assert "zonedocket crew: plan.csv is written, but not all could be told of it: " in out
    assert "Exception ignored" not in out
    assert (folder / "plan.csv").read_text().startswith("first,last,")


def test_on_a_full_disk_the_older_plan_stays_and_the_new_one_is_printed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with a_full_disk():  # what is said goes to no file here
        assert main(CREW) == 1
    out, err = capsys.readouterr()
    assert (folder / "plan.csv").read_text() == "the plan before"
    assert out.startswith("first,last,event,")
    assert "Umpire 6" in out
    assert "zonedocket crew: plan.csv could not be written (File too large)" in err
    assert "The plan is what was printed" in err
    assert sorted(one.suffix for one in folder.iterdir()) == [".csv"] * 3


@pytest.mark.parametrize("command", [CREW, SURVEY])
def test_ctrl_c_while_all_is_loaded_ends_in_words_with_130(
    folder: Path, command: tuple[str, ...]
) -> None:
    """Each module is told on stderr once it is loaded. The pipe is short, and read as far as the
    first of those that come last: so the command still loads when it is stopped.
    """
    reading, writing = os.pipe()
    fcntl.fcntl(writing, fcntl.F_SETPIPE_SZ, 4096)
    # As at a terminal: what a shell begins in the background, tests among it, ignores Ctrl-C.
    heeding = ["env", "--default-signal=INT"]
    process = subprocess.Popen(
        [*heeding, sys.executable, "-X", "importtime", "-m", "app", *command],
        stdout=subprocess.PIPE,
        stderr=writing,
        text=True,
        cwd=folder,
    )
    os.close(writing)
    with os.fdopen(reading, "rb", buffering=0) as told:
        said = b""
        while b"sqlalchemy" not in said:
            said += told.read(256)
            assert process.poll() is None
        process.send_signal(signal.SIGINT)
        while more := told.read(4096):
            said += more
    out, _ = process.communicate(timeout=30)
    assert (process.returncode, out) == (130, "")
    last = [line for line in said.decode().splitlines() if not line.startswith("import time:")]
    assert last == ["zonedocket: stopped before it was done"]
    assert (folder / "plan.csv").read_text() == "the plan before"


def test_a_plan_goes_into_a_pipe_whoever_made_it(folder: Path) -> None:
    out = [one if one != "plan.csv" else "/dev/stdout" for one in CREW]
    done = subprocess.run(
        [sys.executable, "-m", "app", *out], cwd=folder, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr.count(b"could not")) == (0, 0)
    assert done.stdout.startswith(b"first,last,event,")


def test_a_plan_that_is_neither_written_nor_read_is_not_said_to_be_printed(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.cli.say", lambda _line: False)  # whoever read has gone
    with a_full_disk():
        assert main(CREW) == 1
    told = capsys.readouterr().err
    assert "plan.csv could not be written" in told
    assert "printed" not in told
