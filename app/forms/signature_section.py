"""Who signed with a device, over which digest, and where may somebody sign in ink?

A digest is a SHA-256 in hexadecimal (FIPS 180-4): its beginning in groups of four to be read out,
and the whole of it to be compared. The lines for ink are as high as a hand needs.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from app.forms.flow import LABEL_GREY, Column, Flow
from app.forms.fonts import Weight
from app.forms.painting import Stroke
from app.forms.sheet_parts import BODY, LABEL, SMALL, Fact, join_facts
from app.forms.typesetting import Segment

INK_HEIGHT = 30.0
ROLE_LINES = 2  # more would not stand beside the line for the signature
SHORT_DIGEST = 16
# Shares of the width: who signs, the name in block letters, the signature, date and time.
INK_COLUMNS = (("", 0.2), ("name", 0.28), ("signature", 0.32), ("date, time", 0.2))
COLUMN_GAP = 8.0


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature that was given on a device."""

    role: str
    name: str
    at: str
    how: str
    digest: str


def write_signatures(flow: Flow, signatures: Sequence[Signature]) -> None:
    """Each signature with what it covers."""
    flow.label("Signed on a device", BODY)
    if not signatures:
        flow.write([Segment("Nobody has signed on a device.", "signatures")], BODY)
    for signature in signatures:
        _write_signature(flow, signature)


def _write_signature(flow: Flow, signature: Signature) -> None:
    field = "signatures"
    flow.write(
        [
            Segment(signature.name, field, Weight.BOLD),
            Segment(", ", field),
            Segment(signature.role, field),
            Segment("  \u00b7  ", field),
            Segment(signature.at, field),
            Segment("  \u00b7  ", field),
            Segment(signature.how, field),
        ],
        BODY,
    )
    digest = [
        Fact("digest", group_digest(signature.digest), field),
        Fact("in full", signature.digest, field),
    ]
    flow.write(join_facts(digest), LABEL)


def group_digest(digest: str) -> str:
    """The beginning of a digest in groups of four, as people read it to each other."""
    beginning = digest[:SHORT_DIGEST]
    return " ".join(beginning[place : place + 4] for place in range(0, len(beginning), 4))


def write_ink_fields(flow: Flow, roles: Sequence[str]) -> None:
    """A line for each role that may sign in ink."""
    if not roles:
        return
    flow.label("Signatures in ink", BODY)
    for role in roles:
        _write_ink_field(flow, role)


def _write_ink_field(flow: Flow, role: str) -> None:
    columns = _split_width(flow)
    name = flow.set_lines([Segment(role, "roles for ink")], BODY, columns[0].width)
    if len(name) > ROLE_LINES:
        flow.write([Segment(role, "roles for ink")], BODY)
        name = []
    flow.need(INK_HEIGHT * flow.scale)
    line = flow.y + INK_HEIGHT * flow.scale - 10.0
    for column in columns[1:]:
        flow.put(Stroke(column.x, line, column.x + column.width, line, 0.6))
    flow.y = line - sum(row.height for row in name) + 3.0
    flow.columns([Column(columns[0].x, columns[0].width, name)])
    flow.y = line + 1.0
    flow.columns(columns[1:])


def _split_width(flow: Flow) -> list[Column]:
    columns: list[Column] = []
    x = flow.left
    for label, share in INK_COLUMNS:
        width = flow.width * share - COLUMN_GAP
        lines = flow.set_lines([Segment(label, "labels")], SMALL - 0.7, width)
        columns.append(Column(x, width, lines, grey=LABEL_GREY))
        x += flow.width * share
    return columns
