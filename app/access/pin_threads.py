"""PINs are hashed and looked at in two threads of their own.

Each takes 19 MiB for it, on purpose (`secrets.py`), and the memory stays with a thread that has
done it once: in the forty that do all else, a worker came to hold 750 MB after forty had signed at
the same time.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from app.access.secrets import hash_pin, pin_matches

Result = TypeVar("Result")

_threads = ThreadPoolExecutor(2, "pins")


async def hashed(pin: str) -> str:
    """What is stored of a PIN."""
    return await _apart(hash_pin, pin)


async def is_right(stored_hash: str, pin: str) -> bool:
    """Whether this is the PIN."""
    return await _apart(pin_matches, stored_hash, pin)


async def _apart(act: Callable[..., Result], *what: str) -> Result:
    return await asyncio.get_running_loop().run_in_executor(_threads, act, *what)
