"""Who signed with a device, over which digest, and where may somebody sign in ink?

A digest is a SHA-256 in hexadecimal (FIPS 180-4): its beginning in groups of four to be read out,
and the whole of it to be compared. The lines for ink are as high as a hand needs.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from app.forms.erased import NAME_ERASED
from app.forms.flow import LABEL_GREY, Column, Flow
from app.forms.fonts import Weight
from app.forms.painting import Stroke
from app.forms.sheet_parts import BODY, LABEL, SMALL, Fact, join_facts
from app.forms.typesetting import Segment

SHA256_OF_STATEMENT = "SHA-256 of the statement"
"""What papers call the digest of what was signed, all of them."""

INK_HEIGHT = 30.0
ROLE_LINES = 2  # more would not stand beside the line for the signature
SHORT_DIGEST = 16
IN_A_ROW = 2
DATE = "date, time"
# Shares of the width. A known name is printed below the line that its bearer signs on; who is not
# known beforehand writes the name in block letters beside it.
NAMED_SHARE, DATE_SHARE = 0.33, 0.17
ROLE_SHARE = 0.2
NAMELESS_LINES = (("name", 0.28), ("signature", 0.32), (DATE, 0.2))
COLUMN_GAP = 8.0


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature that was given on a device."""

    role: str
    name: str
    at: str
    how: str
    digest: str


@dataclass(frozen=True, slots=True)
class InkField:
    """A line for ink: as what somebody signs, and the name where it is known."""

    role: str
    name: str = ""


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
        Fact(SHA256_OF_STATEMENT, group_digest(signature.digest), field),
        Fact("in full", signature.digest, field),
    ]
    flow.write(join_facts(digest), LABEL)


def group_digest(digest: str) -> str:
    """The beginning of a digest in groups of four, as people read it to each other."""
    beginning = digest[:SHORT_DIGEST]
    return " ".join(beginning[place : place + 4] for place in range(0, len(beginning), 4))


def write_ink_fields(flow: Flow, fields: Sequence[InkField]) -> None:
    """A line for each who may sign in ink: those whose names are known first, two in a row.

    None for a name that was erased: nobody would know who is to sign there.
    """
    fields = [field for field in fields if field.name != NAME_ERASED]
    if not fields:
        return
    flow.label("Signatures in ink", BODY)
    named = [field for field in fields if field.name]
    for place in range(0, len(named), IN_A_ROW):
        flow.keep(partial(_write_named, fields=named[place : place + IN_A_ROW]))
    for field in fields:
        if not field.name:
            flow.keep(partial(_write_nameless, role=field.role))


def _write_named(flow: Flow, fields: Sequence[InkField]) -> None:
    columns: list[Column] = []
    for field in fields:
        who = [
            Segment(field.name, "names for ink", Weight.BOLD),
            Segment("  \u00b7  ", "labels"),
            Segment(field.role, "roles for ink"),
        ]
        columns.append(_stand_next(flow, columns, who, NAMED_SHARE, SMALL))
        columns.append(_label_next(flow, columns, DATE, DATE_SHARE))
    _draw_lines(flow, columns)


def _write_nameless(flow: Flow, role: str) -> None:
    words = [Segment(role, "roles for ink")]
    beside = _stand_next(flow, [], words, ROLE_SHARE, BODY)
    columns = [beside]
    for label, share in NAMELESS_LINES:
        columns.append(_label_next(flow, columns, label, share))
    if len(beside.lines) > ROLE_LINES:
        flow.write(words, BODY)
    else:
        flow.need(INK_HEIGHT * flow.scale)
        top = flow.y
        flow.y = _line_below(flow) - sum(row.height for row in beside.lines) + 3.0
        flow.columns([beside])
        flow.y = top
    _draw_lines(flow, columns[1:])


def _draw_lines(flow: Flow, columns: Sequence[Column]) -> None:
    flow.need(INK_HEIGHT * flow.scale)
    line = _line_below(flow)
    for column in columns:
        flow.put(Stroke(column.x, line, column.x + column.width, line, 0.6))
    flow.y = line + 1.0
    flow.columns(columns)


def _line_below(flow: Flow) -> float:
    return flow.y + INK_HEIGHT * flow.scale - 10.0


def _label_next(flow: Flow, before: Sequence[Column], label: str, share: float) -> Column:
    label_words = [Segment(label, "labels")]
    return replace(_stand_next(flow, before, label_words, share, SMALL - 0.7), grey=LABEL_GREY)


def _stand_next(
    flow: Flow, before: Sequence[Column], words: Sequence[Segment], share: float, size: float
) -> Column:
    x = before[-1].x + before[-1].width + COLUMN_GAP if before else flow.left
    width = flow.width * share - COLUMN_GAP
    return Column(x, width, flow.set_lines(words, size, width))
