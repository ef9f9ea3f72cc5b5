"""What of the plan in force goes against what is wished: whoever dropped out and still has posts,
who has posts outside their hours, and who where they may not stand.

Of heats to come with a draw alone: of what was run nothing can be changed any more. It is told, and
refused nowhere; hours and positions are reckoned as the search does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from app.access.queries import official_names
from app.crew.heats_named import HeatsNamed, named
from app.crew.queries import Post, planned_in
from app.crew_search.days import Days, barred_to, hours_of, lap_of, planned_heat
from app.crew_search.queries import wishes_of
from app.crew_search.wire import PersonIn
from app.ids import HeatId, MeetId, OfficialId
from app.meets.queries import heats_held, meet_facts
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.planning.facts import Person, Settings
from app.planning.spells import begins_s, ends_s
from app.rules.apart import place_on_lap
from app.rules.relay import TAKE_OVERS, Relay
from app.rules.track import Track

Goes = Callable[[HeatOut, Post], bool]
"""Whether somebody's post in a heat goes against what is wished of them."""


@dataclass(frozen=True, slots=True)
class Posted:
    """Somebody's posts in heats to come that go against what is wished."""

    official: OfficialId
    name: str
    posts: int
    heats: tuple[HeatOut, ...]

    @property
    def named(self) -> Sequence[HeatsNamed]:
        """The heats as people name them."""
        return named(self.heats)


@dataclass(frozen=True, slots=True)
class Against:
    """All that goes against it, person by person."""

    dropped: Sequence[Posted] = ()
    outside_hours: Sequence[Posted] = ()
    barred: Sequence[Posted] = ()


def against_wishes(conn: Connection, meet_id: MeetId) -> Against:
    """The plan in force held against what its crew is planned from now."""
    wishes = wishes_of(conn, meet_id)
    bound = [one for one in wishes.people if one.official not in wishes.dropped]
    if not wishes.dropped and not any(one.hours or one.may_not for one in bound):
        return Against()
    facts, held = meet_facts(conn, meet_id), heats_held(conn, meet_id)
    days = Days(facts, [heat for heat in held if heat.lanes and heat.scheduled])
    to_come = [heat for heat in held if heat.state is HeatState.TO_COME]
    plan = _Plan(to_come, planned_in(conn, meet_id, to_come), official_names(conn, meet_id))
    track = lap_of(facts)
    return Against(
        dropped=plan.posted((one, _any) for one in wishes.dropped),
        outside_hours=plan.posted((one.official, _outside(one, days)) for one in bound),
        barred=plan.posted((one.official, _barred(one, track)) for one in bound),
    )


@dataclass(frozen=True, slots=True)
class _Plan:
    """Heats to come, and who stands there by the plan in force."""

    to_come: Sequence[HeatOut]
    planned: Mapping[HeatId, Sequence[Post]]
    names: Mapping[OfficialId, str]

    def posted(self, people: Iterable[tuple[str, Goes]]) -> list[Posted]:
        """Of these people those with posts that go against what is wished of them."""
        found = (self._of(OfficialId(one), goes) for one, goes in people)
        return [one for one in found if one.posts]

    def _of(self, official: OfficialId, goes: Goes) -> Posted:
        theirs = [
            (heat, post.id)
            for heat in self.to_come
            for post in self.planned[heat.id]
            if post.official_id == official and goes(heat, post)
        ]
        heats = {heat.id: heat for heat, _ in theirs}
        posts = {post for _, post in theirs}
        return Posted(official, self.names[official], len(posts), tuple(heats.values()))


def _any(_heat: HeatOut, _post: Post) -> bool:
    return True


def _outside(wish: PersonIn, days: Days) -> Goes:
    """Posts of heats for which somebody is not there from when the crew must be until the zones are
    free; of a heat without a start time nobody can say so.
    """
    hours, usual = tuple(hours_of(wish, days)), Settings()

    def goes(heat: HeatOut, _post: Post) -> bool:
        if not wish.hours or heat.scheduled is None:
            return False
        known = planned_heat(heat, days)
        return not any(span.holds(begins_s(known, usual), ends_s(known, usual)) for span in hours)

    return goes


def _barred(wish: PersonIn, track: Track) -> Goes:
    """Posts that somebody may not take."""
    who = Person(wish.official, "", barred=barred_to(wish))

    def goes(heat: HeatOut, post: Post) -> bool:
        place = _at_its_place(heat.relay, post.take_over, track)
        return not who.may_take(place, post.edge, post.side)

    return goes


def _at_its_place(relay: Relay, take_over: int, track: Track) -> tuple[int, ...]:
    """The take-overs that lie where this one does."""
    place_m = place_on_lap(relay, take_over, track.lap_m)
    return tuple(one for one in TAKE_OVERS if place_on_lap(relay, one, track.lap_m) == place_m)
