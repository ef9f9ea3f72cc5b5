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

__all__ = ["MeetTerms", "Remedy", "Window", "WindowOpener", "is_open", "windows_opened"]

MOST_MINUTES: Final = 7 * 24 * 60


@dataclass(frozen=True, slots=True)
class MeetTerms:
    """What the meet itself has set in place of the edition; None leaves the edition's value."""

    protest_minutes: int | None = None
    appeal_minutes: int | None = None

    def __post_init__(self) -> None:
        for minutes in (self.protest_minutes, self.appeal_minutes):
            if minutes is not None and not 1 <= minutes <= MOST_MINUTES:
                raise ValueError(
                    f"A window of {minutes} minutes is not possible: set 1 to {MOST_MINUTES}, "
                    "or leave it to the rule book."
                )

    def minutes_for(self, remedy: Remedy) -> int | None:
        """What the meet has set for protests or for appeals."""
        return self.protest_minutes if remedy is Remedy.PROTEST else self.appeal_minutes


@dataclass(frozen=True, slots=True)
class Window:
    """The time in which something can be lodged; instants are UTC, None means no known end.

    `origin` says whether the minutes come from the edition or are the meet's own; `rule` names
    the clause either way.
    """

    kind: str
    opened_at: datetime
    closes_at: datetime | None
    minutes: int | None
    rule: str
    origin: Literal["edition", "meet"]
    remedy: Remedy = Remedy.PROTEST


def windows_opened(
    opener: WindowOpener, at: datetime, book: Book, terms: MeetTerms
) -> tuple[Window, ...]:
    """The windows that this event opens at this instant; a time without a zone is refused."""
    instant = _in_utc(at)
    return tuple(_open(rule, instant, terms) for rule in book.windows if rule.opens is opener)


def is_open(window: Window, now: datetime) -> bool:
    """Whether something can be lodged now; the first and the last instant both count."""
    instant = _in_utc(now)
    ended = window.closes_at is not None and instant > window.closes_at
    return window.opened_at <= instant and not ended


def _open(rule: WindowRule, at: datetime, terms: MeetTerms) -> Window:
    own = terms.minutes_for(rule.remedy) if rule.meet_may_set else None
    minutes = rule.minutes if own is None else own
    closes_at = None if minutes is None else at + timedelta(minutes=minutes)
    origin: Literal["edition", "meet"] = "edition" if own is None else "meet"
    return Window(rule.kind, at, closes_at, minutes, rule.rule, origin, rule.remedy)


def _in_utc(at: datetime) -> datetime:
    if at.utcoffset() is None:
        raise ValueError("This time names no time zone, so no window can be counted from it.")
    return at.astimezone(UTC)
