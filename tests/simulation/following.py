"""Whoever follows the live feed hears each entry once, in the order of the record, and all."""

from __future__ import annotations

import asyncio
import re
from dataclasses import dataclass, field

from app.record.kinds import KINDS, Kind
from app.roles import Role
from tests.simulation.server import Request, Server
from tests.simulation.watching import Watcher

ENTRY = re.compile(rb"^id: (\d+)\nevent: entry$", re.MULTILINE)
RETRY = 1.0


@dataclass(eq=False)
class Follower:
    """A head official's page, which takes the feed up again where its line was lost."""

    server: Server
    meet: str
    token: str
    after: int
    heard: list[int] = field(default_factory=list)

    async def follow(self) -> None:
        address = f"/api/meets/{self.meet}/feed"
        while True:
            last = self.heard[-1] if self.heard else self.after
            asked = Request("GET", address, self.token, after=last)
            await self.server.follow(asked, self._hear)
            await asyncio.sleep(RETRY)

    def _hear(self, part: bytes) -> None:
        for seq in map(int, ENTRY.findall(part)):
            assert seq > (self.heard[-1] if self.heard else self.after), "the feed went back"
            self.heard.append(seq)

    def insist_heard_all(self, watcher: Watcher) -> None:
        """Everything that a referee may follow, and nothing else."""
        told = watcher.rows(
            "SELECT seq, kind FROM record_entries WHERE meet_id=? AND seq>? ORDER BY seq",
            self.meet,
            self.after,
        )
        due = [seq for seq, kind in told if Role.REFEREE in KINDS[Kind(kind)].followers]
        watcher.looks["feeds"] += 1
        assert self.heard == due, f"not heard: {set(due) - set(self.heard)}"
