"""A list of measured lines: which zones it names, and what stands against taking it over. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from app.rules.book import Book
from app.rules.survey import Measured, ZoneLine
from app.rules.track import Track
from app.sheets.listed import Listed, read_listed
from app.sheets.problems import ProblemList
from app.sheets.survey_list import MeasuredRow, read_survey_list
from app.surveys.wire import SurveyListOut
from app.surveys.zones import NOTHING, ListedZone, Taped, ZoneName, flag, zone_at

NOTHING_KNOWN: Mapping[ZoneName, Taped] = MappingProxyType({})


def read_file(content: bytes, columns: Mapping[str, str]) -> Listed[MeasuredRow]:
    """The measured lines in a file and every problem in it, by row and column."""
    return read_listed(read_survey_list, content, columns)


def zones_listed(
    listed: Listed[MeasuredRow],
    book: Book,
    track: Track,
    tolerance: float | None,
    known: Mapping[ZoneName, Taped] = NOTHING_KNOWN,
) -> tuple[list[ListedZone], Listed[MeasuredRow]]:
    """The zones as they are with the list's lines beside those that are known, and the list with
    what stands against it.
    """
    rules, problems = book.zones_on(track), ProblemList()
    by_zone: dict[ZoneName, dict[tuple[int, ZoneLine], MeasuredRow]] = {}
    for row in listed.rows:
        if row.take_over not in rules.get(row.relay, {}):
            why = f"The edition has no zone for take-over {row.take_over} of a {row.relay} here."
            problems.add(row.row, "take_over", why)
        elif row.lane > track.lanes:
            why = f"The track has {track.lanes} lanes. Correct it, or the track in the settings."
            problems.add(row.row, "lane", why)
        else:
            by_zone.setdefault((row.relay, row.take_over), {})[row.lane, row.line] = row
    zones = []
    for (relay, take_over), rows in by_zone.items():
        said = {of: Measured(row.mark, row.metres) for of, row in rows.items()}
        taped = Taped({**known.get((relay, take_over), NOTHING).lines, **said})
        zone = zone_at(track, relay, take_over, rules[relay][take_over], taped, tolerance)
        for of, why in zone.refused.items():
            problems.add(rows[of].row if of in rows else None, None, f"{zone.name}: {why}")
        zones.append(ListedZone(zone, said))
    return zones, listed.with_problems(problems.told())


def summary(
    listed_zones: list[ListedZone], listed: Listed[MeasuredRow], *, stored: bool
) -> SurveyListOut:
    """What the list holds, and what it says of the zones."""
    zones = [one.zone for one in listed_zones]
    return SurveyListOut(
        stored=stored,
        zones=len(zones),
        lines=len(listed.rows),
        wrong=[f"{one.relay}: {flag(one, one.wrong)}" for one in zones if one.wrong],
        ignored_columns=list(listed.ignored),
        problems=list(listed.problems),
    )
