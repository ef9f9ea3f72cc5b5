"""Who sits on a panel once a member has left it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def without_member(panel: Mapping[str, Any], member: str, instead: str | None) -> dict[str, Any]:
    """The panel without the member; a chair is followed by whoever takes the place."""
    if instead is None:
        rest = [one for one in panel["members"] if one != member]
        chair = panel["chair"] if panel["chair"] != member else (rest[0] if rest else None)
        return {**panel, "members": rest, "chair": chair}
    members = [instead if one == member else one for one in panel["members"]]
    chair = instead if panel["chair"] == member else panel["chair"]
    substitutes = [one for one in panel["substitutes"] if one != instead]
    return {**panel, "members": members, "chair": chair, "substitutes": substitutes}
