"""Who stands where, for the chief: each relay's crew with its changes through the day, what nobody
watches, and whom the chief must mind.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Connection

from app.clock import at_the_meet
from app.crew.day import Day, Stand, day_of, stand_of
from app.crew.heats_named import in_words
from app.crew.queries import Post, lanes_in_words
from app.crew.telling import to_mind
from app.crew_search.against import Against, Posted, against_wishes
from app.forms.chiefs_sheet import ChiefsSheet, CrewTable, Note, Row
from app.forms.crew_on_track import CrewOnTrack, name_of
from app.ids import MeetId, OfficialId
from app.meets.wire import HeatOut
from app.plurals import counted
from app.rules.cover import PostPlace, uncovered
from app.rules.relay import TAKE_OVERS, Edge, Relay
from app.rules.track import ZonePlace
from app.visible import likeness

ALL_DAY = "all day"
HEATS_NAMED = 2
Crew = Mapping[Stand, frozenset[OfficialId]]


@dataclass(slots=True)
class Spell:
    """Heats of a relay through which the same people stand at the same places, and which lanes are
    used in them. A stand whose lanes nobody uses in some of them is no change.
    """

    heats: list[HeatOut] = field(default_factory=list)
    crew: dict[Stand, frozenset[OfficialId]] = field(default_factory=dict)
    in_use: set[int] = field(default_factory=set)

    def takes(self, crew: Crew, lanes: set[int]) -> bool:
        """Whether a further heat changes nothing."""
        for stand in self.crew.keys() | crew.keys():
            before, then = self.crew.get(stand), crew.get(stand)
            missed = lanes if then is None else self.in_use if before is None else None
            if before != then and (missed is None or not missed.isdisjoint(stand.lanes)):
                return False
        return True

    def add(self, heat: HeatOut, crew: Crew, lanes: set[int]) -> None:
        """One heat more."""
        self.heats.append(heat)
        self.crew.update(crew)
        self.in_use |= lanes


def for_the_chief(conn: Connection, meet_id: MeetId, now: datetime) -> ChiefsSheet:
    """The sheet of the plan in force; NotFound while there is none."""
    day = day_of(conn, meet_id)
    names = {ident: one.name for ident, one in day.people.items()}
    apart = to_mind(conn, meet_id, day.posts, names).apart
    against = against_wishes(conn, meet_id)
    return sheet_of(day, now, [one.words for one in apart], against)


def sheet_of(day: Day, now: datetime, apart: Sequence[str], against: Against) -> ChiefsSheet:
    """The same of a plan at hand; `apart` says whom it wants at two places during one race, and
    `against` what of it goes against what is wished.
    """
    facts = day.facts
    holders = {post.official_id for post in day.posts}
    people = [ident for ident in day.people if ident in holders]
    tables = list(_tables(day, {ident: place for place, ident in enumerate(people)}))
    notes = {
        "Zones not known on this track": [
            one.value for one in _relays(day) if not _zones(day, one)
        ],
        "Nobody watches": list(_unwatched(tables)),
        "Over their own club's lane": list(_own_clubs(day, people)),
        "At two places during one race": list(apart),
        "Dropped out, and still has posts": [_posted(one) for one in against.dropped],
        "On post outside their hours": [_posted(one) for one in against.outside_hours],
        "Where they may not stand": [_posted(one) for one in against.barred],
        "In the plan, but their heats were called off": [
            day.people[one].name for one in people if all(map(day.is_called_off, day.of(one)))
        ],
        "In the plan, but left out": [
            day.people[one].name for one in people if not day.people[one].active
        ],
    }
    return ChiefsSheet(
        meet=facts.name,
        place=facts.venue,
        date=facts.days,
        time_zone=facts.time_zone,
        edition=f"{facts.book.title}, {facts.book.edition}",
        printed_at=at_the_meet(now, facts.time_zone),
        people=tuple(day.people[one].name for one in people),
        tracks=tuple(_tracks(day)),
        tables=tuple(_together(tables)),
        notes=tuple(Note(title, tuple(said)) for title, said in notes.items() if said),
    )


def _relays(day: Day) -> list[Relay]:
    wanted = {relay for post in day.posts for relay in day.relays_for(post)}
    return [one for one in Relay if one in wanted or one in day.on_programme]


def _tracks(day: Day) -> Iterator[CrewOnTrack]:
    for relay in _relays(day):
        zones = _zones(day, relay)
        if day.track is not None and zones:
            yield CrewOnTrack(relay.value, day.track, zones)


def _zones(day: Day, relay: Relay) -> Mapping[int, tuple[ZonePlace, ...]]:
    """Empty where they are not known on the track."""
    zones = {take_over: day.zones(relay, take_over) for take_over in TAKE_OVERS}
    return zones if all(zones.values()) else {}


def spells(day: Day, relay: Relay) -> list[Spell]:
    """A relay's heats, parted wherever somebody else stands somewhere; without heats, the plan."""
    found: list[Spell] = []
    for heat in (one for one in day.heats if one.relay is relay):
        # Also whoever stands over lanes that are not in use there: nobody is left out.
        crew = _crew(post for post in day.posts if post.is_for(heat.id, heat.relay))
        lanes = {one.lane for one in heat.lanes}
        if not found or not found[-1].takes(crew, lanes):
            found.append(Spell())
        found[-1].add(heat, crew, lanes)
    return found or [Spell(crew=dict(_crew(post for post in day.posts if post.stands_for(relay))))]


def _crew(posts: Iterable[Post]) -> Crew:
    crew: dict[Stand, frozenset[OfficialId]] = {}
    for post in posts:
        stand = stand_of(post)
        crew[stand] = crew.get(stand, frozenset()) | {post.official_id}
    return crew


def _tables(day: Day, places: Mapping[OfficialId, int]) -> Iterator[CrewTable]:
    for relay in _relays(day):
        its = spells(day, relay)
        rows = [*_watched(its, places), *_gaps(its, _lanes_before_the_draw(day, relay))]
        yield CrewTable(
            relays=relay.value,
            columns=tuple(_when(day, one) for one in its) if len(its) > 1 else (ALL_DAY,),
            rows=tuple(sorted(rows, key=_as_met)),
        )


def _lanes_before_the_draw(day: Day, relay: Relay) -> Iterable[int]:
    """What is to be watched where no heat is drawn: all lanes; by a plan of single heats, none."""
    if any(post.heats for post in day.posts if post.stands_for(relay)):
        return ()
    return range(1, max(day.facts.track.lanes, day.on_programme.get(relay, 0)) + 1)


def _when(day: Day, spell: Spell) -> str:
    """By the clock, else by the places of heats on the programme."""
    numbers = [place for place, heat in enumerate(day.heats, 1) if heat in spell.heats]
    return day.when(spell.heats) or f"heats no. {numbers[0]}–{numbers[-1]}"


def _watched(its: Sequence[Spell], places: Mapping[OfficialId, int]) -> Iterator[Row]:
    stands = {stand: None for spell in its for stand in spell.crew}
    for one in sorted(stands, key=lambda stand: (stand.take_over, stand.edge, stand.lanes)):
        who = (spell.crew.get(one) for spell in its)
        yield Row(
            edge=name_of(one.take_over, one.edge),
            where=_where(one.take_over, one.edge),
            lanes=lanes_in_words(one.lanes),
            side=one.side.value,
            who=tuple(
                None if some is None else tuple(sorted(map(places.__getitem__, some)))
                for some in who
            ),
        )


def _as_met(row: Row) -> tuple[str, bool]:
    """In the order in which runners meet the edges."""
    return row.edge[:1], row.edge == name_of(int(row.edge[:1]), Edge.END)


def _where(take_over: int, edge: Edge) -> str:
    return f"take-over {take_over}, {edge}"


def _gaps(its: Sequence[Spell], before_the_draw: Iterable[int]) -> Iterator[Row]:
    """What nobody watches of the lanes in use, in the columns in which it is so."""
    found: dict[tuple[int, Edge], list[frozenset[int]]] = {}
    for place, spell in enumerate(its):
        posts = [PostPlace("", one.take_over, one.edge, frozenset(one.lanes)) for one in spell.crew]
        for gap in uncovered(posts, spell.in_use or before_the_draw):
            columns = found.setdefault((gap.take_over, gap.edge), [frozenset()] * len(its))
            columns[place] |= {gap.lane}
    for (take_over, edge), columns in found.items():
        for some in dict.fromkeys(one for one in columns if one):
            yield Row(
                edge=name_of(take_over, edge),
                where=_where(take_over, edge),
                lanes=lanes_in_words(some),
                side="",
                who=tuple(() if one == some else None for one in columns),
            )


def _together(tables: Sequence[CrewTable]) -> Iterator[CrewTable]:
    """Relays with the same crew all day in one table."""
    alike: dict[tuple[tuple[str, ...], tuple[Row, ...]], list[str]] = {}
    for one in tables:
        own = (one.columns, one.rows) if len(one.columns) == 1 else ((one.relays,), one.rows)
        alike.setdefault(own, []).append(one.relays)
    for one in tables:
        own = (one.columns, one.rows) if len(one.columns) == 1 else ((one.relays,), one.rows)
        relays = alike.pop(own, [])
        if relays:
            yield CrewTable(", ".join(relays), one.columns, one.rows)


def _unwatched(tables: Iterable[CrewTable]) -> Iterator[str]:
    for table in tables:
        for row in table.rows:
            when = [name for name, who in zip(table.columns, row.who, strict=True) if who == ()]
            if when:
                times = "" if len(when) == len(table.columns) else f" ({', '.join(when)})"
                yield f"{table.relays}, {row.edge} {row.lanes}{times}"


def _own_clubs(day: Day, people: Iterable[OfficialId]) -> Iterator[str]:
    """Who watches a lane in which a team of their own club is drawn, and where."""
    for ident in people:
        who = day.people[ident]
        there = [heat for heat in day.heats if _watches_own(day, heat, ident, who.affiliation)]
        if there:
            yield f"{who.name} ({who.affiliation}): {_first_of(there)}"


def _posted(one: Posted) -> str:
    return f"{one.name}: {_first_of(one.heats)}"


def _first_of(heats: Sequence[HeatOut]) -> str:
    """The first of some heats by name, the others by their number."""
    named = ", ".join(in_words([one]) for one in heats[:HEATS_NAMED])
    further = len(heats) - HEATS_NAMED
    return f"{named} and {counted(further, 'more heat')}" if further > 0 else named


def _watches_own(day: Day, heat: HeatOut, who: OfficialId, affiliation: str) -> bool:
    own = likeness(affiliation)
    lanes = {one.lane for one in heat.lanes if own and likeness(one.affiliation or "") == own}
    return any(
        post.official_id == who and not post.lanes.isdisjoint(lanes)
        for post in day.planned[heat.id]
    )
