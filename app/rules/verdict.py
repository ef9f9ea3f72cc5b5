"""What a clause makes of an observation, before the edition's rule and consequence are added.

Shared by the modules that judge one infringement each; `finding.py` puts a finding together. A
clause is read as questions about facts: one "yes" to a question is an infringement, one "unsure"
leaves the case open, and only "no" to all of them clears it. Nothing is guessed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from app.rules.book_parts import Consequence
from app.rules.observation import Infringement, Seen
from app.rules.relay import TAKE_OVERS, Relay


class Outcome(StrEnum):
    """What the rule book makes of an observation."""

    INFRINGEMENT = "infringement"
    NO_INFRINGEMENT = "no infringement"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What has to be known beside the observation; `take_over` is None where nobody said it.

    `earlier_lane_infringements` counts those of the team in all rounds of the event so far.
    """

    relay: Relay
    take_over: int | None
    earlier_lane_infringements: int = 0

    def __post_init__(self) -> None:
        if self.take_over is not None and self.take_over not in TAKE_OVERS:
            raise ValueError(f"There is no take-over {self.take_over}: choose 1, 2 or 3.")
        if self.earlier_lane_infringements < 0:
            raise ValueError("A team cannot have fewer than no lane infringements.")


@dataclass(frozen=True, slots=True)
class Verdict:
    """An outcome with its reason.

    `consequence` is given where the facts, not the edition, decide what follows.
    """

    outcome: Outcome
    infringement: Infringement
    reason: str
    consequence: Consequence | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """One question of a clause: what the answer "yes" means, and what an "unsure" lacks."""

    answer: Seen
    breach: str
    missing: str


def infringes(kind: Infringement, reason: str, consequence: Consequence | None = None) -> Verdict:
    """The verdict that the clause is broken."""
    return Verdict(Outcome.INFRINGEMENT, kind, reason, consequence)


def clears(kind: Infringement, reason: str) -> Verdict:
    """The verdict that the clause is kept."""
    return Verdict(Outcome.NO_INFRINGEMENT, kind, reason)


def leaves_open(kind: Infringement, reason: str) -> Verdict:
    """The verdict that the facts do not suffice."""
    return Verdict(Outcome.CANNOT_TELL, kind, reason)


def answer_all(kind: Infringement, questions: Iterable[Question], cleared: str) -> Verdict:
    """One breach infringes, one gap leaves open, and only all answers "no" clear."""
    asked = tuple(questions)
    breaches = [question.breach for question in asked if question.answer is Seen.YES]
    gaps = [question.missing for question in asked if question.answer is Seen.UNSURE]
    if breaches:
        return infringes(kind, _sentence(breaches))
    if gaps:
        return leaves_open(kind, f"Not known: {'; '.join(gaps)}.")
    return clears(kind, cleared)


def opposite(answer: Seen) -> Seen:
    """The answer to the question turned round; unsure stays unsure."""
    return {Seen.YES: Seen.NO, Seen.NO: Seen.YES, Seen.UNSURE: Seen.UNSURE}[answer]


def as_seen(fact: bool) -> Seen:
    """A certain fact as an answer."""
    return Seen.YES if fact else Seen.NO


def _sentence(parts: list[str]) -> str:
    joined = "; ".join(parts)
    return f"{joined[0].upper()}{joined[1:]}."
