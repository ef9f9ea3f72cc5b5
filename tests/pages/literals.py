"""Texts that somebody would read, found in scripts, in sheets of style, in Python and in templates.

A script is taken apart by the lexical grammar of ECMAScript (ECMA-262, clause 12) as far as it
matters here: comments, strings, templates with what they hold, and regular expressions.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Collection, Iterator
from html.parser import HTMLParser

_STRING = re.compile(r"""(["'])((?:\\.|(?!\1)[^\\\n])*)\1""", re.DOTALL)
_REGEX = re.compile(r"/(?:\\.|\[(?:\\.|[^\]\\\n])*\]|[^/\\\n\[])+/[a-z]*")
_BEFORE_REGEX = re.compile(r"(?:[(=,:!&|?;{}\[]|\breturn)\s*$")
_SHOWN = re.compile(
    r"""(?:\.?\b(?:textContent|innerText|placeholder|title|ariaLabel|alt)\s*[:=]\s*
        |["']aria-label["']\s*[,:]\s*|\b(?:alert|confirm|prompt)\(\s*|\.append\(\s*)
        ["'`][^"'`$]*?[^\W\d_]""",
    re.VERBOSE,
)
"""What puts a literal before people, however short it is."""


def strings_of(script: str) -> list[str]:
    """The strings and templates of a script; what a template fills in stands as `{}`."""
    found: list[str] = []
    _code(script, 0, found, inner=False)
    return found


def _code(script: str, at: int, found: list[str], *, inner: bool) -> int:
    depth = 0
    while at < len(script):
        here = script[at]
        if inner and here == "}" and depth == 0:
            return at + 1
        depth += {"{": 1, "}": -1}.get(here, 0) if inner else 0
        at = _token(script, at, found)
    return at


def _token(script: str, at: int, found: list[str]) -> int:
    """One token is read; gives where the next one begins."""
    if script.startswith("//", at):
        end = script.find("\n", at)
        return end if end >= 0 else len(script)
    if script.startswith("/*", at):
        return script.index("*/", at) + 2
    if script[at] == "`":
        return _template(script, at + 1, found)
    if string := _STRING.match(script, at):
        found.append(string[2])
        return string.end()
    if script[at] == "/" and _BEFORE_REGEX.search(script[max(0, at - 20) : at]):
        regex = _REGEX.match(script, at)
        return regex.end() if regex else at + 1
    return at + 1


def _template(script: str, at: int, found: list[str]) -> int:
    text = ""
    while script[at] != "`":
        if script.startswith("${", at):
            text += "{}"
            at = _code(script, at + 2, found, inner=True)
        else:
            length = 2 if script[at] == "\\" else 1
            text += script[at : at + length]
            at += length
    found.append(text)
    return at + 1


def reads_like_text(text: str) -> bool:
    """Several words, a word with a capital, letters beyond ASCII, or the end of a sentence."""
    bare = re.sub(r"\\u\{?[0-9a-fA-F]+\}?|\\.", " ", text)
    several = re.search(r"[^\W\d_]\s+(?:\{\}\s*)?[^\W\d_]", bare)
    capital = re.match(r"\s*[A-Z][a-z]+", bare)
    beyond = re.search(r"[^\W\d_]", re.sub(r"[A-Za-z]", "", bare))
    sentence = re.search(r"[^\W\d_]{2,}\s*[.?!…]+\s*$", bare)
    return bool(several or capital or beyond or sentence)


def texts_in_script(script: str, known: Collection[str]) -> set[str]:
    """Literals of a script that people would read; `known` are keys of words, classes, headers."""
    read = {one for one in strings_of(script) if reads_like_text(one)}
    shown = {one[0] for one in _SHOWN.finditer(script)}
    return {one for one in read if one not in known and not _only_known(one, known)} | shown


def _only_known(text: str, known: Collection[str]) -> bool:
    """Several names of classes in one string, or keys before what is filled in."""
    return all(word in known or word == "{}" for word in text.split())


def texts_in_styles(sheet: str) -> set[str]:
    """Letters that a sheet puts before people: not signs, which need no language."""
    bare = re.sub(r"/\*.*?\*/", " ", sheet, flags=re.DOTALL)
    values = re.findall(r"""\bcontent\s*:\s*([^;}]*["'][^;}]*)""", bare)
    quoted = (one for value in values for _mark, one in _STRING.findall(value))
    return {one for one in quoted if re.search(r"[^\W\d_]", re.sub(r"\\[0-9a-fA-F]+", "", one))}


def texts_in_python(source: str) -> Iterator[str]:
    """Literals of a module that read like a text, outside docstrings, `_()`, patterns and
    descriptions.
    """
    tree = ast.parse(source)
    passed: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            passed.add(id(node.value))
        if isinstance(node, ast.Call):
            if ast.unparse(node.func) in {"_", "re.compile"}:
                passed |= {id(one) for one in node.args}
            passed |= {id(one.value) for one in node.keywords if one.arg == "description"}
    for node in ast.walk(tree):
        told = node.value if isinstance(node, ast.Constant) else None
        if isinstance(told, str) and id(node) not in passed and reads_like_text(told):
            yield told


class _Attributes(HTMLParser):
    READ = ("title", "aria-label", "placeholder", "alt", "label", "aria-description", "data-sign")

    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        names = [*self.READ, "value"] if self._is_button(tag, told) else self.READ
        values = (told.get(name) or "" for name in names)
        self.found |= {one for one in values if re.search(r"[^\W\d_]", one)}

    @staticmethod
    def _is_button(tag: str, told: dict[str, str | None]) -> bool:
        return tag == "input" and told.get("type") in {"submit", "button", "reset"}


def texts_in_attributes(template: str) -> set[str]:
    """What stands in attributes that people read or hear, outside of what looks it up."""
    bare = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", "", template, flags=re.DOTALL)
    parser = _Attributes()
    parser.feed(bare)
    return parser.found
