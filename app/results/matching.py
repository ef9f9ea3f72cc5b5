"""Is this the finish list of this heat?

The wrong heat and the wrong lane are the commonest slips (common practice). Every team of the start
list needs a row, no row may be for an empty lane, and where the list itself says which event,
round, heat or team a row is of, that must be what the start list says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from app.meets.wire import HeatOut
from app.refusals import FileRefused
from app.sheets.finish_list import FinishRow
from app.sheets.problems import Problem
from app.visible import likeness


def insist_list_is_of(facts: HeatOut, rows: Sequence[FinishRow]) -> None:
    """FileRefused names each row that belongs elsewhere and each team that has none."""
    problems = [*_other_heats(facts, rows), *_other_lanes(facts, rows)]
    if problems:
        raise FileRefused("finish list", problems)


def _other_heats(facts: HeatOut, rows: Sequence[FinishRow]) -> Iterator[Problem]:
    known = {"event": facts.event_name, "round": facts.round, "heat": str(facts.number)}
    teams = {lane.lane: lane.name for lane in facts.lanes}
    for row in rows:
        here = known | ({"team": teams[row.lane]} if row.lane in teams else {})
        for column, said in row.about.items():
            if column in here and likeness(said) != likeness(here[column]):
                where = f"lane {row.lane} runs" if column == "team" else f"the {column} is"
                yield Problem(
                    row.row,
                    column,
                    f"This row says “{said}”, but here {where} “{here[column]}”. Look at the heat "
                    f"and the lane; leave the column {column} out where only the writing differs.",
                )


def _other_lanes(facts: HeatOut, rows: Sequence[FinishRow]) -> Iterator[Problem]:
    teams = {lane.lane: lane.name for lane in facts.lanes}
    for row in rows:
        if row.lane not in teams:
            why = f"Lane {row.lane} has no team in this heat. Look at the lane."
            yield Problem(row.row, "lane", why)
    for lane in sorted(teams.keys() - {row.lane for row in rows}):
        why = f"Lane {lane} ({teams[lane]}) is missing. Give its time, DNS or DNF."
        yield Problem(None, "lane", why)
