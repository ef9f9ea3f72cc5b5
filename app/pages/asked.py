"""What can be answered about an infringement besides a position, for the zone official's page.

Read from the observations themselves, so that a fact that is added there can be answered on the
phone. What is asked first stands in `seen_from.py`; here is what comes before even that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields
from enum import StrEnum
from functools import cache
from typing import Any, get_args, get_type_hints

from app.rules.observation import Infringement, Observation

PLACED = frozenset({"seen", "baton", "foot"})

# Who may fetch a baton hangs on who let it fall: without the two nobody can tell (TR24.6).
FIRST: Mapping[Infringement, tuple[str, ...]] = {
    Infringement.DROPPED_BATON: ("held_by", "fetched_by"),
}


@cache
def asked() -> Mapping[str, Any]:
    """Of each infringement what is asked first, and each fact with its answers and the usual one.

    A fact without answers is a number.
    """
    return {_seen(kind): _asked(kind) for kind in get_args(Observation)}


def _seen(kind: Any) -> str:
    return str(kind.__dataclass_fields__["seen"].default)


def _asked(kind: Any) -> Mapping[str, Any]:
    hints = get_type_hints(kind)
    facts = {
        one.name: {
            "answers": _answers(hints[one.name]),
            "usual": None if one.default in (None, MISSING) else str(one.default),
        }
        for one in fields(kind)
        if one.name not in PLACED
    }
    return {"first": list(FIRST.get(Infringement(_seen(kind)), ())), "facts": facts}


def _answers(hint: Any) -> list[str]:
    is_choice = isinstance(hint, type) and issubclass(hint, StrEnum)
    return [str(one) for one in hint] if is_choice else []
