"""The first seal of a meet is made once, also where several servers share the folder of keys."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import pytest

from app.access.guard import FOUNDER
from app.clock import SystemClock
from app.forms.certificates import SealingKey
from app.ids import MeetId, new_id
from app.meets.actions import make_meet
from app.meets.wire import MeetIn
from app.record.kinds import Kind
from app.record.log import Keeper
from app.record.queries import entries_after, head_of
from app.sealing.key_store import KeyStore
from app.sealing.seals import Seals
from app.store.store import Store
from tests.builders import a_meet_document
from tests.conftest import NewDatabase

TIMES = 5


class AtTheSameTime(KeyStore):
    """Keeps a key once every server has one to keep: each has seen that the meet has no seal."""

    def __init__(self, folder: Path, barrier: Barrier) -> None:
        super().__init__(folder, "quay lantern")
        self._barrier = barrier

    def keep(self, meet: MeetId, kept: SealingKey) -> None:
        self._barrier.wait(30)
        super().keep(meet, kept)


@pytest.fixture
def stores(new_database: NewDatabase) -> Iterator[list[Store]]:
    """Two servers over one PostgreSQL; SQLite has one process."""
    url = new_database("postgresql")
    both = [Store(url, SystemClock(), Keeper()) for _ in range(2)]
    for store in both:
        store.start()
    yield both
    for store in both:
        store.stop()


def test_two_servers_that_make_a_first_seal_at_once_make_one_on_postgresql(
    stores: list[Store], tmp_path: Path
) -> None:
    for time in range(TIMES):
        folder, barrier, meet = tmp_path / str(time), Barrier(2), MeetId(new_id())
        document = MeetIn.model_validate(a_meet_document())
        stores[0].act_now(meet, FOUNDER, make_meet(meet, document))
        servers = [Seals(store, AtTheSameTime(folder, barrier)) for store in stores]
        with ThreadPoolExecutor(2) as threads:
            opened = list(threads.map(Seals.of, servers, [meet, meet]))
        assert opened[0].seal == opened[1].seal
        (file,) = folder.iterdir()
        assert file.name == f"{meet}-{opened[0].seal.fingerprint}.p12"
        entries = stores[1].read_now(lambda conn, meet=meet: entries_after(conn, meet, 0, 100))
        assert [one.kind for one in entries].count(Kind.SEAL_MADE) == 1
        head = stores[0].read_now(lambda conn, meet=meet: head_of(conn, meet))
        notes = {server.signed(meet, head) for server in servers}
        assert len(notes) == 1
