"""That a phone was lost shows where a jury looks: on the cover, in the time line, and over what was
signed with it since.
"""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from tests.access.authenticator import Authenticator
from tests.access.test_revoked import revoke
from tests.access.test_signing import Matter, register
from tests.builders import MeetAtHand, a_meet
from tests.casefiles.test_paper import file_of, insist_readable
from tests.forms.pdf_reading import read_pages
from tests.reports.test_signed_on_the_phone import Phone
from tests.running import Service

TIMES = re.compile(r"(\d\d:\d\d:\d\d \w+ ){2}")
NOBODY = "this signature does not show who signed."


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    hand = a_meet(service)
    hand.start()
    return hand


def lines_of(meet: MeetAtHand, case: str) -> list[str]:
    """The pages of its file, each in one line; the times beside a row's words left out."""
    pdf = file_of(meet, f"cases/{case}")
    insist_readable(pdf)
    return [TIMES.sub("", page) for page in read_pages(pdf)]


def test_a_report_that_was_signed_after_the_phone_was_lost_says_so_first(meet: MeetAtHand) -> None:
    phone = Phone(meet)
    case = phone.write().json()["case"]
    meet.service.clock.move(timedelta(minutes=1))
    revoke(meet, meet.umpire, phone.id, 2)
    cover, times, told, *_ = lines_of(meet, case)
    assert NOBODY in cover.split("What this file is about")[0]
    assert "Report 1 was signed with a key that is revoked from" in cover
    assert "A phone key of umpire was registered: Bo's phone." in times
    assert "A phone key of umpire was revoked, from" in times
    assert "It lay about." in times
    assert told.index(NOBODY) < told.index("Seen:")


def test_so_does_a_ruling(meet: MeetAtHand) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    assert matter.sign(key, device).status_code == 201
    meet.service.clock.move(timedelta(minutes=1))
    revoke(meet, meet.referee, key, 2)
    cover, times, *rest = lines_of(meet, matter.case)
    assert "The ruling on case 1 was signed with a key that is revoked from" in cover
    assert "A passkey of referee was revoked, from" in times
    assert NOBODY in " ".join(rest).split("Ruling on case 1")[1]


def test_a_phone_that_was_lost_later_is_in_the_time_line_and_casts_no_doubt(
    meet: MeetAtHand,
) -> None:
    phone = Phone(meet)
    case = phone.write().json()["case"]
    meet.service.clock.move(timedelta(minutes=10))
    revoke(meet, meet.umpire, phone.id, 5)
    pages = lines_of(meet, case)
    assert "A phone key of umpire was revoked, from" in pages[1]
    assert NOBODY not in " ".join(pages)
