"""The command `erase`: what it takes, and what it says.

What erases is loaded only when it is called: the other commands need none of it.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from sqlalchemy import make_url

from app.ids import MeetId, canonical_id
from app.store.engine import only_process
from app.wire import clean_line

if TYPE_CHECKING:
    from app.erasing.actions import Wanted

EXAMPLE = (
    'erase 01936f2e-7b1c-7cc3-98c4-dc0c0c07398f --name "Bo Halyard" --because "asked for it" '
    '--by "the organiser"'
)
LONGEST = 500
NOBODY = (
    "Nobody and nothing here has this name. Nothing was erased. What an earlier run has erased is "
    "not found again; with --look you see texts that tell a part of the name."
)
WHOM = "whom? --name, --official or --picture for one person, or --all for everybody in the meet"
CAUTION = "Older backups, exports and printed papers keep what they say: see to them as well."
NOT_ALL_WRITTEN_ANEW = (
    "What PostgreSQL keeps of frequent values to plan by was not written anew: let a superuser "
    "say VACUUM FULL pg_catalog.pg_statistic."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What `erase` takes."""
    meets = parser.add_mutually_exclusive_group(required=True)
    meets.add_argument("meet", metavar="MEET", nargs="?", type=_id, help="the meet's id")
    meets.add_argument("--due", action="store_true", help="every meet whose `keep_days` are over")
    _add_person(parser)
    parser.add_argument(
        "--because", type=_line, metavar="WHY", help="why, without a name: it stays for good"
    )
    parser.add_argument(
        "--by",
        type=_line,
        metavar="WHO",
        required=True,
        help="who asked for it: an office, no person's name",
    )
    parser.add_argument("--look", action="store_true", help="say what would go, and change nothing")


def _add_person(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--all", action="store_true", help="everybody in the meet, and all texts")
    parser.add_argument("--official", metavar="ID", type=_id, help="one official, and nobody else")
    parser.add_argument(
        "--name",
        dest="names",
        metavar="NAME",
        type=_name,
        action="append",
        default=[],
        help="whoever has this name, and nobody else; once for each spelling, whatever its case, "
        "blanks, apostrophes and hyphens",
    )
    parser.add_argument(
        "--picture",
        metavar="ID",
        type=_id,
        action="append",
        default=[],
        help="a picture that shows that person; once for each",
    )


def _id(text: str) -> str:
    try:
        return canonical_id(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def _line(text: str) -> str:
    try:
        line = clean_line(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error
    if not 1 <= len(line) <= LONGEST:
        raise argparse.ArgumentTypeError(f"this needs 1 to {LONGEST} letters")
    return line


def _name(text: str) -> str:
    line = _line(text)
    letters = [one for one in line if one.isalpha()]
    if not letters or (len(letters) == 1 and letters[0].upper() != letters[0].lower()):
        raise argparse.ArgumentTypeError(f"“{line}” is in every text, and no name to look for")
    return line


def lines_of(parsed: argparse.Namespace, database_url: str) -> Iterator[str]:
    """Erase, or look only, and tell what went; ValueError for a call that cannot be meant, and for
    a name that nobody has.
    """
    from app.erasing.doing import erase_all, look_at  # noqa: PLC0415
    from app.erasing.telling import outcome_in_words  # noqa: PLC0415

    wants = list(_wanted(parsed, database_url))
    if not wants:
        yield "No meet is due: there is none whose `keep_days` are over."
        return
    if parsed.look:
        for meet, wanted in wants:
            yield from outcome_in_words(meet, look_at(database_url, meet, wanted))
        return
    with only_process(make_url(database_url)):
        are_all_written_anew, erased = erase_all(database_url, wants)
    if any(one.is_unknown for one in erased):
        raise ValueError(NOBODY)
    for (meet, _wanted_there), one in zip(wants, erased, strict=True):
        yield from outcome_in_words(meet, one)
    if not are_all_written_anew:
        yield NOT_ALL_WRITTEN_ANEW
    yield CAUTION


def _wanted(parsed: argparse.Namespace, url: str) -> Iterator[tuple[MeetId, Wanted]]:
    """What is to be erased, meet by meet."""
    from app.erasing.actions import Wanted  # noqa: PLC0415
    from app.erasing.doing import due  # noqa: PLC0415

    names, official, pictures = tuple(parsed.names), parsed.official or "", parsed.picture
    is_one = bool(names or official or pictures)
    if parsed.due:
        if is_one or parsed.all:
            raise ValueError(
                "--due erases whole meets: leave out --all, --name, --official and --picture"
            )
        for one in due(url):
            days, are = ("day", "is") if one.keep_days == 1 else (f"{one.keep_days} days", "are")
            over = f"the {days} for which this meet keeps names {are} over"
            yield one.meet_id, Wanted(parsed.because or over, parsed.by)
        return
    if is_one == parsed.all:
        raise ValueError("--all is everybody: leave out whom else you name" if is_one else WHOM)
    if parsed.because is None:
        raise ValueError("--because is missing: say why, in words that may stay for good")
    wanted = Wanted(parsed.because, parsed.by, names, official, frozenset(pictures))
    yield MeetId(parsed.meet), wanted
