"""What does a sheet for the crew have around it, whatever it tells?

The meet, by whose rule book it was made and when it was printed; on every page the foot with the
caution; in the file its name. What stands on the pages is written by whoever has something to tell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from app.forms.flow import Flow
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.sheet_head import MeetHead
from app.forms.sheet_parts import Fact, add_feet, plan_foot, shorten
from app.forms.typesetting import Typesetter


@dataclass(frozen=True, slots=True)
class Printed(MeetHead):
    """The meet, the edition by which it is judged, and when this was printed, in words."""

    edition: str
    printed_at: str

    @property
    def whose(self) -> list[Fact]:
        """What the foot of a page says that it belongs to."""
        return [
            Fact("", self.meet, "meet"),
            Fact("rule book", self.edition, "edition"),
            Fact("printed", self.printed_at, "time of printing"),
        ]

    def about(self, name: str) -> About:
        """What a reader shows about the file of these sheets."""
        return About(f"{name} \u2013 {shorten(self.meet)}", f"Printed {self.printed_at}")


def draw_printed(
    printed: Printed, name: str, caution: str, paper: Paper, write: Callable[[Flow], None]
) -> bytes:
    """What is written, as a PDF of this name, with its foot on every page."""
    typesetter = Typesetter()
    foot = plan_foot(typesetter, paper, caution, [printed.whose])
    flow = Flow(paper, foot.height, typesetter=typesetter)
    write(flow)
    add_feet(flow, foot)
    return paint(flow.pages, paper, printed.about(name))
