"""The command `crew`: what it takes, and what it says.

What reads files, and the solver, are loaded only when it is called: the other commands need none of
it. Ctrl-C ends the search, and the best plan so far is written as any other.
"""

from __future__ import annotations

import argparse
import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from app.files import NotWritten, is_no_file, write_whole
from app.planning.limits import (
    BREAKS_MIN,
    LONGEST_BY_COMMAND_S,
    STINTS_MIN,
    USUAL_BREAK_MIN,
    USUAL_S,
    USUAL_STINT_MIN,
)

if TYPE_CHECKING:
    from types import FrameType

    from app.planning.advising import Advice
    from app.planning.from_files import Asked

EXAMPLE = "crew --officials crew.csv --programme start-list.csv --out plan.csv"
WHOLE, UNWATCHED = 0, 3
MOST_LANES = 10


@dataclass(frozen=True, slots=True)
class Voices:
    """Where the plan is told, and where how far the search is. To `say` something gives whether
    anybody was there to read it.
    """

    say: Callable[[str], bool]
    progress: Callable[[str], None]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What `crew` takes."""
    people = "a CSV or XLSX with name, roles, affiliation, experience (0-3), from, until, not"
    parser.add_argument("--officials", type=Path, required=True, metavar="FILE", help=people)
    programme = "a start list with the start (scheduled) of each heat"
    parser.add_argument("--programme", type=Path, required=True, metavar="FILE", help=programme)
    template = "posts by people a zone: people, edge, side, lanes (the most); else the usual ones"
    parser.add_argument("--template", type=Path, metavar="FILE", help=template)
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="the plan, as CSV")
    lanes = "lanes of the track, for the usual posts; not with --template (default: 8)"
    parser.add_argument("--lanes", type=_lanes, help=lanes)
    radius = "radius of the track to its kerb, in metres (default: 36.5)"
    parser.add_argument("--radius", type=float, help=radius)
    straight = "length of its straights, in metres (default: 84.39)"
    parser.add_argument("--straight", type=float, help=straight)
    pins = "a choice to keep: 'NAME=10:05,take-over 2 end' or 'NAME=10:05,off'; may be repeated"
    parser.add_argument("--pin", action="append", default=[], metavar="PIN", help=pins)
    _add_resting(parser)
    _add_replanning(parser)
    seconds = f"for plan, mending and explaining together, at the most (default: {USUAL_S:g})"
    parser.add_argument("--seconds", type=_seconds, default=USUAL_S, help=seconds)


def _add_resting(parser: argparse.ArgumentParser) -> None:
    stint = f"minutes on post after which a break is due (default: {USUAL_STINT_MIN})"
    parser.add_argument(
        "--longest-stint",
        type=lambda text: _minutes(text, STINTS_MIN),
        default=USUAL_STINT_MIN,
        metavar="MINUTES",
        help=stint,
    )
    rest = f"minutes that a break lasts at the least (default: {USUAL_BREAK_MIN})"
    parser.add_argument(
        "--break",
        dest="shortest_break",
        type=lambda text: _minutes(text, BREAKS_MIN),
        default=USUAL_BREAK_MIN,
        metavar="MINUTES",
        help=rest,
    )


def _add_replanning(parser: argparse.ArgumentParser) -> None:
    keep = "a plan that was written, to be changed as little as can be"
    parser.add_argument("--keep", type=Path, metavar="PLAN", help=keep)
    dropped = "with --keep: who drops out; may be repeated"
    parser.add_argument("--drop", action="append", default=[], metavar="NAME", help=dropped)
    since = "with --keep: from when on it may be changed, as in the programme; heats begun stay"
    parser.add_argument("--from", dest="since", metavar="TIME", help=since)


def plan(parsed: argparse.Namespace, voices: Voices) -> int:
    """Plan, write and tell; 3 where something stays unwatched. ValueError says what is wrong with a
    file, by row and column, and then nothing is written.
    """
    from app.planning.advising import advise  # noqa: PLC0415
    from app.planning.effort import Effort, NoPlan  # noqa: PLC0415
    from app.planning.from_files import asked_by  # noqa: PLC0415
    from app.planning.telling import told_progress  # noqa: PLC0415
    from app.planning.writing import as_csv  # noqa: PLC0415

    _insist_on_place(parsed)
    asked = asked_by(parsed)
    with _stopped_by_hand() as is_stopped:  # until all is told: no hand is too late for the plan
        effort = Effort(
            limit_s=parsed.seconds,
            tell=lambda progress: voices.progress(told_progress(progress)),
            should_stop=is_stopped,
        )
        try:
            advice = advise(asked.task, effort)
        except NoPlan as none:
            raise ValueError(str(none)) from none
        _write(as_csv(advice.plan, asked), parsed.out, voices)
        _tell(_told(advice, asked), parsed.out, voices)
    return WHOLE if advice.plan.is_whole else UNWATCHED


def _write(plan: str, out: Path, voices: Voices) -> None:
    """A plan that took long to find is told where it cannot be written."""
    try:
        write_whole({out: plan.encode()})
    except NotWritten as error:
        try:
            is_told = voices.say(plan)
        except OSError:
            is_told = False
        if not is_told:
            raise
        raise NotWritten(f"{error}. The plan is what was printed: copy it from there") from error


def _tell(lines: Iterator[str], out: Path, voices: Voices) -> None:
    try:
        for line in lines:
            voices.say(line)
    except OSError as error:
        why = f"{out} is written, but not all could be told of it: {error.strerror}"
        raise OSError(f"{why}. To be told, send what is said elsewhere and plan again") from error


def _insist_on_place(parsed: argparse.Namespace) -> None:
    """That the plan can be written, before anybody waits for it; and over no list that is read."""
    read = [parsed.officials, parsed.programme, parsed.template, parsed.keep]
    if parsed.out.resolve() in {one.resolve() for one in read if one is not None}:
        raise ValueError(f"{parsed.out} is one of the lists; write the plan to another file")
    if parsed.out.is_dir():
        raise ValueError(f"{parsed.out} is a folder; name a file in it")
    if is_no_file(parsed.out):
        return
    if not parsed.out.resolve().parent.is_dir():
        raise ValueError(f"there is no folder {parsed.out.resolve().parent}; make it first")
    if not os.access(parsed.out.resolve().parent, os.W_OK):
        raise ValueError(f"nothing can be written to {parsed.out.resolve().parent}; name another")


def _told(advice: Advice, asked: Asked) -> Iterator[str]:
    from app.planning import telling  # noqa: PLC0415

    yield from telling.told_plan(advice.plan, asked.task)
    if asked.left_aside:
        yield f"Left aside in the programme, as nobody knows them: {', '.join(asked.left_aside)}."
    if asked.run_no_more:
        yield f"Left aside in the plan, as they are run no more: {'; '.join(asked.run_no_more)}."
    if asked.task.before is not None and not asked.task.before.from_s:
        yield "Every heat could change, the first ones too: with --from, those before it stay."
    for one in advice.plan.unwatched:
        yield telling.told_unwatched(one, asked.programme)
    names = {person.id: person.name for person in asked.task.people}
    if advice.missing is not None:
        yield from telling.told_missing(advice.missing, asked.programme, names)
    for wish in advice.given_up:
        yield telling.told_given_up(wish, names, asked.programme)


@contextmanager
def _stopped_by_hand() -> Iterator[Callable[[], bool]]:
    """Whether Ctrl-C was pressed meanwhile: the solver ends by itself when it is asked next."""
    pressed = False

    def press(_signal: int, _frame: FrameType | None) -> None:
        nonlocal pressed
        pressed = True

    before = signal.signal(signal.SIGINT, press)
    try:
        yield lambda: pressed
    finally:
        signal.signal(signal.SIGINT, before)


def _lanes(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= MOST_LANES:
        raise argparse.ArgumentTypeError(f"{text} are no lanes; a track has 1 to {MOST_LANES}")
    return int(text)


def _minutes(text: str, can_be: range) -> int:
    if not text.isdecimal() or int(text) not in can_be:
        least, most = can_be[0], can_be[-1]
        raise argparse.ArgumentTypeError(f"{text} is none; choose {least} to {most} whole minutes")
    return int(text)


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 0 < seconds <= LONGEST_BY_COMMAND_S:
        raise argparse.ArgumentTypeError(f"{text} is no time to search; choose up to 3600 seconds")
    return seconds
