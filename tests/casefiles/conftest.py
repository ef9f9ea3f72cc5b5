"""Two cases in one heat, played once on each engine, to be read only."""

from __future__ import annotations

import pytest

from tests.casefiles.two_cases import TwoCases, two_cases
from tests.running import Service


@pytest.fixture(scope="package")
def played(running_service: Service) -> TwoCases:
    return two_cases(running_service)
