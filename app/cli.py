"""The command line: serving, planning and surveying beforehand, and keeping what is stored."""

from __future__ import annotations

import argparse
import secrets
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import NoReturn, TypeAlias

from pydantic import SecretStr, ValidationError
from sqlalchemy import make_url
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from app.clock import SystemClock
from app.collector import look_seldom
from app.config import Settings
from app.erasing import command as erasing
from app.exporting import command as exporting
from app.planning import command as planning
from app.plurals import agreeing, counted
from app.record.check import Checked, check_lines
from app.refusals import Refusal
from app.speaking import say, say_beside
from app.surveys import command as surveys

OUT_HELP = "where to write forms, results, windows and record (default: out, with --no-serve only)"

A_MEET = "01936f2e-7b1c-7cc3-98c4-dc0c0c07398f"

Command = Callable[[argparse.Namespace], int]


class Parser(argparse.ArgumentParser):
    """The standard parser, whose complaint is one line that names the way to the help."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the call, and end with 2."""
        self.exit(2, f"{self.prog}: {message} (see {self.prog} --help)\n")


Commands: TypeAlias = "argparse._SubParsersAction[Parser]"  # noqa: SLF001  (it has no other name)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it did what it says, 1 when it failed, 2 for a wrong call."""
    parsed = _parser().parse_args(arguments)
    command: Command = parsed.command
    try:
        return command(parsed)
    except (Refusal, OSError, ValueError, ImportError, sqlite3.Error, SQLAlchemyError) as error:
        say_beside(f"zonedocket {parsed.name}: {_in_one_line(error)}")
        return 1


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
    for add in COMMANDS:
        add(commands)
    return parser


def _add_demo(commands: Commands) -> None:
    words, example = "play the invented meet and serve it", "demo --no-serve --out out"
    parser = _add(commands, "demo", play_demo, words, example)
    parser.add_argument("--no-serve", action="store_true", help="write the papers and end")
    parser.add_argument("--out", type=Path, help=OUT_HELP)
    _add_place(parser)


def _add_serve(commands: Commands) -> None:
    words = "serve the database that DATABASE_URL names"
    _add_place(_add(commands, "serve", serve, words, "serve"))


def _add_survey(commands: Commands) -> None:
    words = "write where each line of the take-over zones must lie, and judge what was measured"
    surveys.add_arguments(_add(commands, "survey", survey, words, surveys.EXAMPLE))


def _add_migrate(commands: Commands) -> None:
    _add(commands, "migrate", migrate, "bring the database to this program's schema", "migrate")


def _add_seal(commands: Commands) -> None:
    words, example = "make, import or show a meet's seal", f"seal {A_MEET}"
    parser = _add(commands, "seal", make_seal, words, example)
    parser.add_argument("meet", help="the meet's id")
    parser.add_argument(
        "--import",
        dest="pkcs12",
        type=Path,
        metavar="FILE",
        help="take key and certificate from a PKCS#12 file; its passphrase is asked for",
    )
    parser.add_argument("--because", default="", help="why a new seal comes in place of another")


def _add_export(commands: Commands) -> None:
    words = "write a meet's record with all that belongs to it, to be checked anywhere"
    exporting.add_arguments(_add(commands, "export", export_record, words, exporting.EXAMPLE))


def _add_check(commands: Commands) -> None:
    words = "check an export, or all records of a database"
    parser = _add(commands, "check", check_record, words, "check out/export.zip")
    _add_checked(parser.add_mutually_exclusive_group(required=True))
    heads = "a head that a sheet shows, such as '264 3f2a 91bc 77d0 e1aa'"
    parser.add_argument("--head", action="append", default=[], help=heads)
    seals = "the fingerprint that must have sealed"
    parser.add_argument("--seal", action="append", default=[], help=seals)
    papers = "the PDF of a sealed paper that was kept"
    parser.add_argument("--paper", action="append", default=[], help=papers)


def _add_checked(what: argparse._MutuallyExclusiveGroup) -> None:
    exports = (
        "an export, a record.jsonl or its folder; ends with 0 where all agrees, 1 where something "
        "does not, and of an export 3 where something wants explaining or was not checked"
    )
    what.add_argument("path", type=Path, metavar="DIR|FILE", nargs="?", help=exports)
    database = "the records in the database that DATABASE_URL names, and what guards them"
    what.add_argument("--database", action="store_true", help=database)


def _add_backup(commands: Commands) -> None:
    words, example = "copy a running SQLite database", "backup meet.bak.db"
    parser = _add(commands, "backup", backup, words, example)
    parser.add_argument("path", type=Path, metavar="FILE", help="where to write the copy")


def _add_restore(commands: Commands) -> None:
    words, example = "put a copy in place of the database", "restore a.db"
    parser = _add(commands, "restore", restore, words, example)
    restored = parser.add_mutually_exclusive_group(required=True)
    copy = "a copy that `backup` wrote"
    restored.add_argument("path", type=Path, metavar="FILE", nargs="?", help=copy)
    note = "put on record that the database was restored, with PostgreSQL's own tools or by hand"
    restored.add_argument("--note", action="store_true", help=note)
    parser.add_argument("--replace", action="store_true", help="replace a database that is there")
    copied = "with --note: when the copy was made, as 2026-06-13T21:30:00+02:00"
    parser.add_argument("--copied-at", type=_instant, metavar="TIME", help=copied)


def _add_erase(commands: Commands) -> None:
    words = "erase what a meet holds of people, or of one of them"
    erasing.add_arguments(_add(commands, "erase", erase, words, erasing.EXAMPLE))


def _add_crew(commands: Commands) -> None:
    words = "plan who stands at which zone, from lists of officials and heats"
    planning.add_arguments(_add(commands, "crew", plan_crew, words, planning.EXAMPLE))


COMMANDS: Sequence[Callable[[Commands], None]] = (
    *(_add_demo, _add_serve, _add_survey, _add_crew, _add_migrate, _add_seal, _add_export),
    *(_add_check, _add_backup, _add_restore, _add_erase),
)
"""In the order of the help."""


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


def _instant(text: str) -> datetime:
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        instant = None
    if instant is None or instant.tzinfo is None or instant > SystemClock().now():
        raise argparse.ArgumentTypeError(
            f"{text} is no time that has been; write it with its zone, as 2026-06-13T21:30:00+02:00"
        )
    return instant


def _add(
    commands: Commands,
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
    settings = _with_secrets(_settings(parsed))
    if parsed.out is not None:
        _tell_secret("Seal passphrase", settings.seal_passphrase)
    return play.serve_meet(parsed.out, settings)


def serve(parsed: argparse.Namespace) -> int:
    """Serve the database, after bringing it to the program's schema."""
    look_seldom()
    from app.logs import keep_log  # noqa: PLC0415
    from app.sealing.passphrase import insist_one_can_be_made, tell_passphrase  # noqa: PLC0415
    from app.sealing.seals import key_store  # noqa: PLC0415  (the others need none of it)
    from app.sealing.stamping import Stamping  # noqa: PLC0415
    from app.serving import listen, serve_settings  # noqa: PLC0415

    given = _settings(parsed)
    insist_one_can_be_made(given)
    settings = _with_secrets(given)
    keys = key_store(settings)
    keys.insist_writable()
    keep_log()
    keys.insist_opens()
    keys.warn_of_what_others_may_open()
    Stamping.by(settings).insist_readable()
    listener = listen(settings)
    if not given.setup_key.get_secret_value():
        _tell_secret("Setup key of this run, which makes meets", settings.setup_key)
    if not given.seal_passphrase.get_secret_value():
        tell_passphrase(settings)
    return serve_settings(settings, listener)


def _with_secrets(settings: Settings) -> Settings:
    """The settings, with a setup key and a seal passphrase of this run where none was given."""
    fresh = {
        name: SecretStr(secrets.token_urlsafe(24))
        for name in ("setup_key", "seal_passphrase")
        if not getattr(settings, name).get_secret_value()
    }
    return settings.model_copy(update=fresh)


def _tell_secret(what: str, secret: SecretStr) -> None:
    print(f"{what}: {secret.get_secret_value()}")


def make_seal(parsed: argparse.Namespace) -> int:
    """Make or import a meet's seal, or show the one in use. On SQLite no server may be running."""
    from app.sealing.command import seal_meet  # noqa: PLC0415

    for line in seal_meet(Settings(), parsed.meet, parsed.pkcs12, parsed.because):
        print(line)
    return 0


def survey(parsed: argparse.Namespace) -> int:
    """Write survey sheets and a list of lines; 3 where a line lies in the wrong place."""
    told, ends = surveys.survey_track(parsed)
    for line in told:
        say(line)
    return ends


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


def export_record(parsed: argparse.Namespace) -> int:
    """Write an export of a meet's record, also while the server runs."""
    _database_that_is_there()
    print(exporting.export_meet(Settings(), parsed.meet, parsed.path))
    return 0


OF_AN_EXPORT = ("manifest.json", "manifest.note", "check.py", "certificates", "checkpoints")


def check_record(parsed: argparse.Namespace) -> int:
    """Check an export, or a bare record, without a database or a network; or a database's own."""
    if parsed.database:
        return _check_database()
    path: Path = parsed.path
    if path.suffix.lower() == ".zip" or any((path / name).exists() for name in OF_AN_EXPORT):
        return _check_export(parsed)
    if parsed.head or parsed.seal or parsed.paper:
        raise ValueError(f"{path} is no export; --head, --seal and --paper are held against one")
    return _check_lines(path / "record.jsonl" if path.is_dir() else path)


def _check_export(parsed: argparse.Namespace) -> int:
    """What the checker says that goes with every export: there is only one truth about them."""
    from app.exporting import check_export  # noqa: PLC0415

    asked = [f"--{name}={one}" for name in ("head", "seal", "paper") for one in vars(parsed)[name]]
    return check_export.main([*asked, str(parsed.path)])


def _check_lines(path: Path) -> int:
    if not path.exists():
        raise ValueError(f"{path} is not there: check takes an export, or a record.jsonl")
    with path.open(encoding="utf-8", errors="surrogateescape") as lines:
        checked = check_lines(line.rstrip("\n") for line in lines)
    if not checked.size and checked.head_root is None:
        raise ValueError(f"{path} is no exported record: nothing in it is an entry or a head")
    if not checked.is_good:
        print("\n".join(_disagreement(path, checked)))
        do = "does" if checked.size == 1 else "do"
        raise ValueError(f"the {counted(checked.size, 'entry')} of {path} {do} NOT agree")
    agree = agreeing(checked.size, "entry", "agrees", "agree")
    erased = counted(checked.erased, "erased body", "erased bodies")
    among = f" (with {erased})" if checked.erased else ""
    print(f"{agree} with its head{among}: root {checked.root}")
    print("\n".join(_erasures(checked)), end="\n" if checked.erasures else "")
    return 0


def _check_database() -> int:
    from app.checking.database import check_database  # noqa: PLC0415
    from app.store.engine import open_engines  # noqa: PLC0415

    engines = open_engines(_database_that_is_there())
    try:
        with engines.reading.connect() as conn:
            if engines.is_sqlite:
                conn.exec_driver_sql("BEGIN")  # one snapshot, as PostgreSQL's readers have
            found = check_database(conn)
    finally:
        engines.dispose()
    for meet, one in found.meets.items():
        print(f"meet {meet}: {counted(one.checked.size, 'entry')}, root {one.checked.root}")
        print("".join(f"{line}\n" for line in _erasures(one.checked)), end="")
    for mismatch in found.mismatches:
        print(mismatch)
    if found.mismatches:
        raise ValueError("the database does NOT agree")
    meets = counted(len(found.meets), "meet")
    print(f"All records agree with their heads, and are guarded: {meets}.")
    print(f"What they tell of is there as they say: {_in_numbers(found.held) or 'nothing'}.")
    if left := _in_numbers(found.left):
        print(f"Erased, wholly or in part, and as the erasures left it: {left}.")
    return 0


def _in_numbers(things: Mapping[str, int]) -> str:
    return ", ".join(counted(number, what) for what, number in sorted(things.items()) if number)


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
        yield f"  what {counted(len(erasure.entries), 'entry')} said was {erasure}"


def _disagreement(path: Path, checked: Checked) -> Iterator[str]:
    """The first mismatch, since one change upsets all that follows, and the roots."""
    first, *others = checked.mismatches
    yield f"{path}: {first}"
    if others:
        do = "does" if len(others) == 1 else "do"
        yield f"{path}: {len(others)} more {do} not agree after that"
    if checked.head_root is not None and checked.head_root != checked.root:
        yield f"root of the {counted(checked.size, 'entry')}: {checked.root}"
        yield f"root that the head says:  {checked.head_root}"


def backup(parsed: argparse.Namespace) -> int:
    """Write a consistent copy of the SQLite database, also while the server runs."""
    from app.copying import back_up  # noqa: PLC0415

    source = _sqlite_file(Settings())
    back_up(source, parsed.path)
    print(f"Copied {source} to {parsed.path}.")
    return 0


def restore(parsed: argparse.Namespace) -> int:
    """Put a copy in place of the database, or on record that others did. On SQLite the server must
    not be running.
    """
    from app.copying import put_back  # noqa: PLC0415
    from app.restoring import put_on_record  # noqa: PLC0415
    from app.store.engine import only_process  # noqa: PLC0415

    settings = Settings()
    if parsed.copied_at is not None and not parsed.note:
        raise ValueError("--copied-at goes with --note: a copy says itself when it was made")
    if parsed.note:
        _database_that_is_there()
        told = put_on_record(settings, parsed.copied_at)
    else:
        target = _sqlite_file(settings)
        with only_process(make_url(settings.database_url)):
            told = put_back(parsed.path, settings, replace=parsed.replace)
        print(f"Restored {target} from {parsed.path}.")
    print("\n".join(told))
    return 0


def erase(parsed: argparse.Namespace) -> int:
    """Erase, or say what would go. On SQLite no server may be running."""
    url = _database_that_is_there()
    for line in erasing.lines_of(parsed, url):
        print(line)
    return 0


def plan_crew(parsed: argparse.Namespace) -> int:
    """Plan a crew from files, without a database; 3 where something stays unwatched."""
    return planning.plan(parsed, planning.Voices(say, say_beside))


def _sqlite_file(settings: Settings) -> Path:
    url = make_url(settings.database_url)
    if url.get_backend_name() != "sqlite" or not url.database:
        raise ValueError("this is for SQLite; use pg_dump and pg_restore with PostgreSQL")
    return Path(url.database)
