"""What is kept of a result when the words of its announcement are erased: a digest.

Teams, places and times name nobody and stay, so that they must still be found to be what they were
when the words went: whoever erases could else give out another result under the same number.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from app.record.canonical import canonical

OF_ANNOUNCEMENT = ("heat", "number", "announced_at")
OF_LINE = (
    *("place", "lane", "bib", "team", "team_name", "affiliation", "status", "thousandths", "time"),
    *("annotation", "qualification", "points"),
)
OF_QUALIFIED = ("team", "team_name", "heat_number", "place", "time", "letter")


def result_kept(announcement: str, body: Mapping[str, Any]) -> dict[str, str]:
    """By an announcement's id, the digest of the result that its body in the record tells."""
    said = {**body.get("statement", {}), **body}
    told = {
        **{name: said.get(name) for name in OF_ANNOUNCEMENT},
        "lines": _parts(said, "lines", OF_LINE),
        "qualified": _parts(said, "qualified", OF_QUALIFIED),
    }
    return {"announcement": announcement, "result_sha256": sha256(canonical(told)).hexdigest()}


def _parts(said: Mapping[str, Any], of: str, names: tuple[str, ...]) -> list[dict[str, Any]]:
    return [{name: one.get(name) for name in names} for one in said.get(of) or ()]
