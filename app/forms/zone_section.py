"""Which zones does the form show, and what stands below each drawing?

One zone for each take-over that the reports are about, every mark with a number of its own. A zone
stands on one page with its marks. Where nothing can be drawn, one sentence says why.
"""

from collections.abc import Sequence
from functools import partial

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.sheet_parts import GAP, SMALL
from app.forms.typesetting import Segment
from app.forms.zone_drawing import draw_zone
from app.forms.zone_scale import ZoneMark, ZonePicture, can_draw, say_metres


def write_zones(flow: Flow, zones: Sequence[ZonePicture], note: str) -> None:
    """The zones under each other, then what could not be drawn and why."""
    first = 1
    for place, zone in enumerate(zones):
        flow.skip(GAP * 0.6 if place else 0.0)
        _write_zone(flow, zone, first)
        first += len(zone.marks)
    if note:
        flow.write([Segment(note, "zone")], SMALL)


def _write_zone(flow: Flow, zone: ZonePicture, first: int) -> None:
    if not can_draw(zone):
        _write_no_zone(flow, zone, "its measures are not known")
    elif not zone.marks:
        _write_no_zone(flow, zone, "no report gives a position there")
    else:
        flow.keep(partial(_draw, zone=zone, first=first))


def _draw(flow: Flow, zone: ZonePicture, first: int) -> None:
    draw_zone(flow, zone, f"Zone of {zone.name}, drawn to scale", first)
    for number, mark in enumerate(zone.marks, first):
        _write_mark(flow, mark, number)


def _write_no_zone(flow: Flow, zone: ZonePicture, why: str) -> None:
    flow.write([Segment(f"No zone is drawn for {zone.name}: {why}.", "zone")], SMALL)


def _write_mark(flow: Flow, mark: ZoneMark, number: int) -> None:
    field = f"mark {number} of the zone"
    error = say_metres(abs(mark.uncertainty))
    where = f"{say_metres(mark.metres)} (\u00b1{error}) from the start of the zone,"
    flow.number(
        number,
        [
            Segment(mark.label, field, Weight.BOLD),
            Segment(f"  {where}  ", field),
            Segment(mark.note, field),
        ],
        SMALL + 0.8,
    )
