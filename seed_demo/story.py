"""What happens at the invented meet: the steps of `story.toml`, read into typed steps.

A step is what one person does at one time of day. What it brings about is for `deeds.py`; here it
is only read, and a misspelt step or field is refused.
"""

from __future__ import annotations

import tomllib
from datetime import time
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from app.appeals.jury_wire import DepositPaidIn
from app.appeals.wire import About
from app.rounds.wire import Points
from app.rules.observation import Observation
from app.rules.relay import TAKE_OVERS
from app.rulings.wire import Verdict
from app.wire import Wire

FOLDER = Path(__file__).parent


class HeatName(Wire):
    """How the start lists name a heat that the story calls by a short key."""

    event: str
    round: str
    number: int


class Start(Wire):
    """A heat is started."""

    do: Literal["start"]
    at: time
    by: str
    heat: str


class Whites(Wire):
    """Every post of these take-overs that has not called shows white, but for the silent ones."""

    do: Literal["whites"]
    at: time
    heat: str
    take_overs: tuple[int, ...] = TAKE_OVERS
    silent: tuple[str, ...] = ()


class Yellow(Wire):
    """An umpire raises the yellow flag; the lane may not be known yet."""

    do: Literal["yellow"]
    at: time
    by: str
    heat: str
    lane: int | None = None
    report: str


class Report(Wire):
    """An umpire writes a report, or writes it again after it was returned."""

    do: Literal["report"]
    at: time
    by: str
    heat: str
    lane: int
    report: str
    words: str
    observation: Annotated[Observation, Field(discriminator="seen")]


class Return(Wire):
    """The head official returns a report to its umpire."""

    do: Literal["return"]
    at: time
    by: str
    report: str
    reason: str


class Picture(Wire):
    """A picture is added to a report: a file beside this one."""

    do: Literal["picture"]
    at: time
    by: str
    report: str
    file: str


class Withdraw(Wire):
    """An umpire withdraws a report."""

    do: Literal["withdraw"]
    at: time
    by: str
    report: str
    reason: str


class Rule(Wire):
    """The head official rules on the case that a report belongs to."""

    do: Literal["rule"]
    at: time
    by: str
    report: str
    verdict: Verdict
    reasons: str


class Finish(Wire):
    """The results desk loads a heat's finish list, from the file of the same name."""

    do: Literal["finish"]
    at: time
    by: str
    heat: str


class Announce(Wire):
    """The results desk announces a heat's result as it stands."""

    do: Literal["announce"]
    at: time
    by: str
    heat: str
    despite: str | None = None
    remark: str = ""


class CorrectTime(Wire):
    """The time at which a heat's last result was announced was entered wrongly."""

    do: Literal["correct time"]
    at: time
    by: str
    heat: str
    announced_at: time
    reasons: str


class Draw(Wire):
    """The organiser loads a further start list."""

    do: Literal["draw"]
    at: time
    by: str
    file: str


class SetRound(Wire):
    """Who goes on from the round that a heat is of, and what its places score."""

    do: Literal["round"]
    at: time
    by: str
    heat: str
    round: str
    next_round: str | None = None
    by_place: int | None = None
    by_time: int | None = None
    lanes: int | None = None
    points: tuple[Points, ...] = ()


class Protest(Wire):
    """The desk takes in a protest for the team of a lane, about a report's ruling or otherwise."""

    do: Literal["protest"]
    at: time
    by: str
    heat: str
    lane: int
    protest: str
    about: About
    report: str | None = None
    lodged_by: str
    words: str


class Decide(Wire):
    """The referee decides on a protest; in this story none is upheld or referred."""

    do: Literal["decide"]
    at: time
    by: str
    protest: str
    verdict: Literal["rejected"]
    reasons: str


class Advise(Wire):
    """The protesters are told that nothing is amended."""

    do: Literal["advice"]
    at: time
    by: str
    protest: str


class Appeal(Wire):
    """A team appeals to the jury against the decision on its protest."""

    do: Literal["appeal"]
    at: time
    by: str
    protest: str
    appeal: str
    lodged_by: str
    words: str
    deposit: DepositPaidIn


class Panel(Wire):
    """Who decides an appeal is named."""

    do: Literal["panel"]
    at: time
    by: str
    appeal: str
    chair: str
    members: list[str]
    secretary: str
    substitutes: list[str]


class StepAside(Wire):
    """A member withdraws from a panel, and a substitute takes the place."""

    do: Literal["step aside"]
    at: time
    by: str
    appeal: str
    reasons: str
    replaced_by: str


class Vote(Wire):
    """The members of a panel vote, one after another."""

    do: Literal["vote"]
    at: time
    appeal: str
    votes: dict[str, Literal["upheld", "rejected"]]


class JuryDecides(Wire):
    """The chair signs the jury's decision: what the team asks for, or that nothing follows."""

    do: Literal["jury decision"]
    at: time
    by: str
    appeal: str
    verdict: Literal["upheld", "rejected"]
    reasons: str


OnTrack = (
    Start
    | Whites
    | Yellow
    | Report
    | Return
    | Picture
    | Withdraw
    | Rule
    | Finish
    | Announce
    | CorrectTime
    | Draw
    | SetRound
)
Remedy = Protest | Decide | Advise | Appeal | Panel | StepAside | Vote | JuryDecides
Step = OnTrack | Remedy


class Story(Wire):
    """The heats by their short keys, and what happens in them."""

    heats: dict[str, HeatName]
    step: list[Annotated[Step, Field(discriminator="do")]]

    @property
    def ends(self) -> time:
        """The time of day of the last step."""
        return self.step[-1].at


def read_story(folder: Path = FOLDER) -> Story:
    """The story as written; ValueError names the step and field that cannot be read."""
    return Story.model_validate(tomllib.loads((folder / "story.toml").read_text("utf-8")))
