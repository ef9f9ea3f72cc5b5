"""What an action is: one act of one person, all or nothing, with one entry in the record.

An action is a function that takes a `Unit` and returns `Done`. The writer runs it, appends its
deed to the meet's record and commits both together; an action cannot forget its entry because it
does not write it, and it cannot commit because it holds no transaction of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, Protocol, TypeVar

from sqlalchemy import Connection

from app.ids import MeetId
from app.store.prepared import Question

Result = TypeVar("Result")
Result_co = TypeVar("Result_co", covariant=True)


@dataclass(frozen=True, slots=True)
class Actor:
    """Who acts: an official of the meet, or the holder of the setup key ("founder")."""

    id: str
    roles: frozenset[str] = frozenset()

    def __str__(self) -> str:
        return self.id


@dataclass(frozen=True, slots=True)
class Unit:
    """What an action works with: the open transaction, the instant, the meet and the actor."""

    conn: Connection
    now: datetime
    meet_id: MeetId
    actor: Actor


@dataclass(frozen=True, slots=True)
class Deed:
    """What an action leaves in the record: its kind, its subject's id, and the facts.

    `body` holds JSON values; its RFC 8785 form is what the entry commits to.
    """

    kind: str
    subject: str
    body: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Done(Generic[Result_co]):
    """An action's result. `deed` is None only where the same thing was asked for a second time, or
    where what is kept is no act: how far a search is, a count that begins anew.
    """

    result: Result_co
    deed: Deed | None


@dataclass(frozen=True, slots=True)
class Put(Generic[Result_co]):
    """The result of a PUT with the caller's own id: the thing, and whether this call made it."""

    thing: Result_co
    created: bool


Action = Callable[[Unit], Done[Result]]


@dataclass(frozen=True, slots=True)
class Asks:
    """What an action will ask first, before it writes anything, and the things it is about.

    What such an action only owes (`Prepared.later`) changes no answer of one that is about none of
    these things. Where it writes in another way, those behind it are asked anew.
    """

    about: frozenset[str]
    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class Committed:
    """What a group has added to the record: the new sizes by meet, and the kinds of its deeds."""

    sizes: Mapping[MeetId, int]
    kinds: frozenset[str]


Settle = Callable[[Connection], object]
"""Has the database take whatever is still owed to it; its error where it refuses."""


class RecordGroup(Protocol):
    """The record's side of one group of actions: appends now, writes its heads at the end."""

    def append(self, unit: Unit, deed: Deed) -> None: ...

    def finish(self) -> Committed: ...


class RecordKeeper(Protocol):
    """Opens the record for one group; locks the heads of the meets concerned, in order."""

    def open_group(
        self, conn: Connection, meets: frozenset[MeetId], settle: Settle | None = None
    ) -> RecordGroup:
        """`settle` is given where each act stands in a savepoint of its own: what an entry owes is
        settled with it before the record grows. Then the one act fails whose record was set back,
        and none beside it.
        """
        ...
