"""The heats and re-runs of a round, found by name and put in place of one another."""

from dataclasses import replace

from app.rules.round_parts import HeatRun, ReRun, Round


def all_runs(round_: Round) -> tuple[HeatRun | ReRun, ...]:
    """The heats and the re-runs of a round."""
    return (*round_.heats, *round_.re_runs)


def name_of(run: HeatRun | ReRun) -> str:
    """The id of a heat, the key of a re-run."""
    return run.heat if isinstance(run, HeatRun) else run.key


def found(round_: Round, name: str) -> HeatRun | ReRun:
    """The heat or re-run of this name; ValueError where the round has none."""
    for run in all_runs(round_):
        if name_of(run) == name:
            return run
    raise ValueError("This heat is not one of this round.")


def heat_of(round_: Round, name: str) -> HeatRun:
    """The heat of this name; a re-run is refused with ValueError."""
    heat = found(round_, name)
    if not isinstance(heat, HeatRun):
        raise ValueError("A re-run is called off, not declared void like a heat.")  # noqa: TRY004
    return heat


def put(round_: Round, becomes: HeatRun | ReRun) -> Round:
    """The round with this heat or re-run in place of the one of its name."""
    name = name_of(becomes)
    if isinstance(becomes, HeatRun):
        heats = tuple(becomes if heat.heat == name else heat for heat in round_.heats)
        return replace(round_, heats=heats)
    re_runs = tuple(becomes if re_run.key == name else re_run for re_run in round_.re_runs)
    return replace(round_, re_runs=re_runs)


def may_have_run(run: HeatRun | ReRun, team: str) -> bool:
    """Whether the team ran there, or nobody can say yet because the list has not come."""
    if isinstance(run, ReRun):
        return team in run.teams
    return not run.is_in or any(line.team == team for line in run.ran)


def refuse_doubles(run: HeatRun | ReRun) -> None:
    """ValueError where a finish list has a lane or a team twice."""
    lanes = {line.finish.lane for line in run.ran}
    teams = {line.team for line in run.ran}
    if len(lanes) < len(run.ran) or len(teams) < len(run.ran):
        raise ValueError("A lane or a team stands twice in this heat after the correction.")
