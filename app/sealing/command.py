"""The command `seal`: make a meet's seal, take the federation's own, or show the one in use."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from getpass import getpass
from pathlib import Path

from app.clock import SystemClock
from app.config import Settings
from app.forms.certificates import SealingKey, make_sealing_key, read_pkcs12
from app.ids import MeetId, canonical_id
from app.meets.queries import meet_facts
from app.record.log import Keeper
from app.sealing.queries import seal_in_use
from app.sealing.seals import Seals, key_store
from app.sealing.wire import SealOut
from app.serving import bring_up_to_date
from app.store.engine import only_process
from app.store.store import Store

ASKED_BEFORE = "ZONEDOCKET_IMPORT_PASSPHRASE"
"""Where the passphrase of a PKCS#12 file is looked for before it is asked for."""
LARGEST_FILE = 1024 * 1024


def seal_meet(settings: Settings, meet: str, pkcs12: Path | None, because: str) -> Iterator[str]:
    """Do it, and say what was done. ValueError says what is missing."""
    if not settings.seal_passphrase.get_secret_value():
        raise ValueError(
            "set ZONEDOCKET_SEAL_PASSPHRASE: private keys are kept encrypted with it, and the "
            "server needs the same one"
        )
    meet_id = MeetId(canonical_id(meet))
    with _open(settings) as store:
        seals = Seals(store, key_store(settings))
        name = store.read_now(lambda conn: meet_facts(conn, meet_id)).name
        before = store.read_now(lambda conn: seal_in_use(conn, meet_id))
        if before is not None and not because and pkcs12 is None:
            seals.of(meet_id)
            yield f"{name} has seal {before.number}; its key is here and opens."
            yield from _told(before)
            return
        if before is not None and not because:
            raise ValueError("this meet has a seal; say --because why another comes in its place")
        now = store.clock.now()
        key = _imported(pkcs12, store) if pkcs12 is not None else make_sealing_key(name, now)
        made = seals.take(meet_id, key, because)
        yield f"{name} has seal {made.number} now."
        yield from _told(made)


@contextmanager
def _open(settings: Settings) -> Iterator[Store]:
    store = Store(settings.database_url, SystemClock(), Keeper())
    with only_process(store.engines.url):
        bring_up_to_date(settings.database_url)
        store.start()
        try:
            yield store
        finally:
            store.stop()


def _imported(pkcs12: Path, store: Store) -> SealingKey:
    if pkcs12.stat().st_size > LARGEST_FILE:
        raise ValueError(f"{pkcs12} is larger than a file with a key and its certificates")
    passphrase = os.environ.get(ASKED_BEFORE)
    if passphrase is None:
        passphrase = getpass(f"Passphrase of {pkcs12}: ")
    return read_pkcs12(pkcs12.read_bytes(), passphrase, store.clock.now())


def _told(seal: SealOut) -> Iterator[str]:
    digits = seal.fingerprint
    groups = " ".join(digits[at : at + 4] for at in range(0, len(digits), 4))
    yield f"Certificate, SHA-256: {groups}"
    yield f"Key of the record's heads: {seal.verifier_key}"
