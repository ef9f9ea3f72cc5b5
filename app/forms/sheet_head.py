"""Which meet is a sheet from, and whose race is it about?

The first lines of every sheet: the meet in one line, and on a paper about one team a grid that says
which race it ran, in which lane, and by which edition it was judged.
"""

from dataclasses import dataclass

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.sheet_parts import BODY, NOT_GIVEN, Cell, Fact, join_facts, write_cells


@dataclass(frozen=True, slots=True)
class MeetHead:
    """The meet and its day, in words."""

    meet: str
    place: str
    date: str
    time_zone: str


@dataclass(frozen=True, slots=True)
class TeamHead(MeetHead):
    """The race and the team that a paper is about; empty is what does not apply."""

    edition: str
    event: str
    round: str
    heat: str
    lane: str
    team: str
    affiliation: str
    bib: str


def write_meet(flow: Flow, head: MeetHead) -> None:
    """The meet in one line, ruled off from what follows."""
    meet = [
        Fact("", head.meet, "meet"),
        Fact("", head.place, "place"),
        Fact("", head.date, "date"),
        Fact("times in", head.time_zone, "time zone"),
    ]
    flow.write(join_facts(meet), BODY)
    flow.skip(3.0)
    flow.rule(1.2)
    flow.skip(4.0)


def write_team(flow: Flow, head: TeamHead) -> None:
    """The race and the team as a grid, event, lane and team standing out."""
    strong = Weight.BOLD
    large = BODY + 2.0
    write_cells(
        flow,
        [
            Cell(Fact("event", head.event, "event"), 0.38, large, strong),
            Cell(Fact("round", head.round, "round"), 0.26, large),
            Cell(Fact("heat", head.heat, "heat"), 0.18, large),
            Cell(Fact("lane", head.lane, "lane"), 0.18, large, strong),
        ],
    )
    flow.skip(3.0)
    write_cells(
        flow,
        [
            Cell(Fact("team", head.team, "team"), 0.38, large, strong),
            Cell(Fact("affiliation", head.affiliation, "affiliation"), 0.26),
            Cell(Fact("bib", head.bib, "bib"), 0.1),
            Cell(Fact("rule edition", head.edition, "edition"), 0.26),
        ],
    )


def name_race(head: TeamHead) -> list[Fact]:
    """The race and the team for the foot of a page."""
    return [
        Fact("", head.event, "event"),
        Fact("", head.round, "round"),
        Fact("", f"heat {head.heat or NOT_GIVEN}", "heat"),
        Fact("", f"lane {head.lane or NOT_GIVEN}", "lane"),
        Fact("", head.team, "team"),
    ]
