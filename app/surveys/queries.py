"""Reading the zone survey: the zones of a meet with what was measured, and what lies wrong."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Connection, bindparam, select

from app.ids import HeatId, MeetId
from app.meets.queries import MeetFacts, meet_facts, relays_of
from app.meets.tables import events, heats, lanes
from app.meets.track import track_note, track_of
from app.refusals import NotFound, StateConflict
from app.rules.relay import Relay
from app.rules.survey import Lines, Mark, Measured, ZoneLine
from app.rules.track import MOST_LANES, Track
from app.store.prepared import Prepared
from app.surveys.same_paint import sharing
from app.surveys.tables import zone_surveys
from app.surveys.zones import (
    NOTHING,
    Flagged,
    Taped,
    Zone,
    ZoneName,
    all_zones,
    flagged,
    flags,
    zone_at,
)

_SURVEYS = Prepared(select(zone_surveys).where(zone_surveys.c.meet_id == bindparam("meet")))
_IN_USE = (
    select(lanes.c.heat_id, lanes.c.lane, events.c.relay)
    .join(heats, heats.c.id == lanes.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .where(lanes.c.heat_id.in_(bindparam("heats", expanding=True)))
)

NO_LAP: Final = (
    "The zones were surveyed, but by its measures the track makes no lap, so that what was found "
    "cannot be told. Correct the measures in the settings of the meet."
)


def taped_in(conn: Connection, meet_id: MeetId) -> Mapping[ZoneName, Taped]:
    """What was measured, by relay and take-over."""
    rows = _SURVEYS.all(conn, {"meet": meet_id})
    return {(Relay(row.relay), row.take_over): _taped(row) for row in rows}


def _taped(row: Any) -> Taped:
    return Taped(lines_stored(row.lines, row.measured_at), row.version, row.measured_at)


def lines_stored(lines: Iterable[Mapping[str, Any]], at: datetime | None = None) -> Lines:
    """Lines as they are stored, by lane and line; `at` for those that do not say when."""
    return {
        (one["lane"], ZoneLine(one["line"])): Measured(
            Mark(one["mark"]),
            one["metres"],
            one["back"],
            datetime.fromisoformat(one["at"]) if one.get("at") else at,
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
        asked = self._unshared(relays)
        if not self.taped:
            return asked
        others = {relay for relay, _ in self.taped} - {one.relay for one in asked}
        return sharing(self.track, asked, [*asked, *self._unshared(others)])

    def _unshared(self, relays: Iterable[Relay]) -> list[Zone]:
        """The zones with what was measured of them and not of the same paint as another's."""
        tolerance = tolerance_of(self.facts)
        return [
            zone_at(self.track, relay, number, rule, self._taped(relay, number), tolerance)
            for relay, number, rule in all_zones(self.facts.book, self.track, relays)
        ]

    def alone(self, relay: Relay, take_over: int, lines: Lines) -> Zone:
        """A zone with these lines, and nothing of what was measured as another's."""
        rule = self.facts.book.zones_on(self.track)[relay][take_over]
        return zone_at(self.track, relay, take_over, rule, Taped(lines))

    def one(self, relay: Relay, take_over: int) -> Zone:
        """One zone; NotFound for one that the edition has not on such a track."""
        found = next((one for one in self.of([relay]) if one.take_over == take_over), None)
        if found is None:
            raise NotFound(f"The edition has no zone for take-over {take_over} of a {relay} here.")
        return found

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


@dataclass(frozen=True, slots=True)
class HeatSurvey:
    """What the survey found of a heat's zones; or, in a sentence, why that cannot be told."""

    found: Sequence[Flagged] = ()
    doubt: str = ""

    @property
    def flags(self) -> list[str]:
        """All of it, in sentences."""
        return [self.doubt] if self.doubt else flags(self.found)

    def flags_beside(
        self, lane: int | None, take_overs: Collection[int]
    ) -> tuple[Sequence[str], Sequence[str]]:
        """What concerns a lane at these take-overs, and what lies elsewhere. A lane or a take-over
        that nobody knows yet may be any.
        """
        if self.doubt:
            return [self.doubt], []
        parts = [_parted(one, lane, take_overs) for one in self.found]
        return flags(here for here, _ in parts), flags(others for _, others in parts)


NOTHING_FOUND: Final = HeatSurvey()


def _parted(
    found: Flagged, lane: int | None, take_overs: Collection[int]
) -> tuple[Flagged, Flagged]:
    zone = found.zone
    if take_overs and zone.take_over not in take_overs:
        return Flagged(zone, (), ()), found
    lanes = {lane} if lane is not None and zone.is_in_lanes else set(range(1, MOST_LANES + 1))
    here = _in_lanes(found, lanes)
    wrong = [one for one in found.wrong if one not in here.wrong]
    return here, Flagged(zone, wrong, [one for one in found.stale if one not in here.stale])


def _in_lanes(found: Flagged, lanes: Collection[int]) -> Flagged:
    wrong = [one for one in found.wrong if one.target.lane in lanes]
    return Flagged(found.zone, wrong, [lane for lane in found.stale if lane in lanes])


def found_in(
    conn: Connection, meet_id: MeetId, asked: Iterable[HeatId]
) -> Mapping[HeatId, HeatSurvey]:
    """By heat, what the survey found of its zones, in the lanes that are drawn there; once lanes
    were left, in any. Heats whose zones lie right, and all while nothing was measured, are left
    out.
    """
    taped = taped_in(conn, meet_id)
    if not any(one.lines for one in taped.values()):
        return {}
    facts, heats_asked = meet_facts(conn, meet_id), list(set(asked))
    if track_note(facts.track):
        return dict.fromkeys(heats_asked, HeatSurvey(doubt=NO_LAP))
    in_use: dict[HeatId, tuple[Relay, set[int]]] = {}
    for row in conn.execute(_IN_USE, {"heats": heats_asked}):
        in_use.setdefault(row.heat_id, (Relay(row.relay), set()))[1].add(row.lane)
    known = MeetZones(facts, track_of(facts.track), taped)
    zones = [flagged(one) for one in known.of({relay for relay, _ in in_use.values()})]
    told = {
        heat: [_met_by(one, drawn) for one in zones if one.zone.relay is relay]
        for heat, (relay, drawn) in in_use.items()
    }
    return {heat: HeatSurvey(its) for heat, its in told.items() if any(its)}


def _met_by(found: Flagged, drawn: Collection[int]) -> Flagged:
    return _in_lanes(found, drawn) if found.zone.is_in_lanes else found
