"""Rule books that were spoilt or made to do harm: read as they are, or refused with the place."""

from __future__ import annotations

from importlib.resources import files

import pytest
from hypothesis import strategies as st

from app.rules.book import BookRefused, editions, read_book
from tests.fuzz.bounds import within
from tests.fuzz.budget import tried
from tests.fuzz.mutating import mutated

SECONDS, MEBIBYTES = 5, 64
GOOD = [(files("app.rules") / "books" / f"{key}.toml").read_bytes() for key in editions()]


def read_calmly(text: str) -> None:
    with within(SECONDS, MEBIBYTES):
        refused = refusal_of(text)
    if refused is not None:
        assert refused.place.startswith("spoilt.toml: ")
        assert refused.problem


def refusal_of(text: str) -> BookRefused | None:
    try:
        read_book(text, "spoilt")
    except BookRefused as refused:
        return refused
    return None


@tried(100, content=mutated(GOOD))
def test_a_spoilt_book_is_read_or_refused_with_the_place(content: bytes) -> None:
    read_calmly(content.decode("utf-8", "replace"))


LINES = [line for content in GOOD for line in content.decode().splitlines()]
VALUES = st.recursive(
    st.sampled_from(
        ["1", "-0", "1e999", "nan", "9" * 400, "0x" + "f" * 400, "true", "2025-11-01", "25:00:00"]
    )
    | st.text(max_size=8).map(repr),
    lambda inner: (
        st.lists(inner, max_size=4).map(lambda some: f"[{','.join(some)}]")
        | inner.map(lambda one: f"{{ value = {one}, source = 'a' }}")
    ),
    max_leaves=6,
)
NAMES = st.sampled_from(["in_force", "value", "zones", "windows", "code", "''", "1", '"\\u0000"'])
WRITTEN = st.builds(
    "{}{} = {}".format, st.lists(NAMES, max_size=4).map("".join), NAMES, VALUES
) | st.lists(NAMES, min_size=1, max_size=4).map(lambda names: f"[[{'.'.join(names)}]]")


@tried(100, lines=st.lists(st.sampled_from(LINES) | WRITTEN, max_size=30))
def test_any_lines_of_books_in_any_order_are_refused_with_the_place(lines: list[str]) -> None:
    read_calmly("\n".join(lines))


@st.composite
def with_a_value_exchanged(draw: st.DrawFn) -> str:
    """A good book, of which one line says something else."""
    lines = draw(st.sampled_from(GOOD)).decode().splitlines()
    at = draw(st.sampled_from([at for at, line in enumerate(lines) if " = " in line]))
    name, _, told = lines[at].partition(" = ")
    value = draw(VALUES)
    whole = f"{name} = {value}"
    kept, of, source = told.partition(", source")
    inner = f"{name} = {kept.rpartition(' = ')[0]} = {value}{of}{source}"
    lines[at] = draw(st.sampled_from([whole, inner]))
    return "\n".join(lines)


@tried(100, text=with_a_value_exchanged())
def test_a_book_with_another_value_is_read_or_refused_with_the_place(text: str) -> None:
    read_calmly(text)


@pytest.mark.parametrize(
    "text",
    [
        *("", "\0", "\ufeffa = 1", "x" * 3_000_000, "a = '''" + "x" * 3_000_000),
        *("a = " + "[" * 100_000, "a = " + "[\n" * 50_000, "a = " + "{x=" * 100_000),
        *("a" + ".a" * 100_000 + " = 1", "[" + "a." * 100_000 + "a]", "[a]\n" * 20_000),
        *("a = " + "9" * 1_000_000, "a = 1e999999999", "a = nan", "a = 9999-99-99"),
        *('a = "\\ud800"', "a = 1\n" * 2, 'a = "' + "\\t" * 40_000, "#\n" * 60_000),
        *(
            "\n".join(f"[a{at}.{'.'.join('bcdefgh')}]" for at in range(6_000)),
            "a=[" + "1,\n" * 30_000,
        ),
    ],
    ids=lambda text: repr(text[:16]),
)
def test_a_text_made_to_do_harm_is_refused_with_the_place(text: str) -> None:
    read_calmly(text)
