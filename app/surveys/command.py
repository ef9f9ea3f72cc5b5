"""The command `survey`: sheets and a list of lines for a track, and judging what was measured.

It needs no database and no meet: whoever goes out with a tape the day before may have neither.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from app.clock import SystemClock, rfc3339
from app.files import read_list, write_whole
from app.forms.paper import Paper
from app.plurals import counted
from app.rules.book import Book, editions, load_book
from app.rules.relay import Relay
from app.rules.track import FOUR_BY_200_BENDS, Track

if TYPE_CHECKING:
    from app.sheets.problems import Problem
    from app.surveys.zones import Zone

EXAMPLE: Final = "survey --relay 4x100 --relay 4x400 --lanes 8 --out survey"
LIES_WRONG: Final = 3
"""The command's end where a line lies in the wrong place."""
LATEST: Final = "world-athletics-2025"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What `survey` takes."""
    relay = "a relay on the programme, such as 4x100; again for each further one"
    parser.add_argument(
        "--relay", action="append", choices=[one.value for one in Relay], required=True, help=relay
    )
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="where to write")
    edition = f"the rule book's edition (default: {LATEST})"
    parser.add_argument("--edition", choices=editions(), default=LATEST, help=edition)
    track = Track()
    for name, value, what in (
        ("--radius", track.radius_m, "of the bends, to the kerb or the inner line, in metres"),
        ("--straight", track.straight_m, "the length of a straight, in metres"),
        ("--lane-width", track.lane_width_m, "in metres"),
    ):
        parser.add_argument(name, type=float, default=value, help=f"{what} (default: {value:g})")
    lanes = f"how many lanes (default: {track.lanes})"
    parser.add_argument("--lanes", type=int, default=track.lanes, help=lanes)
    parser.add_argument("--no-kerb", action="store_true", help="the inside is a painted line")
    bends = "how many bends of a 4x200 are run in lanes (default: 4)"
    parser.add_argument("--bends", type=int, choices=FOUR_BY_200_BENDS, default=4, help=bends)
    tolerance = "how far a line may lie off, in millimetres along its lane"
    parser.add_argument("--tolerance", type=float, metavar="MM", help=tolerance)
    measured = "the list of lines with what was measured filled in (CSV or XLSX)"
    parser.add_argument("--measured", type=Path, metavar="FILE", help=measured)
    parser.add_argument("--paper", type=Paper, choices=list(Paper), default=Paper.A4)
    parser.add_argument("--meet", default="", help="the meet's name, for the sheets")


def survey_track(parsed: argparse.Namespace) -> tuple[list[str], int]:
    """Write the sheets and the list: what is said, and how the command ends. ValueError for what
    cannot be.
    """
    from app.forms.sheet_head import MeetHead  # noqa: PLC0415  (drawing is no part of a start)
    from app.forms.survey_sheet import draw_survey_sheets  # noqa: PLC0415
    from app.surveys.lines_list import lines_csv  # noqa: PLC0415
    from app.surveys.sheets import SurveyOf, on_sheets  # noqa: PLC0415
    from app.surveys.zones import lap_note  # noqa: PLC0415

    book, track, tolerance = load_book(parsed.edition), _track(parsed), _tolerance(parsed)
    zones = _zones(parsed, book, track, tolerance)
    today = rfc3339(SystemClock().now())[:10]
    of = SurveyOf(
        MeetHead(parsed.meet, "", today, ""),
        f"{book.title}, {book.edition}",
        track,
        tolerance,
        today,
    )
    drawn = on_sheets(of, zones)
    sheets, lines = _places(parsed, book, track)
    contents = {
        sheets: draw_survey_sheets(drawn, parsed.paper),
        lines: lines_csv(zones).encode("utf-8-sig"),
    }
    parsed.out.mkdir(parents=True, exist_ok=True)
    write_whole(contents)
    wrote = f"Wrote {sheets} ({counted(len(drawn.zones), 'page')}) and {lines}."
    ends = LIES_WRONG if any(one.wrong for one in zones) else 0
    return [wrote, *filter(None, [lap_note(track)]), *_told(zones, tolerance)], ends


def _places(parsed: argparse.Namespace, book: Book, track: Track) -> tuple[Path, Path]:
    """Where the sheets and the list go: what was measured goes beside what went out. ValueError
    where a list is there that somebody filled in, or that is read.
    """
    from app.surveys.filled_in import is_as_judged, is_blank  # noqa: PLC0415

    begins = "survey" if parsed.measured is None else "survey-judged"
    sheets, lines = (parsed.out / f"{begins}{ends}" for ends in ("-sheets.pdf", ".csv"))
    elsewhere = "Name another folder with --out"
    if parsed.measured is not None and parsed.measured.resolve() == lines.resolve():
        raise ValueError(f"{lines} is read, and would be written over. {elsewhere}")
    if lines.exists():
        there = read_list(lines)
        if parsed.measured is None and not is_blank(there, book, track):
            why = "it is filled in, changed, or of another track or edition"
            judge = f"{elsewhere}, or have it judged with --measured {lines}"
            raise ValueError(f"{lines} is there, and would be lost: {why}. {judge}")
        if parsed.measured is not None and not is_as_judged(there, book, track):
            raise ValueError(
                f"{lines} was changed since it was judged, or is of another track, and would be "
                f"lost. {elsewhere}, or have that list judged with --measured {lines}"
            )
    return sheets, lines


def _track(parsed: argparse.Namespace) -> Track:
    return Track(
        parsed.radius,
        parsed.straight,
        parsed.lane_width,
        parsed.lanes,
        not parsed.no_kerb,
        parsed.bends,
    )


def _tolerance(parsed: argparse.Namespace) -> float | None:
    if parsed.tolerance is None:
        return load_book(parsed.edition).zone_tolerance_m
    if not 5 <= parsed.tolerance <= 500:
        raise ValueError("--tolerance is 5 to 500 mm")
    return float(parsed.tolerance) / 1000


def _zones(
    parsed: argparse.Namespace, book: Book, track: Track, tolerance: float | None
) -> list[Zone]:
    from app.surveys.zones import all_zones, zone_at  # noqa: PLC0415

    relays = [Relay(name) for name in dict.fromkeys(parsed.relay)]
    known = book.zones_on(track)
    if missing := [relay.value for relay in relays if relay not in known]:
        raise ValueError(
            f"{book.title}, {book.edition}, has no zones for {', '.join(missing)} on a track of "
            f"{track.lap_m} m"
        )
    if parsed.measured is None:
        return [zone_at(track, *of) for of in all_zones(book, track, relays)]
    return _measured(parsed, book, track, tolerance)


def _measured(
    parsed: argparse.Namespace, book: Book, track: Track, tolerance: float | None
) -> list[Zone]:
    """The zones with what the list says; ValueError with the first things that are wrong."""
    from app.surveys.listing import read_file, zones_listed, zones_with  # noqa: PLC0415

    found, seen = zones_listed(read_file(read_list(parsed.measured), {}), book, track, tolerance)
    if seen.problems:
        told = "; ".join(map(_problem, seen.problems[:3]))
        raise ValueError(f"{parsed.measured}: {told}")
    return zones_with(found, map(Relay, parsed.relay), book, track)


def _problem(found: Problem) -> str:
    place = [f"row {found.row}"] if found.row else []
    where = ", ".join([*place, *filter(None, [found.column])])
    return f"{where}: {found.problem}" if where else found.problem


def _told(zones: Sequence[Zone], tolerance: float | None) -> Iterator[str]:
    from app.surveys.zones import wrong_by_relay  # noqa: PLC0415

    lines = sum(len(one.found) for one in zones)
    if not lines:
        return
    if tolerance is None:
        yield f"{counted(lines, 'line')} measured; no tolerance is set, so none is judged."
        return
    wrong = wrong_by_relay(zones)
    yield from wrong
    if not wrong:
        yield f"{counted(lines, 'line')} measured, and none in the wrong place."
