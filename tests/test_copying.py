"""Putting a copy back: what is restored is whole, and until it is there the old one stays."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from app.cli import main
from app.migrating import migrate
from app.serving import bring_up_to_date
from app.store.engine import open_engines
from tests.test_command_line import make_meet, serving

NO_COPIES: dict[str, Callable[[Path], object]] = {}
"""Ways to spoil a good copy."""


def spoils(spoil: Callable[[Path], object]) -> Callable[[Path], object]:
    NO_COPIES[spoil.__name__.replace("_", " ")] = spoil
    return spoil


def change(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as conn, conn:
        for statement in statements:
            conn.execute(statement)


@spoils
def cut_off(copy: Path) -> None:
    os.truncate(copy, copy.stat().st_size * 2 // 3)


@spoils
def cut_to_nothing(copy: Path) -> None:
    os.truncate(copy, 0)


@spoils
def of_another_program(copy: Path) -> None:
    copy.unlink()
    change(copy, "CREATE TABLE notes (words)")


@spoils
def of_a_newer_program(copy: Path) -> None:
    change(copy, "UPDATE alembic_version SET version_num = '9999'")


@spoils
def with_a_page_overwritten(copy: Path) -> None:
    with copy.open("r+b") as file:
        file.seek(4096 * 3)
        file.write(b"\xff" * 4096)


@spoils
def with_a_body_rewritten(copy: Path) -> None:
    change(
        copy,
        "DROP TRIGGER record_bodies_refuse_update",
        "UPDATE record_bodies SET body = replace(body, 'Harbour', 'Harbor') WHERE seq = 1",
    )


@spoils
def with_a_guard_taken_away(copy: Path) -> None:
    change(copy, "DROP TRIGGER record_entries_refuse_update")


@spoils
def with_a_guard_that_lets_through(copy: Path) -> None:
    change(
        copy,
        "DROP TRIGGER record_entries_refuse_update",
        "CREATE TRIGGER record_entries_refuse_update BEFORE UPDATE ON record_entries "
        "BEGIN SELECT 1; END",
    )


@spoils
def with_a_head_that_nobody_signed(copy: Path) -> None:
    change(
        copy,
        "INSERT INTO checkpoints (meet_id, size, root, made_at, note) "
        "SELECT meet_id, 1, root, '2026-06-13 10:00:00.000000', 'no note' FROM record_heads",
    )


@spoils
def with_a_body_taken_away(copy: Path) -> None:
    change(copy, "DELETE FROM record_bodies WHERE seq = 1")


@spoils
def with_its_last_entry_taken_out(copy: Path) -> None:
    change(copy, "DROP TRIGGER record_entries_refuse_delete", "DELETE FROM record_entries")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two databases, made once. The last meet of `live` stands in the write-ahead log only: its
    server was killed. `apart` was closed well."""
    folder = tmp_path_factory.mktemp("made")
    for name in ("live", "apart"):
        (folder / name).mkdir()
        with serving(folder / name) as (process, address):
            make_meet(address)
            process.send_signal(signal.SIGKILL if name == "live" else signal.SIGTERM)
            process.wait()
    assert (folder / "live/meet.db-wal").stat().st_size > 0
    return folder


@pytest.fixture
def database(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The database that DATABASE_URL names."""
    for end in ("", "-wal"):
        shutil.copy(made / f"live/meet.db{end}", tmp_path)
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'meet.db'}")
    return tmp_path / "meet.db"


@pytest.fixture
def copy(made: Path, tmp_path: Path) -> Path:
    """A copy of another database, with one meet."""
    return Path(shutil.copy(made / "apart/meet.db", tmp_path / "copy.db"))


def meets(path: Path) -> set[str]:
    """The meets in a database, read from a copy of its files so that they stay as they are."""
    apart = path.parent / "looked at"
    apart.mkdir(exist_ok=True)
    for end in ("", "-wal"):
        (apart / f"it{end}").unlink(missing_ok=True)
        if Path(f"{path}{end}").exists():
            (apart / f"it{end}").write_bytes(Path(f"{path}{end}").read_bytes())
    with closing(sqlite3.connect(apart / "it")) as conn:
        return set(conn.execute("SELECT id FROM meets"))


def left_behind(database: Path) -> list[str]:
    return [path.name for path in database.parent.iterdir() if ".new" in path.name]


def restore(copy: Path, *more: str) -> int:
    return main(["restore", str(copy), *more])


def test_a_copy_takes_the_place_of_the_database_with_nothing_of_the_old_one_left(
    database: Path, copy: Path
) -> None:
    expected = meets(copy)
    assert restore(copy, "--replace") == 0
    assert meets(database) == expected
    assert not Path(f"{database}-wal").exists()
    assert left_behind(database) == []
    bring_up_to_date(f"sqlite:///{database}")
    with serving(database.parent) as (_, address):
        assert httpx.get(f"{address}/readyz").status_code == 200


def test_a_backup_is_one_file_that_is_restored_from_a_folder_that_cannot_be_written(
    database: Path, tmp_path: Path
) -> None:
    """SQLite database file format, 1.3.3: bytes 18 and 19 are 1 unless there is a log beside it."""
    expected = meets(database)
    folder = tmp_path / "handed over"
    folder.mkdir()
    backup = folder / "copy.db"
    assert main(["backup", str(backup)]) == 0
    assert backup.read_bytes()[18:20] == b"\x01\x01"
    with closing(sqlite3.connect(backup)) as conn:
        assert conn.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    folder.chmod(0o500)
    try:
        assert restore(backup, "--replace") == 0
        # Whoever may write everywhere is not held back by the folder: nothing was written there.
        assert [path.name for path in folder.iterdir()] == ["copy.db"]
    finally:
        folder.chmod(0o700)
    assert meets(database) == expected


@pytest.mark.parametrize("spoilt", sorted(NO_COPIES))
def test_a_copy_that_is_not_good_replaces_nothing(
    database: Path, copy: Path, spoilt: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = meets(database)
    NO_COPIES[spoilt](copy)
    assert restore(copy, "--replace") == 1
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert meets(database) == before
    assert left_behind(database) == []
    database.rename(database.with_name("away.db"))
    Path(f"{database}-wal").unlink(missing_ok=True)
    Path(f"{database}-shm").unlink(missing_ok=True)
    assert restore(copy) == 1
    assert not database.exists()


def test_a_copy_of_an_older_schema_is_restored_and_can_be_brought_up_to_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it lacks came later: 0007 has no table of signed heads, nor its guards."""
    old, again = tmp_path / "old.db", f"sqlite:///{tmp_path / 'meet.db'}"
    engines = open_engines(f"sqlite:///{old}")
    migrate(engines.writing, "0007")
    engines.dispose()
    monkeypatch.setenv("DATABASE_URL", again)
    assert restore(old) == 0
    assert bring_up_to_date(again)[0] == "0007"


@pytest.mark.parametrize("spoilt", sorted(NO_COPIES))
def test_what_is_wrong_with_a_copy_is_told_with_its_name(
    database: Path, copy: Path, spoilt: str, capsys: pytest.CaptureFixture[str]
) -> None:
    NO_COPIES[spoilt](copy)
    assert restore(copy, "--replace") == 1
    assert str(copy) in capsys.readouterr().err


def test_a_file_that_is_no_database_is_named(
    database: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = tmp_path / "results.txt"
    wrong.write_text("1. Tern 42.35\n" * 100)
    assert restore(wrong, "--replace") == 1
    assert capsys.readouterr().err == (
        f"zonedocket restore: {wrong} cannot be restored: file is not a database\n"
    )


def test_a_database_that_is_none_is_not_copied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = tmp_path / "meet.db"
    wrong.write_text("1. Tern 42.35\n" * 100)
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{wrong}")
    assert main(["backup", str(tmp_path / "copy.db")]) == 1
    assert f"{wrong} cannot be copied" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["meet.db"]


@pytest.mark.parametrize("link", ["itself", "another spelling", "symbolic", "hard"])
def test_the_database_is_never_restored_from_itself(
    database: Path, link: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = meets(database)
    other = database.parent / "other.db"
    if link == "symbolic":
        other.symlink_to(database)
    if link == "hard":
        other.hardlink_to(database)
    named = {
        "itself": database,
        "another spelling": Path(f"{database.parent}/../{database.parent.name}/meet.db"),
    }.get(link, other)
    assert restore(named, "--replace") == 1
    assert "the database itself" in capsys.readouterr().err
    assert meets(database) == before


def test_a_database_that_is_a_link_is_replaced_where_it_leads(
    database: Path, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    link, expected = database.with_name("link.db"), meets(copy)
    link.symlink_to(database)
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{link}")
    assert restore(copy, "--replace") == 0
    assert link.is_symlink()
    assert meets(database) == expected


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_disk_that_fails_at_the_last_steps_leaves_the_old_database(
    database: Path, copy: Path, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_arguments: object) -> None:
        raise OSError(5, "Input/output error")

    before = meets(database)
    with monkeypatch.context() as broken:
        broken.setattr(os, step, fail)
        assert restore(copy, "--replace") == 1
    assert meets(database) == before
    assert left_behind(database) == []
    assert restore(copy, "--replace") == 0


def test_a_file_in_the_way_of_the_new_one_is_nobodys_to_delete(
    database: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before, kept = meets(database), database.with_name("meet.db.new")
    copy.rename(kept)
    assert restore(kept, "--replace") == 1
    assert "in the way" in capsys.readouterr().err
    assert kept.stat().st_size > 0
    assert meets(database) == before


def test_a_database_that_somebody_has_open_is_not_replaced(
    database: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = meets(database)
    engines = open_engines(f"sqlite:///{database}")
    with engines.reading.connect() as reader:
        reader.exec_driver_sql("SELECT count(*) FROM meets")
        assert restore(copy, "--replace") == 1
    engines.dispose()
    assert "cannot be replaced" in capsys.readouterr().err
    assert meets(database) == before


def test_a_damaged_database_is_kept_until_somebody_moves_it_away(
    database: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    expected = meets(copy)
    Path(f"{database}-wal").unlink()
    database.write_bytes(b"this is no database any more" * 100)
    assert restore(copy, "--replace") == 1
    assert "move it away" in capsys.readouterr().err
    database.rename(database.with_name("damaged.db"))
    Path(f"{database}-shm").unlink(missing_ok=True)
    Path(f"{database}-wal").write_bytes(b"what is left of it")
    assert restore(copy) == 1
    assert "left of another database" in capsys.readouterr().err
    Path(f"{database}-wal").unlink()
    assert restore(copy) == 0
    assert meets(database) == expected


def test_a_backup_of_nothing_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'none.db'}")
    assert main(["backup", str(tmp_path / "copy.db")]) == 1
    assert "there is no database" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_only_the_owner_reads_a_database_and_its_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{tmp_path / 'meet.db'}")
    before = os.umask(0)
    try:
        with serving(tmp_path) as (_, address):
            make_meet(address)
            assert main(["backup", str(tmp_path / "copy.db")]) == 0
            modes = {path.name: path.stat().st_mode & 0o777 for path in tmp_path.glob("*.db*")}
    finally:
        os.umask(before)
    assert {"meet.db", "meet.db-wal", "copy.db"} <= modes.keys()
    assert set(modes.values()) == {0o600}, modes
