"""What does the notice board show? What was announced, and what can be done about it until when.

Everything here is read from what is public over HTTP as well: announcements as they were made,
windows, scores. What is reported, ruled on or lodged shows only as far as an announcement tells it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Connection

from app.ids import AnnouncementId, MeetId
from app.pages.limits import Limits, limits_of
from app.results.announcement_wire import AnnouncementLine, AnnouncementOut
from app.results.announcements import said_in
from app.results.finality import announcement_shown, announcements_shown
from app.results.windows import open_windows
from app.results.wire import ResultLineOut, WindowOut
from app.rounds.announced import scores_out
from app.rounds.wire import ScoresOut


@dataclass(frozen=True, slots=True)
class Posted:
    """An announcement on the board: what it said, and what is known of it now."""

    line: AnnouncementLine
    said: AnnouncementOut

    @property
    def stands(self) -> bool:
        """Whether it is the last word on its heat, and counts."""
        return self.line.is_latest and not self.line.does_not_count

    @property
    def disqualified(self) -> list[ResultLineOut]:
        """Its teams that are disqualified, in the order of the result."""
        return disqualified_in(self.said.lines)


@dataclass(frozen=True, slots=True)
class Endless:
    """A kind of window without a closing time that is open for some heats, named once."""

    window: WindowOut
    subjects: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Board:
    """A page of the board; windows and scores stand on the first one alone."""

    posted: Sequence[Posted]
    earlier: str | None
    is_first: bool
    limits: Limits
    closing: Sequence[WindowOut] = ()
    endless: Sequence[Endless] = ()
    scores: ScoresOut = field(default_factory=lambda: ScoresOut(scores=[], awaited=[]))

    @property
    def standing(self) -> list[Posted]:
        """What stands, newest first."""
        return [one for one in self.posted if one.stands]

    @property
    def notations(self) -> dict[str, str]:
        """What the abbreviations of all results on the page mean."""
        return {
            short: meaning
            for one in self.standing
            for short, meaning in one.said.abbreviations.items()
        }


def board_of(conn: Connection, meet_id: MeetId, before: str | None, now: datetime) -> Board:
    """The board from a place on, fifty announcements a page; `before` is a page's `earlier`."""
    page = announcements_shown(conn, meet_id, before, now)
    said = said_in(conn, [line.id for line in page.announcements])
    board = Board(
        posted=[Posted(line, said[line.id]) for line in page.announcements],
        earlier=page.next,
        is_first=before is None,
        limits=limits_of(conn, meet_id),
    )
    return board if before is not None else _with_what_runs(conn, meet_id, board, now)


def _with_what_runs(conn: Connection, meet_id: MeetId, board: Board, now: datetime) -> Board:
    running = open_windows(conn, meet_id, now)
    return Board(
        board.posted,
        board.earlier,
        board.is_first,
        board.limits,
        closing=[one for one in running if one.closes_at is not None],
        endless=list(_named_once(one for one in running if one.closes_at is None)),
        scores=scores_out(conn, meet_id),
    )


def _named_once(windows: Iterable[WindowOut]) -> Iterator[Endless]:
    """Windows without a closing time, those of one kind and rule together."""
    alike: dict[tuple[object, ...], list[WindowOut]] = {}
    for one in windows:
        alike.setdefault((one.remedy, one.kind, one.rule, one.minutes, one.team), []).append(one)
    for group in alike.values():
        yield Endless(group[0], tuple(dict.fromkeys(one.subject for one in group)))


def disqualified_in(lines: Iterable[ResultLineOut]) -> list[ResultLineOut]:
    """Those of the lines whose team is disqualified."""
    return [line for line in lines if line.annotation.startswith("DQ")]


def result_posted(
    conn: Connection, meet_id: MeetId, announcement_id: AnnouncementId, now: datetime
) -> AnnouncementOut:
    """One announcement as everybody may see it; NotFound for an id that is not of this meet."""
    return announcement_shown(conn, meet_id, announcement_id, now).for_everybody()
