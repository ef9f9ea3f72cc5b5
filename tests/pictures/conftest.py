"""One meet's people for all tests of this folder; each test has heats and teams of its own."""

from __future__ import annotations

import pytest

from tests.builders import MeetAtHand, a_meet, with_own_heats
from tests.running import Service


@pytest.fixture(scope="package")
def shared_meet(running_service: Service) -> MeetAtHand:
    return a_meet(running_service, umpires=("other umpire",))


@pytest.fixture
def meet(shared_meet: MeetAtHand, service: Service) -> MeetAtHand:
    """Two heats nobody else touches."""
    return with_own_heats(shared_meet)
