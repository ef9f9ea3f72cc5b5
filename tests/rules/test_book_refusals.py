"""A book that is incomplete, contradictory or unknown is refused with the place in the file.

Every key of every good book is taken out in turn; those of the newest edition are also misnamed
and given a value of a wrong type, and each of its tables gets a key that nobody knows.
"""

import copy
import json
import time
import tomllib
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any

import pytest

from app.rules.book import BookRefused, editions, load_book, read_book

Path = tuple[str | int, ...]


def _text_of(key: str) -> str:
    return (files("app.rules") / "books" / f"{key}.toml").read_text(encoding="utf-8")


@cache
def _tables_of(key: str) -> dict[str, Any]:
    return tomllib.loads(_text_of(key))


def _paths(value: object, path: Path = ()) -> Iterator[Path]:
    """The path of every key in a document, tables and their values alike."""
    inside: Sequence[tuple[str | int, object]] = ()
    if isinstance(value, dict):
        inside = list(value.items())
        yield from ((*path, key) for key in value)
    elif isinstance(value, list):
        inside = list(enumerate(value))
    for key, part in inside:
        yield from _paths(part, (*path, key))


def _parent(document: dict[str, Any], path: Path) -> Any:
    value: Any = document
    for step in path[:-1]:
        value = value[step]
    return value


def _as_toml(value: object) -> str:
    """Just enough TOML for a test: everything below the top level is written inline."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {_as_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_as_toml(part) for part in value) + "]"
    return value.isoformat() if isinstance(value, date) else json.dumps(value)


def _read(document: dict[str, Any]) -> None:
    text = "\n".join(f"{json.dumps(key)} = {_as_toml(part)}" for key, part in document.items())
    read_book(text, "mended")


def _place(path: Path) -> str:
    words = ""
    for step in path:
        words += f"[{step + 1}]" if isinstance(step, int) else f".{step}"
    return f"mended.toml: {words.lstrip('.')}"


def _refused(document: dict[str, Any]) -> BookRefused:
    with pytest.raises(BookRefused) as refusal:
        _read(document)
    assert str(refusal.value) == f"{refusal.value.place}: {refusal.value.problem}"
    return refusal.value


def _changed(key: str, path: Path, change: Callable[[Any, Any], None]) -> dict[str, Any]:
    document = copy.deepcopy(_tables_of(key))
    change(_parent(document, path), path[-1])
    return document


def _set(value: object) -> Callable[[Any, Any], None]:
    return lambda parent, step: parent.__setitem__(step, value)


def _delete(parent: Any, step: Any) -> None:
    del parent[step]


def _cases(*keys: str) -> list[tuple[str, Path]]:
    return [(key, path) for key in keys for path in _paths(_tables_of(key))]


def test_a_book_read_back_from_its_tables_is_accepted() -> None:
    for key in editions():
        _read(_tables_of(key))


def test_each_key_taken_out_is_refused_with_its_place() -> None:
    cases = _cases(*editions())
    assert len(cases) > 1000
    for key, path in cases:
        refusal = _refused(_changed(key, path, _delete))
        assert refusal.place == _place(path), (key, path)
        assert refusal.problem.startswith("is missing")


def test_each_key_misnamed_is_refused_with_the_place_of_its_table() -> None:
    def misname(parent: Any, step: Any) -> None:
        parent[f"{step}x"] = parent.pop(step)

    for key, path in _cases("world-athletics-2025"):
        refusal = _refused(_changed(key, path, misname))
        assert refusal.place.startswith(_place(path[:-1]).rstrip(": ")), (key, path)


def test_each_value_of_a_wrong_type_is_refused_with_its_place() -> None:
    for key, path in _cases("world-athletics-2025"):
        refusal = _refused(_changed(key, path, _set([[]])))
        assert refusal.place.startswith(_place(path)), (key, path)


def test_a_key_that_nobody_knows_is_refused_in_every_table() -> None:
    for key, path in _cases("world-athletics-2025"):
        refusal = _refused(_changed(key, (*path[:-1], "colour"), _set("red")))
        assert refusal.place == _place((*path[:-1], "colour")), (key, path)


@pytest.mark.parametrize(
    ("path", "value", "place", "problem"),
    [
        (("zones", "4x100", "leg_line_m", "value"), 31, "zones.4x100.leg_line_m", "outside"),
        (("zones", "4x100", "leg_line_m", "value"), -1, "zones.4x100.leg_line_m.value", "between"),
        (("zones", "4x100", "length_m", "value"), 0, "zones.4x100.length_m.value", "between"),
        (("zones", "4x100", "length_m", "value"), True, "zones.4x100.length_m.value", "number"),
        (("zones", "4x100", "length_m", "source"), " ", "zones.4x100.length_m.source", "empty"),
        (("zones", "4x100", "rule"), "", "zones.4x100.rule", "not empty"),
        (("oval_zones", "4x200", "rule"), "", "oval_zones.4x200.rule", "not empty"),
        (("oval_zones", "4x200", "leg_line_m", "value"), 21, "oval_zones.4x200.leg_line_m", "outs"),
        (("oval_zones", "asked"), 1, "oval_zones.asked", "true or"),
        (("zone_marks", "tolerance_m"), 0, "zone_marks.tolerance_m", "between"),
        (("zone_marks", "tolerance_m"), "20 mm", "zone_marks.tolerance_m", "number"),
        (("zone_marks", "source"), " ", "zone_marks.source", "empty"),
        (("edges", "last_line_inside", "value"), 1, "edges.last_line_inside.value", "true or"),
        (("in_force", "until"), date(2025, 10, 31), "in_force.until", "before the day 2025-11-01"),
        (("in_force", "until"), "some day", "in_force.until", "date"),
        (("in_force", "from"), "2025-11-01", "in_force.from", "date"),
        (("windows", 0, "minutes"), -1, "windows[1].minutes", "between"),
        (("windows", 0, "minutes"), 30.5, "windows[1].minutes", "whole number"),
        (("windows", 0, "opens"), "the gun", "windows[1].opens", "one of: announcement"),
        (("windows", 0, "opens"), "any time", "windows[1].minutes", "not set"),
        (("windows", 2, "opens"), "amended announcement", "windows[3].kind", "twice"),
        (("windows", 0, "remedy"), "appeal", "windows", "no window for any protest"),
        (("windows",), [], "windows", "not empty"),
        (("lane_infringement", "tolerated", "value"), 2, "lane_infringement.tolerated.value", "1"),
        (("notations", 0, "code"), "DNF", "notations[2].code", "twice"),
        (("notations", 0, "code"), "DSQ", "notations", "lacks “DNS”"),
        (
            ("infringements", "help_given", "consequence"),
            "none",
            "infringements.help_given.consequence",
            "must not be none",
        ),
        (
            ("dropped_baton", "return_point", "value"),
            "home",
            "dropped_baton.return_point.value",
            "one of: always",
        ),
        (("appeal_deposit", "amount"), 0, "appeal_deposit.amount", "between"),
        (("appeal_deposit", "asked"), False, "appeal_deposit.amount", "unknown here"),
    ],
)
def test_a_contradiction_is_refused_with_its_place(
    path: Path, value: object, place: str, problem: str
) -> None:
    refusal = _refused(_changed("world-athletics-2025", path, _set(value)))
    assert refusal.place == f"mended.toml: {place}"
    assert problem in refusal.problem


def test_a_tolerance_without_its_notation_is_refused() -> None:
    document = dict(_tables_of("world-athletics-2025"))
    document["notations"] = [sign for sign in document["notations"] if sign["code"] != "L"]
    assert "lacks “L”" in _refused(document).problem


def test_a_letter_of_a_qualifier_without_its_notation_is_refused() -> None:
    document = dict(_tables_of("nfhs-2019"))
    document["notations"] = [sign for sign in document["notations"] if sign["code"] != "qD"]
    assert "lacks “qD”" in _refused(document).problem


@pytest.mark.parametrize("value", [float("inf"), float("nan")])
def test_a_length_that_is_no_number_is_refused(value: float) -> None:
    text = _text_of("world-athletics-2025").replace(
        "length_m = { value = 30", f"length_m = {{ value = {value}", 1
    )
    with pytest.raises(BookRefused, match=r"zones\.4x100\.length_m\.value: must be a number"):
        read_book(text, "mended")


def test_a_length_of_more_digits_than_a_fraction_can_have_is_refused() -> None:
    text = _text_of("world-athletics-2025").replace(
        "length_m = { value = 30", f"length_m = {{ value = {'9' * 350}", 1
    )
    with pytest.raises(BookRefused, match=r"zones\.4x100\.length_m\.value: must be a number"):
        read_book(text, "mended")


def test_a_number_of_thousands_of_digits_is_refused_with_its_line() -> None:
    with pytest.raises(BookRefused, match=r"^mended\.toml: line 2: holds a number of 400 digits"):
        read_book(f"code = 1\nx = {'9' * 4_301}\n", "mended")


def test_a_name_of_very_many_parts_is_refused_with_its_line_and_before_it_is_read() -> None:
    began = time.process_time()
    with pytest.raises(BookRefused, match=r"^mended\.toml: line 2: is longer than 8192 char"):
        read_book(f"code = 1\nx{'.x' * 32_000} = 1\n", "mended")
    assert time.process_time() - began < 0.2


def test_a_book_that_is_nested_too_deeply_is_refused() -> None:
    with pytest.raises(BookRefused, match=r"^mended\.toml: whole document: is nested too deeply"):
        read_book("x = " + "[\n" * 20_000, "mended")


def test_a_text_that_is_too_long_for_a_book_is_refused() -> None:
    with pytest.raises(BookRefused, match=r"^mended\.toml: end of document: lies beyond 65536"):
        read_book("#\n" * 40_000, "mended")


def test_text_that_is_not_toml_is_refused_with_its_line() -> None:
    with pytest.raises(BookRefused, match=r"^mended\.toml: line 2, column \d+: is not TOML"):
        read_book('code = "nfhs"\ntitle = = 1\n', "mended.toml")
    with pytest.raises(BookRefused, match=r"^mended\.toml: end of document: is not TOML"):
        read_book("code = ", "mended")


def test_a_value_that_stands_twice_is_refused() -> None:
    with pytest.raises(BookRefused, match=r"mended\.toml: line 2"):
        read_book('code = "nfhs"\ncode = "nfhs"\n', "mended")


def test_an_unknown_edition_is_refused_naming_the_known_ones() -> None:
    with pytest.raises(BookRefused) as refusal:
        load_book("world-athletics-1912")
    assert refusal.value.place == "world-athletics-1912.toml"
    assert all(key in refusal.value.problem for key in editions())


def test_a_path_is_no_key() -> None:
    with pytest.raises(BookRefused, match="unknown"):
        load_book("../books/nfhs-2019")
