"""How may a row differ from its entry because something was erased?

An erasure takes names and words out of rows, and the bodies of the entries that tell them; its own
entry says what each of those rows says since, as a digest. One of before that was kept names only
the entries whose bodies went: what such an entry told, nobody can tell any more.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeAlias

from sqlalchemy import Connection

from app.ids import MeetId
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.record.queries import Sound

Row: TypeAlias = Mapping[str, Any]
Says: TypeAlias = Mapping[str, Any]
"""What a row says, as far as the record tells it, under names of its own."""


def digest_said(says: Says) -> str:
    """The digest of what a row says; empty where it says what no document can hold."""
    try:
        return digest_of(dict(says))
    except (ValueError, TypeError):
        return ""


def agrees(says: Says, told: Says, *, runs_moved: bool = False) -> bool:
    """Whether a row says what its entry tells, as far as that names it. Of a meet of before
    (`counted_from_none`) a run may have been moved on by one since.
    """
    differing = {name for name, value in told.items() if says[name] != value}
    if differing != {"run"} or not runs_moved:
        return not differing
    return bool(says["run"] == (told["run"] or 0) + 1)


def counted_from_none(one: Sound) -> bool:
    """Whether a meet was made when the runs of a heat that nobody had started were counted from
    none: its rows were counted anew since, and entries are never changed. No jury was known then.
    """
    return one.body is not None and "jury" not in one.body.get("terms", {})


@dataclass(slots=True)
class Erasures:
    """What the erasures of a meet say of rows."""

    left: dict[str, set[str]] = field(default_factory=dict)
    went_before: set[int] = field(default_factory=set)

    @classmethod
    def of(cls, entries: Iterable[Sound]) -> Erasures:
        """What these entries say, of the kind `erased`."""
        found = cls()
        for one in entries:
            found.add(one)
        return found

    def add(self, one: Sound) -> None:
        """What one more of them says; nothing where its own body has gone."""
        body = one.body or {}
        left, entries = body.get("rows_left"), body.get("entries")
        if isinstance(left, dict):
            for ident, digest in left.items():
                self.left.setdefault(ident, set()).add(str(digest))
        if "rows_left" not in body and isinstance(entries, list):
            self.went_before.update(seq for seq in entries if isinstance(seq, int))

    def explain(self, ident: str, digest: str, gone: Iterable[Sound]) -> bool:
        """Whether one left the row so; `gone` are the entries without a body that may have told of
        it.
        """
        if digest in self.left.get(ident, ()):
            return True
        return any(one.body is None and one.seq in self.went_before for one in gone)


@dataclass(frozen=True, slots=True)
class Part:
    """What a row says, or a part of it that changes by itself, and whether entries tell just that;
    `gone` are the entries without a body that may have told it.
    """

    key: str
    says: Says
    is_told: bool
    gone: Sequence[Sound] = ()

    def holds(self, erasures: Erasures) -> bool:
        """Whether the record tells it, or an erasure left it so."""
        return self.is_told or erasures.explain(self.key, digest_said(self.says), self.gone)


class Tale(Protocol):
    """What the entries of a record say of one sort of rows."""

    def add(self, one: Sound) -> None:
        """What one more entry says; they come first to last."""

    def parts(self, row: Row) -> Iterator[Part]:
        """What a row says, and what of it is told."""

    def missing(self) -> Iterator[str]:
        """What is told of and was not among the rows, in words."""


def learn(tale: Tale, entries: Iterable[Sound]) -> list[Sound]:
    """Add what entries say, first to last; returns those whose bodies have another shape."""
    unread = []
    for one in entries:
        try:
            tale.add(one)
        except (AttributeError, IndexError, KeyError, TypeError, ValueError):
            unread.append(one)
    return unread


@dataclass(frozen=True, slots=True)
class Sort:
    """A sort of rows that the record tells of: in which table, by which kinds of entries, and how
    its rows are read.
    """

    name: str
    table: str
    kinds: Collection[Kind]
    begin: Callable[[], Tale]
    rows: Callable[[Connection, MeetId], Iterator[Row]]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A row that a paper is drawn from, as it was read, and the entries that tell of it."""

    row: Row
    tale: Tale
    entries: Sequence[Sound]

    def is_told(self, erasures: Callable[[], Erasures]) -> bool:
        """Whether the record tells of it so; what erasures say is read only where it does not."""
        if learn(self.tale, sorted(self.entries, key=lambda one: one.seq)):
            return False
        untold = [part for part in self.tale.parts(self.row) if not part.is_told]
        if not untold:
            return True
        said = erasures()
        return all(part.holds(said) for part in untold)


@dataclass(slots=True)
class _Value:
    """What a column should hold: told, or told by what is `gone`, or free where what it grew out of
    is gone.
    """

    told: Any = None
    gone: tuple[Sound, ...] = ()
    is_free: bool = False

    @property
    def is_known(self) -> bool:
        return not (self.gone or self.is_free)


@dataclass(slots=True)
class Columns:
    """What columns should hold that change one by one, by the row and the column."""

    values: dict[tuple[str, str], _Value] = field(default_factory=dict)

    def put(self, ident: str, name: str, told: Any, by: Sound | None = None) -> None:
        """What a column holds from now on; `by` is the entry whose body tells it."""
        is_gone = by is not None and by.body is None
        self.values[ident, name] = _Value(None, (by,)) if is_gone and by else _Value(told)

    def change(
        self, ident: str, name: str, then: Callable[[Any], Any], by: Sound | None = None
    ) -> None:
        """What it makes of what it held."""
        was = self.values.get((ident, name), _Value(is_free=True))
        if by is not None and by.body is None:
            self.values[ident, name] = _Value(None, (*was.gone, by), was.is_free)
        elif was.is_known:
            self.values[ident, name] = _Value(then(was.told))
        else:
            self.values[ident, name] = _Value(is_free=True)

    def parts(self, ident: str, stored: Says) -> Iterator[Part]:
        """What a row holds in such columns."""
        for name, value in stored.items():
            known = self.values.get((ident, name), _Value(is_free=True))
            is_told = known.is_free or (known.is_known and known.told == value)
            yield Part(f"{ident} {name}", {name: value}, is_told, known.gone)
