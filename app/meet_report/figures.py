"""What does a meet say about its take-over zones: where was called, how it was ruled, how long it
took? Pure: facts go in, figures come out.

Numbers of a meet are small, so that a share of reports is told as counts with an interval: Wilson's
score interval at 95 % (E. B. Wilson, JASA 22, 1927). Median and p90 are sample quantiles with
linear interpolation, definition 7 of Hyndman and Fan (American Statistician 50, 1996). A time of
less than nothing means that a clock was off or a time was typed too early: it is counted, and not
reckoned with. White flags, which name neither a lane nor an infringement, are not counted by those.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from math import sqrt
from statistics import NormalDist, median, quantiles

Z = NormalDist().inv_cdf(0.975)
NOT_TOLD = "not told"


class Outcome(StrEnum):
    """How a report ended."""

    CONFIRMED = "confirmed"
    DISMISSED = "dismissed"
    OPEN = "open"
    WITHDRAWN = "withdrawn"


DECIDED = frozenset({Outcome.CONFIRMED, Outcome.DISMISSED})


class Section(StrEnum):
    """By what calls, reports and rulings are counted."""

    ZONE = "zone"
    EDGE = "edge"
    ZONE_AND_EDGE = "zone and edge"
    LANE = "lane"
    INFRINGEMENT = "infringement"
    OFFICIAL = "official"


WITHOUT_WHITE = frozenset({Section.LANE, Section.INFRINGEMENT})


class Step(StrEnum):
    """What is timed."""

    FLAG_TO_REPORT = "flag to report"
    REPORT_TO_RULING = "report to ruling"
    RULING_TO_ANNOUNCEMENT = "ruling to announcement"


@dataclass(frozen=True, slots=True)
class Where:
    """At which zone and edge, and for which lane; None where that is not known."""

    take_over: int | None
    edge: str | None
    lane: int | None


@dataclass(frozen=True, slots=True)
class FlagShown:
    """A call that was made, and who saw what it tells; of a white one no lane is known."""

    official: str
    where: Where
    infringement: str
    is_yellow: bool


@dataclass(frozen=True, slots=True)
class ReportMade:
    """A report: the instants are the server's; that of the flag is None where its phone's clock was
    never compared with the server's, or no flag was shown (`is_flagged`). `came_at` is when its
    first account came, whatever was asked back and written again. `is_set_aside` where a protest or
    an appeal set aside how it was ruled.
    """

    official: str
    case: str
    where: Where
    infringement: str
    outcome: Outcome
    is_set_aside: bool
    is_flagged: bool
    flag_at: datetime | None
    came_at: datetime | None


@dataclass(frozen=True, slots=True)
class RulingMade:
    """The first ruling on a case, and when the result of that run of its heat was first announced
    after it; None where it never was.
    """

    case: str
    ruled_at: datetime
    announced_at: datetime | None


@dataclass(frozen=True, slots=True)
class PostExpected:
    """A post that had to call for a heat whose result was announced, and whether nothing had come
    from it by then.
    """

    official: str
    is_silent: bool


@dataclass(frozen=True, slots=True)
class Remedy:
    """A protest or an appeal, where it stands, and the case of the ruling that it is about."""

    kind: str
    state: str
    case: str | None


@dataclass(frozen=True, slots=True)
class Facts:
    """All that is counted."""

    flags: Sequence[FlagShown]
    reports: Sequence[ReportMade]
    rulings: Sequence[RulingMade]
    posts: Sequence[PostExpected]
    remedies: Sequence[Remedy]

    def of(self, official: str) -> Facts:
        """What is one official's own: their flags, reports and posts, and what became of them. A
        ruling that was made when they had withdrawn their report, or not yet written it, is about
        what others saw.
        """
        reports = [one for one in self.reports if one.official == official]
        cases = {one.case for one in reports if one.outcome in DECIDED}
        return Facts(
            [one for one in self.flags if one.official == official],
            reports,
            [one for one in self.rulings if one.case in cases],
            [one for one in self.posts if one.official == official],
            [one for one in self.remedies if one.case in cases],
        )


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many."""

    count: int
    of: int

    @property
    def interval(self) -> tuple[float, float] | None:
        """Wilson's score interval at 95 %, between 0 and 1; None of nothing."""
        if not self.of:
            return None
        part, spread = self.count / self.of, Z * Z / self.of
        middle = part + spread / 2
        half = sqrt(spread * part * (1 - part) + spread * spread / 4)
        low, high = (middle - half) / (1 + spread), (middle + half) / (1 + spread)
        # The ends are exact where all or nothing was counted; what is left there is rounding.
        return (low if self.count else 0.0, high if self.count < self.of else 1.0)


@dataclass(frozen=True, slots=True)
class Tally:
    """What was counted under a key of a section. One ruling ends all reports on its case, so that
    there may be fewer rulings than reports, and one may stand under several keys. `white` is None
    where white flags are not counted; `set_aside` are those of the reports ruled on whose ruling a
    protest or an appeal set aside, `confirmed_set_aside` those of them that were confirmed.
    """

    section: Section
    key: str
    white: int | None
    yellow: int
    confirmed: int
    dismissed: int
    open: int
    withdrawn: int
    rulings: int
    set_aside: int
    confirmed_set_aside: int

    @property
    def reports(self) -> int:
        return self.confirmed + self.dismissed + self.open + self.withdrawn

    @property
    def share(self) -> Share:
        """The confirmed ones of those that were ruled on."""
        return Share(self.confirmed, self.confirmed + self.dismissed)

    @property
    def parts(self) -> tuple[int, ...]:
        """The reports in parts, as a bar shows them: confirmed and dismissed where that still
        stands, set aside later, open, withdrawn.
        """
        return (
            self.confirmed - self.confirmed_set_aside,
            self.dismissed - (self.set_aside - self.confirmed_set_aside),
            self.set_aside,
            self.open,
            self.withdrawn,
        )


@dataclass(frozen=True, slots=True)
class Times:
    """How long a step took, in seconds, shortest first. `clock_off` ended before they began;
    `unknown` have begun or ended at a time that nobody knows. `without_flag` are the reports that
    were written with no flag shown, so that nothing is missing of them; None where no flag begins
    the step.
    """

    step: Step
    seconds: tuple[float, ...]
    clock_off: int
    unknown: int
    without_flag: int | None = None

    @property
    def median(self) -> float | None:
        return median(self.seconds) if self.seconds else None

    @property
    def p90(self) -> float | None:
        """The 90th percentile."""
        if len(self.seconds) < 2:
            return self.median
        return quantiles(self.seconds, n=10, method="inclusive")[8]


@dataclass(frozen=True, slots=True)
class Silent:
    """How many of the posts that were expected to call had not when the result was announced."""

    key: str
    share: Share


@dataclass(frozen=True, slots=True)
class Ended:
    """How many protests or appeals stand so."""

    kind: str
    state: str
    count: int


@dataclass(frozen=True, slots=True)
class Figures:
    """A meet in figures. Of one official's own, nobody is named."""

    whole: Tally
    tallies: tuple[Tally, ...]
    times: tuple[Times, ...]
    silent: Share
    silent_by_official: tuple[Silent, ...]
    ended: tuple[Ended, ...]

    def by(self, section: Section) -> list[Tally]:
        """The counts of a section, in the order of its keys."""
        return [one for one in self.tallies if one.section is section]


Counted = FlagShown | ReportMade
KeyOf = Callable[[Counted], str]


def _zone(one: Counted) -> str:
    return NOT_TOLD if one.where.take_over is None else str(one.where.take_over)


def _edge(one: Counted) -> str:
    return one.where.edge or NOT_TOLD


def _zone_and_edge(one: Counted) -> str:
    return f"{_zone(one)} {_edge(one)}"


def _lane(one: Counted) -> str:
    return NOT_TOLD if one.where.lane is None else str(one.where.lane)


KEYS: dict[Section, KeyOf] = {
    Section.ZONE: _zone,
    Section.EDGE: _edge,
    Section.ZONE_AND_EDGE: _zone_and_edge,
    Section.LANE: _lane,
    Section.INFRINGEMENT: lambda one: one.infringement or NOT_TOLD,
}


def reckon(facts: Facts, *, by_official: bool) -> Figures:
    """The figures of these facts; `by_official` keeps apart who made them."""
    keys = KEYS | ({Section.OFFICIAL: lambda one: one.official} if by_official else {})
    return Figures(
        whole=_tally(Section.ZONE, "", facts.flags, facts.reports),
        tallies=tuple(
            one for section, key in keys.items() for one in _section(facts, section, key)
        ),
        times=tuple(_times(facts)),
        silent=_silent(facts.posts),
        silent_by_official=tuple(_silent_by_official(facts.posts)) if by_official else (),
        ended=tuple(_ended(facts.remedies)),
    )


def _section(facts: Facts, section: Section, key_of: KeyOf) -> Iterable[Tally]:
    counted: dict[str, tuple[list[FlagShown], list[ReportMade]]] = {}
    for flag in facts.flags:
        if flag.is_yellow or section not in WITHOUT_WHITE:
            counted.setdefault(key_of(flag), ([], []))[0].append(flag)
    for report in facts.reports:
        counted.setdefault(key_of(report), ([], []))[1].append(report)
    return [_tally(section, key, *counted[key]) for key in sorted(counted, key=_in_order)]


def _in_order(key: str) -> tuple[bool, int, str]:
    """Lanes by number, and last what is not known."""
    return key.startswith(NOT_TOLD), int(key) if key.isdecimal() else 0, key


def _tally(
    section: Section, key: str, flags: Sequence[FlagShown], reports: Sequence[ReportMade]
) -> Tally:
    ended = [one.outcome for one in reports]
    set_aside = [one.outcome for one in reports if one.is_set_aside and one.outcome in DECIDED]
    yellow = sum(one.is_yellow for one in flags)
    return Tally(
        section,
        key,
        white=None if section in WITHOUT_WHITE else len(flags) - yellow,
        yellow=yellow,
        confirmed=ended.count(Outcome.CONFIRMED),
        dismissed=ended.count(Outcome.DISMISSED),
        open=ended.count(Outcome.OPEN),
        withdrawn=ended.count(Outcome.WITHDRAWN),
        rulings=len({one.case for one in reports if one.outcome in DECIDED}),
        set_aside=len(set_aside),
        confirmed_set_aside=set_aside.count(Outcome.CONFIRMED),
    )


def _times(facts: Facts) -> Iterable[Times]:
    """What is still waited for is no time, and not counted here."""
    ruled = {one.case: one.ruled_at for one in facts.rulings}
    arrived = [one for one in facts.reports if one.came_at is not None]
    on = [one for one in arrived if one.outcome in DECIDED and one.case in ruled]
    told = [one for one in facts.rulings if one.announced_at is not None]
    flagged = [one for one in arrived if one.is_flagged]
    from_flag = _timed(Step.FLAG_TO_REPORT, [(one.flag_at, one.came_at) for one in flagged])
    yield replace(from_flag, without_flag=len(arrived) - len(flagged))
    yield _timed(Step.REPORT_TO_RULING, [(one.came_at, ruled[one.case]) for one in on])
    yield _timed(Step.RULING_TO_ANNOUNCEMENT, [(one.ruled_at, one.announced_at) for one in told])


def _timed(step: Step, spans: Iterable[tuple[datetime | None, datetime | None]]) -> Times:
    spans = list(spans)
    took = [(end - begin).total_seconds() for begin, end in spans if begin and end]
    known = sorted(seconds for seconds in took if seconds >= 0)
    return Times(step, tuple(known), len(took) - len(known), len(spans) - len(took))


def _silent(posts: Sequence[PostExpected]) -> Share:
    return Share(sum(one.is_silent for one in posts), len(posts))


def _silent_by_official(posts: Sequence[PostExpected]) -> Iterable[Silent]:
    for official in sorted({one.official for one in posts}):
        own = _silent([one for one in posts if one.official == official])
        if own.count:
            yield Silent(official, own)


def _ended(remedies: Sequence[Remedy]) -> Iterable[Ended]:
    states = [(one.kind, one.state) for one in remedies]
    for kind, state in sorted(set(states), key=lambda one: (one[0] != "protest", one)):
        yield Ended(kind, state, states.count((kind, state)))
