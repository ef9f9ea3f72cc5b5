"""What came of everything that was asked: how long it took, what failed, and what was acknowledged.

What people did is kept for each meet apart, to be held against its record at the end.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from app.record.kinds import Kind
from tests.faults.acts import Act, Told
from tests.faults.history import COMPARED, Entry, History

FLAG_HEARD = "flag → event at the head official's feed"
FLAG_SEEN = "flag → head official's page, read anew"
REPORT_RULED = "report → ruling, less waiting and thinking"
RULING_ANNOUNCED = "ruling → announced, less thinking"
SPANS = (FLAG_HEARD, FLAG_SEEN, REPORT_RULED, RULING_ANNOUNCED)


@dataclass(slots=True)
class Ledger:
    """Of all meets together, while the clock runs. Seconds of the clock on the wall."""

    answers: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    unchanged: Counter[str] = field(default_factory=Counter)
    """How many of them said that nothing is new (304)."""
    spans: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    thought: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    """What was taken out of a span: people who think, or have something else in hand."""
    errors: Counter[str] = field(default_factory=Counter)
    overtaken: Counter[str] = field(default_factory=Counter)
    """Refused since somebody else was first, as it should be."""
    late: list[float] = field(default_factory=list)
    """How much later than meant somebody here woke: what the load itself was short of."""


class Account:
    """What the people of one meet did and were told, as its record should have it."""

    def __init__(self) -> None:
        self.history = History()
        # By the address of each, which has its id.
        self._done: dict[Kind, set[str]] = defaultdict(set)
        self._open: dict[Kind, set[str]] = defaultdict(set)
        self._sent: Counter[str] = Counter()
        self.flags_heard: Counter[str] = Counter()
        """How often each came to the head official's feed."""

    def attempt(self, act: Act) -> None:
        self._open[act.kind].add(act.path)
        self._sent[act.path] += 1
        if act.kind in COMPARED:
            self.history.attempt(act)

    def hear(self, act: Act, told: Told | None) -> None:
        """Note an answer, or that none came that says what became of it."""
        if told is None or told.status >= 500:
            return
        is_taken = told.status in {200, 201}
        if is_taken:
            self._done[act.kind].add(act.path)
        # What has no id of its own is refused as done already, if the answer alone was lost.
        if is_taken or self._sent[act.path] == 1:
            self._open[act.kind].discard(act.path)
        if act.kind in COMPARED:
            self.history.hear(act, told)

    @property
    def acknowledged(self) -> Counter[str]:
        return Counter({kind.value: len(done) for kind, done in self._done.items()})

    @property
    def unknown(self) -> int:
        """How many acts were sent of which nobody was told what became of them."""
        return sum(map(len, self._open.values()))

    def amiss(self, entries: Iterable[Entry]) -> list[str]:
        """What the record has otherwise than people were told, in words."""
        found = list(entries)
        verdict = self.history.judge(one for one in found if one.kind in COMPARED)
        told = [f"{name}: {keys}" for name, keys in verdict.amiss.items()]
        often = Counter(one.kind for one in found)
        for kind in self._done.keys() | self._open.keys():
            least, most = len(self._done[kind]), len(self._done[kind] | self._open[kind])
            if not least <= often[kind] <= most:
                told.append(f"{kind}: {least} were acknowledged, the record has {often[kind]}")
        return told

    def flags_amiss(self) -> list[str]:
        """Flags that the head official never saw, or twice."""
        shown = [ident for kind, ident in self.history.acknowledged if kind is Kind.CALL]
        return [
            f"flag {ident} came to the head official {self.flags_heard[ident]} times"
            for ident in shown
            if self.flags_heard[ident] != 1
        ]
