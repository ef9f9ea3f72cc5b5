"""Storing what was measured: a zone as a whole, or the lines that a list names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import insert, select, update

from app.record.kinds import Kind
from app.refusals import Malformed, insist_on_version
from app.rules.relay import Relay
from app.rules.survey import LaneLine, Lines, Measured, ZoneLine, as_measured
from app.store.action import Action, Deed, Done, Put, Unit
from app.surveys.queries import meet_zones, zone_of
from app.surveys.tables import zone_surveys
from app.surveys.telling import told_zone
from app.surveys.wire import ZoneSurveyIn, ZoneSurveyOut
from app.surveys.zones import ListedZone, Zone, still_there

THERE: Final = "This zone was measured already: send If-Match with its ETag to replace that."
CHANGED: Final = "This zone was measured anew meanwhile. Read it again, then decide."


@dataclass(frozen=True, slots=True)
class MeasuredZone:
    """What was measured in a zone."""

    relay: Relay
    take_over: int
    lines: Lines

    @property
    def told(self) -> list[Mapping[str, object]]:
        """As it is recorded: from the inside, and as runners meet the lines."""
        order = list(ZoneLine)
        placed = sorted(self.lines, key=lambda one: (one[0], order.index(one[1])))
        return [_told(of, self.lines[of]) for of in placed]

    @property
    def stored(self) -> list[Mapping[str, object]]:
        """The same, each line with when it was said: what was said last of its paint counts."""
        return [
            {**_told(of, seen), "at": seen.at.isoformat() if seen.at else None}
            for of, seen in self.lines.items()
        ]


def _told(of: LaneLine, seen: Measured) -> Mapping[str, object]:
    lane, line = of
    return {
        "lane": lane,
        "line": line.value,
        "mark": seen.mark.value,
        "metres": seen.metres,
        "back": seen.back,
    }


def measure_zone(
    relay: Relay, take_over: int, sent: ZoneSurveyIn, version: int | None
) -> Action[Put[ZoneSurveyOut]]:
    """Store what was measured in a zone; later it must name the version that it replaces."""

    def act(unit: Unit) -> Done[Put[ZoneSurveyOut]]:
        known = meet_zones(unit.conn, unit.meet_id)
        before = known.one(relay, take_over)
        lines = as_measured(before.targets, sent.by_line, unit.now)
        if before.taped.version and not _says_more(before, lines, lines):
            return Done(Put(told_zone(before), created=False), None)
        insist_on_version(before.taped.version, version, THERE, CHANGED)
        _insist_it_can_be(known.alone(relay, take_over, lines), lines)
        measured = MeasuredZone(relay, take_over, lines)
        _store(unit, measured)
        after = zone_of(unit.conn, unit.meet_id, relay, take_over)
        put = Put(told_zone(after), created=not before.taped.version)
        return Done(put, _deed(unit, [measured]))

    return act


def _says_more(zone: Zone, lines: Lines, said: Iterable[LaneLine]) -> bool:
    """Whether lines are others than those that are known of a zone; or what is said of them is the
    same, of paint that was measured as another zone's since.
    """
    return zone.taped.lines != lines or any(of in zone.shared for of in said)


def measure_lines(listed: Sequence[ListedZone]) -> Action[None]:
    """Store what a list says of the lines that it names; other lines of its zones stay. A list that
    says nothing new, such as one that is sent again, stores nothing.
    """

    def act(unit: Unit) -> Done[None]:
        zones = []
        known = meet_zones(unit.conn, unit.meet_id)
        for one in listed:
            relay, take_over = one.zone.relay, one.zone.take_over
            now = known.one(relay, take_over)
            said = as_measured(now.targets, one.said, unit.now)
            lines = {**still_there(now.targets, now.taped.lines), **said}
            if not _says_more(now, lines, said):
                continue
            _insist_it_can_be(known.alone(relay, take_over, lines), said)
            zones.append(MeasuredZone(relay, take_over, lines))
            _store(unit, zones[-1])
        return Done(None, _deed(unit, zones) if zones else None)

    return act


def _insist_it_can_be(zone: Zone, said: Iterable[LaneLine]) -> None:
    """Nothing is stored of what is said of a line that cannot have been measured so."""
    if why := " ".join(zone.refused[of] for of in said if of in zone.refused):
        raise Malformed(f"{why} Nothing was stored.", field="/lines")


def _store(unit: Unit, zone: MeasuredZone) -> None:
    where = (
        (zone_surveys.c.meet_id == unit.meet_id)
        & (zone_surveys.c.relay == zone.relay.value)
        & (zone_surveys.c.take_over == zone.take_over)
    )
    version = unit.conn.execute(select(zone_surveys.c.version).where(where)).scalar()
    values = {"lines": zone.stored, "version": (version or 0) + 1, "measured_at": unit.now}
    if version is not None:
        unit.conn.execute(update(zone_surveys).where(where).values(values))
        return
    key = {"meet_id": unit.meet_id, "relay": zone.relay.value, "take_over": zone.take_over}
    unit.conn.execute(insert(zone_surveys).values(**key, **values))


def _deed(unit: Unit, zones: Iterable[MeasuredZone]) -> Deed:
    content = {
        "zones": [
            {"relay": one.relay.value, "take_over": one.take_over, "lines": one.told}
            for one in zones
        ]
    }
    return Deed(Kind.ZONES_MEASURED, unit.meet_id, content)
