"""Meets played by chance: what was answered is kept, once, whatever the network and the server do.

In the manner of deterministic simulation testing (https://apple.github.io/foundationdb/testing.html):
everything that happens follows from a seed, so that whatever fails can be played again.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

import pytest

from tests.simulation.__main__ import Failed, again, try_seed
from tests.simulation.meet import play
from tests.simulation.server import Answer, Request, Server

SECONDS = 12
FEWEST = 5
"""So many are played also where the machine is slow."""
FAILED_ONCE = [
    int(line.split()[0])
    for line in (Path(__file__).parent / "seeds.txt").read_text().splitlines()
    if line and not line.startswith("#")
]


def insist_it_holds(seed: int) -> None:
    outcome = try_seed(seed)
    assert not isinstance(outcome, Failed), str(outcome)


def test_whatever_happens_nothing_that_was_answered_is_lost_or_done_twice() -> None:
    """Other meets each time; the seeds are printed where one fails."""
    until, played = time.monotonic() + SECONDS, 0
    while played < FEWEST or time.monotonic() < until:
        insist_it_holds(secrets.randbelow(1_000_000_000))
        played += 1


@pytest.mark.parametrize("seed", FAILED_ONCE)
def test_what_failed_once_holds(seed: int) -> None:
    insist_it_holds(seed)


def test_a_seed_plays_the_same_meet_again_to_the_last_entry() -> None:
    first, second = play(7), play(7)
    assert first == second
    assert play(8).digest != first.digest


class HastyServer(Server):
    """Says that a flag is received, and writes it down afterwards."""

    def take(self, request: Request, reply: Callable[[Answer], None]) -> None:
        if "/calls/" in request.path and self.app is not None:
            reply(Answer(201, {}, b"{}"))
        super().take(request, reply)


def play_some(server_class: type[Server] = Server) -> None:
    for seed in range(FEWEST):
        play(seed, server_class)


def test_a_server_that_answers_before_it_has_committed_is_found_out() -> None:
    with pytest.raises(AssertionError, match="answered, and not there"):
        play_some(HastyServer)


def test_a_service_that_forgets_what_was_sent_before_is_found_out() -> None:
    """The phone sends the same report again, and is told that its id is taken."""
    with (
        patch("app.reports.actions._stands_by", lambda _known, _version: True),
        pytest.raises(AssertionError, match=r"report .* refused, and there"),
    ):
        play_some()


def test_a_seed_that_fails_is_told_with_the_command_that_plays_it_again() -> None:
    with patch("tests.simulation.__main__.play", side_effect=AssertionError("lost")):
        told = str(try_seed(17))
    assert "seed 17: AssertionError: lost" in told
    assert again(17) in told
