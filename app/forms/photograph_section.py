"""How do pictures of a report stand on paper: large, upright, two a page at most?

The JPEG is put into the file as it is, with its sides as they are; its colours differ in lightness
alone where the printer knows no other. What is told of a picture stands below it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from app.forms.flow import Align, Flow
from app.forms.fonts import Weight
from app.forms.painting import Area, Photograph, box
from app.forms.sheet_parts import BODY, SMALL, Fact, join_facts
from app.forms.typesetting import Segment

ON_A_PAGE = 2
ROOM_FOR_WORDS = 60.0
POINTS_PER_PIXEL = 2.0  # larger than this, a small picture would show its pixels and nothing more
FRAME = 0.5


@dataclass(frozen=True, slots=True)
class PictureOnPaper:
    """A picture with what is told of it; `jpeg` is empty where it was erased, and `why_not` says
    so. Width and height in pixels.
    """

    name: str
    told: tuple[tuple[str, str], ...]
    jpeg: bytes
    width: int
    height: int
    why_not: str = ""


def write_photographs(flow: Flow, pictures: Sequence[PictureOnPaper]) -> None:
    """The pictures, each on one page with what is told of it; nothing for none."""
    for picture in pictures:
        if sum(isinstance(shape, Photograph) for shape in flow.pages[-1]) >= ON_A_PAGE:
            flow.need(math.inf)
        flow.keep(partial(_write_one, picture=picture))


def _write_one(flow: Flow, picture: PictureOnPaper) -> None:
    flow.write([Segment(picture.name, "pictures", Weight.BOLD)], BODY)
    if picture.jpeg:
        _draw(flow, picture)
    else:
        flow.write([Segment(picture.why_not, "pictures")], BODY)
    flow.write(join_facts(Fact(label, value, "pictures") for label, value in picture.told), SMALL)
    flow.skip(BODY)


def _draw(flow: Flow, picture: PictureOnPaper) -> None:
    most = (flow.bottom - flow.sheet.top) / ON_A_PAGE - ROOM_FOR_WORDS
    scale = min(flow.width / picture.width, most / picture.height, POINTS_PER_PIXEL)
    width, height = picture.width * scale, picture.height * scale
    x = flow.left + (flow.width - width) * Align.CENTRE.value
    flow.need(height + ROOM_FOR_WORDS / 2)
    flow.y += 3.0
    tag = flow.tag("Figure", picture.name)
    flow.put(Photograph(x, flow.y, width, height, picture.jpeg, tag))
    flow.put(Area(box(x, flow.y, width, height), thickness=FRAME))
    flow.y += height + 3.0
