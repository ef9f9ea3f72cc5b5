"""A passphrase for the seals of a server that was started without one.

Several processes over PostgreSQL would each make their own, and none could open the others' keys:
there one must be set. A passphrase is printed to a terminal only: what a service manager starts
writes into a log, which is copied and kept. Elsewhere it goes into a file of its owner's, beside
the folder with the keys and not in it, so that a copy of that folder opens nothing.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TextIO

from sqlalchemy import make_url

from app.config import Settings

HOW = "set ZONEDOCKET_SEAL_PASSPHRASE"


def insist_one_can_be_made(settings: Settings) -> None:
    """ValueError where a passphrase must be set, or one that was made before is still to be."""
    if settings.seal_passphrase.get_secret_value():
        return
    if make_url(settings.database_url).get_backend_name() != "sqlite":
        raise ValueError(
            f"{HOW}: the meets' keys are kept encrypted with it, and all servers over this "
            "database must share it, and ZONEDOCKET_SEAL_FOLDER too"
        )
    if (file := _file(settings)).exists():
        raise ValueError(
            f"{HOW} to what {file} says, which an earlier start made; then take that file away"
        )
    if any(settings.seal_folder.glob("*.p12")):
        raise ValueError(
            f"{HOW} to the one that the keys in {settings.seal_folder} are kept with: without it "
            "nothing can be sealed for their meets"
        )


def tell_passphrase(settings: Settings, out: TextIO | None = None) -> None:
    """Print the passphrase to a terminal; elsewhere put it into a file, and print where that is."""
    out, passphrase = out or sys.stdout, settings.seal_passphrase.get_secret_value()
    if out.isatty():
        print(
            f"Seal passphrase of this run ({HOW} to it at the next start): {passphrase}", file=out
        )
        return
    file = _file(settings)
    file.parent.mkdir(parents=True, exist_ok=True)
    descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as kept:
        kept.write(f"{passphrase}\n")
        kept.flush()
        os.fsync(kept.fileno())
    print(
        f"Seal passphrase of this run: in {file} ({HOW} to it at the next start, and take the file "
        "away)",
        file=out,
    )


def _file(settings: Settings) -> Path:
    return settings.seal_folder.with_name(f"{settings.seal_folder.name}.passphrase")
