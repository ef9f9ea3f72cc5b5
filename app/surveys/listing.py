"""A list of measured lines: which zones it names, and what stands against taking it over. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from app.rules.book import Book
from app.rules.relay import Relay
from app.rules.survey import Measured, ZoneLine
from app.rules.track import Track
from app.sheets.listed import Listed, read_listed
from app.sheets.problems import ProblemList
from app.sheets.survey_list import MeasuredRow, read_survey_list
from app.surveys.wire import SurveyListOut
from app.surveys.zones import Taped, Zone, flag, zone_at


def read_file(content: bytes, columns: Mapping[str, str]) -> Listed[MeasuredRow]:
    """The measured lines in a file and every problem in it, by row and column."""
    return read_listed(read_survey_list, content, columns)


def zones_listed(
    listed: Listed[MeasuredRow], book: Book, track: Track, tolerance: float | None
) -> tuple[list[Zone], Listed[MeasuredRow]]:
    """The zones as they are by the list, and the list with what stands against it."""
    rules, problems = book.zones_on(track), ProblemList()
    by_zone: dict[tuple[Relay, int], dict[tuple[int, ZoneLine], Measured]] = {}
    rows: dict[tuple[Relay, int], int] = {}
    for row in listed.rows:
        if row.take_over not in rules.get(row.relay, {}):
            why = f"The edition has no zone for take-over {row.take_over} of a {row.relay} here."
            problems.add(row.row, "take_over", why)
        elif row.lane > track.lanes:
            why = f"The track has {track.lanes} lanes. Correct it, or the track in the settings."
            problems.add(row.row, "lane", why)
        else:
            zone = (row.relay, row.take_over)
            by_zone.setdefault(zone, {})[row.lane, row.line] = Measured(row.mark, row.metres)
            rows.setdefault(zone, row.row)
    found = [
        zone_at(track, *of, rules[of[0]][of[1]], Taped(lines), tolerance)
        for of, lines in by_zone.items()
    ]
    for one in found:
        _tell_of_trouble(one, rows[one.relay, one.take_over], problems)
    return found, listed.with_problems(problems.told())


def _tell_of_trouble(zone: Zone, row: int, problems: ProblemList) -> None:
    known = {(one.lane, one.line) for one in zone.targets}
    for lane, line in zone.taped.lines:
        if (lane, line) not in known:
            problems.add(row, "line", f"By the meet's edition this zone has no line “{line}”.")
    if zone.problem:
        problems.add(row, None, f"{zone.name}: {zone.problem}")


def summary(zones: list[Zone], listed: Listed[MeasuredRow], *, stored: bool) -> SurveyListOut:
    """What the list holds, and what it says of the zones."""
    return SurveyListOut(
        stored=stored,
        zones=len(zones),
        lines=sum(len(one.taped.lines) for one in zones),
        wrong=[f"{one.relay}: {flag(one.take_over, one.wrong)}" for one in zones if one.wrong],
        ignored_columns=list(listed.ignored),
        problems=list(listed.problems),
    )
