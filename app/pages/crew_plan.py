"""The whole crew plan as it is shown: a number for each post, and pictures for each relay.

A post's number is the same in the table and in every picture, so that a number in a picture is a
person. A plan of single heats is shown for one of them, whose posts are numbered from 1. Relays are
those on the programme and those that posts name; as long as there is neither, the posts are shown
where they stand in a 4x100.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from app.crew import telling as crew
from app.crew.heats_named import HeatNames, HeatsNamed
from app.crew.wire import ApartOut, GapOut, PostOut
from app.crew_search.against import Against, against_wishes
from app.ids import HeatId, MeetId
from app.meets import queries as meets
from app.meets.states import HeatState
from app.meets.track import track_note, track_of
from app.meets.wire import HeatOut
from app.pages.track_plan import UPRIGHT_MARK_M, Crew, TrackPlan, plan_track, stands_for
from app.pages.zone_plan import ZonePlan, plan_zone
from app.plurals import spans
from app.rules.relay import Edge, Relay


@dataclass(frozen=True, slots=True)
class Numbered:
    """A post with its number among those that are shown, and the single heats it stands for."""

    number: int
    post: PostOut
    heats: Sequence[HeatsNamed]

    @property
    def lanes(self) -> str:
        return spans(self.post.lanes)


@dataclass(frozen=True, slots=True)
class ZonePicture:
    """The zone of a take-over with those who stand there."""

    plan: ZonePlan
    posts: Sequence[Numbered]


@dataclass(frozen=True, slots=True)
class RelayPictures:
    """Where everybody stands for a relay: on the whole track, as it lies and, for a phone, upright;
    and zone by zone.
    """

    relay: Relay
    track: TrackPlan
    upright: TrackPlan
    posts: Sequence[Numbered]
    zones: Sequence[ZonePicture]


@dataclass(frozen=True, slots=True)
class Gap:
    """An edge of a zone and the lanes of it that nobody watches, as a page writes them."""

    relay: Relay
    take_over: int
    edge: Edge
    lanes: str
    count: int
    heats: Sequence[HeatsNamed]


@dataclass(frozen=True, slots=True)
class Torn:
    """An official whose posts lie apart in one race, and in which heats that is so."""

    told: ApartOut
    heats: Sequence[HeatsNamed]


@dataclass(frozen=True, slots=True)
class CrewShown:
    """The crew plan, what it leaves unwatched, who cannot be where it wants them, what of it goes
    against what is wished, and its pictures;
    none on a track whose measures, as the settings have them, make no lap of 400 or 200 m, nor of
    relays whose zones are not known there (`undrawn`). Of a plan of single heats one is shown,
    `heat`, of all `heats`; `everybody` are then the posts of the whole plan.
    """

    version: int
    posts: Sequence[Numbered]
    everybody: Sequence[Numbered]
    unwatched: Sequence[Gap]
    apart: Sequence[Torn]
    against: Against
    relays: Sequence[RelayPictures]
    undrawn: Sequence[Relay]
    heats: Sequence[HeatOut]
    heat: HeatOut | None


def crew_shown(conn: Connection, meet_id: MeetId, asked: HeatId | None = None) -> CrewShown:
    """The crew plan of a meet with its pictures; one of single heats for the heat that is asked
    for, else for the first to come. NotFound where the meet has no such heat.
    """
    facts, plan = meets.meet_facts(conn, meet_id), crew.crew(conn, meet_id)
    posts = sorted(plan.posts, key=_as_met)
    chosen = None if asked is None else meets.heat(conn, meet_id, asked)
    heats = meets.programme(conn, meet_id) if any(one.heats for one in posts) else []
    heat = (chosen or _next(heats)) if heats else None
    names = HeatNames(heats)
    everybody = _numbered(posts, names)
    if heat is not None:
        posts = [one for one in posts if stands_for(one, heat.relay, heat)]
    numbered = _numbered(posts, names)
    track = None if track_note(facts.track) else track_of(facts.track)
    known = {} if track is None else facts.book.zones_on(track)
    relays = [heat.relay] if heat else _relays(meets.relays_of(conn, meet_id), posts)
    drawn = [Crew(track, one, known[one], posts, heat) for one in relays if track and one in known]
    return CrewShown(
        version=plan.version,
        posts=numbered,
        everybody=everybody,
        unwatched=[_gap(one, names) for one in plan.unwatched],
        apart=[Torn(one, names.of(one.heats)) for one in plan.apart],
        against=against_wishes(conn, meet_id),
        relays=[_pictures(one, numbered) for one in drawn],
        undrawn=[one for one in relays if track and one not in known],
        heats=heats,
        heat=heat,
    )


def _next(heats: Sequence[HeatOut]) -> HeatOut | None:
    to_come = (heat for heat in heats if heat.state is HeatState.TO_COME)
    return next(to_come, None) or next(iter(heats), None)


def _numbered(posts: Iterable[PostOut], names: HeatNames) -> list[Numbered]:
    return [Numbered(at, post, names.of(post.heats)) for at, post in enumerate(posts, 1)]


def _as_met(post: PostOut) -> tuple[int, bool, list[int], str]:
    """In the order in which runners meet them, from the inside outwards."""
    return post.take_over, post.edge is Edge.END, post.lanes, post.id


def _relays(on_programme: Iterable[Relay], posts: Sequence[PostOut]) -> list[Relay]:
    wanted = {*on_programme, *(relay for post in posts for relay in post.relays)}
    if posts and not wanted:
        wanted = {Relay.FOUR_BY_100}
    return [relay for relay in Relay if relay in wanted]


def _gap(gap: GapOut, names: HeatNames) -> Gap:
    where = (gap.relay, gap.take_over, gap.edge, spans(gap.lanes), len(gap.lanes))
    return Gap(*where, names.of(gap.heats))


def _pictures(on_track: Crew, numbered: Sequence[Numbered]) -> RelayPictures:
    there = [numbered[number - 1] for number, _ in on_track.numbered]
    return RelayPictures(
        on_track.relay,
        plan_track(on_track),
        plan_track(on_track, UPRIGHT_MARK_M),
        there,
        [
            ZonePicture(
                plan_zone(on_track, take_over),
                [one for one in there if one.post.take_over == take_over],
            )
            for take_over in on_track.zones
        ],
    )
