"""Does an exported record say what was recorded? Checked without a database or a network.

Every entry is hashed again, every body is held against its commitment, the order of the entries is
looked at (their times are not: a clock may be set back), and the root over all of it is compared
with the head on the last line. A body that is missing must have been erased: a later entry says
so, when, by whom and for what. Where none does, it was taken away.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import rfc8785

from app.record.kinds import Kind
from app.record.log import commitment
from app.record.merkle import Frontier, leaf_hash

LONGEST_LINE = 4 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Erasure:
    """What an entry says of an erasure: which entries lost their bodies, and in whose name."""

    seq: int
    at: str
    by: str
    because: str
    entries: frozenset[int]

    def __str__(self) -> str:
        return f"erased on {self.at[:10]}, by {self.by}, for: {self.because}"


@dataclass(slots=True)
class Checked:
    """What a check found: the head it computed, and every mismatch with its place.

    `head_root` is the root that the export itself says, None where it has no head; `erased` how
    many bodies are missing that an erasure names, `erasures` what the record says of them; `roots`
    are those over as many first entries as was asked for.
    """

    size: int = 0
    root: str = ""
    head_root: str | None = None
    erased: int = 0
    erasures: list[Erasure] = field(default_factory=list)
    mismatches: list[str] = field(default_factory=list)
    roots: dict[int, str] = field(default_factory=dict)

    @property
    def is_good(self) -> bool:
        return not self.mismatches


def check_lines(lines: Iterable[str], sizes: Collection[int] = ()) -> Checked:
    """Check an export line by line; nothing in it makes this raise. The roots over so many first
    entries as `sizes` says are kept.
    """
    checked, frontier, head = Checked(), Frontier(), None
    meet: str | None = None
    bare: dict[int, str] = {}
    for number, line in enumerate(lines, start=1):
        if head is not None:
            checked.mismatches.append(f"line {number}: something follows the head")
            break
        document = _read_line(line)
        if isinstance(document, dict) and isinstance(document.get("head"), dict):
            head = document["head"]
            checked.head_root = str(head.get("root"))
            continue
        entry = document.get("entry") if isinstance(document, dict) else None
        if not isinstance(entry, str):
            checked.mismatches.append(f"line {number}: this is no entry")
            continue
        frontier = frontier.grow(leaf_hash(entry.encode("utf-8", "surrogatepass")))
        if frontier.size in sizes:
            checked.roots[frontier.size] = frontier.root.hex()
        facts = _read_line(entry)
        if not isinstance(facts, dict):
            checked.mismatches.append(f"line {number}: the entry cannot be read")
            continue
        meet = meet or facts.get("meet")
        if document.get("salt") is None and document.get("body") is None:
            bare[frontier.size] = f"line {number} (entry {facts.get('seq')})"
        checked.mismatches += _look_at(number, frontier.size, meet, entry, facts, document)
        checked.erasures += _erasures(frontier.size, facts, document)
    checked.size, checked.root = frontier.size, frontier.root.hex()
    checked.mismatches += _compare_erased(checked, bare)
    checked.mismatches += _compare_head(checked, head, meet)
    return checked


def _read_line(line: str) -> Any:
    if len(line) > LONGEST_LINE:
        return None
    try:
        return json.loads(line)
    except (ValueError, RecursionError):
        return None


def _look_at(
    number: int,
    size: int,
    meet: str | None,
    entry: str,
    facts: dict[str, Any],
    line: dict[str, Any],
) -> Iterator[str]:
    """Everything that is wrong with one entry, with its place."""
    place = f"line {number} (entry {facts.get('seq')})"
    if facts.get("seq") != size:
        yield f"{place}: expected entry {size} here; one was removed, added or moved"
    if facts.get("meet") != meet:
        yield f"{place}: the entry belongs to another meet's record"
    if _canonical(facts) != entry:
        yield f"{place}: the entry is not in its canonical form"
    salt, body = line.get("salt"), line.get("body")
    if salt is None and body is None:
        return
    if _committed(salt, body) != facts.get("commitment"):
        yield f"{place}: what was done does not match the entry's commitment"


def _erasures(size: int, facts: dict[str, Any], line: dict[str, Any]) -> Iterator[Erasure]:
    """What an entry says of an erasure, none for any other entry. Only earlier ones are erased."""
    body = line.get("body")
    if facts.get("kind") != Kind.ERASED.value or not isinstance(body, str):
        return
    told = _read_line(body)
    named = told.get("entries") if isinstance(told, dict) else None
    if not isinstance(named, list):
        return
    entries = frozenset(seq for seq in named if type(seq) is int and 0 < seq < size)
    at, by, because = (
        _shown(one) for one in (facts.get("at"), told.get("by"), told.get("because"))
    )
    yield Erasure(size, at, by, because, entries)


def _shown(text: Any) -> str:
    """A text of the export as it can be shown: nothing in it moves the cursor."""
    return "".join(one if one.isprintable() else "?" for one in str(text)[:500])


def _compare_erased(checked: Checked, bare: dict[int, str]) -> Iterator[str]:
    """Bodies that are missing and were not erased, and the other way round."""
    named = frozenset[int]().union(*(erasure.entries for erasure in checked.erasures))
    checked.erased = len(named & bare.keys())
    for seq in sorted(bare.keys() - named):
        yield f"{bare[seq]}: what was done is missing, and no entry says that it was erased"
    for seq in sorted(named - bare.keys()):
        yield f"entry {seq}: it is said to be erased, and what was done is there"


def _canonical(facts: dict[str, Any]) -> str | None:
    try:
        return rfc8785.dumps(facts).decode()
    except (rfc8785.CanonicalizationError, UnicodeError, RecursionError):
        return None


def _committed(salt: Any, body: Any) -> str | None:
    try:
        return commitment(bytes.fromhex(salt), body.encode())
    except (TypeError, ValueError, AttributeError, UnicodeError):
        return None


def _compare_head(checked: Checked, head: Any, meet: str | None) -> Iterator[str]:
    if head is None:
        yield "the last line: the head is missing, so the end may have been cut off"
        return
    if head.get("size") != checked.size:
        yield f"the head: it says {head.get('size')} entries, there are {checked.size}"
    if head.get("root") != checked.root:
        yield f"the head: its root is {head.get('root')}, the entries give {checked.root}"
    if meet is not None and head.get("meet") != meet:
        yield "the head: it belongs to another meet"
