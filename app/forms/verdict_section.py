"""What was decided, in letters that are found at once, and again above signatures elsewhere?

Nobody signs on a sheet that does not say what is signed. All of it comes in words; the frame adds
nothing to them. A thick frame holds a verdict, a thin one says what is awaited, so that the two
differ on a copy in black and white too.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.forms.flow import LABEL_GREY, Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.sheet_parts import (
    BODY,
    GAP,
    LABEL,
    LINES_IN_A_CELL,
    Fact,
    join_facts,
    shorten_facts,
)
from app.forms.structure import Tag
from app.forms.typesetting import Segment

VERDICT, AWAITED = 22.0, 15.0
MARK = BODY + 3.0
APART = 6.0
SIDES = (Align.LEFT, Align.RIGHT)
DECIDED, UNDECIDED = 1.8, 0.6  # thickness of the frame


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was decided: `label` is the word for it, such as ruling or decision.

    `awaits` says what is still to come. `later` tells that it no longer stands, `marks` what its
    reader must know first, `name` what it is called where it stands again.
    """

    label: str
    words: str
    effect: str
    grounds: tuple[Fact, ...]
    reasons: str
    note: str = ""
    later: str = ""
    name: str = ""
    awaits: str = ""
    marks: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether nothing of it would stand in a frame."""
        parts = (self.words, self.awaits, self.effect, self.note, self.reasons)
        return not any(parts) and not any(ground.value for ground in self.grounds)


def write_verdict(flow: Flow, verdict: Verdict) -> None:
    """The verdict in full, framed; above it that it no longer stands, where that is so."""
    _write_first(flow, verdict)
    if verdict.is_empty:
        return
    with flow.frame(5.0, DECIDED if verdict.words else UNDECIDED):
        _write_large(flow, verdict)
        if verdict.words:
            _write_bold(flow, verdict.awaits, "what is awaited", BODY + 2.0)
        if any(ground.value for ground in verdict.grounds):
            flow.write(join_facts(verdict.grounds, Weight.BOLD), BODY)
        if verdict.note:
            flow.write([Segment(verdict.note, f"note on the {verdict.label}")], BODY)
        if verdict.reasons:
            flow.skip(2.0)
            flow.write([Segment("reasons", "labels")], LABEL, grey=LABEL_GREY)
            flow.write([Segment(verdict.reasons, "reasons")], BODY)
    flow.skip(GAP)


def write_verdict_again(flow: Flow, verdict: Verdict, page: int) -> None:
    """The verdict in short, for signatures that stand on another page than the verdict in full."""
    _write_first(flow, verdict)
    facts = [
        Fact("", verdict.name, "number"),
        Fact(verdict.label.capitalize(), verdict.words, verdict.label),
        Fact("effect on the result", verdict.effect, "effect"),
        Fact("", verdict.awaits, "what is awaited"),
        *verdict.grounds,
    ]
    where = "In full, with its reasons, on page" if verdict.reasons else "In full from page"
    with flow.frame(4.0, 1.0):
        flow.write(join_facts(shorten_facts(facts), Weight.BOLD), BODY)
        flow.write([Segment(f"{where} {page}.", verdict.label)], BODY)
    flow.skip(GAP)


def _write_first(flow: Flow, verdict: Verdict) -> None:
    _write_bold(flow, verdict.later, f"later {verdict.label}", BODY + 2.0)
    for mark in verdict.marks:
        _write_bold(flow, mark, "marks", MARK)
    if verdict.later or any(verdict.marks):
        flow.skip(3.0)


def _write_bold(flow: Flow, text: str, field: str, size: float) -> None:
    if text:
        flow.write([Segment(text, field, Weight.BOLD)], size)


def _write_large(flow: Flow, verdict: Verdict) -> None:
    """The verdict at the left and its effect at the right; each takes all where it is alone."""
    words = Segment(verdict.words or verdict.awaits, verdict.label, Weight.BOLD)
    effect = Segment(verdict.effect, "effect", Weight.BOLD)
    pairs = [(verdict.label, words), ("effect on the result", effect)]
    pairs = [(label, segment) for label, segment in pairs if segment.text]
    size = VERDICT if verdict.words else AWAITED
    widths = _part_width(flow, [segment for _, segment in pairs], size)
    labels = [[Segment(label, "labels")] for label, _ in pairs]
    tags = [flow.tag() for _ in pairs]
    flow.columns(_tagged(_stand_apart(flow, labels, LABEL, widths, LABEL_GREY), tags))
    large = _stand_apart(flow, [[segment] for _, segment in pairs], size, widths)
    if max((len(column.lines) for column in large), default=0) <= LINES_IN_A_CELL:
        flow.columns(_tagged(large, tags))
    else:
        for _, segment in pairs:
            flow.write([segment], BODY + 2.0)


def _tagged(columns: Sequence[Column], tags: Sequence[Tag]) -> list[Column]:
    """A label is read with what it stands above."""
    return [replace(one, tag=tag) for one, tag in zip(columns, tags, strict=False)]


def _part_width(flow: Flow, segments: Sequence[Segment], size: float) -> list[float]:
    """Half the width each, unless both stand on one line when the longer one gets more."""
    set_whole = [flow.set_lines([segment], size, math.inf) for segment in segments]
    need = [max(line.width for line in lines) + APART for lines in set_whole]
    if len(need) == len(SIDES) and sum(need) <= flow.width and max(need) > flow.width / 2:
        spare = flow.width - sum(need)
        return [width + spare / 2 for width in need]
    return [flow.width / len(need)] * len(need) if need else []


def _stand_apart(
    flow: Flow,
    texts: Sequence[Sequence[Segment]],
    size: float,
    widths: Sequence[float],
    grey: float = 0.0,
) -> list[Column]:
    columns: list[Column] = []
    x = flow.left
    for words, width, align in zip(texts, widths, SIDES, strict=False):
        lines = flow.set_lines(words, size, width - APART)
        columns.append(Column(x, width, lines, align, grey))
        x += width
    return columns
