"""Lines keep their width and lose nothing."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.forms.flow import Flow
from app.forms.fonts import UNITS, Weight
from app.forms.painting import SetText
from app.forms.paper import Paper
from app.forms.typesetting import NEW_LINE, SPACES, Line, Segment, Typesetter
from tests.forms.builders import NAMES

SIZE = 9.0


def read_line(line: Line) -> str:
    """The text of a line's clusters."""
    return "".join(cluster.text for run in line.runs for cluster in run.clusters)


def set_text(text: str, width: float) -> list[Line]:
    """Lines of one plain text."""
    return Typesetter().set_lines([Segment(text, "words")], SIZE, width)


@settings(max_examples=100, deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cf"]), max_size=200))
def test_all_that_was_written_stands_on_some_line(text: str) -> None:
    lines = set_text(text, 150.0)
    found = sorted("".join(read_line(line) for line in lines).replace(" ", ""))
    assert found == sorted(SPACES.sub("", NEW_LINE.sub("", text)))


@settings(max_examples=60, deadline=None)
@given(st.text(st.sampled_from("abW ömλй.ilج א"), max_size=200), st.floats(20.0, 300.0))
def test_no_line_is_wider_than_its_column(text: str, width: float) -> None:
    assert [line for line in set_text(text, width) if line.width > width + 0.01] == []


@pytest.mark.parametrize("script", list(NAMES))
def test_lines_are_tall_enough_for_the_ink_of_their_script(script: str) -> None:
    for line in set_text(NAMES[script], 400.0):
        assert line.top >= max(run.top for run in line.runs) * SIZE / UNITS
        assert line.bottom >= max(run.bottom for run in line.runs) * SIZE / UNITS


def test_the_space_before_a_word_too_wide_for_any_line_does_not_widen_the_line() -> None:
    exactly_one_word = set_text("Lane", 400.0)[0].width
    lines = set_text("Lane " + "W" * 40, exactly_one_word)
    assert [line for line in lines if line.width > exactly_one_word + 0.01] == []
    assert read_line(lines[0]) == "Lane"


def test_words_break_at_spaces_where_they_can() -> None:
    lines = [read_line(line) for line in set_text("one two three four", 50.0)]
    assert " ".join(lines) == "one two three four"
    assert len(lines) > 1


def test_new_lines_are_kept() -> None:
    assert [read_line(line) for line in set_text("one\n\ntwo\r\nthree", 400.0)] == [
        "one",
        "",
        "two",
        "three",
    ]


def test_a_value_from_right_to_left_leaves_its_neighbours_where_they_are() -> None:
    # UAX #9, 2.4: isolated text has no effect on what stands beside it.
    facts = [Segment("team: ", "a"), Segment("אבג", "a"), Segment(" 12 ", "b"), Segment("דה", "b")]
    line = Typesetter().set_lines(facts, SIZE, 400.0)[0]
    shown = re.sub(r"\s+", " ", read_line(line))
    assert shown == "team: אבג 12 דה"


def test_bold_is_another_outline_than_regular() -> None:
    plain, bold = (
        Typesetter().set_lines([Segment("Lane", "words", weight)], SIZE, 400.0)[0]
        for weight in Weight
    )
    assert bold.width > plain.width


def test_a_flow_turns_the_page_and_keeps_the_order() -> None:
    flow = Flow(Paper.A4, foot_height=20.0)
    flow.write([Segment("\n".join(str(number) for number in range(200)), "words")], SIZE)
    shown = [read_line(s.line) for page in flow.pages for s in page if isinstance(s, SetText)]
    assert shown == [str(number) for number in range(200)]
    assert len(flow.pages) > 2
