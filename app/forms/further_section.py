"""Where do officials sign on a device who do so only after the sheet was sealed?

A frame for each, by what they sign as, two in a row. It stays empty until their signature is added
to the stored file, so that nothing that was sealed before has to change; where the frames are is
written down with the page (`seal_box`).
"""

from collections.abc import Sequence
from functools import partial

from app.forms.flow import LABEL_GREY, Column, Flow
from app.forms.painting import Reserved
from app.forms.sheet_parts import BODY, GAP, SMALL
from app.forms.typesetting import Segment

BOX_HEIGHT = 42.0
IN_A_ROW = 2
APART = 8.0
TITLE = "Further signatures"


def write_further(flow: Flow, roles: Sequence[str]) -> None:
    """A frame for each role, with its name above it; nothing where nobody signs later."""
    if not roles:
        return
    flow.skip(GAP * 0.7)
    flow.label(TITLE, BODY)
    for place in range(0, len(roles), IN_A_ROW):
        flow.keep(partial(_write_row, roles=roles[place : place + IN_A_ROW]))


def _write_row(flow: Flow, roles: Sequence[str]) -> None:
    width = flow.width / IN_A_ROW
    flow.columns([_name(flow, role, place * width, width) for place, role in enumerate(roles)])
    flow.need(BOX_HEIGHT)
    for place, role in enumerate(roles):
        x = flow.left + place * width
        flow.put(Reserved(x, flow.y + 1.0, width - APART, BOX_HEIGHT - 5.0, role))
    flow.y += BOX_HEIGHT


def _name(flow: Flow, role: str, offset: float, width: float) -> Column:
    lines = flow.set_lines([Segment(role, "roles of further signatures")], SMALL, width - APART)
    return Column(flow.left + offset, width - APART, lines, grey=LABEL_GREY)
