"""Where the files of an export go: a folder, or one ZIP; each is written once and never held whole.

What was written is remembered with its size and SHA-256: that becomes the manifest.
"""

from __future__ import annotations

import os
import shutil
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import IO, Protocol

PACKED = (".json", ".jsonl", ".csv", ".txt", ".py", ".note", ".pem")
"""What deflating makes smaller; papers and pictures are packed already."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A file that was written: its path in the export, its size, and its SHA-256 in hex."""

    path: str
    size: int
    sha256: str


class Place(Protocol):
    """A folder or a ZIP that takes files."""

    def add(self, path: str, parts: Iterable[bytes]) -> Listed:
        """Write a file of these parts, one after another."""
        ...


class FolderPlace:
    """A folder on the disk."""

    def __init__(self, root: Path) -> None:
        self._root = root

    def add(self, path: str, parts: Iterable[bytes]) -> Listed:
        target = self._root / path
        target.parent.mkdir(exist_ok=True)
        with target.open("xb") as file:
            return _written(path, parts, file)


class ZipPlace:
    """One ZIP. All its files bear the instant of the export, in UTC."""

    def __init__(self, file: zipfile.ZipFile, made_at: datetime) -> None:
        self._zip = file
        self._made_at = made_at

    def add(self, path: str, parts: Iterable[bytes]) -> Listed:
        made = self._made_at
        info = zipfile.ZipInfo(
            path, (made.year, made.month, made.day, made.hour, made.minute, made.second)
        )
        info.external_attr = 0o100644 << 16
        packed = path.endswith(PACKED)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        with self._zip.open(info, "w", force_zip64=True) as file:
            return _written(path, parts, file)


def _written(path: str, parts: Iterable[bytes], file: IO[bytes]) -> Listed:
    hashed, size = sha256(), 0
    for part in parts:
        file.write(part)
        hashed.update(part)
        size += len(part)
    return Listed(path, size, hashed.hexdigest())


@contextmanager
def a_zip(file: IO[bytes], made_at: datetime) -> Iterator[Place]:
    """One ZIP, written to an open file."""
    with zipfile.ZipFile(file, "w") as opened:
        yield ZipPlace(opened, made_at)


@contextmanager
def a_place(path: Path, made_at: datetime) -> Iterator[Place]:
    """A new ZIP where the path ends so, else a new folder; it appears when it is whole.

    ValueError where something is there already, save an empty folder.
    """
    if path.exists() and not (path.is_dir() and not any(path.iterdir())):
        raise ValueError(f"{path} is there already; choose another name")
    fresh = path.with_name(f"{path.name}.new")
    if fresh.exists():
        raise ValueError(f"{fresh} is in the way; move it elsewhere first")
    try:
        if path.suffix.lower() == ".zip":
            with _private(fresh) as file, a_zip(file, made_at) as place:
                yield place
        else:
            fresh.mkdir(mode=0o700)  # it holds names
            yield FolderPlace(fresh)
        fresh.replace(path)
    except BaseException:
        _remove(fresh)
        raise


@contextmanager
def _private(path: Path) -> Iterator[IO[bytes]]:
    opened = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(opened, "w+b") as file:
        yield file


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
