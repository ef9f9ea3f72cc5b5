"""Who is calling, remembered for as long as nothing about access has changed.

On SQLite one process does all the writing, so it knows when a role, a link or a session changes:
after each such commit everything remembered is out of date at once, before the change is answered.
On PostgreSQL another process may have changed it, so every request asks the store.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app.access.queries import Caller, Session, session_of
from app.access.secrets import hash_secret
from app.record.kinds import CHANGES_ACCESS
from app.store.action import Committed
from app.store.store import Store

MOST_REMEMBERED = 10_000


@dataclass(frozen=True, slots=True)
class Remembered:
    """A session as it was read, and how many changes of access had been seen before that."""

    session: Session
    changes: int


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

    def _recall(self, key: str) -> Session | None:
        found = self._known.get(key)
        return found.session if found is not None and found.changes == self._changes else None

    def _remember(self, key: str, remembered: Remembered) -> None:
        if len(self._known) >= MOST_REMEMBERED:
            self._known.clear()
        self._known[key] = remembered
