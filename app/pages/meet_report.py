"""The page of the meet report: charts and counts, all of them or whoever looks' own.

Where the parts of a bar and their numbers stand is as on paper (`app/forms/bars.py`), in pixels of
a chart that is 360 wide.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import Path, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.access.queries import Caller
from app.forms.bars import BarSize, Part, lay_out
from app.guarded import for_readers
from app.ids import ChosenId, MeetId
from app.meet_report.figures import NOT_TOLD, WITHOUT_WHITE, Section, Tally
from app.meet_report.queries import figures_for, names_for, sees_all
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render

router = for_readers()

SECTIONS = (
    Section.ZONE,
    Section.EDGE,
    Section.LANE,
    Section.INFRINGEMENT,
    Section.OFFICIAL,
)
KEY: Final = 61  # how tall it is, above the bars
BAR: Final = 40  # with its name above it
NUMBERS: Final = 15  # above a bar, where it has some there
ROOM: Final = 356.0
FIGURE: Final = 7.0
AROUND: Final = 9.0  # a number, white
SAMPLE: Final = 11.0  # with what is white behind it


@dataclass(frozen=True, slots=True)
class DrawnBar:
    """The reports from one place: where its name stands, and how far down its bar begins."""

    tally: Tally
    top: int
    bar: int
    parts: Sequence[Part]


@router.get("/meets/{meet}/meet-report")
async def show_meet_report(
    meet: Annotated[ChosenId, Path()], request: Request, here: Here, language: Language = None
) -> Response:
    """Where was called, how it was ruled, how long it took, and how it all ended."""
    frame = await frame_of(here, MeetId(meet))
    seen = await here.store.read_apart(lambda conn: _shown(conn, MeetId(meet), here.caller))
    page = Page("meet_report.html", {"frame": frame, **seen}, zone=frame.meet.time_zone)
    return render(request, page, language)


def _shown(conn: Connection, meet_id: MeetId, who: Caller) -> Mapping[str, Any]:
    figures = figures_for(conn, meet_id, who)
    return {
        "figures": figures,
        "names": names_for(conn, meet_id, who),
        "is_all": sees_all(who),
        "sections": [(section, figures.by(section)) for section in SECTIONS],
        "bars": list(drawn([one for one in figures.by(Section.ZONE_AND_EDGE) if one.reports])),
        "not_told": NOT_TOLD,
        "without_white": WITHOUT_WHITE,
    }


def drawn(tallies: Sequence[Tally]) -> Iterator[DrawnBar]:
    """One below the other, to one scale."""
    most, top = max((one.reports for one in tallies), default=1), KEY
    size = BarSize(ROOM, most, lambda number: FIGURE * len(number), AROUND, SAMPLE)
    for one in tallies:
        parts = lay_out(one.parts, size)
        numbers = NUMBERS if any(part.is_above for part in parts) else 0
        yield DrawnBar(one, top, top + 18 + numbers, parts)
        top += BAR + numbers
