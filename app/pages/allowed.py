"""Which acts does a page offer to whoever looks? Those that the service would take from them, by
the table that its guard reads, so that no page has rules of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.access.who_may import MEET, WHO_MAY
from app.pages.frame import Frame
from app.roles import Role


@dataclass(frozen=True, slots=True)
class May:
    """Answers templates: `may("PUT", "heats/{heat}/result")`, a path below the meet."""

    roles: frozenset[Role]

    def __call__(self, method: str, path: str) -> bool:
        """Whether these roles may; KeyError for what the service does not have."""
        who = WHO_MAY[method, f"{MEET}/{path}"]
        return who.public or bool(self.roles & who.roles)


def allowed_to(frame: Frame) -> May:
    """What whoever looks at this page may do."""
    return May(frozenset() if frame.who is None else frozenset(frame.who.roles))
