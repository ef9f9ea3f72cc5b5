"""What has each post shown for a heat, by its flags and by what it has written?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, select

from app.access.queries import official_names
from app.crew.queries import Post, expected_posts
from app.ids import HeatId, MeetId, OfficialId, PostId
from app.meets.queries import PRESENT_RUN, heat
from app.meets.states import NOT_TO_RUN
from app.meets.tables import heats
from app.reports.states import (
    NOT_FOR_POST,
    ReportState,
)
from app.reports.tables import calls, cases, reports
from app.reports.wire import Flag, HeatPostsOut, PostLine

_CALLED = (
    select(calls.c.post_id, calls.c.flag, calls.c.received_at, calls.c.official_id, reports.c.state)
    .join(heats, heats.c.id == calls.c.heat_id)
    .outerjoin(reports, reports.c.id == calls.c.report_id)
    .where(
        calls.c.heat_id == bindparam("heat"),
        calls.c.run == PRESENT_RUN,
    )
    .order_by(calls.c.received_at, calls.c.id)
)


# By its cases: no index of reports begins with the heat.
_WRITTEN = (
    select(reports.c.post_id, reports.c.raised_at, reports.c.official_id, reports.c.marks)
    .join(cases, cases.c.id == reports.c.case_id)
    .join(heats, heats.c.id == cases.c.heat_id)
    .where(
        cases.c.heat_id == bindparam("heat"),
        reports.c.run == PRESENT_RUN,
        heats.c.state.not_in([state.value for state in sorted(NOT_TO_RUN)]),
        reports.c.post_id.is_not(None),
        reports.c.content.is_not(None),
        reports.c.state != ReportState.WITHDRAWN.value,
    )
    .order_by(reports.c.raised_at, reports.c.id)
)


_NAMED = (
    select(reports.c.post_id, reports.c.lane)
    .join(cases, cases.c.id == reports.c.case_id)
    .join(heats, heats.c.id == cases.c.heat_id)
    .where(
        cases.c.heat_id == bindparam("heat"),
        reports.c.run == PRESENT_RUN,
        reports.c.post_id.is_not(None),
        reports.c.lane.is_not(None),
        reports.c.state != ReportState.WITHDRAWN.value,
    )
    .distinct()
)


@dataclass(frozen=True, slots=True)
class Called:
    """A flag that a post has shown for a heat, and whether that flag was taken back."""

    post: PostId
    flag: Flag
    at: datetime
    by: OfficialId
    withdrawn: bool = False

    @property
    def weight(self) -> int:
        """A yellow that stands before a white; one taken back says at least that they called."""
        if self.withdrawn:
            return 0
        return 2 if self.flag is Flag.YELLOW else 1


def called_posts(conn: Connection, heat_id: HeatId) -> Mapping[PostId, Called]:
    """What each post has shown by its flags in this run of a heat; a silent post is absent."""
    return _what_counts(_calls_of(conn, heat_id))


def heard_posts(conn: Connection, heat_id: HeatId) -> Mapping[PostId, Called]:
    """The same, where a written report that stands counts as its post's yellow flag."""
    return _what_counts([*_written_of(conn, heat_id), *_calls_of(conn, heat_id)])


def _what_counts(shown: Iterable[Called]) -> Mapping[PostId, Called]:
    """Of each post the flag that weighs most, and of those the last."""
    counting: dict[PostId, Called] = {}
    for called in shown:
        before = counting.get(called.post)
        if before is None or called.weight >= before.weight:
            counting[called.post] = called
    return counting


def _calls_of(conn: Connection, heat_id: HeatId) -> Iterable[Called]:
    for row in conn.execute(_CALLED, {"heat": heat_id}):
        withdrawn = row.state == ReportState.WITHDRAWN
        yield Called(row.post_id, Flag(row.flag), row.received_at, row.official_id, withdrawn)


def _written_of(conn: Connection, heat_id: HeatId) -> Iterable[Called]:
    """Written reports, as if each were a flag; where there was one as well, it weighs as much."""
    for row in conn.execute(_WRITTEN, {"heat": heat_id}):
        if NOT_FOR_POST.isdisjoint(row.marks):
            yield Called(row.post_id, Flag.YELLOW, row.raised_at, row.official_id)


def lanes_named(conn: Connection, heat_id: HeatId) -> Mapping[PostId, frozenset[int]]:
    """By post the lanes that its flags and reports in this run name; no post without any."""
    named: dict[PostId, set[int]] = {}
    for row in conn.execute(_NAMED, {"heat": heat_id}):
        named.setdefault(row.post_id, set()).add(row.lane)
    return {post: frozenset(lanes) for post, lanes in named.items()}


def heat_posts(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> HeatPostsOut:
    """Who is expected to call for a heat, and what each post has shown."""
    facts = heat(conn, meet_id, heat_id)
    shown = heard_posts(conn, heat_id)
    names = official_names(conn, meet_id)
    lines = [
        _post_line(place, shown.get(place.id), names)
        for place in expected_posts(conn, meet_id, facts)
    ]
    silent = sum(line.flag is None for line in lines)
    return HeatPostsOut(heat=heat_id, posts=lines, silent=silent)


def _post_line(place: Post, called: Called | None, names: Mapping[OfficialId, str]) -> PostLine:
    return PostLine(
        post=place.id,
        official=place.official_id,
        official_name=names[place.official_id],
        words=place.words,
        take_over=place.take_over,
        flag=called.flag if called else None,
        withdrawn=called.withdrawn if called else False,
        called_at=called.at if called else None,
        called_by=called.by if called else None,
        called_by_name=names[called.by] if called else None,
    )
