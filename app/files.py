"""Files that a command is given: read as far as a list can be long, written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Mapping
from pathlib import Path

from app.sheets.limits import MAX_FILE_BYTES


class NotRead(OSError):
    """A file that could not be read; its message names it, and says the way out."""


class NotWritten(OSError):
    """A file that could not be written; its message names it, and says the way out."""


def read_list(path: Path) -> bytes:
    """The file as far as a list can be long: what is longer is refused by its reader. Raises
    NotRead.
    """
    try:
        with path.open("rb") as file:
            return file.read(MAX_FILE_BYTES + 1)
    except OSError as error:
        why = error.strerror or error
        raise NotRead(f"{path} could not be read ({why}). Name a list that is there") from error


def write_whole(contents: Mapping[Path, bytes], mode: int | None = None) -> None:
    """Write each file beside what is there, and put all in place once they are whole on the disk;
    when this returns their names are there as well, also after the power has failed. Without a mode
    it is that of the file before, else the usual one. What is no file, such as a pipe, is written
    to as it is. Raises NotWritten.
    """
    fresh: dict[Path, Path] = {}
    path = Path()
    try:
        for path, content in contents.items():
            if is_no_file(path):
                path.write_bytes(content)
            else:
                target = path.resolve()  # a link goes on leading to what is written
                fresh[target] = target.with_name(f"{target.name}.{os.getpid()}.new")
                _write(fresh[target], content, _mode_of(target) if mode is None else mode)
        for path, beside in fresh.items():
            beside.rename(path)
        for folder in {path.parent for path in fresh}:
            _sync_folder(folder)
    except OSError as error:
        why = error.strerror or error
        raise NotWritten(
            f"{path} could not be written ({why}); what stood there is as it was. Make room, or "
            "write to another place"
        ) from error
    finally:
        for beside in fresh.values():
            beside.unlink(missing_ok=True)


def is_no_file(path: Path) -> bool:
    """Whether it leads to a pipe, a terminal or the like, which is written to as it is."""
    return path.exists() and not path.is_file() and not path.is_dir()


def _mode_of(path: Path) -> int | None:
    return stat.S_IMODE(path.stat().st_mode) if path.exists() else None


def _write(fresh: Path, content: bytes, mode: int | None) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW
    descriptor = os.open(fresh, flags, 0o666 if mode is None else mode)
    with os.fdopen(descriptor, "wb") as out:
        if mode is not None:
            os.fchmod(descriptor, mode)
        out.write(content)
        out.flush()
        os.fsync(descriptor)


def _sync_folder(folder: Path) -> None:
    """That its names are on the disk, too. Not of a folder that may not be read, nor on a file
    system that knows no such thing: what is written is in place all the same.
    """
    if not os.access(folder, os.R_OK):
        return
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno != errno.EINVAL:
            raise
    finally:
        os.close(descriptor)
