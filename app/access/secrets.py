"""Tokens and PINs: how they are made, and what of them is kept.

Tokens carry 256 random bits and only their SHA-256 is stored. A PIN is hashed with argon2id at the
parameters of the OWASP Password Storage Cheat Sheet (19 MiB, 2 passes, 1 lane). It confirms intent
on a device that has joined; it is no password, and a short one is a known departure from
OWASP ASVS 5.0, 6.2.1.
"""

from __future__ import annotations

import hmac
import secrets
from base64 import urlsafe_b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256

from argon2 import PasswordHasher
from argon2.exceptions import HashingError, InvalidHashError, VerificationError

_hasher = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
_NO_MEMORY = "Memory allocation error"
"""The library's own words for it (Argon2's reference code, argon2.c)."""
_ASCENDING = "0123456789" * 3


def new_secret() -> str:
    """A fresh token of 256 bits, safe in a URL fragment."""
    return secrets.token_urlsafe(32)


def session_token(link_secret: str, salt: str) -> str:
    """A session's token: HMAC-SHA256 (RFC 2104) of the session's salt under its link's secret.

    Made anew it is the same token, though only its hash is kept: the salt alone, which the server
    keeps, or the secret alone, which whoever photographs a link has, makes none.
    """
    mac = hmac.digest(link_secret.encode("utf-8", "surrogatepass"), salt.encode(), sha256)
    return urlsafe_b64encode(mac).rstrip(b"=").decode()


def hash_secret(secret: str) -> str:
    """What is stored of a token."""
    return sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def same_secret(stored_hash: str, secret: str) -> bool:
    """Whether a token is the one whose hash is stored, in constant time."""
    return hmac.compare_digest(stored_hash, hash_secret(secret))


def is_guessable(pin: str) -> bool:
    """All one digit, or counting up or down: what a passer-by would try first."""
    return len(set(pin)) == 1 or pin in _ASCENDING or pin[::-1] in _ASCENDING


def hash_pin(pin: str) -> str:
    """The argon2id hash of a PIN. Takes about 20 ms of CPU and 19 MiB: see `pin_threads.py`."""
    with _failing_for_memory():
        return _hasher.hash(pin)


def pin_matches(stored_hash: str, pin: str) -> bool:
    """Whether this is the PIN. Takes about 20 ms of CPU and 19 MiB: see `pin_threads.py`."""
    try:
        with _failing_for_memory():
            return _hasher.verify(stored_hash, pin)
    except (VerificationError, InvalidHashError):
        return False


@contextmanager
def _failing_for_memory() -> Iterator[None]:
    """A PIN that could not be looked at for want of memory is not a wrong one, which would be
    counted and put on record: MemoryError instead.
    """
    try:
        yield
    except (VerificationError, HashingError) as error:
        if str(error) == _NO_MEMORY:
            raise MemoryError(_NO_MEMORY) from error
        raise
