"""What does an announcement say? Drawn from the result as it was looked at: the snapshot that is
kept, what of it is signed, and what the record keeps.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from app.access.pen import Signed
from app.access.queries import official_row
from app.clock import in_zone
from app.ids import AnnouncementId, OfficialId
from app.meets.queries import MeetFacts
from app.meets.wire import HeatOut
from app.record.canonical import digest_of
from app.results.announcement_wire import AnnouncementIn, AnnouncementOut, SnapshotWindow
from app.results.changes import Changes, changes
from app.results.opening import (
    News,
)
from app.results.through import as_told_since, through_since, told_of_themselves
from app.results.told import told_since
from app.results.wire import ResultOut
from app.rounds.queries import decided_before_re_run
from app.rules.windows import Window
from app.store.action import Unit
from app.store.rows import AnyRow

COMPLETES_ROUND = "A heat of this round is not held, so that this result makes the round complete."


@dataclass(frozen=True, slots=True)
class Matter:
    """What an announcement is made of: who asks for what, the result as it was looked at, the
    announcement before, the heat and its meet, when it counts as made, the windows that it opens,
    and what is news in it.
    """

    ident: AnnouncementId
    sent: AnnouncementIn
    seen: ResultOut
    last: AnyRow | None
    heat: HeatOut
    meet: MeetFacts
    at: datetime
    opened: Sequence[Window]
    news: News


def snapshot(unit: Unit, matter: Matter) -> AnnouncementOut:
    """What is announced, all of it but the digest of its statement."""
    seen, news = matter.seen, matter.news
    since = _since(unit, matter)
    return AnnouncementOut(
        **_whose(unit, matter),
        **_of_the_race(matter),
        lines=seen.lines,
        changes=since.changes.sentences,
        moved_only=since.changes.moved_only,
        through=since.through,
        despite=matter.sent.despite,
        blockers=seen.blockers,
        remark=matter.sent.remark,
        windows=[_snapshot_window(window) for window in matter.opened],
        because=[*([COMPLETES_ROUND] if seen.completes_round else []), *since.because],
        is_ordered_here=news.is_decided_here,
        no_windows_because=news.why_no_windows(matter.meet.book),
        abbreviations=_abbreviations(matter.meet, seen),
        statement_digest="",
        qualified=seen.qualified,
        next_round=seen.next_round,
        by_time=seen.by_time,
        is_round_complete=seen.is_round_complete,
        open_draw=seen.open_draw,
    )


def _whose(unit: Unit, matter: Matter) -> dict[str, Any]:
    """Which announcement it is, when it counts as made, and by whom it is."""
    last, zone = matter.last, matter.meet.time_zone
    person = official_row(unit.conn, unit.meet_id, OfficialId(unit.actor.id))
    return {
        "id": matter.ident,
        "number": last.number + 1 if last else 1,
        "supersedes": last.id if last else None,
        "announced_at": matter.at,
        "announced_at_local": in_zone(matter.at, zone),
        "entered_at": unit.now,
        "announced_by": person.id,
        "announced_by_name": person.name,
    }


def _of_the_race(matter: Matter) -> dict[str, Any]:
    """Which race's result it is, at which meet, by which rules."""
    meet, seen = matter.meet, matter.seen
    return {
        "heat": seen.heat,
        "meet_name": meet.name,
        "venue": meet.venue,
        "time_zone": meet.time_zone,
        "edition": meet.book.key,
        "edition_title": f"{meet.book.title}, {meet.book.edition}",
        "event_name": seen.event_name,
        "round": seen.round,
        "heat_number": seen.number,
    }


def said_by(made: AnnouncementOut, given: datetime | None) -> dict[str, Any]:
    """What the desk signs: all that the announcement says. Not when it is stored, which nobody can
    be shown before: where no time was `given`, nor from when on what counts from it runs.
    """
    said = made.snapshot()
    for name in ("statement_digest", "entered_at", "announced_by", "announced_at_local"):
        del said[name]
    said["announcement"] = said.pop("id")
    if given is None:
        said["announced_at"] = None
        said["windows"] = [_without_its_end(window) for window in said["windows"]]
    return said


def _without_its_end(window: Mapping[str, Any]) -> dict[str, Any]:
    return {**window, "closes_at": window["closes_at"] if window["counts_from"] else None}


def recorded(out: AnnouncementOut, signed: Signed) -> dict[str, Any]:
    """What the record keeps of an announcement: what was signed, what the storing added, and the
    digest of all that it tells.
    """
    added = {"announced_at", "announced_at_local", "entered_at", "windows"}
    told = out.model_dump(mode="json", include=added)
    return {**signed.body, **told, "facts_sha256": digest_of(out.snapshot())}


class _Since(NamedTuple):
    """What is otherwise than in the announcement before, and the decisions that made it so."""

    changes: Changes
    through: list[str]
    because: list[str]


def _since(unit: Unit, matter: Matter) -> _Since:
    seen, last, zone = matter.seen, matter.last, matter.meet.time_zone
    said = AnnouncementOut.model_validate(last.snapshot).lines if last else []
    before = as_told_since(unit.conn, seen, last, said)
    through = through_since(unit.conn, seen, last)
    concerned = through.teams.union(line.team for line in seen.lines)
    after = 0 if last else decided_before_re_run(unit.conn, seen.heat)
    return _Since(
        changes(before, seen.lines) if last else Changes([], 0),
        through.sentences(seen, told_of_themselves(seen.lines, before)),
        told_since(unit.conn, seen.heat, after, concerned, matter.at, zone),
    )


def _snapshot_window(window: Window) -> SnapshotWindow:
    return SnapshotWindow(
        kind=window.kind,
        remedy=window.remedy,
        closes_at=window.closes_at,
        minutes=window.minutes,
        counts_from=window.counts_from,
        rule=window.rule,
        origin=window.origin,
    )


def _abbreviations(meet: MeetFacts, seen: ResultOut) -> dict[str, str]:
    """The edition's notations that this result uses, in words."""
    used = {word.strip(",") for line in seen.lines for word in line.annotation.split()}
    used |= {line.qualification for line in seen.lines if line.qualification}
    used |= {one.letter for one in seen.qualified}
    return {
        code: notation.meaning for code, notation in meet.book.notations.items() if code in used
    }
