"""Against what that was told can an appeal still be lodged, as windows ask it in statements?"""

from __future__ import annotations

from sqlalchemy import and_, bindparam, literal_column, or_, select

from app.appeals.tables import decisions
from app.results.pending import REFEREE
from app.results.tables import tellings, windows
from app.rules.windows import Remedy
from app.rulings.jurys_word import JURY_HAS_DECIDED

_CAN_BE_APPEALED = and_(
    decisions.c.instance == REFEREE,
    decisions.c.carried_out != literal_column("'[]'"),
    decisions.c.replaced_by.is_(None),
    ~JURY_HAS_DECIDED,
)
# What an announcement told of the referee's, and nobody has decided on since.
_STILL_TO_APPEAL = (
    select(decisions.c.id)
    .join(tellings, tellings.c.decision_id == decisions.c.id)
    .where(tellings.c.announcement_id == windows.c.announcement_id, _CAN_BE_APPEALED)
    .correlate(windows)
    .exists()
)
REPLACED_BY = (
    select(decisions.c.replaced_by)
    .where(decisions.c.id == windows.c.decision_id)
    .correlate(windows)
    .scalar_subquery()
)
"""Of a window, in a statement: by which other one the decision was replaced that it is about."""
IS_SETTLED = and_(
    windows.c.remedy == Remedy.APPEAL.value,
    or_(
        select(decisions.c.id)
        .where(decisions.c.id == windows.c.decision_id, JURY_HAS_DECIDED)
        .correlate(windows)
        .exists(),
        and_(windows.c.decision_id.is_(None), ~_STILL_TO_APPEAL),
    ),
)
"""Of a window, in a statement: whether the jury has decided on all that it let be appealed."""
JURY_HAS_DECIDED_ON_IT = (
    "The jury has decided on what could be appealed in this time, and that is final."
)
OPENED_ELSEWHERE = (
    select(windows, decisions.c.heat_id.label("decided_on"))
    .distinct()
    .join(tellings, tellings.c.announcement_id == windows.c.announcement_id)
    .join(decisions, decisions.c.id == tellings.c.decision_id)
    .where(
        decisions.c.heat_id.in_(bindparam("heats", expanding=True)),
        windows.c.heat_id != decisions.c.heat_id,
        windows.c.remedy == Remedy.APPEAL.value,
        windows.c.decision_id.is_(None),
        _CAN_BE_APPEALED,
    )
    .order_by(windows.c.opened_at, windows.c.id)
)
"""The times for appeals against decisions on these heats that opened in other heats of the round,
where those decisions were told too.
"""
