"""Would a corrected time end at once what still runs for protests or appeals?

Nobody can use a window that is over the moment it is moved. A time that was typed wrongly is put
right all the same, by whoever says how the teams knew of it (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from app.clock import in_zone
from app.meets.queries import meet_row
from app.refusals import NeedsWord
from app.store.action import Unit


class Closing(NamedTuple):
    """When a window closes as things stand, and when it would; None where it has no end."""

    now: datetime | None
    then: datetime | None


def insist_it_runs_on(unit: Unit, moved: Iterable[Closing], remark: str) -> None:
    """NeedsWord without a remark where a window that runs would be over already."""
    shut = [
        one.then
        for one in moved
        if one.now is not None and one.then is not None and one.then < unit.now <= one.now
    ]
    if not shut or remark:
        return
    zone = meet_row(unit.conn, unit.meet_id).time_zone
    raise NeedsWord(
        "By that, time that still runs for protests or appeals would be over already (until "
        f"{in_zone(max(shut), zone)}). Look at the time; if it is right, say in “remark” how the "
        "teams knew of it.",
        field="/remark",
    )
