"""What is kept for whoever asks next, the notice board and the docket, is what it would be if it
were made anew: after each act that there is.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.builders import MeetAtHand, a_meet
from tests.conftest import NewDatabase
from tests.faults.every_act import EVERY_ACT
from tests.running import Service, a_service


def docket_and_boards(meet: MeetAtHand) -> list[str]:
    """As they are answered."""
    http = meet.service.http
    answers = [meet.referee.get("docket")]
    answers += [http.get(f"/meets/{meet.id}{screen}") for screen in ("", "?screen=hall")]
    assert [answer.status_code for answer in answers] == [200] * 3
    return [answer.text for answer in answers]


@pytest.fixture(scope="module")
def service(new_database: NewDatabase) -> Iterator[Service]:
    with a_service(new_database("sqlite")) as served:
        yield served


@pytest.mark.slow
@pytest.mark.parametrize("name", EVERY_ACT)
def test_whatever_is_done_docket_and_board_say_so_at_once(service: Service, name: str) -> None:
    meet, services = a_meet(service), service.app.state.services
    sending = EVERY_ACT[name](meet)
    before = docket_and_boards(meet)
    assert sending.send(service.http).is_success
    kept = docket_and_boards(meet)
    for keeper in (services.dockets, services.boards):
        keeper._kept.clear()
    assert docket_and_boards(meet) == kept
    # Of these it is known that they are told there.
    assert name not in {"call", "report", "protest"} or before[0] != kept[0]
    assert name != "announcement" or before[1] != kept[1]
