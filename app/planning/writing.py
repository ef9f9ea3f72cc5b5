"""A plan as CSV: a row for each official, spell and round, in the order of time and zone; and for
each who has dropped out.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from app.planning.from_files import Asked
from app.planning.results import CrewPlan
from app.planning.telling import DASH
from app.plurals import spans
from app.sheets.crew_list import DROPPED_OUT
from app.sheets.made_plan import WRITTEN
from app.sheets.writing import write_csv


def as_csv(plan: CrewPlan, asked: Asked) -> str:
    """The columns that `app.sheets.made_plan` reads."""
    return write_csv(WRITTEN, [*_posts(plan, asked), *_dropped(asked)])


def _posts(plan: CrewPlan, asked: Asked) -> Iterator[tuple[str, ...]]:
    heats = {heat.id: heat for heat in asked.programme.heats}
    names = {person.id: person.name for person in asked.task.people}
    for one in plan.assignments:
        theirs = [heats[heat] for heat in one.heats]
        for (event, of_event), group in groupby(theirs, lambda heat: (heat.event, heat.round)):
            part = list(group)
            yield (
                asked.programme.written(part[0].starts_s),
                asked.programme.written(part[-1].starts_s),
                event,
                of_event,
                spans((heat.number for heat in part), DASH),
                one.relay.value,
                names[one.person],
                ", ".join(map(str, one.take_overs)),
                one.edge.value,
                spans(one.lanes, DASH),
                one.side.value,
                "",
            )


def _dropped(asked: Asked) -> Iterator[tuple[str, ...]]:
    before = asked.task.before
    for person in asked.task.people:
        if before is not None and person.id in before.dropped:
            cells = {"official": person.name, "dropped_out": DROPPED_OUT}
            yield tuple(cells.get(column, "") for column in WRITTEN)
