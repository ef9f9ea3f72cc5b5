"""The command `export`: what it takes, and what it says.

What exports is loaded only when it is called: the other commands need none of it.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from app.clock import SystemClock
from app.config import Settings
from app.ids import MeetId, canonical_id
from app.plurals import counted

if TYPE_CHECKING:
    from app.store.store import Store

EXAMPLE = "export 01a21ab8-daeb-745e-8bd4-5cd455b468cd record.zip"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What `export` takes."""
    parser.add_argument("meet", metavar="MEET", help="the meet's id")
    parser.add_argument("path", type=Path, metavar="PATH", help="a new folder, or a new .zip")


def export_meet(settings: Settings, meet: str, path: Path) -> str:
    """Write an export of a meet's record, also while the server runs: it is only read. ValueError
    says what is missing to sign it.
    """
    from app.exporting.building import export_to  # noqa: PLC0415
    from app.exporting.files import a_place  # noqa: PLC0415
    from app.exporting.wanted import Order  # noqa: PLC0415
    from app.record.log import Keeper  # noqa: PLC0415
    from app.sealing.seals import Seals, key_store  # noqa: PLC0415
    from app.store.store import Store  # noqa: PLC0415

    meet_id = MeetId(canonical_id(meet))
    store = Store(settings.database_url, SystemClock(), Keeper())
    try:
        if not settings.seal_passphrase.get_secret_value():
            _insist_unsealed(store, meet_id)
        signer = Seals(store, key_store(settings)).known_signer(meet_id)
        order = Order(meet_id, store.clock.now(), signer)
        with a_place(path, order.now) as place:
            head = store.read_now(lambda conn: export_to(conn, order, place))
    finally:
        store.engines.dispose()  # nothing was started that would have to be stopped
    return f"Wrote {path}: {counted(head.size, 'entry')}, root {head.root}"


def _insist_unsealed(store: Store, meet: MeetId) -> None:
    """Without a passphrase no key opens; only a meet that has no seal is exported unsigned."""
    from app.sealing.queries import seal_in_use  # noqa: PLC0415

    if store.read_now(lambda conn: seal_in_use(conn, meet)) is not None:
        raise ValueError(
            "set ZONEDOCKET_SEAL_PASSPHRASE as for the server: an export is signed with the key of "
            "the meet's seal"
        )
