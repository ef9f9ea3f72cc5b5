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


def may_have_run(round_: Round, team: str) -> bool:
    """Whether the team ran in this round, or nobody can say yet because a list has not come."""
    return any(not heat.is_in or _lists(heat, team) for heat in round_.heats)


def may_have_run_in(round_: Round, run: HeatRun | ReRun, team: str) -> bool:
    """The same of one heat: who is on the list of another, or disqualified in it, cannot have run
    here. In a re-run runs whoever it was ordered for.
    """
    if isinstance(run, ReRun):
        return team in run.teams
    is_elsewhere = any(
        _lists(heat, team) or any(one.team == team for one in heat.disqualified)
        for heat in round_.heats
        if heat.heat != run.heat
    )
    return _lists(run, team) or not (run.is_in or is_elsewhere)


def refuse_doubles(round_: Round) -> None:
    """ValueError where a list has a lane twice, or a team runs twice or in two heats."""
    for run in all_runs(round_):
        if len({line.finish.lane for line in run.ran}) < len(run.ran):
            raise ValueError("A lane stands twice in a heat after the correction.")
    lists = [[line.team for heat in round_.heats for line in heat.ran]]
    lists += [[line.team for line in re_run.ran] for re_run in round_.re_runs]
    if any(len(set(teams)) < len(teams) for teams in lists):
        raise ValueError("A team stands twice in the round after the correction.")


def _lists(heat: HeatRun, team: str) -> bool:
    return any(line.team == team for line in heat.ran)
