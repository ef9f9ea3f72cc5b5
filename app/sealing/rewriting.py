"""Was the record rewritten behind a head that was signed?

The newest signed head is held against the root over the entries themselves, and so is the head that
is to be signed next: whoever changes the database and makes all hashes anew cannot make the earlier
head fit. What agreed once is remembered, so that later only what is new is read. Whoever takes the
signed heads away too is found out by those that were printed, and by nothing here.
"""

from __future__ import annotations

import logging

from sqlalchemy import Connection

from app.ids import MeetId
from app.record.checkpoints import newest_checkpoint, signed_heads
from app.record.log import Head
from app.record.merkle import Frontier, leaf_hash
from app.record.queries import PAGE, entries_after, head_of
from app.refusals import Unavailable

log = logging.getLogger(__name__)

REWRITTEN = (
    "The record no longer agrees with a head of it that was signed before, so nothing is sealed. "
    "Somebody has changed the database. Keep it as it is, and have it looked at: `check "
    "--database` and any printed sheet show what was changed."
)
REMEMBERED = 8
"""Sizes of a record. One would do, but that requests overtake each other."""


def rewritten(meet: MeetId, head: Head) -> Unavailable:
    """That nothing is sealed; the log names the meet and the place."""
    log.error("the record of meet %s is not what was signed, at or before %d", meet, head.size)
    return Unavailable(REWRITTEN)


class Agreement:
    """Up to where this process has found each meet's record to be what was signed."""

    def __init__(self) -> None:
        self._known: dict[MeetId, tuple[Frontier, ...]] = {}

    def insist_on(self, conn: Connection, meet: MeetId, head: Head) -> None:
        """Unavailable where the entries do not lead to this head, or to the newest signed one."""
        if not self.holds(conn, meet, head):
            raise rewritten(meet, head)

    def holds(self, conn: Connection, meet: MeetId, head: Head) -> bool:
        """Whether the entries lead to this head, and to the newest signed one that is no larger;
        and whether there are as many as any signed head says.
        """
        signed = newest_checkpoint(conn, meet)
        if signed is not None and signed.size > head.size:
            if signed.size > head_of(conn, meet).size:
                return False  # its end was cut off
            signed = next(iter(signed_heads(conn, meet, head.size + 1, 1)), None)
        begun = self._largest(meet, head.size if signed is None else signed.size)
        if signed is not None:
            begun = _grown(conn, meet, begun, signed.size)
            if not _is_at(begun, signed.size, signed.root):
                return False
        reached = _grown(conn, meet, begun, head.size)
        if not _is_at(reached, head.size, head.root):
            return False
        self._remember(meet, begun, reached)
        return True

    def _largest(self, meet: MeetId, most: int) -> Frontier:
        known = [one for one in self._known.get(meet, ()) if one.size <= most]
        return max(known, key=lambda one: one.size, default=Frontier())

    def _remember(self, meet: MeetId, *agreed: Frontier) -> None:
        known = {one.size: one for one in (*self._known.get(meet, ()), *agreed)}
        self._known[meet] = tuple(known[size] for size in sorted(known)[-REMEMBERED:])


def _is_at(frontier: Frontier, size: int, root: str) -> bool:
    return frontier.size == size and frontier.root.hex() == root


def _grown(conn: Connection, meet: MeetId, frontier: Frontier, size: int) -> Frontier:
    """The frontier with the entries up to this size, as far as they are there, a page at a time."""
    while frontier.size < size:
        most = min(PAGE, size - frontier.size)
        entries = entries_after(conn, meet, frontier.size, most)
        if not entries:
            break
        for one in entries:
            frontier = frontier.grow(leaf_hash(one.entry.encode()))
    return frontier
