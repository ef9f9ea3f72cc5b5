"""All lines of zones as a list that goes out, and comes back with what was measured. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from app.rules.survey import Mark, rounded
from app.sheets.survey_list import COLUMNS
from app.sheets.writing import OutCell, write_csv
from app.surveys.zones import SECTIONS, Zone


def lines_csv(zones: Iterable[Zone]) -> str:
    """Every line of every zone: where it must lie, what the tape must show, what it showed. The
    same list is taken back with the measured values filled in.
    """
    return write_csv(COLUMNS, [row for zone in zones for row in _rows(zone)])


def _rows(zone: Zone) -> Iterator[list[OutCell]]:
    for target in zone.targets:
        found = zone.found.get(target.of)
        measured = found.measured if found else zone.taped.lines.get(target.of)
        mark = measured.mark if measured else target.tapes[0].mark
        tapes = {one.mark: rounded(one.metres) for one in target.tapes}
        fixed = [one for one in target.tapes if one.mark is not Mark.LANE_INSIDE]
        other = fixed[1] if len(fixed) > 1 else None
        yield [
            zone.relay.value,
            zone.take_over,
            target.lane,
            target.line.value,
            SECTIONS[target.place.section],
            rounded(target.place.metres),
            fixed[0].mark.value,
            rounded(fixed[0].metres),
            other.mark.value if other else None,
            rounded(other.metres) if other else None,
            tapes.get(Mark.LANE_INSIDE),
            mark.value,
            rounded(measured.metres) if measured else None,
            rounded(found.off_m) if found else None,
            found.verdict.value if found else None,
        ]
