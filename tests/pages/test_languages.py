"""Every text of the pages, in every language; and which language a page speaks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po

import app.pages
from app import problems
from app.explaining import explained
from app.pages.languages import CATALOGUES, SOURCE, choose, languages
from app.pages.wording import WORDS
from app.rules.book import editions, load_book

PAGES = Path(app.pages.__file__).parent
TEMPLATES = sorted((PAGES / "templates").glob("**/*.html"))
OTHERS = [language for language in languages() if language != SOURCE]
NAMES = {"Zone", "Docket", "PDF", "CSV", "JSON", "DQ", "Letter"}
"""What stands in templates untranslated: the program's name and those of file formats."""
JINJA = {"extensions": "jinja2.ext.i18n,jinja2.ext.do", "trim_blocks": "true", "silent": "false"}
PLACEHOLDER = re.compile(r"%\(\w+\)[sd]|\{\w+\}")


@cache
def texts() -> frozenset[object]:
    """All texts of the pages as they are written, those in several numbers as pairs; and what the
    service says of types of problems, which pages translate.
    """
    found: set[object] = set()
    for path in TEMPLATES:
        for _line, text, *_ in extract_from_file("jinja2.ext:babel_extract", path, options=JINJA):
            found.add(text)
    found |= {text for kind in explained() for text in (kind.meaning, kind.way_out)}
    for path in sorted(PAGES.glob("*.py")):
        found |= {text for _line, text, *_ in extract_from_file("python", path)}
    return frozenset(found)


def catalogues(language: str) -> Iterator[Catalog]:
    for path in sorted((CATALOGUES / language).glob("*.po")):
        with path.open("rb") as file:
            yield read_po(file, language, abort_invalid=True)


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_is_translated_and_nothing_else_is(language: str) -> None:
    known = {one.id for catalogue in catalogues(language) for one in catalogue if one.id}
    assert texts() - known == set()
    assert known - texts() == set()


@pytest.mark.parametrize("language", OTHERS)
def test_no_translation_is_empty_doubtful_or_left_over(language: str) -> None:
    for catalogue in catalogues(language):
        assert not catalogue.obsolete
        for one in (one for one in catalogue if one.id):
            said = one.string if isinstance(one.string, tuple) else (one.string,)
            assert all(said), one.id
            assert not one.fuzzy, one.id


@pytest.mark.parametrize("language", OTHERS)
def test_a_text_of_several_places_is_translated_alike_in_all_of_them(language: str) -> None:
    """All catalogues are read together, so that one of them would speak for the others."""
    said: dict[object, set[object]] = {}
    for catalogue in catalogues(language):
        for one in (one for one in catalogue if one.id):
            said.setdefault(one.id, set()).add(one.string)
    assert {text: words for text, words in said.items() if len(words) > 1} == {}


@pytest.mark.parametrize("language", OTHERS)
def test_translations_fill_in_what_the_texts_fill_in(language: str) -> None:
    for catalogue in catalogues(language):
        for one in (one for one in catalogue if one.id):
            ids = one.id if isinstance(one.id, tuple) else (one.id,)
            said = one.string if isinstance(one.string, tuple) else (one.string,)
            for text in said:
                assert set(PLACEHOLDER.findall(text)) == set(PLACEHOLDER.findall(ids[-1])), one.id


def bare_words(template: str) -> set[str]:
    """Words that stand in a template outside of what looks them up."""
    told = re.sub(r"\{%-?\s*trans.*?endtrans\s*-?%\}", " ", template, flags=re.DOTALL)
    # What is typed into a terminal is the same in every language.
    told = re.sub(r"<pre\b.*?</pre>", " ", told, flags=re.DOTALL)
    # These blocks stand within the body's own tag: its class, and what scripts read of it.
    told = re.sub(r"\{% block (?:kind|body_data) %\}.*?\{% endblock %\}", " ", told)
    told = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", " ", told, flags=re.DOTALL)
    told = re.sub(r"<!doctype[^>]*>|<[^>]*>|&\w+;", " ", told, flags=re.DOTALL | re.IGNORECASE)
    return set(re.findall(r"[^\W\d_]{2,}", told)) - NAMES


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_text_stands_in_a_template_without_being_looked_up(path: Path) -> None:
    assert bare_words(path.read_text(encoding="utf-8")) == set()


def test_a_bare_text_would_be_found() -> None:
    assert bare_words('<p class="note">{{ _("Said") }} unsaid</p>') == {"unsaid"}


def test_kinds_of_windows_and_signs_of_all_editions_are_worded() -> None:
    for book in map(load_book, editions()):
        assert {rule.kind for rule in book.windows} <= WORDS["window kind"].keys()
        assert {rule.opens.value for rule in book.windows} <= WORDS["opener"].keys()
        assert set(book.notations) <= WORDS["notation"].keys()


def test_every_kind_of_refusal_is_worded_with_its_own_title() -> None:
    kinds = {
        kind.slug: kind.title for kind in (*problems.OTHERS.values(), *problems.PROBLEMS.values())
    }
    assert WORDS["problem"] == kinds


@pytest.mark.parametrize(
    ("accepted", "spoken"),
    [
        ("", "en"),
        ("de", "de"),
        ("de-AT, en;q=0.5", "de"),
        # RFC 9110, 12.5.4: "I prefer Danish, but will accept British English and other types".
        ("da, en-gb;q=0.8, en;q=0.7", "en"),
        ("en;q=0.2, de;q=0.9", "de"),
        ("de;q=0, en", "en"),
        ("nonsense;q=x", "en"),
    ],
)
def test_the_browsers_list_decides_where_nobody_asked(accepted: str, spoken: str) -> None:
    assert choose(None, None, accepted) == spoken


def test_what_was_asked_for_goes_before_what_was_kept_and_what_the_browser_reads() -> None:
    assert choose("de", "en", "en") == "de"
    assert choose(None, "de", "en") == "de"
    assert choose('"><script>', "de", "en") == "de"


def test_every_word_that_a_template_asks_for_by_its_family_has_that_family() -> None:
    asked = {
        family
        for template in TEMPLATES
        for family in re.findall(r'\bsaid\("([^"]+)",', template.read_text("utf-8"))
    }
    assert len(asked) > 20
    assert asked - WORDS.keys() == set()
