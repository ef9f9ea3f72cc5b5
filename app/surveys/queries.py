"""Reading the zone survey: the zones of a meet with what was measured, and what lies wrong."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, select

from app.ids import HeatId, MeetId
from app.meets.queries import MeetFacts, meet_facts, relays_of
from app.meets.tables import events, heats, lanes
from app.meets.track import track_note, track_of
from app.refusals import NotFound, StateConflict
from app.rules.relay import Relay
from app.rules.survey import Mark, Measured, Surveyed, ZoneLine
from app.rules.track import Track
from app.store.prepared import Prepared
from app.surveys.tables import zone_surveys
from app.surveys.zones import NOTHING, Taped, Zone, ZoneName, all_zones, flag, zone_at

_SURVEYS = Prepared(select(zone_surveys).where(zone_surveys.c.meet_id == bindparam("meet")))
_IN_USE = (
    select(lanes.c.heat_id, lanes.c.lane, events.c.relay)
    .join(heats, heats.c.id == lanes.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .where(lanes.c.heat_id.in_(bindparam("heats", expanding=True)))
)


def taped_in(conn: Connection, meet_id: MeetId) -> Mapping[ZoneName, Taped]:
    """What was measured, by relay and take-over."""
    rows = _SURVEYS.all(conn, {"meet": meet_id})
    return {(Relay(row.relay), row.take_over): _taped(row) for row in rows}


def _taped(row: Any) -> Taped:
    return Taped(lines_stored(row.lines), row.version, row.measured_at)


def lines_stored(
    lines: Iterable[Mapping[str, Any]],
) -> dict[tuple[int, ZoneLine], Measured]:
    """Lines as they are stored, by lane and line."""
    return {
        (one["lane"], ZoneLine(one["line"])): Measured(
            Mark(one["mark"]), one["metres"], one["back"]
        )
        for one in lines
    }


def surveyable(facts: MeetFacts) -> Track:
    """The meet's track; StateConflict while its measures make no lap."""
    if note := track_note(facts.track):
        raise StateConflict(
            f"The zones of this track cannot be reckoned. {note} Correct them in the settings of "
            "the meet."
        )
    return track_of(facts.track)


def tolerance_of(facts: MeetFacts) -> float | None:
    """How far a line may lie off: as the meet has set it, else as the edition does."""
    own = facts.terms.zone_tolerance_m
    return facts.book.zone_tolerance_m if own is None else own


@dataclass(frozen=True, slots=True)
class MeetZones:
    """A meet whose zones can be reckoned, and what was measured in them."""

    facts: MeetFacts
    track: Track
    taped: Mapping[ZoneName, Taped]

    def of(self, relays: Iterable[Relay]) -> list[Zone]:
        """The zones of these relays, as far as the edition has them on such a track."""
        tolerance = tolerance_of(self.facts)
        return [
            zone_at(self.track, relay, number, rule, self._taped(relay, number), tolerance)
            for relay, number, rule in all_zones(self.facts.book, self.track, relays)
        ]

    def one(self, relay: Relay, take_over: int) -> Zone:
        """One zone; NotFound for one that the edition has not on such a track."""
        found = next((one for one in self.of([relay]) if one.take_over == take_over), None)
        if found is None:
            raise NotFound(f"The edition has no zone for take-over {take_over} of a {relay} here.")
        return found

    def measured(self) -> list[Zone]:
        """The zones in which something was measured."""
        relays = dict.fromkeys(relay for relay, _ in self.taped)
        return [one for one in self.of(relays) if (one.relay, one.take_over) in self.taped]

    def left_out(self, relays: Iterable[Relay]) -> list[Relay]:
        """The relays whose zones on such a track the edition, or the program, does not know."""
        known = self.facts.book.zones_on(self.track)
        return [relay for relay in relays if relay not in known]

    def _taped(self, relay: Relay, take_over: int) -> Taped:
        return self.taped.get((relay, take_over), NOTHING)


def meet_zones(conn: Connection, meet_id: MeetId) -> MeetZones:
    """StateConflict while the track's measures make no lap."""
    facts = meet_facts(conn, meet_id)
    return MeetZones(facts, surveyable(facts), taped_in(conn, meet_id))


def on_programme(conn: Connection, meet_id: MeetId) -> list[Relay]:
    """The relays on the programme, in our order; all of them while nothing is drawn."""
    known = relays_of(conn, meet_id)
    return [relay for relay in Relay if relay in known] or list(Relay)


def zone_of(conn: Connection, meet_id: MeetId, relay: Relay, take_over: int) -> Zone:
    """One zone, also of a relay that is not on the programme."""
    return meet_zones(conn, meet_id).one(relay, take_over)


def flags_of(
    conn: Connection, meet_id: MeetId, asked: Iterable[HeatId]
) -> Mapping[HeatId, Sequence[str]]:
    """What the survey found of the zones that heats use, in the lanes that are drawn there: a
    sentence a zone. Heats whose zones lie right, and all while nothing was measured, are left out.
    """
    told = found_in(conn, meet_id, asked)
    return {heat: [flag(zone, lines) for zone, lines in found] for heat, found in told.items()}


def flags_beside(
    found: Iterable[tuple[Zone, Sequence[Surveyed]]], lane: int | None, take_overs: Collection[int]
) -> tuple[Sequence[str], Sequence[str]]:
    """Of what was found of a heat's zones (`found_in`): what concerns a lane at these take-overs,
    and what lies elsewhere. A lane or a take-over that nobody knows yet may be any.
    """
    here, elsewhere = [], []
    for zone, lines in found:
        is_here = not take_overs or zone.take_over in take_overs
        its = [one for one in lines if is_here and _may_be_of(zone, one, lane)]
        here.append(flag(zone, its) if its or (is_here and zone.refused) else "")
        others = [one for one in lines if one not in its]
        elsewhere.append(flag(zone, others) if others or not is_here else "")
    return [one for one in here if one], [one for one in elsewhere if one]


def _may_be_of(zone: Zone, line: Surveyed, lane: int | None) -> bool:
    return lane is None or not zone.is_in_lanes or line.target.lane == lane


def found_in(
    conn: Connection, meet_id: MeetId, asked: Iterable[HeatId]
) -> Mapping[HeatId, Sequence[tuple[Zone, Sequence[Surveyed]]]]:
    """By heat, its zones of which the survey says something, and their wrong lines."""
    taped = taped_in(conn, meet_id)
    if not taped:
        return {}
    facts = meet_facts(conn, meet_id)
    if track_note(facts.track):
        return {}
    known = MeetZones(facts, track_of(facts.track), taped).measured()
    wrong = [one for one in known if one.wrong or one.refused]
    if not wrong:
        return {}
    in_use: dict[HeatId, tuple[Relay, set[int]]] = {}
    for row in conn.execute(_IN_USE, {"heats": list(set(asked))}):
        in_use.setdefault(row.heat_id, (Relay(row.relay), set()))[1].add(row.lane)
    told = {
        heat: [(one, _there(one, drawn)) for one in wrong if one.relay is relay]
        for heat, (relay, drawn) in in_use.items()
    }
    some = {heat: [one for one in its if one[1] or one[0].refused] for heat, its in told.items()}
    return {heat: its for heat, its in some.items() if its}


def _there(zone: Zone, drawn: set[int]) -> list[Surveyed]:
    """The wrong lines that a heat meets: those of its lanes, or once lanes were left of any."""
    return [one for one in zone.wrong if not zone.is_in_lanes or one.target.lane in drawn]
