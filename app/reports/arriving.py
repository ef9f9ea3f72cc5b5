"""What is known when a flag or a report comes in: who runs there, and which post sent it.

One statement, since a phone that waits for its receipt waits for nothing else. A post is taken as
it stood when the heat was started: a later plan may give its id, or its official, another place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

from sqlalchemy import bindparam, select

from app.crew.queries import (
    HELD_COLUMNS,
    POST_COLUMNS,
    Post,
    held_from,
    holds_a_post,
    post_from,
)
from app.crew.tables import heat_posts, posts
from app.ids import HeatId, MeetId, OfficialId
from app.meets.queries import (
    RUNNING_COLUMNS,
    RUNNING_IN,
    Running,
    running_from,
    teams_of_run,
)
from app.meets.states import NOT_TO_RUN, HeatState
from app.meets.tables import heats
from app.refusals import NotFound
from app.reports.states import Mark
from app.reports.wire import CallIn, ReportIn
from app.store.action import Unit
from app.store.prepared import Prepared, Question
from app.store.rows import AnyRow
from app.wire import PhoneClock

_ARRIVING = Prepared(
    select(*RUNNING_COLUMNS, *POST_COLUMNS, *HELD_COLUMNS, posts.c.retired.label("post_retired"))
    .select_from(
        RUNNING_IN.outerjoin(
            posts, (posts.c.id == bindparam("post")) & (posts.c.meet_id == heats.c.meet_id)
        ).outerjoin(
            heat_posts,
            (heat_posts.c.heat_id == heats.c.id) & (heat_posts.c.post_id == posts.c.id),
        )
    )
    .where(heats.c.meet_id == bindparam("meet"), heats.c.id == bindparam("heat"))
)


@dataclass(frozen=True, slots=True)
class Arriving:
    """Which run it is about, who ran in the lane then, and the post that watches, if any.

    `mark` says what is odd about the official at that post, None where it is their own. `early`:
    it was shown before the heat's last start.
    """

    run: int
    running: Running
    early: bool
    post: Post | None
    mark: Mark | None = None


def who_arrives(meet_id: MeetId, sent: CallIn | ReportIn) -> Question:
    """What is asked about whatever comes in."""
    where = {"meet": meet_id, "heat": sent.heat, "lane": sent.lane, "post": sent.post}
    return _ARRIVING, where


def about_the_same(sent: CallIn | ReportIn, *ids: str | None) -> frozenset[str]:
    """What two things share of which the later must see what the earlier has done: the id of a flag
    or a report; a lane of a heat, for its case; a post in a heat, for the flag whose account comes.

    Two lanes can be about one team, where lanes were drawn anew between two runs. Then the second
    case fails at the index of open cases, and the group is run again, each action after the other.
    """
    named = {one for one in ids if one is not None}
    return frozenset({f"{sent.heat} lane {sent.lane}", f"{sent.heat} post {sent.post}"} | named)


def arriving(
    unit: Unit, sent: CallIn | ReportIn, by: OfficialId, run: int | None = None
) -> Arriving:
    """What is known; NotFound for a heat or a post that is not of this meet.

    `run` is what a report is about whose flag was shown before.
    """
    asked, where = who_arrives(unit.meet_id, sent)
    row = asked.first(unit.conn, where)
    if row is None:
        raise NotFound("There is no such heat at this meet.")
    running = running_from(row)
    early = is_early(sent.clock, running)
    about = run or run_of(running, early=early)
    running = _as_it_was(unit, running, HeatId(sent.heat), sent.lane, about)
    if sent.post is None:
        return Arriving(about, running, early, None)
    if row.post_id is None:
        raise NotFound("There is no such post in this meet's crew plan.")
    return Arriving(about, running, early, *_place_of(unit, HeatId(sent.heat), row, by))


def _as_it_was(
    unit: Unit, running: Running, heat_id: HeatId, lane: int | None, run: int
) -> Running:
    """Who runs in the lane; of a run of the past, whoever ran there then."""
    if lane is None or run == running.present_run:
        return running
    then = teams_of_run(unit.conn, heat_id, run)
    if not then:  # a run that nobody began on the screen
        return running
    team = then.get(lane)
    return replace(
        running, team_id=team.id if team else None, team_name=team.name if team else None
    )


def _place_of(unit: Unit, heat_id: HeatId, row: AnyRow, by: OfficialId) -> tuple[Post, Mark | None]:
    """Where the official stands, and what is odd about it."""
    if row.held_id is None and row.post_retired:
        return post_from(row), Mark.RETIRED_POST
    if row.held_id is None:
        planned = post_from(row)
        return planned, None if planned.official_id == by else Mark.OTHERS_POST
    held = held_from(row)
    if held.official_id == by:
        return held, None
    planned = post_from(row)
    if planned.official_id != by:
        return held, Mark.OTHERS_POST
    if not planned.is_where(held):
        # The id now names another place: that is where they stand, and this heat has no post there.
        return planned, Mark.LATER_POST
    # Whoever had a post of their own at the start stands there, whatever the next heat's plan says.
    elsewhere = holds_a_post(unit.conn, heat_id, by)
    return held, Mark.OTHERS_POST if elsewhere else Mark.STAND_IN


def is_early(clock: PhoneClock, running: Running) -> bool:
    """Whether a flag was shown before the heat's start, as a flag of a recalled start is that
    comes late. Only a phone whose clock was compared with the server's can tell.
    """
    if running.started_at is None or clock.offset_ms is None:
        return False
    error = timedelta(milliseconds=clock.error_ms or 0)
    return clock.by_the_server() + error < running.started_at


def run_of(running: Running, *, early: bool) -> int:
    """The run that a flag or a report is about: the last that had begun when it was shown.

    While a heat is held back that is the run which was recalled. What is seen in a heat that nobody
    has started yet is about its first run: somebody forgot to.
    """
    return max(running.run - early, 1)


def post_words(place: Post | None, take_over: int | None) -> str:
    """The post as people name it, or that there was none."""
    if place is not None:
        return place.words
    return f"take-over {take_over}, own observation" if take_over else "own observation"


def marks_on(here: Arriving, lane: int | None) -> list[str]:
    """What is odd about a call or a report that is kept all the same."""
    found: list[Mark] = []
    if lane is not None and here.running.team_id is None:
        found.append(Mark.NO_TEAM)
    if here.running.state in NOT_TO_RUN or here.running.state is HeatState.ENDED:
        found.append(Mark.NOT_RUNNING)
    if here.running.state in {HeatState.ANNOUNCED, HeatState.FINAL}:
        found.append(Mark.AFTER_ANNOUNCEMENT)
    if here.early:
        found.append(Mark.BEFORE_START)
    if here.post is not None and lane is not None and lane not in here.post.lanes:
        found.append(Mark.OUTSIDE_POST)
    if here.mark is not None:
        found.append(here.mark)
    return [mark.value for mark in found]
