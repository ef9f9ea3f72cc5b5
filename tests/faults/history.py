"""Was anything lost that had been acknowledged? A set checker over all that was sent.

In the sense of Jepsen's `set` checker (https://github.com/jepsen-io/jepsen, `checker.clj`): what is
read at the end is held against what was attempted and what was acknowledged. An answer that did not
come, or a 5xx, says neither yes nor no: the outcome is unknown, never "failed", and what was so and
is read all the same was recovered. Beyond that checker, whatever was refused may not be read, and
nothing may be read twice, or otherwise than it was sent.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from app.record.kinds import Kind
from tests.faults.acts import Act, Key, Told

COMPARED: Mapping[Kind, tuple[str, ...]] = {
    Kind.CALL: ("heat", "post", "flag"),
    Kind.REPORT_WRITTEN: ("heat", "post", "lane", "observation", "words", "clock"),
    Kind.REPORT_WITHDRAWN: ("reason",),
    Kind.RULING: (),
    Kind.ANNOUNCEMENT: (),
    Kind.OFFICIAL_NAMED: ("name", "affiliation", "roles"),
    Kind.PROTEST_LODGED: ("words", "lodged_by"),
}
"""The kinds that are sent, and what of each is told in its entry's body as it was sent."""

UNTOUCHED = "Nothing was changed"


@dataclass(frozen=True, slots=True)
class Entry:
    """What the record says was done."""

    kind: Kind
    subject: str
    body: Mapping[str, Any]

    @property
    def key(self) -> Key:
        return self.kind, self.subject


@dataclass(frozen=True, slots=True)
class Verdict:
    """Everything but `recovered` must be empty."""

    lost: set[Key] = field(default_factory=set)
    unexpected: set[Key] = field(default_factory=set)
    duplicated: set[Key] = field(default_factory=set)
    refused_and_there: set[Key] = field(default_factory=set)
    untouched_and_there: set[Key] = field(default_factory=set)
    altered: set[Key] = field(default_factory=set)
    recovered: set[Key] = field(default_factory=set)

    @property
    def amiss(self) -> dict[str, list[Key]]:
        """What should be empty and is not."""
        found = {one.name: sorted(getattr(self, one.name)) for one in fields(self)}
        return {name: keys for name, keys in found.items() if keys and name != "recovered"}


class History:
    """All that was sent, and what became of it as far as its sender was told.

    Phones of many threads write into it: each of its changes is one step of the interpreter.
    """

    def __init__(self) -> None:
        self.attempted: dict[Key, Act] = {}
        self.acknowledged: dict[Key, Told] = {}
        self.refused: dict[Key, Told] = {}
        self.untouched: dict[Key, Told] = {}

    def attempt(self, act: Act) -> None:
        """An act is about to be sent, for the first time or again."""
        self.attempted[act.key] = act
        self.untouched.pop(act.key, None)

    def hear(self, act: Act, told: Told | None) -> None:
        """Note an answer, or that none came."""
        if told is None:
            return
        if told.status in {200, 201}:
            self.acknowledged[act.key] = told
        elif told.status < 500:
            self.refused[act.key] = told
        elif UNTOUCHED in str(told.document.get("detail")):
            self.untouched[act.key] = told

    @property
    def unknown(self) -> list[Act]:
        """What its sender does not know the outcome of, in the order in which it was sent."""
        known = self.acknowledged.keys() | self.refused.keys()
        return [act for key, act in list(self.attempted.items()) if key not in known]

    def judge(self, entries: Iterable[Entry]) -> Verdict:
        """Hold what was read against what was sent."""
        found = list(entries)
        there = {entry.key: entry for entry in found}
        often = Counter(entry.key for entry in found)
        read, known = there.keys(), self.attempted.keys()
        return Verdict(
            lost=set(self.acknowledged.keys() - read),
            unexpected=set(read - known),
            duplicated={key for key, number in often.items() if number > 1},
            refused_and_there=set(self.refused.keys() & read),
            untouched_and_there=set(self.untouched.keys() & read),
            altered={
                key
                for key in read & known
                if not says(self.attempted[key].body, there[key].body, COMPARED[key[0]])
            },
            recovered=set(read & known) - self.acknowledged.keys(),
        )


def says(sent: Mapping[str, Any], stored: Mapping[str, Any], names: Iterable[str]) -> bool:
    """Whether what was sent under these names is stored so; defaults may have been added to it."""
    return all(name in stored and _holds(sent.get(name), stored[name]) for name in names)


def _holds(sent: Any, stored: Any) -> bool:
    if isinstance(sent, Mapping) and isinstance(stored, Mapping):
        return says(sent, stored, sent)
    return bool(sent == stored)
