"""How did the panel vote? Counted by quorum and by the chair's vote as they were when it was named.

No decision without the meet's quorum. The majority of the votes decides; where they are equal, the
chair's vote if the meet's terms say so, else the referee's decision stands (World Athletics TR8.8,
from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.appeals.queries import votes_of
from app.appeals.wire import Verdict
from app.ids import AppealId
from app.refusals import StateConflict
from app.store.action import Unit
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Counted:
    """What came of the votes: the verdict, who cast them, and what the decision keeps of them."""

    verdict: Verdict
    voters: Sequence[str]
    told: Mapping[str, Any]
    how: str

    def insist_on(self, verdict: Verdict) -> None:
        """StateConflict where the votes are for another verdict."""
        if verdict is self.verdict:
            return
        raise StateConflict(
            f"The votes are {self.told['upheld']} for and {self.told['rejected']} against"
            f"{self.how}: the appeal is {self.verdict}.",
            field="/verdict",
        )


def count(unit: Unit, row: AnyRow, panel: Mapping[str, Any]) -> Counted:
    """Count the votes of those who sit; StateConflict without a quorum."""
    cast = {
        vote.official_id: vote.vote
        for vote in votes_of(unit.conn, AppealId(row.id), row.sitting)
        if vote.official_id in panel["members"]
    }
    quorum = panel["quorum"]
    if len(cast) < quorum:
        have = "has" if len(cast) == 1 else "have"
        raise StateConflict(
            f"{len(cast)} of the panel {have} voted, and its quorum by the meet's terms (“jury”) "
            f"is {quorum}: there is no decision without it. Let the others vote, or substitutes "
            "take their place. Where a member has left for good, the organiser takes the role "
            "jury from that official; then name the panel again (“appeals/{id}/panel”), with "
            "somebody else in the place.",
            votes=len(cast),
            quorum=quorum,
        )
    counts = Counter(cast.values())
    verdict, how = _majority(counts, cast, panel)
    told = {
        "upheld": counts["upheld"],
        "rejected": counts["rejected"],
        "quorum": quorum,
        "tie": how.strip(", "),
        "cast": dict(sorted(cast.items())),
    }
    return Counted(verdict, sorted(cast), told, how)


def _majority(
    counts: Counter[str], cast: Mapping[str, str], panel: Mapping[str, Any]
) -> tuple[Verdict, str]:
    if counts["upheld"] != counts["rejected"]:
        most = counts["upheld"] > counts["rejected"]
        return (Verdict.UPHELD if most else Verdict.REJECTED), ""
    chair = cast.get(panel["chair"])
    if panel["chair_casts"] and chair is not None:
        return Verdict(chair), ", and the chair's vote decides"
    return Verdict.REJECTED, ", so the referee's decision stands"
