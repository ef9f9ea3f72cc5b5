"""A server that is started without a passphrase for its seals: where the one that it makes goes."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from pydantic import SecretStr

from app.cli import main
from app.config import Settings
from app.sealing.passphrase import insist_one_can_be_made, tell_passphrase

MADE = "quay lantern"


class Terminal(StringIO):
    """Somebody reads along."""

    def isatty(self) -> bool:
        return True


def settings(folder: Path) -> Settings:
    return Settings(_env_file=None).model_copy(
        update={
            "database_url": f"sqlite:///{folder / 'meet.db'}",
            "seal_folder": folder / "seal",
            "seal_passphrase": SecretStr(MADE),
        }
    )


def test_a_terminal_is_told_the_passphrase_and_no_file_is_written(tmp_path: Path) -> None:
    out = Terminal()
    tell_passphrase(settings(tmp_path), out)
    assert out.getvalue().endswith(f": {MADE}\n")
    assert list(tmp_path.iterdir()) == []


def test_a_log_is_told_only_the_file_that_its_owner_alone_can_read(tmp_path: Path) -> None:
    out, file = StringIO(), tmp_path / "seal.passphrase"
    tell_passphrase(settings(tmp_path), out)
    assert MADE not in out.getvalue()
    assert str(file) in out.getvalue()
    assert file.read_text() == f"{MADE}\n"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_no_second_passphrase_is_made_while_the_first_lies_there(tmp_path: Path) -> None:
    tell_passphrase(settings(tmp_path), StringIO())
    without = settings(tmp_path).model_copy(update={"seal_passphrase": SecretStr("")})
    with pytest.raises(ValueError, match=r"set ZONEDOCKET_SEAL_PASSPHRASE to what .*\.passphrase"):
        insist_one_can_be_made(without)
    insist_one_can_be_made(settings(tmp_path))
    assert (tmp_path / "seal.passphrase").read_text() == f"{MADE}\n"


def test_none_is_made_where_keys_lie_that_it_could_not_open(tmp_path: Path) -> None:
    without = settings(tmp_path).model_copy(update={"seal_passphrase": SecretStr("")})
    insist_one_can_be_made(without)
    without.seal_folder.mkdir()
    (without.seal_folder / "a-meet.p12").write_bytes(b"a key")
    with pytest.raises(ValueError, match="set ZONEDOCKET_SEAL_PASSPHRASE to the one that the keys"):
        insist_one_can_be_made(without)


def test_on_postgresql_no_server_starts_without_a_passphrase(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each worker would make its own, and none could open the others' keys."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("ZONEDOCKET_SEAL_PASSPHRASE", raising=False)
    monkeypatch.setenv("DATABASE_URL", "postgresql://nobody@127.0.0.1:9/none")
    assert main(["serve", "--port", "0"]) == 1
    out, why = capsys.readouterr()
    assert "ZONEDOCKET_SEAL_PASSPHRASE" in why
    assert "share" in why
    assert out == ""
    assert list(tmp_path.iterdir()) == []


def test_a_server_whose_words_go_into_a_log_does_not_log_its_passphrase(tmp_path: Path) -> None:
    set_here = {
        "DATABASE_URL": f"sqlite:///{tmp_path / 'meet.db'}",
        "ZONEDOCKET_SETUP_KEY": "k",
        "ZONEDOCKET_SEAL_FOLDER": str(tmp_path / "seal"),
        "ZONEDOCKET_SEAL_PASSPHRASE": "",
    }
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "serve", "--port", "0"],
        env=os.environ | set_here,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    lines = [process.stdout.readline(), process.stdout.readline()]
    process.terminate()
    said = "".join([*lines, process.communicate(timeout=20)[0]])
    assert "Serving http" in said
    passphrase = (tmp_path / "seal.passphrase").read_text().strip()
    assert len(passphrase) >= 32
    assert passphrase not in said


def test_no_secret_that_a_server_writes_where_it_is_started_can_be_taken_into_the_repository() -> (
    None
):
    root = Path(__file__).parents[2]
    ignored = (root / ".gitignore").read_text(encoding="utf-8").splitlines()
    folder = Settings.model_fields["seal_folder"].default
    assert {f"/{folder}/", f"/{folder}.passphrase"} <= set(ignored)
