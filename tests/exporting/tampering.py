"""Exports in memory, for tests that change them: as somebody would who has no key, another key, or
the meet's own.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import IO, Any

from app.exporting.check_export import NOTHING_ASKED, Asked, Checker, OpenSSL, Report
from app.record.canonical import canonical
from app.record.log import commitment
from app.record.merkle import leaf_hash, root_over
from app.record.notes import Checkpoint, NoteKey

Files = dict[str, bytes]
Json = dict[str, Any]


class InMemory:
    """The files of an export, as the checker reads them."""

    def __init__(self, files: Files) -> None:
        self._files = files

    def files(self, report: Report) -> dict[str, int]:
        return {name: len(content) for name, content in self._files.items()}

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        yield BytesIO(self._files[name])


class Credulous(OpenSSL):
    """An openssl that finds everything good: what is found then, hashes alone have found."""

    def ask(self, arguments: list[str], files: dict[str, bytes], answer: str = "") -> bytes:
        return files.get("trusted", b"").split(b"\n\n")[0] if answer else b""


def read_files(folder: Path) -> Files:
    return {
        one.relative_to(folder).as_posix(): one.read_bytes()
        for one in folder.rglob("*")
        if one.is_file()
    }


def checked(files: Files, asked: Asked = NOTHING_ASKED, *, credulous: bool = False) -> Report:
    checker = Checker(InMemory(files), asked)
    if credulous:
        checker.openssl = Credulous()
    return checker.run()


@dataclass
class Line:
    """A line of the record, taken apart."""

    entry: Json
    body: Json | None
    salt: str = "ab" * 32
    text: str | None = field(default=None)

    def written(self) -> tuple[bytes, bytes]:
        """The entry, committed to its body, and the whole line."""
        body = None if self.body is None else canonical(self.body)
        if body is not None:
            self.entry["commitment"] = commitment(bytes.fromhex(self.salt), body)
        entry = canonical(self.entry)
        told = {
            "entry": entry.decode(),
            "salt": None if body is None else self.salt,
            "body": None if body is None else body.decode(),
        }
        return entry, json.dumps(told, ensure_ascii=False).encode() + b"\n"


def lines_in(files: Files) -> list[Line]:
    lines = []
    for text in files["record.jsonl"].decode().splitlines()[:-1]:
        line = json.loads(text)
        body = None if line["body"] is None else json.loads(line["body"])
        lines.append(Line(json.loads(line["entry"]), body, line["salt"] or "ab" * 32))
    return lines


def rechain(files: Files, lines: list[Line]) -> None:
    """Write the record anew: all its hashes fit, its entries are numbered as they stand."""
    leaves, written, meet = [], [], lines[0].entry["meet"]
    for seq, line in enumerate(lines, start=1):
        line.entry["seq"] = seq
        entry, text = line.written()
        leaves.append(leaf_hash(entry))
        written.append(text)
    head = {"meet": meet, "size": len(lines), "root": root_over(leaves).hex()}
    files["record.jsonl"] = b"".join([*written, json.dumps({"head": head}).encode() + b"\n"])


def rewritten(files: Files, change: Callable[[list[Line]], None]) -> Files:
    """The export with its record changed and chained anew; no note and no manifest is made anew."""
    changed = dict(files)
    lines = lines_in(changed)
    change(lines)
    rechain(changed, lines)
    return changed


def head_in(files: Files) -> Json:
    head: Json = json.loads(files["record.jsonl"].splitlines()[-1])["head"]
    return head


def remanifest(files: Files, key: NoteKey | None = None) -> Files:
    """Make the manifest anew, signed where a key is at hand; without one the old note stays."""
    listed = sorted(name for name in files if not name.startswith("manifest."))
    made = [
        {"path": name, "sha256": sha256(files[name]).hexdigest(), "size": len(files[name])}
        for name in listed
    ]
    old = json.loads(files["manifest.json"])
    manifest = canonical({**old, "files": made, "head": head_in(files)})
    files["manifest.json"] = manifest
    if key is not None:
        text = f"zone-docket manifest\n{old['meet']}\n{sha256(manifest).hexdigest()}\n"
        files["manifest.note"] = key.sign_note(text).encode()
    return files


def resign_heads(files: Files, key: NoteKey) -> None:
    """Sign all heads anew, over the record as it now is, each when its last entry was made."""
    told = [line.entry for line in lines_in(files)]
    leaves = [leaf_hash(canonical(entry)) for entry in told]
    old = [name for name in files if name.startswith("checkpoints/")]
    origin = Checkpoint.parse(files[old[0]].decode().rpartition("\n\n")[0] + "\n").origin
    sizes = {min(int(name[len("checkpoints/") : -len(".note")]), len(leaves)) for name in old}
    for name in old:
        del files[name]
    for size in {*sizes, len(leaves)}:
        times = (f"time {told[size - 1]['at']}",)
        head = Checkpoint(origin, size, root_over(leaves[:size]), times)
        files[f"checkpoints/{size}.note"] = key.sign_note(head.body).encode()


def of_kind(lines: list[Line], kind: str) -> list[Line]:
    return [line for line in lines if line.entry["kind"] == kind]
