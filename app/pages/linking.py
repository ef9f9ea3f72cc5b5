"""One script made of many modules, for a phone on a bad line.

A browser fetches six files of one host at a time, and each is a way there and back: twenty small
modules cost four such ways before a flag can be shown. In one file each module is a function of its
own that gives what it exports, so nothing of one is seen in another.

Modules say it plainly, or the program does not start: imports by name on lines of their own,
exports where they are declared, no two modules that need each other.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from posixpath import dirname, join, normpath

Read = Callable[[str], str]

IMPORT = re.compile(
    r'^import (?:\{ ([^}]*) \}|\* as (\w+)) from "(\.{1,2}/[\w./]+)";$', re.MULTILINE
)
EXPORT = re.compile(r"^export ((?:async )?(?:function|const|class) (\w+))", re.MULTILINE)
LEFT = re.compile(r"^(?:import|export)\b.*", re.MULTILINE)


def linked(entry: str, read: Read) -> str:
    """The script of `entry` and all that it imports; ValueError for what cannot be put together.

    `read` gives a module's text by its name.
    """
    order = list(dict.fromkeys(_in_order(entry, read, ())))
    made = {name: f"module{number}" for number, name in enumerate(order)}
    parts = [_wrapped(made[name], *_opened(name, read(name), made)) for name in order[:-1]]
    last, _exports = _opened(entry, read(entry), made)
    return "\n".join([*parts, last])


def _in_order(name: str, read: Read, above: tuple[str, ...]) -> Iterator[str]:
    """What a module needs, and then the module."""
    if name in above:
        raise ValueError(f"modules need each other: {' → '.join([*above, name])}")
    for found in IMPORT.finditer(read(name)):
        yield from _in_order(_meant(name, found[3]), read, (*above, name))
    yield name


def _meant(name: str, address: str) -> str:
    return normpath(join(dirname(name), address))


def _opened(name: str, text: str, made: dict[str, str]) -> tuple[str, list[str]]:
    """A module's text without imports and exports, and the names that it exports."""

    def imported(found: re.Match[str]) -> str:
        module = made[_meant(name, found[3])]
        if found[2]:
            return f"const {found[2]} = {module};"
        return f"const {{ {found[1].replace(' as ', ': ')} }} = {module};"

    exports = [found[2] for found in EXPORT.finditer(text)]
    plain = EXPORT.sub(lambda found: found[1], IMPORT.sub(imported, text))
    if left := LEFT.search(plain):
        raise ValueError(f"{name} cannot be put into one script: {left[0]}")
    return plain, exports


def _wrapped(module: str, text: str, exports: list[str]) -> str:
    return f"const {module} = (() => {{\n{text}\nreturn {{ {', '.join(exports)} }};\n}})();"
