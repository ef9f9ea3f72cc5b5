"""What looking at a PIN costs, in a process of its own: in the other tests it is made cheap."""

from __future__ import annotations

import subprocess
import sys

HASHING = "from app.access.secrets import hash_pin; print(hash_pin('480213'))"


def test_a_pin_is_hashed_at_the_cost_that_the_cheat_sheet_names() -> None:
    """OWASP Password Storage Cheat Sheet: argon2id with 19 MiB of memory, 2 passes, 1 lane."""
    made = subprocess.run(
        [sys.executable, "-c", HASHING], capture_output=True, text=True, timeout=60, check=True
    )
    assert made.stdout.startswith(f"$argon2id$v=19$m={19 * 1024},t=2,p=1$")
