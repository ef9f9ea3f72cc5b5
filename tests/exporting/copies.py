"""A meet's database copied, so that a test may erase or change something in it, and export it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from app.erasing import actions
from app.exporting.building import export_to
from app.exporting.files import a_place
from app.exporting.wanted import Order
from app.forms.paper import Paper
from app.record.log import Keeper
from app.sealing.papers import give_out
from app.sealing.seals import Seals
from app.sealing.told import Facts, Wanted
from app.store.engine import database_path
from app.store.store import Store
from tests.exporting.conftest import SealedMeet
from tests.exporting.sealing import sign_head
from tests.exporting.tampering import Files, read_files

BECAUSE = actions.Wanted(because="as asked", by="the committee")


@dataclass(frozen=True)
class CopiedMeet:
    """A copy of a sealed meet, in a database of its own, until the test is over."""

    of: SealedMeet
    store: Store
    folder: Path

    def erase(self, **what: object) -> None:
        """Erase it all, or whom `names` or `official` tell."""
        wanted = replace(BECAUSE, **what)  # type: ignore[arg-type]
        self.store.act_now(self.of.meet, actions.OPERATOR, actions.erase(wanted))

    def sign_head(self) -> None:
        sign_head(self.store, self.of.seal, self.of.stage.clock.now())

    def give_out(self, wanted: Wanted[Facts]) -> bytes:
        """A paper as the program draws, seals and keeps it."""
        seals = Seals(self.store, self.of.stage.seals._keys)
        return give_out(self.store, seals, self.of.meet, Paper.A4, wanted)

    def export(
        self,
        entries: frozenset[int] | None = None,
        withheld: Mapping[int, Mapping[str, object]] | None = None,
    ) -> Files:
        """The files of an export of it as it is now; `withheld` as in an `Order`."""
        path = self.folder / f"export-{len(list(self.folder.iterdir()))}"
        now, key = self.of.stage.clock.now(), self.of.seal.notes
        order = Order(self.of.meet, now, key, entries, withheld=withheld or {})
        with a_place(path, order.now) as place:
            self.store.read_now(lambda conn: export_to(conn, order, place))
        return read_files(path)


@contextmanager
def a_copy(sealed: SealedMeet, folder: Path) -> Iterator[CopiedMeet]:
    """The meet as it is, in a database of its own."""
    path = folder / "copy.db"
    with (
        closing(sqlite3.connect(database_path(sealed.store.engines.url))) as there,
        closing(sqlite3.connect(path)) as here,
    ):
        there.backup(here)
    store = Store(f"sqlite:///{path}", sealed.stage.clock, Keeper())
    store.start()
    try:
        yield CopiedMeet(sealed, store, folder)
    finally:
        store.stop()
