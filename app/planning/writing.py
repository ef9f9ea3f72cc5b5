"""A plan as CSV: a row for each official and spell, in the order of time and zone."""

from __future__ import annotations

from collections.abc import Iterator

from app.planning.from_files import Asked
from app.planning.results import CrewPlan
from app.planning.telling import heats_in_short, numbers_in_short
from app.sheets.made_plan import WRITTEN
from app.sheets.writing import write_csv


def as_csv(plan: CrewPlan, asked: Asked) -> str:
    """The columns that `app.sheets.made_plan` reads, and the heats in words."""
    return write_csv(WRITTEN, _rows(plan, asked))


def _rows(plan: CrewPlan, asked: Asked) -> Iterator[tuple[str, ...]]:
    heats = {heat.id: heat for heat in asked.programme.heats}
    names = {person.id: person.name for person in asked.task.people}
    for one in plan.assignments:
        theirs = [heats[heat] for heat in one.heats]
        yield (
            asked.programme.written(theirs[0].starts_s),
            asked.programme.written(theirs[-1].starts_s),
            heats_in_short(theirs),
            one.relay.value,
            names[one.person],
            ", ".join(map(str, one.take_overs)),
            one.edge.value,
            numbers_in_short(one.lanes),
            one.side.value,
        )
