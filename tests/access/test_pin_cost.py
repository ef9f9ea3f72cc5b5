"""What looking at a PIN costs, in a process of its own: in the other tests it is made cheap."""

from __future__ import annotations

import subprocess
import sys

LOOKED_AT_ONCE = """
import asyncio
from pathlib import Path
from app.access.pin_threads import hashed, is_right

def held_mb():
    status = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in status if line.startswith("VmRSS")) / 1024

async def look():
    stored, before = await hashed("480213"), held_mb()
    assert all(await asyncio.gather(*(is_right(stored, "480213") for _ in range(40))))
    print(held_mb() - before)

asyncio.run(look())
"""
HASHING = "from app.access.secrets import hash_pin; print(hash_pin('480213'))"


def test_a_pin_is_hashed_at_the_cost_that_the_cheat_sheet_names() -> None:
    """OWASP Password Storage Cheat Sheet: argon2id with 19 MiB of memory, 2 passes, 1 lane."""
    made = subprocess.run(
        [sys.executable, "-c", HASHING], capture_output=True, text=True, timeout=60, check=True
    )
    assert made.stdout.startswith(f"$argon2id$v=19$m={19 * 1024},t=2,p=1$")


def test_forty_who_sign_at_once_leave_a_process_as_large_as_two_do() -> None:
    """Each look takes 19 MiB, and what a thread took for it stays with it."""
    looked = subprocess.run(
        [sys.executable, "-c", LOOKED_AT_ONCE],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert float(looked.stdout) < 3 * 19
