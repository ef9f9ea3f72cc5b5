"""Looking for what was erased in the bytes of a database, however it may be written there."""

from __future__ import annotations

import base64
import json
import os
import subprocess
from collections.abc import Iterable, Iterator
from pathlib import Path
from urllib.parse import quote

import psycopg

from tests.pictures.photographs import SECRETS, a_photograph
from tests.postgres import NAMED, a_tool

PICTURE = [secret for secret in SECRETS if secret != b"ICC_PROFILE"] + [a_photograph()[-60:-20]]


def spellings(mark: str) -> Iterator[bytes]:
    """The ways in which a text can stand in a file."""
    plain = mark.encode()
    yield plain
    yield mark.encode("utf-16-le")
    yield mark.encode("utf-16-be")
    yield mark.encode("latin-1")
    yield json.dumps(mark)[1:-1].encode()
    yield quote(mark).encode()
    yield mark.encode().hex().encode()
    yield from in_base64(plain)
    yield "".join(one for one in mark if one.isascii())[1:].encode()


def in_base64(plain: bytes) -> Iterator[bytes]:
    """The letters that stand in base64 for these bytes, wherever they begin (RFC 4648, 4)."""
    for before in range(3):
        coded = base64.b64encode(b"\0" * before + plain).rstrip(b"=")
        yield coded[4 if before else 0 : -2]


def found_in(content: bytes, marks: Iterable[str]) -> set[str]:
    """The marks that stand in some bytes, in whatever spelling."""
    return {mark for mark in marks if any(one in content for one in spellings(mark))}


def pictures_in(content: bytes) -> list[bytes]:
    """What of the photograph stands there."""
    parts = [part for secret in PICTURE for part in (secret, secret.hex().encode())]
    coded = [part for secret in PICTURE for part in in_base64(secret)]
    return [part for part in (*parts, *coded) if part in content]


def dump_of(url: str) -> bytes:
    """What PostgreSQL's own tool writes of a database, as a script."""
    run = [*a_tool("pg_dump"), "--dbname", url]
    return subprocess.run(run, check=True, capture_output=True).stdout


def relations_of(url: str) -> bytes:
    """The files in which PostgreSQL keeps a database: its indexes and catalogues as well.

    Nothing where the environment names a server: its files are its own.
    """
    if NAMED in os.environ:
        return b""
    with psycopg.connect(url, autocommit=True) as conn:
        conn.execute("CHECKPOINT")
        row = conn.execute(
            "SELECT current_setting('data_directory'), oid FROM pg_database "
            "WHERE datname = current_database()"
        ).fetchone()
    assert row is not None
    folder = Path(row[0]) / "base" / str(row[1])
    return b"".join(path.read_bytes() for path in folder.iterdir() if path.is_file())


def plan_by_values(url: str) -> None:
    """PostgreSQL keeps frequent values, as it does by itself after a while."""
    with psycopg.connect(url, autocommit=True) as conn:
        conn.execute("ANALYZE")
