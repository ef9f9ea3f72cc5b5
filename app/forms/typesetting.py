"""How does a text become lines of a given width, with nothing left out?

Lines break at spaces; a word that is wider than a whole line breaks between its letters, so any
text fits any column. Each segment of a paragraph keeps its own reading order, as if isolated
(UAX #9, 2.4), so that a name in Hebrew does not carry the figures behind it along. Where the lines
go is left to `flow`. Text that people wrote is never read as markup.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from app.forms.fonts import UNITS, Weight
from app.forms.reading_order import SWITCHES, find_levels, order_for_the_eye, runs_right_to_left
from app.forms.script_text import Run, write_text

# Everyday Latin text gets the same leading on every line; only taller scripts ask for more.
LINE_TOP = 960.0
LINE_BOTTOM = 290.0

NEW_LINE = re.compile("\r\n|[\n\r\x0b\x0c\x85\u2028\u2029]")
SPACES = re.compile("[ \t\u1680\u2000-\u2006\u2008-\u200a\u205f\u3000]+")


@dataclass(frozen=True, slots=True)
class Segment:
    """Text of one field; the field's name is what a note on missing letters calls it."""

    text: str
    field: str
    weight: Weight = Weight.REGULAR


@dataclass(frozen=True, slots=True)
class Line:
    """Runs from left to right; width, top and bottom in points for its size. `goes_on` where its
    last word is wider than a line and goes on in the next one.
    """

    runs: tuple[Run, ...]
    size: float
    width: float
    top: float
    bottom: float
    from_right: bool
    goes_on: bool = False

    @property
    def height(self) -> float:
        """From the top of the line to its bottom."""
        return self.top + self.bottom


@dataclass(frozen=True, slots=True)
class Word:
    """Runs that stand together, and the space that stands before them."""

    runs: tuple[Run, ...]
    space: tuple[Run, ...]


@dataclass(slots=True)
class Typesetter:
    """Sets lines for one document and keeps what could not be printed, by field."""

    missing: dict[str, dict[str, None]] = field(default_factory=dict)

    def set_lines(self, segments: Sequence[Segment], size: float, width: float) -> list[Line]:
        """The segments as lines of at most this width (points); new lines in them are kept."""
        lines: list[Line] = []
        for paragraph in split_paragraphs(segments):
            from_right = len(paragraph) == 1 and runs_right_to_left(paragraph[0].text)
            words = self._write_words(paragraph)
            lines += [
                _make_line(runs, size, from_right, goes_on)
                for runs, goes_on in break_lines(words, width * UNITS / size)
            ]
        return lines

    def set_line(self, text: str, field_name: str, size: float, weight: Weight) -> Line:
        """A text of our own on one line, however wide it gets."""
        return self.set_lines([Segment(text, field_name, weight)], size, float("inf"))[0]

    def _write_words(self, paragraph: Sequence[Segment]) -> list[Word]:
        words: list[Word] = []
        open_space: tuple[Run, ...] | None = ()
        for segment in paragraph:
            for runs, is_space in self._write_segment(segment):
                if is_space:
                    open_space = runs
                elif open_space is None:
                    words[-1] = Word(words[-1].runs + runs, words[-1].space)
                else:
                    words.append(Word(runs, open_space))
                    open_space = None
        return words

    def _write_segment(self, segment: Segment) -> Iterator[tuple[tuple[Run, ...], bool]]:
        text = self._take_out_switches(segment)
        levels = find_levels(text)
        start = 0
        for space in SPACES.finditer(text):
            if start < space.start():
                yield self._write(segment, text, levels, start, space.start()), False
            gap, _ = write_text(" ", levels[space.start() : space.start() + 1], segment.weight)
            yield tuple(gap), True
            start = space.end()
        if start < len(text):
            yield self._write(segment, text, levels, start, len(text)), False

    def _write(
        self, segment: Segment, text: str, levels: list[int], start: int, end: int
    ) -> tuple[Run, ...]:
        runs, missing = write_text(text[start:end], levels[start:end], segment.weight)
        self._note(segment.field, missing)
        return tuple(runs)

    def _take_out_switches(self, segment: Segment) -> str:
        switches = [character for character in segment.text if character in SWITCHES]
        self._note(segment.field, switches)
        if not switches:
            return segment.text
        return "".join(character for character in segment.text if character not in SWITCHES)

    def _note(self, field_name: str, missing: Sequence[str]) -> None:
        if missing:
            self.missing.setdefault(field_name, {}).update(dict.fromkeys(missing))


def split_paragraphs(segments: Sequence[Segment]) -> list[list[Segment]]:
    """The segments of each paragraph; a new line inside a segment starts the next one."""
    paragraphs: list[list[Segment]] = [[]]
    for segment in segments:
        first, *further = NEW_LINE.split(segment.text)
        paragraphs[-1].append(Segment(first, segment.field, segment.weight))
        paragraphs += [[Segment(text, segment.field, segment.weight)] for text in further]
    return paragraphs


def break_lines(words: Sequence[Word], width: float) -> Iterator[tuple[tuple[Run, ...], bool]]:
    """The words as lines of at most this width (thousandths of the size), each with whether its
    last word goes on in the next one.
    """
    line: tuple[Run, ...] = ()
    used = 0.0
    for word in words:
        space = word.space if line else ()
        gap, wide = _width(space), _width(word.runs)
        if used + gap + wide <= width:
            line, used = line + space + word.runs, used + gap + wide
        elif wide <= width:
            yield line, False
            line, used = word.runs, wide
        else:
            if line and used + gap + word.runs[0].clusters[0].width > width:
                yield line, False
                line, space = (), ()
            *full, line = _break_word(line + space, word.runs, width)
            for part in full:
                yield part, True
            used = _width(line)
    yield line, False


def _break_word(
    line: tuple[Run, ...], runs: tuple[Run, ...], width: float
) -> Iterator[tuple[Run, ...]]:
    used = _width(line)
    for run in runs:
        start = 0
        for place, cluster in enumerate(run.clusters):
            if (line or place > start) and used + cluster.width > width:
                yield (*line, run.part(start, place))
                line, used, start = (), 0.0, place
            used += cluster.width
        line = (*line, run.part(start, len(run.clusters)))
    yield line


def _width(runs: Sequence[Run]) -> float:
    return sum(run.width for run in runs)


def _make_line(runs: tuple[Run, ...], size: float, from_right: bool, goes_on: bool) -> Line:
    top = max((run.top for run in runs), default=0.0)
    bottom = max((run.bottom for run in runs), default=0.0)
    unit = size / UNITS
    return Line(
        runs=tuple(order_for_the_eye(runs)),
        size=size,
        width=_width(runs) * unit,
        top=max(top + 60.0, LINE_TOP) * unit,
        bottom=max(bottom + 40.0, LINE_BOTTOM) * unit,
        from_right=from_right,
        goes_on=goes_on,
    )


def name_missing(typesetter: Typesetter) -> list[str]:
    """In plain words, which characters could not be printed, field by field."""
    return [
        f"{' '.join(_name(character) for character in characters)} in {field_name}"
        for field_name, characters in typesetter.missing.items()
    ]


def _name(character: str) -> str:
    return f"U+{ord(character):04X}" + (" (turns the direction)" if character in SWITCHES else "")
