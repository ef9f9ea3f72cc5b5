"""Who is calling, remembered for as long as nothing about access has changed.

On SQLite one process does all the writing, so it knows when a role, a link or a session changes:
after each such commit everything remembered is out of date at once, before the change is answered.
On PostgreSQL another process may have changed it, so every request asks the store. What phones
send in a hurry asks it in the transaction that stores it: the session is taken as it is remembered,
and the action insists that it still is so (`Taken`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from app.access.queries import Caller, Session, session_asked, session_of
from app.access.secrets import hash_secret
from app.record.kinds import CHANGES_ACCESS
from app.store.action import Action, Asks, Committed, Done, Result, Unit
from app.store.store import Store

MOST_REMEMBERED = 10_000


@dataclass(frozen=True, slots=True)
class Remembered:
    """A session as it was read, and how many changes of access had been seen before that."""

    session: Session
    changes: int


@dataclass(frozen=True, slots=True)
class Taken:
    """A session that was taken as remembered, by its token's hash."""

    secret_hash: str
    session: Session

    def insisted_on(self, asks: Asks) -> Asks:
        """What an action asks first, and whether the session still is so."""
        return replace(asks, questions=(*asks.questions, session_asked(self.secret_hash)))

    def insisting(self, action: Action[Result]) -> Action[Result]:
        """The action, by this session alone: OutOfDate where it has ended or changed."""

        def act(unit: Unit) -> Done[Result]:
            if session_of(unit.conn, self.secret_hash) != self.session:
                raise OutOfDate
            return action(unit)

        return act


class OutOfDate(Exception):
    """A session is no longer what was remembered of it; nothing was stored."""


class KnownCallers:
    """The sessions of this process that need not be read again."""

    def __init__(self) -> None:
        self._changes = 0
        self._known: dict[str, Remembered] = {}

    def notice(self, committed: Committed) -> None:
        """Called from the writer's thread after a commit, before anything of it is answered."""
        if not CHANGES_ACCESS.isdisjoint(committed.kinds):
            self._changes += 1

    async def find(self, store: Store, token: str, now: datetime) -> Caller | None:
        """The caller whose session token this is, None where it is unknown, ended or expired."""
        key = hash_secret(token)
        session = self._recall(key) if store.engines.is_sqlite else None
        if session is None:
            # Counted before reading: what changes meanwhile makes this out of date again.
            changes = self._changes
            session = await store.read(lambda conn: session_of(conn, key))
            if session is None:
                return None
            self._remember(key, Remembered(session, changes))
        return session.caller if now < session.expires_at else None

    def recall(self, store: Store, token: str, now: datetime) -> Taken | None:
        """The session as it was once read, to be insisted on where something is stored by it; None
        on SQLite, where what is remembered is known to hold.
        """
        if store.engines.is_sqlite:
            return None
        key = hash_secret(token)
        found = self._known.get(key)
        if found is None or now >= found.session.expires_at:
            return None
        return Taken(key, found.session)

    def forget(self, taken: Taken) -> None:
        """A session that is no longer what it was is read anew."""
        self._known.pop(taken.secret_hash, None)

    def _recall(self, key: str) -> Session | None:
        found = self._known.get(key)
        return found.session if found is not None and found.changes == self._changes else None

    def _remember(self, key: str, remembered: Remembered) -> None:
        if len(self._known) >= MOST_REMEMBERED:
            self._known.clear()
        self._known[key] = remembered
