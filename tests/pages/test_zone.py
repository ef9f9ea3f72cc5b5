"""The zone official's page over HTTP: who opens it, what it brings along, what phones need."""

from __future__ import annotations

import json
import re
from typing import get_args

import pytest

from app.pages.asked import asked
from app.pages.assets import PHONE, address, assets
from app.pages.wording import WORDS
from app.rules.observation import Infringement, Observation
from app.rules.seen_from import seen_from
from tests.builders import ROLES, MeetAtHand

PAGE = {"Accept": "text/html"}


@pytest.mark.parametrize("role", ROLES)
def test_whoever_may_raise_a_flag_opens_the_page_and_nobody_else(
    meet: MeetAtHand, role: str
) -> None:
    opens = role in {"umpire", "chief_umpire", "referee"}
    answer = meet[role].get(f"/meets/{meet.id}/zone", headers=PAGE)
    assert answer.status_code == (200 if opens else 403), answer.text


def test_the_page_is_for_nobody_without_a_session(meet: MeetAtHand) -> None:
    answer = meet.service.http.get(f"/meets/{meet.id}/zone", headers=PAGE)
    assert answer.status_code == 401


def test_the_page_brings_its_first_answer_along_and_can_be_read_without_scripts(
    meet: MeetAtHand,
) -> None:
    answer = meet.umpire.get(f"/meets/{meet.id}/zone", headers=PAGE)
    assert answer.headers["cache-control"] == "private, no-store"
    found = re.search(r'id="told">(.*?)</script>', answer.text)
    assert found is not None
    told = json.loads(found[1])
    now = meet.umpire.get("watch").json()
    assert told | {"server_time": ""} == now | {"server_time": ""}
    assert "Heron 1" in answer.text.partition("<body")[2].partition("<script")[0]


def test_others_reports_are_no_part_of_it(meet: MeetAtHand) -> None:
    meet.start()
    report = meet.report(by="second", lane=5)
    assert report["id"] not in meet.umpire.get(f"/meets/{meet.id}/zone", headers=PAGE).text
    assert report["id"] in meet["second"].get(f"/meets/{meet.id}/zone", headers=PAGE).text


def test_a_home_screen_is_told_the_page_and_two_icons_that_are_there(meet: MeetAtHand) -> None:
    address = f"/meets/{meet.id}/zone/manifest.webmanifest"
    answer = meet.service.http.get(address)
    assert answer.headers["content-type"] == "application/manifest+json"
    told = answer.json()
    assert (told["start_url"], told["display"]) == (f"/meets/{meet.id}/zone", "standalone")
    assert {"192x192", "512x512"} <= {icon["sizes"] for icon in told["icons"]}
    for icon in told["icons"]:
        assert meet.service.http.get(icon["src"]).headers["content-type"] == icon["type"]


def test_the_worker_may_keep_pages_of_meets_and_is_always_asked_for_anew(meet: MeetAtHand) -> None:
    answer = meet.service.http.get("/worker.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    assert answer.headers["service-worker-allowed"] == "/meets/"


def test_every_fact_of_every_infringement_can_be_asked_and_has_words() -> None:
    assert set(asked()) == set(Infringement)
    assert len(get_args(Observation)) == len(asked())
    for infringement, told in asked().items():
        assert infringement in WORDS["infringement"]
        assert set(told["first"]) <= set(told["facts"])
        assert {one.fact for one in seen_from(Infringement(infringement)).questions} <= set(
            told["facts"]
        )
        for fact, known in told["facts"].items():
            assert fact in WORDS["fact"]
            assert set(known["answers"]) <= set(WORDS["answer"])


def test_the_page_has_one_script_and_the_worker_keeps_all_that_it_names(meet: MeetAtHand) -> None:
    """What the page does not name is not there without a network."""
    page = meet.umpire.get(f"/meets/{meet.id}/zone").text
    assert re.findall(r'<script type="module" src="([^"]+)"', page) == [address(PHONE)]
    script = assets()[PHONE].plain.decode()
    assert re.search(r"^(import|export)\b|\bimport\(", script, re.MULTILINE) is None
