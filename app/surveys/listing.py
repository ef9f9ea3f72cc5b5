"""A list of measured lines: which zones it names, and what stands against taking it over. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Final, TypeAlias

from app.rules.book import Book
from app.rules.relay import Relay
from app.rules.survey import LaneLine, LineTarget, Measured, rounded, zone_targets
from app.rules.track import Track
from app.sheets.listed import Listed, read_listed
from app.sheets.problems import ProblemList
from app.sheets.survey_list import MeasuredRow, read_survey_list
from app.surveys.same_paint import at_odds, sharing
from app.surveys.wire import SurveyListOut
from app.surveys.zones import (
    NOTHING,
    ListedZone,
    Taped,
    Zone,
    ZoneName,
    all_zones,
    still_there,
    wrong_by_relay,
    zone_at,
)

Rows: TypeAlias = dict[ZoneName, dict[LaneLine, MeasuredRow]]
"""The rows of a list by zone and line."""
ROUNDED_M: Final = 1e-9
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
    by_zone: Rows = {}
    for row in listed.rows:
        if row.take_over not in rules.get(row.relay, {}):
            why = f"The edition has no zone for take-over {row.take_over} of a {row.relay} here."
            problems.add(row.row, "take_over", why)
        elif row.lane > track.lanes:
            why = f"The track has {track.lanes} lanes. Correct it, or the track in the settings."
            problems.add(row.row, "lane", why)
        else:
            by_zone.setdefault((row.relay, row.take_over), {})[row.lane, row.line] = row
    zones, alone = [], []
    for (relay, take_over), rows in by_zone.items():
        rule = rules[relay][take_over]
        targets = zone_targets(track, relay, take_over, rule)
        said = {of: Measured(row.mark, rounded(row.metres)) for of, row in rows.items()}
        before = still_there(targets, known.get((relay, take_over), NOTHING).lines)
        zone = zone_at(track, relay, take_over, rule, Taped({**before, **said}), tolerance)
        for of in rows.keys() & zone.refused.keys():
            problems.add(rows[of].row, None, f"{zone.name}: {zone.refused[of]}")
        for target in targets:
            if target.of in rows:
                _insist_on_place(rows[target.of], target, problems)
        zones.append(ListedZone(zone, said))
        alone.append(zone_at(track, relay, take_over, rule, Taped(said)))
    _tell_of_odds(alone, by_zone, track, problems)
    return zones, listed.with_problems(problems.told())


def zones_with(
    listed: Iterable[ListedZone], relays: Iterable[Relay], book: Book, track: Track
) -> list[Zone]:
    """All zones of these relays and of those of the list, with what the list says of their lines,
    as which zone it may be.
    """
    said = {(one.zone.relay, one.zone.take_over): one.zone for one in listed}
    wanted = {*relays, *(relay for relay, _ in said)}
    zones = [
        said.get((relay, number)) or zone_at(track, relay, number, rule)
        for relay, number, rule in all_zones(book, track, filter(wanted.__contains__, Relay))
    ]
    return sharing(track, zones, zones)


def _insist_on_place(row: MeasuredRow, target: LineTarget, problems: ProblemList) -> None:
    """That the list is of the measures that the track has now: by others, a line that was measured
    well may seem to lie wrong, and the reverse.
    """
    if row.lies is None:
        return
    here, (listed, within) = target.place.metres, row.lies
    if abs(listed - here) > within + ROUNDED_M:
        problems.add(
            row.row,
            "metres_into_it",
            f"The list was made for another track or edition: this line lies {here:.3f} m into its "
            f"part of the lap here, not {listed:g} m. Judge it by the measures that it was made "
            "for; where those were wrong, clear this column and send it again.",
        )


def _tell_of_odds(zones: Iterable[Zone], rows: Rows, track: Track, problems: ProblemList) -> None:
    for (one, of), (other, its) in at_odds(track, zones):
        first, second = rows[one.relay, one.take_over][of], rows[other.relay, other.take_over][its]
        problems.add(
            second.row,
            "measured_m",
            f"This line is the one of row {first.row}, of {one.name}, and by that it lies "
            "otherwise. Measure it again, and keep the right one of both.",
        )


def summary(
    listed_zones: list[ListedZone], listed: Listed[MeasuredRow], *, stored: bool
) -> SurveyListOut:
    """What the list holds, and what it says of the zones."""
    zones = [one.zone for one in listed_zones]
    return SurveyListOut(
        stored=stored,
        zones=len(zones),
        lines=len(listed.rows),
        wrong=wrong_by_relay(zones),
        ignored_columns=list(listed.ignored),
        problems=list(listed.problems),
    )
