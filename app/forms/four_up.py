"""How do four cards lie on a sheet, and where is it cut?

Each card is a page of its own to whoever writes it, as large as a quarter of the sheet may carry
ink: outside it keeps clear of what printers leave blank, inside a little of the cut. Cards follow
each other as they are read, from left to right and down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from app.forms.flow import Flow
from app.forms.painting import Page, Shape, Stroke, moved
from app.forms.paper import POINTS_PER_MM, Paper, Sheet

ACROSS = DOWN = 2
A_SHEET = ACROSS * DOWN
RIM = 8.3 * POINTS_PER_MM
BESIDE_CUT = 4.2 * POINTS_PER_MM
CUT = 0.3
DASHES = (3.0, 3.0)


def quarter(paper: Paper) -> Sheet:
    """What of a quarter of the sheet carries ink."""
    sheet = paper.sheet
    return Sheet(
        width=sheet.width / ACROSS - RIM - BESIDE_CUT,
        height=sheet.height / DOWN - RIM - BESIDE_CUT,
        side=0.0,
        top=0.0,
        foot=0.0,
    )


@dataclass(slots=True)
class CardFlow(Flow):
    """A flow whose pages are cards; `goes_on` writes the head of a further one."""

    goes_on: Callable[[Flow], None] | None = None

    @property
    def sheet(self) -> Sheet:
        """The card that is written on."""
        return quarter(self.paper)

    def need(self, height: float) -> None:
        """Turn to a further card unless this height is left on this one."""
        before = len(self.pages)
        Flow.need(self, height)
        if len(self.pages) > before and self.goes_on is not None:
            self.goes_on(self)


def impose(cards: Sequence[Page], paper: Paper) -> list[Page]:
    """The sheets with all cards, and the lines to cut along."""
    batches = (cards[first : first + A_SHEET] for first in range(0, len(cards), A_SHEET))
    return [[*_cuts(paper), *_lay(batch, paper)] for batch in batches]


def _lay(batch: Sequence[Page], paper: Paper) -> Iterator[Shape]:
    sheet = paper.sheet
    for place, card in enumerate(batch):
        row, column = divmod(place, ACROSS)
        right = column * (sheet.width / ACROSS + BESIDE_CUT) + (0.0 if column else RIM)
        down = row * (sheet.height / DOWN + BESIDE_CUT) + (0.0 if row else RIM)
        yield from (moved(shape, right, down) for shape in card)


def _cuts(paper: Paper) -> Iterator[Stroke]:
    sheet = paper.sheet
    across, down = sheet.width / ACROSS, sheet.height / DOWN
    yield Stroke(across, RIM, across, sheet.height - RIM, CUT, DASHES)
    yield Stroke(RIM, down, sheet.width - RIM, down, CUT, DASHES)
