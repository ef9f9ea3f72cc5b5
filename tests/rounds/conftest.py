"""One meet's people for all tests of this folder; each test has events of its own."""

from __future__ import annotations

import pytest

from tests.builders import MeetAtHand, a_meet
from tests.running import Service


@pytest.fixture(scope="package")
def shared_meet(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(shared_meet: MeetAtHand, service: Service) -> MeetAtHand:
    """A meet whose rounds are those of the test's own events."""
    return shared_meet
