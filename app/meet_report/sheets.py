"""A meet report on paper, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.forms.fonts import Weight
from app.forms.meet_report_sheet import Bar, Interval, MeetReportSheet
from app.forms.plain_table import Heading, PlainTable
from app.forms.sheet_head import MeetHead
from app.meet_report.figures import WITHOUT_WHITE, Figures, Section, Tally
from app.meet_report.telling import share_in_short, share_in_words, took_in_words, words_of

TITLES = {
    Section.ZONE: "By take-over",
    Section.EDGE: "By edge watched",
    Section.LANE: "By lane",
    Section.INFRINGEMENT: "By what was reported",
    Section.OFFICIAL: "By official",
}
NONE_EXPECTED = "none expected"
NO_COUNT = "\N{EN DASH}"
KEY = Heading("", 0.2, Weight.BOLD)
WHITE = Heading("white flags", 0.08)
COUNTED = (
    Heading("yellow flags", 0.08),
    Heading("reports", 0.08),
    Heading("open", 0.07),
    Heading("withdrawn", 0.1),
    Heading("rulings", 0.08),
    Heading("reports confirmed, of those ruled on (95 % interval)", 0.24),
    Heading("set aside", 0.07),
)
TIMED = (
    Heading("", 0.26, Weight.BOLD),
    Heading("timed", 0.08),
    Heading("median", 0.15),
    Heading("90th percentile (p90)", 0.17),
    Heading("a clock was off", 0.11),
    Heading("clock not known", 0.12),
    Heading("no flag shown", 0.11),
)
HOW = (
    "A report counts for the zone, edge and lane that it is about, its yellow flag for its lane; a "
    "white flag names no lane. A flag that the head of the crew called by radio counts for the "
    "official of its post. Confirmed and dismissed as the last ruling on the case has it, one for "
    "all its reports. Set aside are those of them whose ruling a protest or an appeal set aside "
    "later: bars show them apart from those of which the ruling stands. Rehearsals are not "
    "counted.",
    "Intervals are Wilson's, at 95 %. Reports on one case are ruled on together, so that they tell "
    "a little less than their number.",
    "A flag's time is its phone's, put right by how far that was off; a report's when it first "
    "arrived, also where it was returned and written again; ruling and announcement are the first "
    "of each. A ruling whose race was run again before its result was announced is timed to no "
    "announcement. Times that would be less than nothing are left out and counted as a clock "
    "that was off; a report that was written with no flag shown is counted as such, and timed from "
    "when it arrived. The 90th percentile is interpolated (definition 7).",
    "A post is silent when announced where neither flag nor report of it had come when the result "
    "of the heat was announced for the first time, of the run that counts: a flag that came later "
    "does not change that, a race that is run again is counted anew.",
)


@dataclass(frozen=True, slots=True)
class Printing:
    """For whom it is printed, and when."""

    head: MeetHead
    whose: str
    printed_at: str


def on_sheet(of: Printing, figures: Figures, names: Mapping[str, str]) -> MeetReportSheet:
    """What the paper says."""
    return MeetReportSheet(
        meet=of.head.meet,
        place=of.head.place,
        date=of.head.date,
        time_zone=of.head.time_zone,
        whose=of.whose,
        printed_at=of.printed_at,
        sentences=tuple(sentences(figures)),
        bars=tuple(bars_of(figures, names)),
        intervals=tuple(intervals_of(figures, names)),
        tables=tuple(_tables(figures, names)),
        notes=HOW,
    )


def sentences(figures: Figures) -> list[str]:
    """The whole in a few sentences."""
    whole, silent = figures.whole, figures.silent
    return [
        f"Flags: {whole.white} white, {whole.yellow} yellow. Reports: {whole.reports}, of which "
        f"{whole.open} open and {whole.withdrawn} withdrawn.",
        f"Confirmed of those ruled on: {share_in_words(whole.share)}. Set aside later, by a "
        f"protest or an appeal: {whole.set_aside}.",
        "Posts silent when the result was announced, heat by heat: "
        f"{share_in_words(silent, NONE_EXPECTED)}.",
    ]


def bars_of(figures: Figures, names: Mapping[str, str]) -> list[Bar]:
    """Reports by take-over and edge."""
    section = Section.ZONE_AND_EDGE
    return [
        Bar(words_of(section, one.key, names), one.parts)
        for one in figures.by(section)
        if one.reports
    ]


def intervals_of(figures: Figures, names: Mapping[str, str]) -> list[Interval]:
    """The confirmed share of the whole, of each take-over and of each edge."""
    of_parts = [*figures.by(Section.ZONE), *figures.by(Section.EDGE)]
    return [
        Interval(label, share_in_words(one.share), one.share.count / one.share.of, *ends)
        for label, one in [
            ("all", figures.whole),
            *((_label(one, names), one) for one in of_parts),
        ]
        if (ends := one.share.interval) is not None
    ]


def _label(one: Tally, names: Mapping[str, str]) -> str:
    return ("edge: " if one.section is Section.EDGE else "") + words_of(one.section, one.key, names)


def _tables(figures: Figures, names: Mapping[str, str]) -> list[PlainTable]:
    counted = [
        _counted(title, section, figures.by(section), names) for section, title in TITLES.items()
    ]
    times = [
        (
            str(one.step),
            str(len(one.seconds)),
            took_in_words(one.median),
            took_in_words(one.p90),
            str(one.clock_off),
            str(one.unknown),
            NO_COUNT if one.without_flag is None else str(one.without_flag),
        )
        for one in figures.times
    ]
    silent = [
        (names[one.key], share_in_short(one.share, NONE_EXPECTED))
        for one in figures.silent_by_official
    ]
    ended = [(one.kind, one.state, str(one.count)) for one in figures.ended]
    return [
        *counted,
        PlainTable("times", TIMED, times, size=8.2, title="How long it took"),
        _plain(
            "Silent when announced, by official",
            ("official", "posts, heat by heat (95 % interval)"),
            silent,
        ),
        _plain("Protests and appeals", ("remedy", "stands", "how many"), ended),
    ]


def _counted(
    title: str, section: Section, tallies: Sequence[Tally], names: Mapping[str, str]
) -> PlainTable:
    white = () if section in WITHOUT_WHITE else (WHITE,)
    return PlainTable(title, (KEY, *white, *COUNTED), _rows(tallies, names), size=8.2, title=title)


def _plain(title: str, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> PlainTable:
    share = 0.6 / len(headings)
    return PlainTable(title, [Heading(one, share) for one in headings], rows, 8.2, title)


def _counts(one: Tally) -> Iterator[int]:
    if one.white is not None:
        yield one.white
    yield from (one.yellow, one.reports, one.open, one.withdrawn, one.rulings)


def _rows(tallies: Sequence[Tally], names: Mapping[str, str]) -> list[tuple[str, ...]]:
    return [
        (
            words_of(one.section, one.key, names),
            *(str(n) for n in _counts(one)),
            share_in_short(one.share),
            str(one.set_aside),
        )
        for one in tallies
    ]
