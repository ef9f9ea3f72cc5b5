"""What did the posts show that watched this team's lane at the take-over that was reported?

White flags and silence belong to it as much as yellow ones: whoever watched and saw nothing speaks
for the team. What such a post showed of another lane does not: it is said only that it was heard.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from app.access.names import NamesThen
from app.casefiles.queries import flags_shown
from app.clock import at_the_meet
from app.crew.queries import Post, expected_posts
from app.forms.case_file import PostOnFile
from app.ids import CaseId, HeatId, MeetId, ReportId
from app.meets.queries import MeetFacts, heat
from app.reports.heard import heard_posts
from app.reports.queries import case_row
from app.reports.wire import Flag, ReportOut
from app.rulings.as_ruled import reports_in
from app.store.rows import AnyRow

SILENT = "silent: neither flag nor report"
NOTHING_HERE = "nothing about this lane"
NEVER = "\N{EN DASH}"


@dataclass(frozen=True, slots=True)
class Watched:
    """The posts that watched, and what they showed of the case: flags, first to last."""

    posts: tuple[Post, ...]
    flags: tuple[AnyRow, ...]

    @property
    def white(self) -> tuple[str, ...]:
        """The white flags among them."""
        return tuple(one.id for one in self.flags if one.flag == Flag.WHITE)


def watched(conn: Connection, meet_id: MeetId, case_id: CaseId) -> Watched:
    """Who watched what a case is about, or reported it from beside. Nobody for one without a lane
    or a take-over, or of a race that was run again: then the posts have spoken anew.
    """
    case, written = case_row(conn, meet_id, case_id), reports_in(conn, meet_id, case_id)
    run = heat(conn, meet_id, HeatId(case.heat_id))
    here = [one for one in written if one.run == run.present_run]
    places, reported = {one.take_over for one in here}, {one.post for one in here}
    posts = tuple(
        post
        for post in expected_posts(conn, meet_id, run)
        if (case.lane in post.lanes and post.take_over in places) or post.id in reported
    )
    theirs, ids = {post.id for post in posts}, {one.id for one in written}
    flags = (one for one in flags_shown(conn, HeatId(case.heat_id)) if one.post_id in theirs)
    return Watched(posts, tuple(one for one in flags if one.report_id in {None, *ids}))


def posts_on_file(
    conn: Connection, meet: MeetFacts, case_id: CaseId, numbers: Mapping[ReportId, int]
) -> tuple[PostOnFile, ...]:
    """A line for each thing that such a post showed or wrote, and one for each that did not.
    `numbers` are those of the reports in the file.
    """
    found = watched(conn, meet.id, case_id)
    heard = heard_posts(conn, HeatId(case_row(conn, meet.id, case_id).heat_id))
    names, reports = NamesThen(conn, meet.id), reports_in(conn, meet.id, case_id)
    lines = []
    for post in found.posts:
        said = sorted(_said_by(post, found.flags, reports, numbers))
        quiet = NOTHING_HERE if post.id in heard else SILENT
        if not said:
            lines.append(PostOnFile(post.words, names.today(post.official_id), quiet, NEVER))
        for at, words in said:
            who = names.told(post.official_id, at, meet.time_zone)
            lines.append(PostOnFile(post.words, who, words, at_the_meet(at, meet.time_zone)))
    return tuple(lines)


def _said_by(
    post: Post,
    flags: Sequence[AnyRow],
    reports: Sequence[ReportOut],
    numbers: Mapping[ReportId, int],
) -> Iterator[tuple[datetime, str]]:
    for flag in flags:
        if flag.post_id == post.id:
            to = f", for report {numbers[flag.report_id]}" if flag.report_id else ""
            yield flag.received_at, f"{flag.flag} flag{to}"
    flagged = {flag.report_id for flag in flags}
    for one in reports:
        if one.post == post.id and one.id not in flagged:
            yield one.raised_at, f"report {numbers[one.id]}, without a flag"
