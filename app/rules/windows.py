"""Until when can a protest or an appeal be lodged, and by which rule?

The lengths stand in the books: World Athletics TR8.2 and TR8.7, IAAF Rule 146, NFHS 3-5-3. A meet
may set its own. No code that was found says whether "within 30 minutes" includes its last
instant; it is read here as inclusive, to the microsecond. Minutes are elapsed time: a change of
the clocks in the meet's zone moves nothing. Whether a late one is admitted is for people.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final, Literal

from app.rules.book import Book
from app.rules.book_parts import Remedy, WindowOpener, WindowRule

__all__ = [
    "CountsFrom",
    "MeetTerms",
    "Remedy",
    "Window",
    "WindowOpener",
    "close_from",
    "is_open",
    "windows_opened",
]

MOST_MINUTES: Final = 7 * 24 * 60

CountsFrom = Literal["end of meet"]
_END_OF_MEET: Final[CountsFrom] = "end of meet"


@dataclass(frozen=True, slots=True)
class MeetTerms:
    """What the meet itself has set in place of the edition; None leaves the edition's value.

    Minutes before a next round are for protests about a round from which teams go on; left out,
    those about all others hold there too.
    """

    protest_minutes: int | None = None
    appeal_minutes: int | None = None
    protest_minutes_before_next_round: int | None = None

    def __post_init__(self) -> None:
        settings = (
            self.protest_minutes,
            self.appeal_minutes,
            self.protest_minutes_before_next_round,
        )
        for minutes in settings:
            if minutes is not None and not 1 <= minutes <= MOST_MINUTES:
                raise ValueError(
                    f"A window of {minutes} minutes is not possible: set 1 to {MOST_MINUTES}, "
                    "or leave it to the rule book."
                )

    def minutes_for(self, remedy: Remedy, *, leads_on: bool = False) -> int | None:
        """What the meet has set for protests or for appeals."""
        if remedy is Remedy.APPEAL:
            return self.appeal_minutes
        shorter = self.protest_minutes_before_next_round
        return shorter if leads_on and shorter is not None else self.protest_minutes


@dataclass(frozen=True, slots=True)
class Window:
    """The time in which something can be lodged; instants are UTC, None means no known end.

    `origin` says whether the minutes come from the edition or are the meet's own; `rule` names
    the clause either way. One that `counts_from` the end of the meet closes so many minutes after
    it, which nobody knows before; every other one without an end never closes.
    """

    kind: str
    opened_at: datetime
    closes_at: datetime | None
    minutes: int | None
    rule: str
    origin: Literal["edition", "meet"]
    remedy: Remedy = Remedy.PROTEST
    counts_from: CountsFrom | None = None

    @property
    def can_lapse(self) -> bool:
        """Whether a result waits for it: one that never closes would keep it open for ever."""
        return self.closes_at is not None or self.counts_from is not None


def windows_opened(
    opener: WindowOpener,
    at: datetime,
    book: Book,
    terms: MeetTerms,
    *,
    leads_on: bool = False,
    ended_at: datetime | None = None,
) -> tuple[Window, ...]:
    """The windows that this event opens at this instant; a time without a zone is refused.

    `leads_on`: teams go on from this round to a next one. `ended_at`: the end of the meet, if it
    has ended; what would be over before it opens is left out.
    """
    instant = _in_utc(at)
    end = None if ended_at is None else _in_utc(ended_at)
    rules = (rule for rule in book.windows if rule.opens is opener)
    opened = (_open(rule, instant, terms, leads_on=leads_on, ended_at=end) for rule in rules)
    return tuple(one for one in opened if one.closes_at is None or one.closes_at >= instant)


def close_from(minutes: int, start: datetime) -> datetime:
    """When a window of so many minutes closes that counts from this instant."""
    return _in_utc(start) + timedelta(minutes=minutes)


def is_open(window: Window, now: datetime) -> bool:
    """Whether something can be lodged now; the first and the last instant both count."""
    instant = _in_utc(now)
    ended = window.closes_at is not None and instant > window.closes_at
    return window.opened_at <= instant and not ended


def _open(
    rule: WindowRule,
    at: datetime,
    terms: MeetTerms,
    *,
    leads_on: bool,
    ended_at: datetime | None,
) -> Window:
    own = terms.minutes_for(rule.remedy, leads_on=leads_on) if rule.meet_may_set else None
    minutes = rule.minutes if own is None else own
    origin: Literal["edition", "meet"] = "edition" if own is None else "meet"
    waits = minutes is not None and rule.opens is WindowOpener.END_OF_MEET
    start = ended_at if waits else at
    return Window(
        kind=rule.kind,
        opened_at=at,
        closes_at=None if minutes is None or start is None else close_from(minutes, start),
        minutes=minutes,
        rule=rule.rule,
        origin=origin,
        remedy=rule.remedy,
        counts_from=_END_OF_MEET if waits else None,
    )


def _in_utc(at: datetime) -> datetime:
    if at.utcoffset() is None:
        raise ValueError("This time names no time zone, so no window can be counted from it.")
    return at.astimezone(UTC)
