"""Who stands where in which heats of the meet, in the order of time?

A stand is a place beside a zone: a take-over, an edge, lanes and a side. Posts come from the
plan in force, and which heats they are for from `queries.planned_in`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from itertools import groupby

from sqlalchemy import Connection

from app.access.queries import officials_of
from app.access.wire import OfficialOut
from app.crew.queries import Post, lanes_in_words, planned_in, posts_of
from app.ids import HeatId, MeetId, OfficialId
from app.meets.queries import MeetFacts, heats_held, meet_facts, relays_by_heat, relays_of
from app.meets.track import track_note, track_of
from app.meets.wire import HeatOut
from app.plurals import runs
from app.refusals import NotFound
from app.rules.book import ZoneRule
from app.rules.relay import Edge, Relay, Side
from app.rules.track import Track, ZonePlace, zone_on_track

RUN = "–"
A_DATE = len("2026-06-13")


@dataclass(frozen=True, slots=True)
class Stand:
    """A place beside a zone, whatever the relay."""

    take_over: int
    edge: Edge
    lanes: tuple[int, ...]
    side: Side

    @property
    def words(self) -> str:
        """Take-over 2: end, lanes 3–4, outside."""
        there = f"{self.edge}, {lanes_in_words(self.lanes)}, {self.side}"
        return f"Take-over {self.take_over}: {there}"


@dataclass(frozen=True, slots=True)
class Turn:
    """Heats after each other in which somebody has the same stand, or the same ones at once."""

    stands: tuple[Stand, ...]
    heats: tuple[HeatOut, ...]


@dataclass(frozen=True)
class Day:
    """A meet's plan with the heats that it is for; `drawn` are those that were called off too."""

    facts: MeetFacts
    posts: Sequence[Post]
    heats: Sequence[HeatOut]
    planned: Mapping[HeatId, Sequence[Post]]
    drawn: Mapping[HeatId, Relay]
    on_programme: Mapping[Relay, int]
    people: Mapping[OfficialId, OfficialOut]

    @cached_property
    def track(self) -> Track | None:
        """None where the measures make no lap."""
        return None if track_note(self.facts.track) else track_of(self.facts.track)

    def rule(self, relay: Relay, take_over: int) -> ZoneRule | None:
        """A zone's measures: as usual where the track makes no lap, None where the edition has none
        for this relay on such a track.
        """
        book = self.facts.book
        if self.track is None:
            return book.zone(relay, take_over)
        return book.zones_on(self.track).get(relay, {}).get(take_over)

    def zones(self, relay: Relay, take_over: int) -> tuple[ZonePlace, ...]:
        """A zone in each lane of the track; none where it is not known there."""
        rule = self.rule(relay, take_over)
        if self.track is None or rule is None:
            return ()
        lanes = range(1, self.track.lanes + 1)
        return tuple(zone_on_track(self.track, relay, take_over, one, rule) for one in lanes)

    def of(self, official: OfficialId) -> list[Post]:
        """Somebody's posts."""
        return [post for post in self.posts if post.official_id == official]

    def turns(self, official: OfficialId) -> list[Turn]:
        """Somebody's stands through the day."""
        theirs = [(self._stands(official, heat), heat) for heat in self.heats]
        return [
            Turn(stands, tuple(heat for _, heat in some))
            for stands, some in groupby(filter(_stands_somewhere, theirs), key=lambda one: one[0])
        ]

    def _stands(self, official: OfficialId, heat: HeatOut) -> tuple[Stand, ...]:
        posts = (post for post in self.planned[heat.id] if post.official_id == official)
        return tuple(dict.fromkeys(map(stand_of, posts)))

    def stands(self, official: OfficialId) -> list[tuple[Relay, Stand]]:
        """Where somebody stands in which relay, in the order of time."""
        met = [
            (heat.relay, stand)
            for turn in self.turns(official)
            for heat in turn.heats
            for stand in turn.stands
        ]
        spare = [
            (relay, stand_of(post))
            for post in self.without_heat(official)
            for relay in self.relays_for(post)
        ]
        return list(dict.fromkeys([*met, *spare]))

    def without_heat(self, official: OfficialId) -> list[Post]:
        """Somebody's posts that no heat of the programme has."""
        used = {post.id for planned in self.planned.values() for post in planned}
        return [post for post in self.of(official) if post.id not in used]

    def heats_for(self, post: Post) -> list[HeatOut]:
        """The heats that a post is planned for, whichever lanes are used there."""
        return [heat for heat in self.heats if post.is_for(heat.id, heat.relay)]

    def is_called_off(self, post: Post) -> bool:
        """Whether it was planned for heats that were drawn, and none of them is held."""
        was_drawn = any(post.is_for(*one) for one in self.drawn.items())
        return was_drawn and not self.heats_for(post)

    def relays_for(self, post: Post) -> list[Relay]:
        """The relays that a post is for: those it names, else those on the programme."""
        wanted = post.relays or self.on_programme or frozenset(Relay)
        return [one for one in Relay if one in wanted]

    def when(self, heats: Sequence[HeatOut]) -> str:
        """When heats begin, first to last: 10:05–10:20; empty where that is not known."""
        first, last = (self._clock(one) for one in (heats[0], heats[-1]))
        if not first or not last or first == last:
            return first or last
        is_same_day = len(first) > A_DATE and first[:A_DATE] == last[:A_DATE]
        return f"{first}{RUN}{last[A_DATE:].lstrip() if is_same_day else last}"

    def times(self, heats: Sequence[HeatOut]) -> str:
        """The same, apart where further heats are run between them: 11:20, 11:40–11:45. A day is
        told once.
        """
        places = {heat.id: place for place, heat in enumerate(self.heats)}
        told, day = [], ""
        for run in runs(places[heat.id] for heat in heats):
            its_day, gap, clock = self.when([self.heats[place] for place in run]).partition(" ")
            told.append(clock if gap and its_day == day else f"{its_day}{gap}{clock}")
            day = its_day
        return ", ".join(one for one in told if one)

    def _clock(self, heat: HeatOut) -> str:
        """With its day where the meet has several and the start list told it."""
        moment = moment_of(heat, self.facts)
        if moment is None:
            return ""
        is_dated = _is_dated(heat) and self.facts.first_day != self.facts.last_day
        return f"{moment:%Y-%m-%d %H:%M}" if is_dated else f"{moment:%H:%M}"


def day_of(conn: Connection, meet_id: MeetId) -> Day:
    """The plan in force; NotFound while there is none."""
    posts = posts_of(conn, meet_id)
    if not posts:
        raise NotFound("No post is planned at this meet yet: plan the crew, then print its cards.")
    facts = meet_facts(conn, meet_id)
    heats = in_time(heats_held(conn, meet_id), facts)
    return Day(
        facts=facts,
        posts=posts,
        heats=heats,
        planned=planned_in(conn, meet_id, heats),
        drawn=relays_by_heat(conn, meet_id),
        on_programme=relays_of(conn, meet_id),
        people={one.id: one for one in officials_of(conn, meet_id)},
    )


def in_time(heats: Sequence[HeatOut], facts: MeetFacts) -> list[HeatOut]:
    """Heats by when they begin where that is known of all, else as the programme has them."""
    is_one_day = facts.first_day == facts.last_day
    moments = {
        one.id: moment
        for one in heats
        if (moment := moment_of(one, facts)) and (is_one_day or _is_dated(one))
    }
    if len(moments) < len(heats):
        return list(heats)
    return sorted(heats, key=lambda one: moments[one.id])


def moment_of(heat: HeatOut, facts: MeetFacts) -> datetime | None:
    """When a heat begins by the meet's clocks; a time that has no day stands on the first one."""
    return None if heat.scheduled is None else facts.instant(heat.scheduled).replace(tzinfo=None)


def _is_dated(heat: HeatOut) -> bool:
    return heat.scheduled is not None and "T" in heat.scheduled


def _stands_somewhere(one: tuple[tuple[Stand, ...], HeatOut]) -> bool:
    return bool(one[0])


def stand_of(post: Post) -> Stand:
    """Where a post is."""
    return Stand(post.take_over, post.edge, tuple(sorted(post.lanes)), post.side)
