"""Did a team keep to its lane, its baton and its own strength?

World Athletics TR24.6, TR24.8, TR24.9 and TR17; IAAF Rule 170.6, 170.15, 170.16 and 163.3 (2012).
Each function carries out one clause; the number in the edition at hand stands in its book.
"""

from app.rules.book import Book
from app.rules.book_parts import Consequence
from app.rules.observation import (
    AnotherTeamObstructed,
    BatonNotInHand,
    HelpGiven,
    HinderedAfterPass,
    Infringement,
    LaneInfringement,
    LeftLaneAfterPass,
    OtherTeamsBaton,
    Seen,
)
from app.rules.verdict import (
    Circumstances,
    Question,
    Verdict,
    answer_all,
    clears,
    infringes,
    leaves_open,
)

_LANE = Infringement.LANE_INFRINGEMENT


def judge_other_teams_baton(
    observation: OtherTeamsBaton, circumstances: Circumstances, book: Book
) -> Verdict:
    """Who takes another team's baton has the own team disqualified (TR24.9, from memory)."""
    question = Question(
        observation.taken,
        "the runner took the baton of another team",
        "whether the baton was that of another team (“taken” was left open)",
    )
    return answer_all(Infringement.OTHER_TEAMS_BATON, [question], "It was the team's own baton.")


def judge_help(observation: HelpGiven, circumstances: Circumstances, book: Book) -> Verdict:
    """Pushing or any other help disqualifies the team (IAAF Rule 170.16, 2012)."""
    question = Question(
        observation.helped,
        "a runner was pushed or helped",
        "whether a runner was pushed or helped (“helped” was left open)",
    )
    return answer_all(Infringement.HELP_GIVEN, [question], "Nobody was pushed or helped.")


def judge_hindered(
    observation: HinderedAfterPass, circumstances: Circumstances, book: Book
) -> Verdict:
    """Hindering another team at the end of a leg makes the team liable to disqualification.

    World Athletics TR17; IAAF Rule 170.15 (2012), which asks for wilful hindrance.
    """
    kind = Infringement.HINDERED_AFTER_PASS
    if observation.hindered is Seen.NO:
        return clears(kind, "No other team was hindered.")
    if book.hindrance_must_be_wilful and observation.wilful is Seen.NO:
        return clears(kind, "The hindrance was not wilful, and this edition asks for that.")
    questions = [
        Question(
            observation.hindered,
            "a runner who had passed the baton hindered another team",
            "whether another team was hindered",
        )
    ]
    if book.hindrance_must_be_wilful and observation.wilful is Seen.UNSURE:
        return leaves_open(kind, "Not known: whether the hindrance was wilful, as this rule asks.")
    return answer_all(kind, questions, "No other team was hindered.")


def judge_obstructed(
    observation: AnotherTeamObstructed, circumstances: Circumstances, book: Book
) -> Verdict:
    """Jostling or obstructing another team makes the own team liable to disqualification.

    World Athletics TR17.1.2 as results of September 2025 cite it; IAAF Rule 163.2(b) (2016).
    Whether the obstructed team runs again or goes on is decided apart from that.
    """
    question = Question(
        observation.obstructed,
        "a runner jostled another team or impeded its running",
        "whether another team was jostled or impeded (“obstructed” was left open)",
    )
    return answer_all(
        Infringement.ANOTHER_TEAM_OBSTRUCTED, [question], "No other team was obstructed."
    )


def judge_left_lane(
    observation: LeftLaneAfterPass, circumstances: Circumstances, book: Book
) -> Verdict:
    """Runners stay in their lane or course until it is clear; leaving it costs when it hinders.

    World Athletics TR24.8; IAAF Rule 170.15 (2012): the duty is there to avoid obstruction.
    """
    kind = Infringement.LEFT_LANE_AFTER_PASS
    answers = (observation.left_before_clear, observation.hindered)
    if Seen.NO in answers:
        return clears(kind, "The runner kept the lane until it was clear, or hindered nobody.")
    if Seen.UNSURE in answers:
        return leaves_open(
            kind, "Not known: whether the runner left before it was clear and hindered a team."
        )
    return infringes(kind, "The runner left the lane before it was clear and hindered a team.")


def judge_baton_in_hand(
    observation: BatonNotInHand, circumstances: Circumstances, book: Book
) -> Verdict:
    """The baton is carried in the hand throughout the race (TR24.6; IAAF Rule 170.6)."""
    question = Question(
        observation.carried_otherwise,
        "the baton was carried other than in the hand, or not at all",
        "whether the baton was carried in the hand (“carried_otherwise” was left open)",
    )
    return answer_all(
        Infringement.BATON_NOT_IN_HAND, [question], "The baton was carried in the hand."
    )


def judge_lane(observation: LaneInfringement, circumstances: Circumstances, book: Book) -> Verdict:
    """Runners keep to their lane; on a bend nobody steps on or over its inner line.

    World Athletics TR17; IAAF Rule 163.3 (2012); NFHS counts consecutive steps. Gaining distance
    or impeding a team infringes anywhere. A runner who was forced out has not infringed.
    """
    kind = Infringement.LANE_INFRINGEMENT
    if observation.forced_out is Seen.YES:
        return clears(kind, "The runner was forced out of the lane.")
    if observation.forced_out is Seen.UNSURE:
        return leaves_open(kind, "Not known: whether the runner was forced out of the lane.")
    if Seen.YES in (observation.distance_gained, observation.other_team_impeded):
        reason = "The runner left the lane and gained distance or impeded another team."
        return infringes(kind, reason, Consequence.DISQUALIFICATION)
    if Seen.NO in (observation.on_bend, observation.inner_line):
        return _off_the_bend(observation)
    if Seen.UNSURE in (observation.on_bend, observation.inner_line):
        return leaves_open(kind, "Not known: whether it was the inner line, and on a bend.")
    return _count_steps(observation, circumstances.earlier_lane_infringements, book)


def _off_the_bend(observation: LaneInfringement) -> Verdict:
    """On a straight, or on the outer line, only gain and hindrance count."""
    questions = [
        Question(observation.distance_gained, "distance gained", "whether distance was gained"),
        Question(observation.other_team_impeded, "team impeded", "whether a team was impeded"),
    ]
    return answer_all(
        Infringement.LANE_INFRINGEMENT,
        questions,
        "On a straight or the outer line, without gain and without impeding anybody.",
    )


def _count_steps(observation: LaneInfringement, earlier: int, book: Book) -> Verdict:
    """What is tolerated is a single step (TR17, since 1 Nov 2021, from memory)."""
    kind = Infringement.LANE_INFRINGEMENT
    needed = book.lane_rule.steps_that_infringe
    if observation.steps is None and needed > 1:
        return leaves_open(kind, f"Not known: how many steps in a row; {needed} infringe.")
    steps = observation.steps or 1
    enough = "1 step infringes" if needed == 1 else f"{needed} in a row infringe"
    reason = f"{_say_steps(steps)} on or over the inner line on a bend, where {enough}."
    if steps < needed:
        return clears(kind, reason)
    if book.tolerated_lane_infringements:
        reason = f"{reason} {_say_tolerance(steps, earlier, book)}"
    return infringes(kind, reason, Consequence.DISQUALIFICATION if steps > 1 else None)


def _say_tolerance(steps: int, earlier: int, book: Book) -> str:
    """Whether it is one of those that the edition only notes, and why not."""
    tolerated, clause = book.tolerated_lane_infringements, book.reference(_LANE)
    single = "a single step" if tolerated == 1 else f"{tolerated} single steps"
    by = f"{book.title}, {book.edition}, tolerates {single} of a team in an event"
    if steps > 1:
        return f"{by}, not {steps} in a row: {clause} disqualifies."
    before = {0: "None has", 1: "One has"}.get(earlier, f"{earlier} have")
    noted = f"{before} been noted against the team in this event so far"
    if earlier < tolerated:
        return f"{noted}, so this one is only noted: {by}."
    return f"{noted}, so this one disqualifies by {clause}: {by}, no more."


def _say_steps(steps: int) -> str:
    return "1 step" if steps == 1 else f"{steps} steps in a row"
