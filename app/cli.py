"""The command line: demo, serve, migrate, check, backup, restore, erase."""

from __future__ import annotations

import argparse
import secrets
import sqlite3
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NoReturn

from pydantic import SecretStr, ValidationError
from sqlalchemy import make_url
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from app.collector import look_seldom
from app.config import Settings
from app.erasing.command import EXAMPLE, add_arguments, lines_of
from app.record.check import Checked, check_lines
from app.refusals import Refusal

OUT_HELP = "where to write forms, results, windows and record (default: out, with --no-serve only)"

Command = Callable[[argparse.Namespace], int]


class Parser(argparse.ArgumentParser):
    """The standard parser, whose complaint is one line that names the way to the help."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the call, and end with 2."""
        self.exit(2, f"{self.prog}: {message} (see {self.prog} --help)\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it did what it says, 1 when it failed, 2 for a wrong call."""
    parsed = _parser().parse_args(arguments)
    command: Command = parsed.command
    try:
        return command(parsed)
    except (Refusal, OSError, ValueError, ImportError, sqlite3.Error, SQLAlchemyError) as error:
        print(f"zonedocket {parsed.name}: {_in_one_line(error)}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130


def _in_one_line(error: Exception) -> str:
    if isinstance(error, ValidationError):
        found = error.errors()[0]
        return f"the setting {'.'.join(map(str, found['loc'])).upper()}: {found['msg']}"
    if isinstance(error, DBAPIError):
        reason = " ".join(str(error.orig).split())
        return f"the database that DATABASE_URL names does not answer: {reason}"
    if isinstance(error, ImportError) and error.name == "psycopg":
        return "PostgreSQL needs its driver: install zonedocket[postgres]"
    return " ".join(str(error).split())


def _parser() -> argparse.ArgumentParser:
    parser = Parser(
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
    _add_place(demo)
    serve_parser = _add(
        commands, "serve", serve, "serve the database that DATABASE_URL names", "serve"
    )
    _add_place(serve_parser)
    _add(commands, "migrate", migrate, "bring the database to this program's schema", "migrate")
    check = _add(
        commands,
        "check",
        check_record,
        "check an exported record, or all records of a database",
        "check out/record.jsonl",
    )
    checked = check.add_mutually_exclusive_group(required=True)
    checked.add_argument(
        "path", type=Path, metavar="DIR|FILE", nargs="?", help="an export, or the folder it is in"
    )
    checked.add_argument(
        "--database",
        action="store_true",
        help="the records in the database that DATABASE_URL names, and what guards them",
    )
    save = _add(commands, "backup", backup, "copy a running SQLite database", "backup meet.bak.db")
    save.add_argument("path", type=Path, metavar="FILE", help="where to write the copy")
    load = _add(commands, "restore", restore, "put a copy in place of the database", "restore a.db")
    load.add_argument("path", type=Path, metavar="FILE", help="a copy that `backup` wrote")
    load.add_argument("--replace", action="store_true", help="replace a database that is there")
    add_arguments(
        _add(
            commands,
            "erase",
            erase,
            "erase what a meet holds of people, or of one of them",
            EXAMPLE,
        )
    )
    return parser


def _add_place(parser: argparse.ArgumentParser) -> None:
    """Where to listen: asked for here, else what the settings say."""
    parser.add_argument("--host", help="the address to listen on")
    parser.add_argument("--port", type=_port, help="the port to listen on; 0 takes a free one")


def _settings(parsed: argparse.Namespace) -> Settings:
    asked = {"host": parsed.host, "port": parsed.port}
    return Settings().model_copy(
        update={name: value for name, value in asked.items() if value is not None}
    )


def _port(text: str) -> int:
    if not text.isdecimal() or int(text) > 65_535:
        raise argparse.ArgumentTypeError(f"{text} is no port; choose one from 0 to 65535")
    return int(text)


def _add(
    commands: argparse._SubParsersAction[Parser],
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
    look_seldom()
    from seed_demo import play  # noqa: PLC0415  (the demo is not part of the server's start)

    if parsed.no_serve:
        return play.write_papers(parsed.out or Path("out"))
    return play.serve_meet(parsed.out, _settings(parsed))


def serve(parsed: argparse.Namespace) -> int:
    """Serve the database, after bringing it to the program's schema."""
    look_seldom()
    from app.serving import listen, serve_settings  # noqa: PLC0415  (the others need none of it)

    settings = _settings(parsed)
    made = "" if settings.setup_key.get_secret_value() else secrets.token_urlsafe(24)
    if made:
        settings = settings.model_copy(update={"setup_key": SecretStr(made)})
    listener = listen(settings)
    if made:
        print(f"Setup key of this run, which makes meets: {made}")
    return serve_settings(settings, listener)


def migrate(_parsed: argparse.Namespace) -> int:
    """Bring the database to this program's schema. On SQLite no server may be running."""
    from app.serving import bring_up_to_date  # noqa: PLC0415
    from app.store.engine import only_process  # noqa: PLC0415

    settings = Settings()
    with only_process(make_url(settings.database_url)):
        before, after = bring_up_to_date(settings.database_url)
    print(
        f"Schema {before or 'none'} → {after}." if before != after else f"Schema {after} already."
    )
    return 0


def check_record(parsed: argparse.Namespace) -> int:
    """Check an exported record without a database or a network, or a database's own records."""
    if parsed.database:
        return _check_database()
    path: Path = parsed.path
    path = path / "record.jsonl" if path.is_dir() else path
    with path.open(encoding="utf-8", errors="surrogateescape") as lines:
        checked = check_lines(line.rstrip("\n") for line in lines)
    if not checked.size and checked.head_root is None:
        raise ValueError(f"{path} is no exported record: nothing in it is an entry or a head")
    if not checked.is_good:
        print("\n".join(_disagreement(path, checked)))
        raise ValueError(f"the {checked.size} entries of {path} do NOT agree")
    erased = f", {checked.erased} of them with erased bodies" if checked.erased else ""
    print(f"{checked.size} entries{erased} agree with its head: root {checked.root}")
    print("\n".join(_erasures(checked)), end="\n" if checked.erasures else "")
    return 0


def _check_database() -> int:
    from app.record.all_meets import check_database  # noqa: PLC0415
    from app.store.engine import open_engines  # noqa: PLC0415

    engines = open_engines(_database_that_is_there())
    try:
        with engines.reading.connect() as conn:
            if engines.is_sqlite:
                conn.exec_driver_sql("BEGIN")  # one snapshot, as PostgreSQL's readers have
            found = check_database(conn)
    finally:
        engines.dispose()
    for meet, checked in found.meets.items():
        print(f"meet {meet}: {checked.size} entries, root {checked.root}")
        print("".join(f"{line}\n" for line in _erasures(checked)), end="")
    for mismatch in found.mismatches:
        print(mismatch)
    if found.mismatches:
        raise ValueError("the database does NOT agree")
    print(f"The records of {len(found.meets)} meets agree with their heads, and are guarded.")
    return 0


def _database_that_is_there() -> str:
    """The address of a database that is there: looking at one makes none."""
    url = Settings().database_url
    if make_url(url).get_backend_name() == "sqlite":
        path = _sqlite_file(Settings())
        if not path.exists():
            raise ValueError(f"there is no database {path}; DATABASE_URL says where to look")
    return url


def _erasures(checked: Checked) -> Iterator[str]:
    """A line for each erasure that the record tells of."""
    for erasure in checked.erasures:
        yield f"  what {len(erasure.entries)} of them said was {erasure}"


def _disagreement(path: Path, checked: Checked) -> Iterator[str]:
    """The first mismatch, since one change upsets all that follows, and the roots."""
    first, *others = checked.mismatches
    yield f"{path}: {first}"
    if others:
        yield f"{path}: {len(others)} more do not agree after that"
    if checked.head_root is not None and checked.head_root != checked.root:
        yield f"root of the {checked.size} entries: {checked.root}"
        yield f"root that the head says:  {checked.head_root}"


def backup(parsed: argparse.Namespace) -> int:
    """Write a consistent copy of the SQLite database, also while the server runs."""
    from app.copying import back_up  # noqa: PLC0415

    source = _sqlite_file(Settings())
    back_up(source, parsed.path)
    print(f"Copied {source} to {parsed.path}.")
    return 0


def restore(parsed: argparse.Namespace) -> int:
    """Put a copy in place of the database. The server must not be running."""
    from app.copying import put_back  # noqa: PLC0415
    from app.store.engine import only_process  # noqa: PLC0415

    settings = Settings()
    target = _sqlite_file(settings)
    with only_process(make_url(settings.database_url)):
        put_back(parsed.path, target, replace=parsed.replace)
    print(f"Restored {target} from {parsed.path}.")
    return 0


def erase(parsed: argparse.Namespace) -> int:
    """Erase, or say what would go. On SQLite no server may be running."""
    url = _database_that_is_there()
    for line in lines_of(parsed, url):
        print(line)
    return 0


def _sqlite_file(settings: Settings) -> Path:
    url = make_url(settings.database_url)
    if url.get_backend_name() != "sqlite" or not url.database:
        raise ValueError("this is for SQLite; use pg_dump and pg_restore with PostgreSQL")
    return Path(url.database)
