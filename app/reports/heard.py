"""What has each post shown for a heat, by its flags and by what it has written?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from typing import Any

from sqlalchemy import Connection, Select, bindparam, select

from app.access.queries import official_names
from app.crew.queries import Post, expected_in
from app.ids import HeatId, MeetId, OfficialId, PostId
from app.meets.queries import PRESENT_RUN, heat
from app.meets.states import NOT_TO_RUN
from app.meets.tables import heats
from app.meets.wire import HeatOut
from app.reports.states import (
    NOT_FOR_POST,
    ReportState,
)
from app.reports.tables import calls, cases, reports
from app.reports.wire import Flag, HeatPostsOut, PostLine

_CALLED = (
    select(
        calls.c.heat_id,
        calls.c.post_id,
        calls.c.flag,
        calls.c.received_at,
        calls.c.official_id,
        reports.c.state,
    )
    .join(heats, heats.c.id == calls.c.heat_id)
    .outerjoin(reports, reports.c.id == calls.c.report_id)
    .where(
        # Both sides of the join, here and below: PostgreSQL would else read all heats there are.
        calls.c.heat_id.in_(bindparam("heats", expanding=True)),
        heats.c.id.in_(bindparam("heats", expanding=True)),
        calls.c.run == PRESENT_RUN,
    )
    .order_by(calls.c.received_at, calls.c.id)
)


# By its cases: no index of reports begins with the heat.
_EVER_WRITTEN = (
    select(
        cases.c.heat_id,
        reports.c.post_id,
        reports.c.raised_at,
        reports.c.official_id,
        reports.c.marks,
    )
    .join(cases, cases.c.id == reports.c.case_id)
    .join(heats, heats.c.id == cases.c.heat_id)
    .where(
        cases.c.heat_id.in_(bindparam("heats", expanding=True)),
        heats.c.id.in_(bindparam("heats", expanding=True)),
        reports.c.run == PRESENT_RUN,
        heats.c.state.not_in([state.value for state in sorted(NOT_TO_RUN)]),
        reports.c.post_id.is_not(None),
        reports.c.content.is_not(None),
    )
    .order_by(reports.c.raised_at, reports.c.id)
)
_WRITTEN = _EVER_WRITTEN.where(reports.c.state != ReportState.WITHDRAWN.value)


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
    return _what_counts(called for _heat, called in _calls_in(conn, [heat_id]))


def heard_posts(conn: Connection, heat_id: HeatId) -> Mapping[PostId, Called]:
    """The same, where a written report that stands counts as its post's yellow flag."""
    return heard_in(conn, [heat_id])[heat_id]


def heard_in(
    conn: Connection, heat_ids: Sequence[HeatId]
) -> Mapping[HeatId, Mapping[PostId, Called]]:
    """The same of several heats."""
    shown: dict[HeatId, list[Called]] = {one: [] for one in heat_ids}
    for heat_id, called in chain(_written_in(conn, heat_ids), _calls_in(conn, heat_ids)):
        shown[heat_id].append(called)
    return {heat_id: _what_counts(each) for heat_id, each in shown.items()}


def first_heard_in(
    conn: Connection, heat_ids: Sequence[HeatId]
) -> Mapping[HeatId, Mapping[PostId, datetime]]:
    """By heat when the first flag or report of each post came in its present run, whatever became
    of it; a silent post is absent.
    """
    first: dict[HeatId, dict[PostId, datetime]] = {one: {} for one in heat_ids}
    written = _written_in(conn, heat_ids, _EVER_WRITTEN)
    for heat_id, called in chain(written, _calls_in(conn, heat_ids)):
        before = first[heat_id].get(called.post, called.at)
        first[heat_id][called.post] = min(before, called.at)
    return first


def _what_counts(shown: Iterable[Called]) -> Mapping[PostId, Called]:
    """Of each post the flag that weighs most, and of those the last."""
    counting: dict[PostId, Called] = {}
    for called in shown:
        before = counting.get(called.post)
        if before is None or called.weight >= before.weight:
            counting[called.post] = called
    return counting


def _calls_in(conn: Connection, heat_ids: Sequence[HeatId]) -> Iterator[tuple[HeatId, Called]]:
    for row in conn.execute(_CALLED, {"heats": heat_ids}):
        withdrawn = row.state == ReportState.WITHDRAWN
        flag = Flag(row.flag)
        yield row.heat_id, Called(row.post_id, flag, row.received_at, row.official_id, withdrawn)


def _written_in(
    conn: Connection, heat_ids: Sequence[HeatId], asked: Select[Any] = _WRITTEN
) -> Iterator[tuple[HeatId, Called]]:
    """Written reports, as if each were a flag; where there was one as well, it weighs as much."""
    for row in conn.execute(asked, {"heats": heat_ids}):
        if NOT_FOR_POST.isdisjoint(row.marks):
            yield row.heat_id, Called(row.post_id, Flag.YELLOW, row.raised_at, row.official_id)


def lanes_named(conn: Connection, heat_id: HeatId) -> Mapping[PostId, frozenset[int]]:
    """By post the lanes that its flags and reports in this run name; no post without any."""
    named: dict[PostId, set[int]] = {}
    for row in conn.execute(_NAMED, {"heat": heat_id}):
        named.setdefault(row.post_id, set()).add(row.lane)
    return {post: frozenset(lanes) for post, lanes in named.items()}


def heat_posts(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> HeatPostsOut:
    """Who is expected to call for a heat, and what each post has shown."""
    lines = post_lines(conn, meet_id, [heat(conn, meet_id, heat_id)])[heat_id]
    silent = sum(line.flag is None for line in lines)
    return HeatPostsOut(heat=heat_id, posts=lines, silent=silent)


def post_lines(
    conn: Connection, meet_id: MeetId, some: Sequence[HeatOut]
) -> Mapping[HeatId, list[PostLine]]:
    """By heat the posts that are expected to call for it, and what each has shown."""
    shown = heard_in(conn, [one.id for one in some])
    names = official_names(conn, meet_id)
    return {
        heat_id: [_post_line(place, shown[heat_id].get(place.id), names) for place in expected]
        for heat_id, expected in expected_in(conn, meet_id, some).items()
    }


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
