"""Against what that was told can an appeal still be lodged, as windows ask it in statements?"""

from __future__ import annotations

from sqlalchemy import and_, bindparam, func, literal_column, or_, select

from app.appeals.tables import decisions
from app.results.pending import REFEREE
from app.results.tables import announcements, tellings, windows
from app.rules.windows import Remedy
from app.rulings.jurys_word import JURY_HAS_SETTLED

IS_TOLD_SINCE = announcements.c.decisions_seen >= func.coalesce(decisions.c.given_back, 0)
"""Of an announcement that tells a decision, in a statement: whether it does so since that one
stands. One that the jury had undone, and that was given back, is told anew.
"""
_CAN_BE_APPEALED = and_(
    decisions.c.instance == REFEREE,
    decisions.c.carried_out != literal_column("'[]'"),
    decisions.c.replaced_by.is_(None),
    ~JURY_HAS_SETTLED,
)
# What an announcement told of the referee's, and the jury has not settled since.
_TOLD_OF_IT = (
    select(decisions.c.id)
    .join(tellings, tellings.c.decision_id == decisions.c.id)
    .join(announcements, announcements.c.id == tellings.c.announcement_id)
    .where(tellings.c.announcement_id == windows.c.announcement_id, _CAN_BE_APPEALED)
    .correlate(windows)
)
_STILL_TO_APPEAL = _TOLD_OF_IT.where(IS_TOLD_SINCE).exists()
IS_TO_BE_TOLD_ANEW = and_(
    windows.c.decision_id.is_(None), _TOLD_OF_IT.where(~IS_TOLD_SINCE).exists()
)
"""Of a window, in a statement: whether its announcement told what the jury has undone since, and
what stands again: the time for an appeal against that is another one.
"""
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
        .where(decisions.c.id == windows.c.decision_id, JURY_HAS_SETTLED)
        .correlate(windows)
        .exists(),
        and_(windows.c.decision_id.is_(None), ~_STILL_TO_APPEAL),
    ),
)
"""Of a window, in a statement: whether the jury has settled all that it let be appealed, also what
stands again since.
"""
JURY_HAS_DECIDED_ON_IT = (
    "The jury has decided on what could be appealed in this time, and that is final."
)
OPENS_ANEW = (
    "The jury undid what could be appealed in this time, and that stands again since: the time for "
    "an appeal opens anew with the announcement that tells it."
)
OPENED_ELSEWHERE = (
    select(windows, decisions.c.heat_id.label("decided_on"))
    .distinct()
    .join(tellings, tellings.c.announcement_id == windows.c.announcement_id)
    .join(announcements, announcements.c.id == tellings.c.announcement_id)
    .join(decisions, decisions.c.id == tellings.c.decision_id)
    .where(
        IS_TOLD_SINCE,
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
