"""Files that a command is given and writes: nothing that was there is lost, and nothing half."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from resource import RLIMIT_FSIZE, getrlimit, setrlimit

import pytest

from app.files import NotWritten, read_list, write_whole
from app.sheets.limits import MAX_FILE_BYTES


@contextmanager
def a_full_disk(room: int = 0) -> Iterator[None]:
    """No file grows beyond so many bytes: write(2) fails, as it does where no room is left."""
    before = getrlimit(RLIMIT_FSIZE)
    setrlimit(RLIMIT_FSIZE, (room, before[1]))
    try:
        yield
    finally:
        setrlimit(RLIMIT_FSIZE, before)


def test_on_a_full_disk_every_file_stays_as_it_was_and_the_way_out_is_told(tmp_path: Path) -> None:
    first, second = tmp_path / "plan.csv", tmp_path / "sheets.pdf"
    first.write_text("the plan before")
    with a_full_disk(100), pytest.raises(NotWritten) as failed:
        write_whole({first: b"short", second: b"long" * 100})
    assert str(failed.value) == (
        f"{second} could not be written (File too large); what stood there is as it was. Make "
        "room, or write to another place"
    )
    assert first.read_text() == "the plan before"
    assert list(tmp_path.iterdir()) == [first]


def test_what_is_written_keeps_the_mode_and_the_link_that_led_to_it(tmp_path: Path) -> None:
    kept = tmp_path / "kept.csv"
    kept.write_text("before")
    kept.chmod(0o640)
    link = tmp_path / "plan.csv"
    link.symlink_to(kept)
    write_whole({link: b"after"})
    assert link.is_symlink()
    assert kept.read_text() == "after"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o640


def test_a_new_file_has_the_mode_that_any_file_gets(tmp_path: Path) -> None:
    write_whole({tmp_path / "plan.csv": b"after"})
    (tmp_path / "usual").touch()
    modes = {stat.S_IMODE(one.stat().st_mode) for one in tmp_path.iterdir()}
    assert len(modes) == 1


def test_what_goes_into_a_pipe_goes_through_it(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reading = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_whole({pipe: b"a plan"})
        assert os.read(reading, 100) == b"a plan"
    finally:
        os.close(reading)
    assert pipe.is_fifo()


def test_a_list_is_read_no_further_than_one_can_be_long(tmp_path: Path) -> None:
    """The file is sparse, of 6 GB: read as a whole, it would take as much memory."""
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        file.truncate(6 * 10**9)
    assert len(read_list(large)) == MAX_FILE_BYTES + 1
    assert len(read_list(Path("/dev/zero"))) == MAX_FILE_BYTES + 1


def test_a_folder_that_is_never_synced_keeps_nothing_from_being_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some file systems know no sync of a folder (fsync(2): EINVAL)."""

    def sync(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(errno.EINVAL, "Invalid argument")

    monkeypatch.setattr(os, "fsync", sync)
    write_whole({tmp_path / "plan.csv": b"after"})
    assert (tmp_path / "plan.csv").read_bytes() == b"after"
