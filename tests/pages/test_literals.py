"""No text that somebody reads stands in a script, a sheet of style, a module or an attribute.

English stands in the templates, and what other languages say in the catalogues.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

import app.pages
from app.pages.wording import WORDS
from tests.pages.literals import (
    reads_like_text,
    strings_of,
    texts_in_attributes,
    texts_in_python,
    texts_in_script,
    texts_in_styles,
)

PAGES = Path(app.pages.__file__).parent
SCRIPTS = sorted((PAGES / "assets").rglob("*.js"))
SHEETS = sorted((PAGES / "assets").rglob("*.css"))
MODULES = sorted(PAGES.glob("*.py"))
TEMPLATES = sorted((PAGES / "templates").rglob("*.html"))
OF_THE_WEB = {
    *("Accept", "Authorization", "Bearer", "Content-Type", "Date", "If-Match", "If-None-Match"),
    *("ETag", "Retry-After", "PublicKeyCredential", "GET", "PUT", "POST", "DELETE"),
}
"""Names of HTTP (RFC 9110) and of the browser, which stand in scripts."""
FOR_DEVELOPERS = {"no words for “{}”", "not made", "nothing was kept"}
"""What a script tells its own caller or the browser's console, and no page shows."""
SERVICES = {
    "Appeals are read by the jury, the referee, the chief umpire and the results desk. You sign "
    "here what the jury has decided, where its panel names you as its secretary.",
    "pages have no file ",
    "The pages have no such file.",
}
"""Refusals: they are the service's, in English everywhere, and pages mark them so."""
AT_THE_START = {"modules need each other: ", " cannot be put into one script: "}
"""What a developer reads where the program does not start."""
HEADER = re.compile(r"(?:[A-Z][a-z]+-?)+(?:, (?:[A-Z][a-z]+-?)+)*")


@cache
def keys() -> frozenset[str]:
    """Keys of the words that templates hand to scripts, and names of classes."""
    told = "".join(path.read_text(encoding="utf-8") for path in TEMPLATES)
    keys = {re.sub(r" (?:one|other)$", "", key) for key in re.findall(r'"([^"\n]+)":', told)}
    classes = re.findall(r"\.([a-z][\w-]*)", "".join(one.read_text("utf-8") for one in SHEETS))
    scripts = "".join(path.read_text(encoding="utf-8") for path in SCRIPTS)
    for made in re.findall(r"\bclass: ([^,}]*)", scripts):
        classes += " ".join(re.findall(r'"([^"]*)"', made)).split()
    return frozenset({*keys, *classes, *OF_THE_WEB, *FOR_DEVELOPERS, *_states()})


def _states() -> set[str]:
    return {word for family in WORDS.values() for word in family} | set(WORDS)


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_no_script_holds_a_text(path: Path) -> None:
    assert texts_in_script(path.read_text(encoding="utf-8"), keys()) == set()


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.name)
def test_no_sheet_of_style_holds_a_text(path: Path) -> None:
    assert texts_in_styles(path.read_text(encoding="utf-8")) == set()


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_no_module_of_the_pages_holds_a_text(path: Path) -> None:
    found = (
        set(texts_in_python(path.read_text(encoding="utf-8"))) - _states() - SERVICES - AT_THE_START
    )
    assert {one for one in found if not HEADER.fullmatch(one)} == set()


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_attribute_holds_a_text(path: Path) -> None:
    assert texts_in_attributes(path.read_text(encoding="utf-8")) == set()


def test_strings_are_told_from_comments_templates_and_regular_expressions() -> None:
    script = r"""
    // a "comment"
    const one = 'it\'s', /* "two" */ three = `a ${four("five", `six ${7}`)} b`;
    const eight = text.replace(/["'`]/g, "nine") / 2;
    """
    assert strings_of(script) == [r"it\'s", "five", "six {}", "a {} b", "nine"]


@pytest.mark.parametrize(
    "planted",
    [
        'const said = "Sign here";',
        "const said = `${count} reports wait`;",
        'place.append("closed");',
        'button.textContent = "go";',
        'h("button", { title: "back" });',
        'one.setAttribute("aria-label", "lane");',
        'const said = "Größe";',
        'const said = "late…";',
        'alert("no");',
    ],
)
def test_a_text_in_a_script_would_be_found(planted: str) -> None:
    assert texts_in_script(planted, keys())


@pytest.mark.parametrize(
    "fine",
    [
        'word("in touch");',
        'one.className = "card report";',
        'document.querySelectorAll("form[data-act] .problem");',
        'headers["Content-Type"] = "application/json";',
        "location.assign(`/meets/${meet}/start`);",
        'one.textContent = word("done");',
    ],
)
def test_keys_selectors_and_addresses_pass(fine: str) -> None:
    assert not texts_in_script(fine, keys())


def test_a_text_in_a_sheet_a_module_or_an_attribute_would_be_found() -> None:
    assert texts_in_styles('.late::after { content: " (late)"; }') == {" (late)"}
    assert not texts_in_styles('.there::before { content: "✓"; }')
    assert list(texts_in_python('def show():\n    """Told."""\n    return "Sign here."'))
    assert not list(texts_in_python('ADVICE = _("Sign here.")'))
    assert texts_in_attributes('<input type="submit" value="Send"><img alt="{{ _(\'x\') }} plan">')
    assert not texts_in_attributes('<button value="upheld" aria-label="{{ _(\'Vote\') }}">')


def test_what_reads_like_a_text_is_told_from_names() -> None:
    assert all(map(reads_like_text, ["Save", "two words", "Bahn für", "wait …", "done."]))
    assert not any(map(reads_like_text, ["v1", "data-act", "/meets/{}", "#line", ".5", "a, b"]))
