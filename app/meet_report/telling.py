"""The figures of a meet in words, for programs, spreadsheets and paper."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from app.meet_report.figures import NOT_TOLD, Figures, Section, Share, Tally, Times
from app.meet_report.wire import EndedOut, MeetReportOut, ShareOut, SilentOut, TallyOut, TimesOut
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.sheets.writing import OutCell, write_csv

COLUMNS = ("section", "key", "measure", "count", "of", "low", "high", "seconds", "official")
COUNTS = (
    "white",
    "yellow",
    "reports",
    "confirmed",
    "dismissed",
    "open",
    "withdrawn",
    "rulings",
    "set_aside",
)
SILENT = "silent when announced"

Row = tuple[OutCell, ...]


def told_report(figures: Figures, names: Mapping[str, str], *, is_all: bool) -> MeetReportOut:
    """The figures as they go over HTTP; `names` are those of officials by their ids."""
    return MeetReportOut(
        whose="all" if is_all else "own",
        whole=_tally(figures.whole, names),
        tallies=[_tally(one, names) for one in figures.tallies],
        times=[_times(one) for one in figures.times],
        silent=_share(figures.silent),
        silent_by_official=[
            SilentOut(official=one.key, words=names[one.key], share=_share(one.share))
            for one in figures.silent_by_official
        ],
        ended=[
            EndedOut(remedy=one.kind, state=one.state, count=one.count) for one in figures.ended
        ],
    )


def words_of(section: Section, key: str, names: Mapping[str, str]) -> str:
    """What is counted there, in words."""
    if key.startswith(NOT_TOLD):
        return NOT_TOLD
    if section is Section.INFRINGEMENT:
        return title_of(Infringement(key))
    if section is Section.OFFICIAL:
        return names[key]
    before = {
        Section.ZONE: "take-over ",
        Section.ZONE_AND_EDGE: "take-over ",
        Section.LANE: "lane ",
    }
    return f"{before.get(section, '')}{key}"


def _tally(one: Tally, names: Mapping[str, str]) -> TallyOut:
    return TallyOut(
        section=one.section,
        key=one.key,
        words=words_of(one.section, one.key, names) if one.key else "all",
        **{name: getattr(one, name) for name in COUNTS},
        confirmed_share=_share(one.share),
    )


def _share(share: Share) -> ShareOut:
    low, high = share.interval or (None, None)
    return ShareOut(count=share.count, of=share.of, low=low, high=high)


def _times(one: Times) -> TimesOut:
    return TimesOut(
        step=one.step,
        count=len(one.seconds),
        median=one.median,
        p90=one.p90,
        clock_off=one.clock_off,
        unknown=one.unknown,
        without_flag=one.without_flag,
    )


def report_csv(figures: Figures, names: Mapping[str, str]) -> str:
    """All figures, one a row: of counts the count, of shares the interval, of times the seconds;
    last whose they are where they are one official's, as two may have one name.
    """
    return write_csv(COLUMNS, _rows(figures, names))


def _rows(figures: Figures, names: Mapping[str, str]) -> Iterator[Row]:
    yield from _counted("meet", "all", figures.whole)
    for one in figures.tallies:
        who = one.key if one.section is Section.OFFICIAL else None
        yield from _counted(one.section, words_of(one.section, one.key, names), one, who)
    yield from _timed(figures.times)
    yield _row("silent posts", "all", SILENT, figures.silent)
    for silent in figures.silent_by_official:
        yield _row("silent posts", names[silent.key], SILENT, silent.share, silent.key)
    for ended in figures.ended:
        yield (f"{ended.kind}s", ended.state, "count", ended.count, *[None] * 5)


def _counted(section: str, key: str, one: Tally, official: str | None = None) -> Iterator[Row]:
    for name in COUNTS:
        count = getattr(one, name)
        if count is not None:
            yield (section, key, name.replace("_", " "), count, *[None] * 4, official)
    yield _row(section, key, "confirmed of those ruled on", one.share, official)


def _row(section: str, key: str, measure: str, share: Share, official: str | None = None) -> Row:
    low, high = share.interval or (None, None)
    ends = [None if end is None else round(end, 4) for end in (low, high)]
    return (section, key, measure, share.count, share.of, *ends, None, official)


def _timed(times: Sequence[Times]) -> Iterator[Row]:
    for one in times:
        counted = len(one.seconds)
        for measure, seconds in (("median", one.median), ("p90", one.p90)):
            taken = None if seconds is None else round(seconds, 1)
            yield ("times", one.step, measure, counted, *[None] * 3, taken, None)
        yield ("times", one.step, "clock off", one.clock_off, *[None] * 5)
        yield ("times", one.step, "clock not known", one.unknown, *[None] * 5)
        if one.without_flag is not None:
            yield ("times", one.step, "no flag shown", one.without_flag, *[None] * 5)


def share_in_words(share: Share, nothing: str = "none ruled on") -> str:
    """Counts with their interval: 3 of 5, 95 % interval 23 % to 88 %; `nothing` of nothing."""
    return _in_words(share, "{}, 95 % interval {} % to {} %", nothing)


def share_in_short(share: Share, nothing: str = "none ruled on") -> str:
    """The same below a heading that says which interval it is: 3 of 5 (23 % to 88 %)."""
    return _in_words(share, "{} ({} % to {} %)", nothing)


def _in_words(share: Share, words: str, nothing: str) -> str:
    if share.interval is None:
        return nothing
    low, high = (round(100 * end) for end in share.interval)
    return words.format(f"{share.count} of {share.of}", low, high)


def took_in_words(seconds: float | None) -> str:
    """A time as people say it, to the nearest second: 48 s, 4 min 05 s, 1 h 02 min 08 s."""
    if seconds is None:
        return "\N{EN DASH}"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02} min {whole % 60:02} s"
