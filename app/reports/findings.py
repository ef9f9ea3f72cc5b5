"""The finding on a report: asks the rule book, with what is known about the team and the heat.

How many lane infringements were noted against the team before is handed in by whoever asks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Annotated, Any

from pydantic import Field, TypeAdapter

from app.meets.queries import Running
from app.reports.wire import FindingOut, ReportOut
from app.rules.finding import Circumstances, Finding, judge, title_of
from app.rules.observation import Infringement, Observation

FINDING_FIELDS = tuple(field.name for field in fields(Finding))

OBSERVATIONS: TypeAdapter[Observation] = TypeAdapter(
    Annotated[Observation, Field(discriminator="seen")]
)


def judge_report(
    running: Running, take_over: int | None, observation: Observation, earlier: int
) -> Finding:
    """What the meet's edition makes of an observation after so many lane infringements."""
    circumstances = Circumstances(running.relay, take_over, earlier)
    return judge(observation, circumstances, running.book)


def judge_again(running: Running, report: ReportOut, earlier: int) -> Finding:
    """The finding on a stored report as of now: lane infringements may have been noted since."""
    observation = OBSERVATIONS.validate_python(report.observation)
    return judge_report(running, report.take_over, observation, earlier)


def as_stored(finding: Finding) -> Mapping[str, Any]:
    """A finding as a small document."""
    return {name: getattr(finding, name) for name in FINDING_FIELDS}


def finding_out(stored: Mapping[str, Any]) -> FindingOut:
    """A stored finding as it goes over HTTP."""
    return FindingOut(title=title_of(Infringement(stored["infringement"])), **stored)
