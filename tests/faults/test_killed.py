"""No report that was answered 201 or 200 is ever lost, whatever is killed under it (SIGKILL).

SIGKILL takes no page from the system's cache: this tries recovery after a crash, not a power cut.
"""

from __future__ import annotations

from random import SystemRandom

import pytest

from app.record.kinds import Kind
from tests.bench.plan import EngineName
from tests.faults.__main__ import main
from tests.faults.acts import Act, Told
from tests.faults.campaign import run_campaign
from tests.faults.history import Entry, History, Verdict

ROUNDS = {EngineName.SQLITE: 125, EngineName.POSTGRESQL: 75}


@pytest.mark.slow
@pytest.mark.parametrize("engine", list(EngineName))
def test_nothing_that_was_acknowledged_is_lost_by_a_kill_at_any_moment(engine: EngineName) -> None:
    seed = SystemRandom().randrange(1_000_000)
    print(f"{engine}: seed {seed}")
    figures = run_campaign(engine, ROUNDS[engine], seed)
    print(figures)
    assert figures.rounds == ROUNDS[engine]
    # Each kill met people who were waiting for an answer, and most of what they sent came through.
    assert figures.unknown > figures.rounds
    assert figures.acknowledged > 2 * figures.rounds


def test_the_command_says_what_the_rounds_have_come_to(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--rounds", "2", "--engine", "sqlite", "--seed", "7"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("sqlite, 2 rounds, seed 7\n")
    assert "2 rounds in" in told
    assert "first answer after median" in told
    assert "nothing lost" in told


def an_act(subject: str, words: str = "As seen.") -> Act:
    facts = {"heat": "h", "post": "p", "lane": 4, "observation": {"seen": "x"}, "clock": {}}
    return Act(Kind.REPORT_WRITTEN, subject, "PUT", "", "", facts | {"words": words})


def read(*acts: Act) -> list[Entry]:
    return [Entry(act.kind, act.subject, act.body) for act in acts]


def sent(*acts: tuple[Act, int | None]) -> History:
    history = History()
    for act, status in acts:
        history.attempt(act)
        history.hear(act, None if status is None else Told(status, {"detail": ""}))
    return history


FIRST, SECOND = an_act("first"), an_act("second")


def test_the_checker_takes_what_was_acknowledged_and_is_there() -> None:
    verdict = sent((FIRST, 201), (SECOND, 200)).judge(read(FIRST, SECOND))
    assert verdict == Verdict()
    assert not verdict.amiss


def test_the_checker_finds_what_was_acknowledged_and_is_gone() -> None:
    verdict = sent((FIRST, 201), (SECOND, 200)).judge(read(SECOND))
    assert verdict.amiss == {"lost": [FIRST.key]}


def test_the_checker_finds_what_nobody_sent() -> None:
    assert sent((FIRST, 201)).judge(read(FIRST, SECOND)).amiss == {"unexpected": [SECOND.key]}


def test_the_checker_finds_what_is_there_twice() -> None:
    assert sent((FIRST, 201)).judge(read(FIRST, FIRST)).amiss == {"duplicated": [FIRST.key]}


def test_the_checker_finds_what_is_there_otherwise_than_it_was_sent() -> None:
    verdict = sent((FIRST, 201)).judge(read(an_act("first", "Otherwise.")))
    assert verdict.amiss == {"altered": [FIRST.key]}


def test_the_checker_finds_what_was_refused_and_is_there() -> None:
    verdict = sent((FIRST, 409)).judge(read(FIRST))
    assert verdict.amiss == {"refused_and_there": [FIRST.key]}


def test_the_checker_finds_what_was_said_not_to_have_changed_anything_and_is_there() -> None:
    history = sent((FIRST, None))
    history.hear(FIRST, Told(503, {"detail": "It failed. Nothing was changed; send it again."}))
    assert history.judge(read(FIRST)).amiss == {"untouched_and_there": [FIRST.key]}


def test_an_answer_that_did_not_come_says_neither_yes_nor_no() -> None:
    history = sent((FIRST, None), (SECOND, 503))
    assert history.unknown == [FIRST, SECOND]
    assert not history.judge([]).amiss
    verdict = history.judge(read(FIRST))
    assert not verdict.amiss
    assert verdict.recovered == {FIRST.key}
