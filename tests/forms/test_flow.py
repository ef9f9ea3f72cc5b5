"""What stays together on one page, and what the page is like when it does not fit."""

from hypothesis import given
from hypothesis import strategies as st

from app.forms.flow import Flow
from app.forms.paper import Paper
from app.forms.typesetting import Segment


def write_lines(flow: Flow, count: int) -> None:
    """So many lines of text."""
    for _ in range(count):
        flow.write([Segment("A line of text.", "text")], 9.0)


def a_flow(lines: int) -> Flow:
    """A flow with so many lines on it."""
    flow = Flow(Paper.A4, foot_height=20.0)
    write_lines(flow, lines)
    return flow


def shapes_on(flow: Flow) -> list[int]:
    """How many shapes stand on each page."""
    return [len(page) for page in flow.pages]


@given(st.integers(0, 150), st.integers(1, 60))
def test_what_one_page_holds_is_never_parted(before: int, kept: int) -> None:
    flow, plain = a_flow(before), a_flow(before)
    flow.keep(lambda there: write_lines(there, kept))
    write_lines(plain, kept)
    started = shapes_on(a_flow(before))
    if len(plain.pages) == len(started):
        assert shapes_on(flow) == shapes_on(plain)
    else:
        assert shapes_on(flow) == [*started, kept]


def test_what_is_taller_than_a_page_flows_on_and_is_not_cut() -> None:
    flow = a_flow(0)
    flow.keep(lambda there: write_lines(there, 200))
    assert sum(shapes_on(flow)) == 200
    assert all(shapes_on(flow))


@given(st.integers(0, 150), st.integers(1, 150))
def test_what_does_not_fit_leaves_no_trace(before: int, tried: int) -> None:
    flow, untouched = a_flow(before), a_flow(before)
    if not flow.fits(lambda there: write_lines(there, tried)):
        assert (flow.pages, flow.y) == (untouched.pages, untouched.y)


def test_a_frame_that_does_not_fit_leaves_no_trace() -> None:
    def write_framed(there: Flow) -> None:
        with there.frame(5.0, 1.0):
            write_lines(there, 40)

    flow, untouched = a_flow(45), a_flow(45)
    assert not flow.fits(write_framed)
    assert (flow.pages, flow.y) == (untouched.pages, untouched.y)
    assert (flow.left, flow.width) == (untouched.left, untouched.width)
