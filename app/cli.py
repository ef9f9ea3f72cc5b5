"""The command line: demo, serve, migrate, check, backup, restore."""

from __future__ import annotations

import argparse
import secrets
import sqlite3
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from pydantic import SecretStr
from sqlalchemy import make_url

from app.config import Settings
from app.record.check import check_lines
from app.refusals import Refusal

OUT_HELP = "where to write forms, results, windows and record (default: out, with --no-serve only)"

Command = Callable[[argparse.Namespace], int]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it did what it says, 1 when it failed, 2 for a wrong call."""
    parsed = _parser().parse_args(arguments)
    command: Command = parsed.command
    try:
        return command(parsed)
    except (Refusal, OSError, ValueError, sqlite3.Error) as error:
        print(f"zonedocket {parsed.name}: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="zonedocket",
        description="Relay zone reports, from an umpire's flag to an announced result.",
    )
    commands = parser.add_subparsers(dest="name", required=True, metavar="COMMAND")
    demo = _add(
        commands,
        "demo",
        play_demo,
        "play the invented meet and serve it",
        "demo --no-serve --out out",
    )
    demo.add_argument("--no-serve", action="store_true", help="write the papers and end")
    demo.add_argument("--out", type=Path, help=OUT_HELP)
    demo.add_argument("--host", default="127.0.0.1", help="the address to serve on")
    demo.add_argument(
        "--port", type=int, default=8480, help="the port to serve on; 0 takes a free one"
    )
    serve_parser = _add(
        commands, "serve", serve, "serve the database that DATABASE_URL names", "serve"
    )
    serve_parser.add_argument("--host", help="the address to listen on")
    serve_parser.add_argument("--port", type=int, help="the port to listen on; 0 takes a free one")
    _add(commands, "migrate", migrate, "bring the database to this program's schema", "migrate")
    check = _add(
        commands, "check", check_record, "check an exported record", "check out/record.jsonl"
    )
    check.add_argument(
        "path", type=Path, metavar="DIR|FILE", help="an export, or the folder it is in"
    )
    save = _add(commands, "backup", backup, "copy a running SQLite database", "backup meet.bak.db")
    save.add_argument("path", type=Path, metavar="FILE", help="where to write the copy")
    load = _add(commands, "restore", restore, "put a copy in place of the database", "restore a.db")
    load.add_argument("path", type=Path, metavar="FILE", help="a copy that `backup` wrote")
    load.add_argument("--replace", action="store_true", help="replace a database that is there")
    return parser


def _add(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    command: Command,
    words: str,
    example: str,
) -> argparse.ArgumentParser:
    parser = commands.add_parser(
        name,
        help=words,
        description=words[:1].upper() + words[1:] + ".",
        epilog=f"Example: python -m app {example}",
    )
    parser.set_defaults(command=command)
    return parser


def play_demo(parsed: argparse.Namespace) -> int:
    """Play the invented meet; serve it unless told not to."""
    from seed_demo import play  # noqa: PLC0415  (the demo is not part of the server's start)

    if parsed.no_serve:
        return play.write_papers(parsed.out or Path("out"))
    return play.serve_meet(parsed.out, parsed.host, parsed.port)


def serve(parsed: argparse.Namespace) -> int:
    """Serve the database, after bringing it to the program's schema."""
    from app.serving import serve_settings  # noqa: PLC0415  (not needed by the other commands)

    settings = Settings()
    changes: dict[str, object] = {}
    if parsed.host is not None:
        changes["host"] = parsed.host
    if parsed.port is not None:
        changes["port"] = parsed.port
    if not settings.setup_key.get_secret_value():
        setup_key = secrets.token_urlsafe(24)
        changes["setup_key"] = SecretStr(setup_key)
        print(f"Setup key of this run, which makes meets: {setup_key}")
    return serve_settings(settings.model_copy(update=changes))


def migrate(_parsed: argparse.Namespace) -> int:
    """Bring the database to this program's schema."""
    from app.serving import bring_up_to_date  # noqa: PLC0415

    settings = Settings()
    before, after = bring_up_to_date(settings.database_url)
    print(
        f"Schema {before or 'none'} → {after}." if before != after else f"Schema {after} already."
    )
    return 0


def check_record(parsed: argparse.Namespace) -> int:
    """Check an exported record without a database or a network."""
    path: Path = parsed.path
    path = path / "record.jsonl" if path.is_dir() else path
    with path.open(encoding="utf-8", errors="surrogateescape") as lines:
        checked = check_lines(line.rstrip("\n") for line in lines)
    for mismatch in checked.mismatches:
        print(f"{path}: {mismatch}")
    erased = f", {checked.erased} of them with erased bodies" if checked.erased else ""
    verdict = "agree with its head" if checked.is_good else "do NOT agree"
    print(f"{checked.size} entries{erased} {verdict}: root {checked.root}")
    return 0 if checked.is_good else 1


def backup(parsed: argparse.Namespace) -> int:
    """Write a consistent copy of the SQLite database, also while the server runs."""
    source = _sqlite_file(Settings())
    if parsed.path.exists():
        raise ValueError(f"{parsed.path} is there already; choose another name")
    with sqlite3.connect(f"file:{source}?mode=ro", uri=True) as live:
        copy = sqlite3.connect(parsed.path)
        live.backup(copy)
        copy.close()
    print(f"Copied {source} to {parsed.path}.")
    return 0


def restore(parsed: argparse.Namespace) -> int:
    """Put a copy in place of the database. The server must not be running."""
    from app.store.engine import only_process  # noqa: PLC0415

    settings = Settings()
    target = _sqlite_file(settings)
    _insist_good_copy(parsed.path)
    with only_process(make_url(settings.database_url)):
        if target.exists() and not parsed.replace:
            raise ValueError(f"{target} is there already; say --replace to replace it")
        for leftover in (target, Path(f"{target}-wal"), Path(f"{target}-shm")):
            leftover.unlink(missing_ok=True)
        source, copy = sqlite3.connect(parsed.path), sqlite3.connect(target)
        source.backup(copy)
        source.close()
        copy.close()
    print(f"Restored {target} from {parsed.path}.")
    return 0


def _insist_good_copy(path: Path) -> None:
    if not path.exists():
        raise ValueError(f"{path} is not there")
    copy = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        found = copy.execute("PRAGMA integrity_check").fetchone()[0]
        copy.execute("SELECT size FROM record_heads LIMIT 1")
    finally:
        copy.close()
    if found != "ok":
        raise ValueError(f"{path} is damaged: {found}")


def _sqlite_file(settings: Settings) -> Path:
    url = make_url(settings.database_url)
    if url.get_backend_name() != "sqlite" or not url.database:
        raise ValueError("this is for SQLite; use pg_dump and pg_restore with PostgreSQL")
    return Path(url.database)
