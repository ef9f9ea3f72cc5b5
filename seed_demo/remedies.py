"""What protests and appeals bring about in the story, told like every other deed from the answers.

What an appeal that is upheld leads to is not in the story: it is what the team asks for.
"""

from __future__ import annotations

from typing import assert_never

from app.appeals.actions import decide_protest, give_advice
from app.appeals.either_way import sought_by
from app.appeals.jury import decide_appeal
from app.appeals.jury_wire import (
    AppealIn,
    AppealOut,
    JuryDecisionIn,
    PanelIn,
    PanelMember,
    StepAsideIn,
    VoteIn,
)
from app.appeals.lodging import lodge_appeal, lodge_protest
from app.appeals.panel import name_panel, step_aside, vote
from app.appeals.queries import appeal_row, protest_out
from app.appeals.standing import appeal_out
from app.appeals.wire import (
    AdviceIn,
    Instance,
    ProtestIn,
    ProtestOut,
    RefereeDecisionIn,
    Timeliness,
    Verdict,
)
from app.clock import clock_time
from app.ids import AppealId, CaseId, ProtestId, RulingId, VoteId, new_id
from app.meets.queries import heat
from app.reports.queries import report_out
from app.results.windows import windows_of_heat
from app.rulings.queries import rulings_of_case
from seed_demo.joining import sign
from seed_demo.stage import Decided, Stage
from seed_demo.story import (
    Advise,
    Appeal,
    Decide,
    JuryDecides,
    Panel,
    Protest,
    Remedy,
    StepAside,
    Vote,
)
from seed_demo.telling import Told


def do_remedy(stage: Stage, step: Remedy) -> Told:  # noqa: PLR0911  (a kind a line)
    """Do a step of a protest or an appeal, and tell it."""
    match step:
        case Protest():
            return _lodge(stage, step)
        case Decide():
            return _decide(stage, step)
        case Advise():
            return _advise(stage, step)
        case Appeal():
            return _appeal(stage, step)
        case Panel():
            return _name_panel(stage, step)
        case StepAside():
            return _step_aside(stage, step)
        case Vote():
            return _vote(stage, step)
        case JuryDecides():
            return _jury_decides(stage, step)
        case _:
            assert_never(step)


def _lodge(stage: Stage, step: Protest) -> Told:
    heat_id = stage.heats[step.heat]
    lanes = stage.read(lambda conn: heat(conn, stage.meet_id, heat_id)).lanes
    sent = ProtestIn(
        heat=heat_id,
        team=next(line.team for line in lanes if line.lane == step.lane),
        about=step.about,
        ruling=None if step.report is None else _ruling_on(stage, step.report),
        lodged_by=step.lodged_by,
        words=step.words,
    )
    protest_id = stage.protests[step.protest] = ProtestId(new_id())
    action = lodge_protest(protest_id, sent, stage.caller(step.by))
    taken = stage.act(step.by, action).thing
    about = "the ruling" if taken.ruling else f"the {taken.about}"
    what = f"takes in PROTEST {taken.number}, {taken.team_name}, about {about}: "
    return Told(step.heat, taken.taken_by_name, what + _timely(taken.timeliness))


def _ruling_on(stage: Stage, report: str) -> RulingId:
    """The ruling that stands on the case of a report."""
    known = stage.read(lambda conn: report_out(conn, stage.meet_id, stage.reports[report]))
    case = CaseId(known.case)
    return stage.read(lambda conn: rulings_of_case(conn, stage.meet_id, case))[-1]


def _timely(timely: Timeliness) -> str:
    until = f" ({timely.rule}, until {timely.closes_at_local})" if timely.closes_at_local else ""
    return timely.words + until


def _decide(stage: Stage, step: Decide) -> Told:
    known = _protest(stage, step.protest)
    sent = RefereeDecisionIn(
        verdict=Verdict(step.verdict), reasons=step.reasons, pin=sign(stage, step.by)
    )
    action = decide_protest(known.id, sent, stage.pen(step.by), known.version)
    out = stage.act(step.by, action).thing
    assert out.decision is not None
    heat_key = stage.heat_key(out.heat)
    stage.decisions.append(Decided(out.decision.id, Instance.REFEREE, heat_key, out.lane))
    what = f"DECIDES protest {out.number}: {out.decision.verdict}"
    return Told(heat_key, out.decision.official_name, what)


def _protest(stage: Stage, key: str) -> ProtestOut:
    return stage.read(lambda conn: protest_out(conn, stage.meet_id, stage.protests[key]))


def _advise(stage: Stage, step: Advise) -> Told:
    protest_id = stage.protests[step.protest]
    out = stage.act(step.by, give_advice(protest_id, AdviceIn()))
    now = stage.clock.now()
    found = stage.read(lambda conn: windows_of_heat(conn, stage.meet_id, out.heat, now))
    opened = next(one for one in found if out.decision and one.decision == out.decision.id)
    assert opened.closes_at is not None
    until = clock_time(opened.closes_at, stage.files.time_zone)
    what = f"tells {out.lodged_by} that nothing is amended; appeals until {until}"
    return Told(stage.heat_key(out.heat), stage.people[step.by].name, what)


def _appeal(stage: Stage, step: Appeal) -> Told:
    protest = _protest(stage, step.protest)
    sent = AppealIn(
        protest=protest.id,
        team=protest.team,
        lodged_by=step.lodged_by,
        words=step.words,
        deposit=step.deposit,
    )
    appeal_id = stage.appeals[step.appeal] = AppealId(new_id())
    out = stage.act(step.by, lodge_appeal(appeal_id, sent, stage.caller(step.by))).thing
    what = (
        f"takes in APPEAL {out.number}, {out.team_name}, with {out.deposit.received}: "
        f"{_timely(out.timeliness)}"
    )
    return Told(stage.heat_key(out.heat), out.taken_by_name, what)


def _name_panel(stage: Stage, step: Panel) -> Told:
    known = _appeal_of(stage, step.appeal)
    sent = PanelIn(
        chair=stage.people[step.chair].id,
        members=[stage.people[key].id for key in step.members],
        secretary=step.secretary,
        substitutes=[stage.people[key].id for key in step.substitutes],
    )
    out = stage.act(step.by, name_panel(known.id, sent, known.version))
    asked = [one for one in _seats(out) if one.state == "asked to withdraw"]
    parts = [f"names the panel of appeal {out.number}", _who_sits(out)]
    parts += [f"{one.name} is asked to withdraw: {one.because}" for one in asked]
    return Told(stage.heat_key(out.heat), stage.people[step.by].name, "; ".join(parts))


def _appeal_of(stage: Stage, key: str) -> AppealOut:
    return stage.read(lambda conn: appeal_out(conn, stage.meet_id, stage.appeals[key]))


def _seats(out: AppealOut) -> list[PanelMember]:
    return [] if out.panel is None else out.panel.members


def _who_sits(out: AppealOut) -> str:
    seated = [one for one in _seats(out) if one.part != "substitute" and one.state != "withdrawn"]
    return ", ".join(f"{one.name} ({one.part})" for one in seated)


def _step_aside(stage: Stage, step: StepAside) -> Told:
    known, member = _appeal_of(stage, step.appeal), stage.people[step.by]
    sent = StepAsideIn(reasons=step.reasons, replaced_by=stage.people[step.replaced_by].id)
    action = step_aside(known.id, member.id, sent, stage.caller(step.by), known.version)
    out = stage.act(step.by, action)
    (gone,) = (one for one in _seats(out) if one.state == "withdrawn")
    what = f"withdraws from the panel: “{gone.because}” Now {_who_sits(out)}"
    return Told(stage.heat_key(out.heat), gone.name, what)


def _vote(stage: Stage, step: Vote) -> Told:
    """One after another, half a minute apart."""
    appeal_id = stage.appeals[step.appeal]
    for by, said in step.votes.items():
        sent = VoteIn(vote=said, pin=sign(stage, by))
        stage.act(by, vote(appeal_id, VoteId(new_id()), sent, stage.pen(by)))
        stage.clock.wait(30)
    out = _appeal_of(stage, step.appeal)
    assert out.panel is not None
    what = f"vote on appeal {out.number}: {out.panel.votes} votes, quorum {out.panel.quorum}"
    return Told(stage.heat_key(out.heat), f"{len(step.votes)} members", what)


def _jury_decides(stage: Stage, step: JuryDecides) -> Told:
    known = _appeal_of(stage, step.appeal)
    row = stage.read(lambda conn: appeal_row(conn, stage.meet_id, known.id))
    wanted = stage.read(lambda conn: sought_by(conn, stage.meet_id, row))
    sent = JuryDecisionIn(
        verdict=step.verdict,
        reasons=step.reasons,
        orders=wanted if step.verdict == "upheld" else [],
        pin=sign(stage, step.by),
    )
    action = decide_appeal(known.id, sent, stage.pen(step.by), known.version)
    out = stage.act(step.by, action).thing
    assert out.decision is not None
    heat_key = stage.heat_key(out.heat)
    stage.decisions.append(Decided(out.decision.id, Instance.JURY, heat_key, out.lane))
    return Told(heat_key, out.decision.official_name, _decided(out))


def _decided(out: AppealOut) -> str:
    assert out.decision is not None
    parts = [
        f"signs the JURY'S DECISION on appeal {out.number}: {out.decision.verdict}",
        *out.decision.ordered,
        out.decision.consequences.summary,
        f"deposit {out.deposit.outcome}",
    ]
    return "; ".join(part.rstrip(".") for part in parts)
