"""A decision in the making, as it is shown, carried out, signed and put on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.appeals.bench import Understood
from app.appeals.orders import OrderIn
from app.appeals.wire import Instance, Verdict
from app.ids import (
    DecisionId,
)
from app.rounds.wire import ConsequencesOut
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Ordered:
    """A decision in the making: who decides what, on which protest, with which orders.

    `advised_as` is when the protesters were told as it was typed; `advised_at`, from which their
    time runs, lies not before the decision.
    """

    id: DecisionId
    instance: Instance
    verdict: Verdict
    reasons: str
    heard_because: str | None
    sent: Sequence[OrderIn]
    protest: AnyRow
    appeal: AnyRow | None
    understood: Sequence[Understood]
    shown: ConsequencesOut
    advised_at: datetime | None
    more: Mapping[str, Any]
    done_already: str | None = None
    advised_as: datetime | None = None

    @property
    def words(self) -> list[str]:
        """What it orders, in words."""
        return [one.words for one in self.understood]
