"""A small meet of its own for each test of this folder: an organiser, a referee and two heats."""

from __future__ import annotations

import pytest

from tests.builders import MeetAtHand, a_meet
from tests.running import Service


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    return a_meet(service, roles=("referee",), umpires=())
