"""The command `erase`: what it takes, and what it says.

What erases is loaded only when it is called: the other commands need none of it.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from sqlalchemy import make_url

from app.ids import MeetId, canonical_id
from app.store.engine import only_process
from app.wire import clean_line

if TYPE_CHECKING:
    from app.erasing.actions import Wanted
    from app.erasing.doing import Looked
    from app.erasing.plan import Plan

EXAMPLE = (
    'erase 01936f2e-7b1c-7cc3-98c4-dc0c0c07398f --name "Bo Halyard" --because "asked for it" '
    '--by "the organiser"'
)
LONGEST = 500
CAUTION = "Older backups, exports and printed papers keep what they say: see to them as well."
NOT_ALL_WRITTEN_ANEW = (
    "What PostgreSQL keeps of frequent values to plan by was not written anew: let a superuser "
    "say VACUUM FULL pg_catalog.pg_statistic."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What `erase` takes."""
    meets = parser.add_mutually_exclusive_group(required=True)
    meets.add_argument("meet", metavar="MEET", nargs="?", type=_id, help="the meet's id")
    meets.add_argument(
        "--due", action="store_true", help="all meets that have kept names for their `keep_days`"
    )
    _add_person(parser)
    parser.add_argument("--because", type=_line, metavar="WHY", help="why; it stays for good")
    parser.add_argument(
        "--by",
        type=_line,
        metavar="WHO",
        required=True,
        help="who asked for it: an office, no person's name",
    )
    parser.add_argument("--look", action="store_true", help="say what would go, and change nothing")


def _add_person(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--official", metavar="ID", type=_id, help="this official only")
    parser.add_argument(
        "--name",
        dest="names",
        metavar="NAME",
        type=_name,
        action="append",
        default=[],
        help="whoever has this name only; once for each way in which it is written",
    )
    parser.add_argument(
        "--picture",
        metavar="ID",
        type=_id,
        action="append",
        default=[],
        help="this picture, which shows them",
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
    """Erase, or look only, and tell what went; ValueError for a call that cannot be meant."""
    from app.erasing.doing import erase_all, look_at  # noqa: PLC0415

    wants = list(_wanted(parsed, database_url))
    if not wants:
        yield "No meet has kept names for its `keep_days` yet."
        return
    if parsed.look:
        for meet, wanted in wants:
            yield from _looked(meet, look_at(database_url, meet, wanted))
        return
    with only_process(make_url(database_url)):
        are_all_written_anew, plans = erase_all(database_url, wants)
    for (meet, _wanted_there), plan in zip(wants, plans, strict=True):
        yield from _erased(meet, plan)
    if not are_all_written_anew:
        yield NOT_ALL_WRITTEN_ANEW
    yield CAUTION


def _wanted(parsed: argparse.Namespace, url: str) -> Iterator[tuple[MeetId, Wanted]]:
    """What is to be erased, meet by meet."""
    from app.erasing.actions import Wanted  # noqa: PLC0415
    from app.erasing.doing import due  # noqa: PLC0415

    names, official, pictures = tuple(parsed.names), parsed.official or "", parsed.picture
    if parsed.due:
        if names or official or pictures:
            raise ValueError("--due erases whole meets: leave out --name, --official and --picture")
        for one in due(url):
            days, are = ("day", "is") if one.keep_days == 1 else (f"{one.keep_days} days", "are")
            over = f"the {days} for which this meet keeps names {are} over"
            yield one.meet_id, Wanted(parsed.because or over, parsed.by)
        return
    if parsed.because is None:
        raise ValueError("--because is missing: say why, in words that may stay for good")
    wanted = Wanted(parsed.because, parsed.by, names, official, frozenset(pictures))
    yield MeetId(parsed.meet), wanted


def _looked(meet: MeetId, looked: Looked) -> Iterator[str]:
    if looked.plan.is_empty:
        yield f"Meet {meet}: nothing of it is there (any more)."
    else:
        yield f"Meet {meet}: this would go, and nothing was changed:"
        yield from _places(looked.plan.places)
    if looked.in_part:
        yield "These tell a word of the name only, and stay unless that is a --name too:"
        yield from _places(looked.in_part)


def _erased(meet: MeetId, plan: Plan) -> Iterator[str]:
    if plan.is_empty:
        yield f"Meet {meet}: nothing of it was there (any more)."
        return
    yield f"Meet {meet}: erased, and the record says so:"
    yield from _places(plan.places)


def _places(places: Mapping[str, int]) -> Iterator[str]:
    for place, count in sorted(places.items()):
        yield f"  {place:<40}{count:>7,}"
