"""What each type of problem means, and what can be done about it: by an official at a page, or by a
program.

The types are those of the one table in `app/problems.py`. What is to be done about one refusal in
particular stands in its own detail. Pages show both sentences in their own language.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app.problems import ADVICE, OTHERS, PROBLEMS
from app.refusals import NotFound

WAYS_OUT: Mapping[str, str] = {
    "affected": "Withdraw from this appeal. A substitute takes the place, or the chair of the jury "
    "names a panel anew.",
    "bad-request": "Load the page anew and try again. A program sends JSON in UTF-8.",
    "conflict": "Read what was decided or stored meanwhile, which the refusal names. Then decide "
    "anew.",
    "cross-site": "Open the page on this server itself, and do it there.",
    "etag-unknown": "Load the page anew. A program reads the thing again, and sends the ETag that "
    "comes with it.",
    "file-refused": "Mend the rows that are named, and send the file again.",
    "head-too-large": "Delete what this server has kept in the browser, and join anew. A program "
    "sends a shorter address and fewer headers.",
    "id-taken": "Load the page anew, and do it once more. A program chooses a new id.",
    "join-refused": "Ask the organiser for a new personal link.",
    "malformed": "Correct the field that is named, and send it again.",
    "media-type": "Choose a file of another kind. A program names the kind of its document in "
    "Content-Type.",
    "method-not-allowed": "Use the pages of this server. A program finds in the Allow header what "
    "can be done there.",
    "needs-word": "If it is meant, say so in the field that is named, with the reason, and send it "
    "again.",
    "not-as-signed": "Tell whoever runs the server. The database is to be checked against its "
    "record before anything more is sealed.",
    "not-found": "Go back to the page that led here, and load it anew. Whoever should see this "
    "asks the organiser for the role.",
    "not-joined": "Open your personal link on this device. Whoever has none asks the organiser for "
    "one.",
    "not-possible": "Load the page anew: it shows what is possible now.",
    "not-protestable": "Tell the team. The refusal names the rule, and who can let it through "
    "where that is possible.",
    "not-yours": "Leave it to the person to whom it belongs, or ask the organiser.",
    "own-report": "Another head official rules on it.",
    "pin-refused": "Try again. Where the PIN is forgotten, the organiser takes it away, and you "
    "choose a new one.",
    "precondition-missing": "Read the thing, then send the change with its ETag in If-Match.",
    "role-missing": "Ask the organiser for the role, or somebody who holds it to do this.",
    "shown-long-ago": "Look at it again, then sign. A program looks with check=true.",
    "signature-refused": "Sign with your PIN, and register this device anew.",
    "stale": "Read it again as it is now, then decide anew.",
    "statement-changed": "Look at what would be recorded now, then sign that.",
    "too-large": "Send less at once: a list in parts, or a smaller picture.",
    "too-many-streams": "Close other pages of the meet on this device, and load this one anew.",
    "too-many-tries": "Wait as long as the refusal says, then try again.",
    "too-much-at-once": "Wait as long as the refusal says, then try again. A phone sends by itself "
    "what it has kept.",
    "too-slow": "Send it again, over a better line if there is one.",
    "unavailable": "Wait a moment, then try again. A phone keeps what was written on it, and sends "
    "it by itself.",
    "unexpected": "Try again. If it comes once more, tell whoever runs the server when that was.",
}


@dataclass(frozen=True, slots=True)
class ProblemTypeOut:
    """A type of problem, as its own address tells it: `way_out` is what can be done about any."""

    type: str
    title: str
    status: int
    meaning: str
    way_out: str

    @property
    def slug(self) -> str:
        """What the type is called in its address."""
        return self.type.rpartition("/")[2]


def explained() -> list[ProblemTypeOut]:
    """Every type once, by its name."""
    kinds = {kind.slug: kind for kind in (*OTHERS.values(), *PROBLEMS.values())}
    meanings = _meanings()
    return [
        ProblemTypeOut(
            type=f"/problems/{slug}",
            title=kind.title,
            status=kind.status,
            meaning=meanings[slug],
            way_out=WAYS_OUT[slug],
        )
        for slug, kind in sorted(kinds.items())
    ]


def explained_as(slug: str) -> ProblemTypeOut:
    """One type; NotFound for a name that none has."""
    found = next((kind for kind in explained() if kind.slug == slug), None)
    if found is None:
        raise NotFound("There is no such problem type. /problems lists them all.")
    return found


def _meanings() -> dict[str, str]:
    found = {kind.slug: ADVICE[status] for status, kind in OTHERS.items()}
    # Backwards: of the conditions that share a type the first says what it means, for all of them.
    for condition, kind in reversed(PROBLEMS.items()):
        found[kind.slug] = " ".join((condition.__doc__ or "").split())
    return found
