"""The jury's pages over HTTP: who opens them, and what each reader finds on them."""

from __future__ import annotations

import re

import httpx

from app.access.cookies import cookie_name
from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    appeal,
    cast,
    decided,
    jury_decides,
    lodge,
)
from tests.builders import Json, MeetAtHand


def opened(
    meet: MeetAtHand, who: str | None, path: str, status: int = 200, language: str = "en"
) -> str:
    """A page as somebody's browser gets it."""
    headers = {"Accept": "text/html", "Accept-Language": language}
    if who is not None:
        name = cookie_name(meet.id, secure=True)
        headers["Cookie"] = f"{name}={meet[who].token}"
    answer: httpx.Response = meet.service.http.get(f"/meets/{meet.id}/{path}", headers=headers)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"].startswith("text/html")
    return answer.text


def an_open_appeal(meet: MeetAtHand) -> Json:
    protest = a_rejected_protest(meet)
    return {**appeal(meet, protest), "ruled": protest["ruled"]}


def shows(page: str, *ids: str) -> list[bool]:
    return [bool(re.search(rf'id="{one}"(?![^>]* hidden>)', page)) for one in ids]


def test_the_list_tells_what_waits_and_for_what_and_what_was_decided(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    waiting, settled = opened(meet, "jury", "jury").split('id="settled"')
    assert f"jury/{lodged['id']}" in waiting
    assert "A panel is to be named." in waiting
    names = a_panel(meet, lodged)
    for name in names:
        cast(meet, lodged, name, "rejected")
    assert "The chair is to sign the decision." in opened(meet, "jury", "jury")
    assert jury_decides(meet, lodged, names[0], "rejected").status_code == 201
    waiting, settled = opened(meet, "jury", "jury").split('id="settled"')
    assert f"jury/{lodged['id']}" in settled
    assert "No appeal waits." in waiting


def test_what_the_jury_changed_waits_until_it_is_announced(meet: MeetAtHand) -> None:
    done = an_upheld_appeal(meet)
    waiting, _settled = opened(meet, "jury", "jury").split('id="settled"')
    assert f"jury/{done['id']}" in waiting
    assert "The amended result is to be announced." in waiting


def test_the_pages_are_for_those_who_read_appeals_and_for_secretaries(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    for who in ("jury", "referee", "chief_umpire", "results"):
        assert "Appeal 1" in opened(meet, who, "jury")
        assert "Appeal 1" in opened(meet, who, f"jury/{lodged['id']}")
    assert "Appeal 1" not in opened(meet, "organiser", "jury")
    for path in ("jury", f"jury/{lodged['id']}"):
        opened(meet, "umpire", path, 403)
        opened(meet, None, path, 401)
    assert "Appeals are read by the jury" in opened(meet, "organiser", f"jury/{lodged['id']}", 403)


def test_what_was_reported_is_not_for_the_results_desk(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    at_jury = opened(meet, "jury", f"jury/{lodged['id']}")
    at_desk = opened(meet, "results", f"jury/{lodged['id']}")
    words = "Both hands on the baton at the line."
    assert words in at_jury
    assert words not in at_desk
    assert shows(at_jury, "reports", "posts", "either", "naming") == [True] * 4
    assert shows(at_desk, "reports", "posts", "either", "naming") == [False] * 4
    assert "file.pdf" in at_jury
    assert "file.pdf" not in at_desk


def test_each_reader_is_offered_what_they_can_do(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    address = f"jury/{lodged['id']}"
    names = a_panel(meet, lodged)
    acts = ("vote", "naming", "decision", "take-back")
    assert shows(opened(meet, names[0], address), *acts) == [True, True, False, False]
    assert shows(opened(meet, "jury", address), *acts) == [False, True, False, False]
    assert shows(opened(meet, "referee", address), *acts) == [False] * 4
    assert shows(opened(meet, "results", address), *acts) == [False, False, False, True]
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    assert shows(opened(meet, names[0], address), *acts) == [False, True, True, False]
    assert shows(opened(meet, names[1], address), *acts) == [False, True, False, False]


def test_where_nothing_is_asked_for_the_page_leads_to_where_orders_are_tried(
    meet: MeetAtHand,
) -> None:
    an_announced_disqualification(meet)
    lodged = appeal(meet, decided(meet, lodge(meet, a_protest(meet))))
    path = f"jury/{lodged['id']}"
    page = opened(meet, "jury", path)
    assert "POST" not in re.sub(r"<[^>]*>", "", page), "said to programs"
    assert 'href="#weigh-orders"' in page
    assert 'id="weigh-orders"' in page
    names = a_panel(meet, lodged)
    for name in names:
        cast(meet, lodged, name)
    chair = opened(meet, names[0], path)
    assert 'href="#decision"' in chair
    assert shows(chair, "decision") == [True]


def test_how_somebody_voted_is_hidden_until_the_jury_has_decided(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    names = a_panel(meet, lodged)
    address = f"jury/{lodged['id']}"
    pages = []
    for vote in ("upheld", "rejected"):
        cast(meet, lodged, names[1 if vote == "upheld" else 2], vote)
        pages.append(opened(meet, names[0], address))
    assert "1 of 3 has voted" in pages[0]
    assert "2 of 3 have voted" in pages[1]
    assert not re.search(r"\d to uphold", "".join(pages))


def test_what_was_decided_stands_with_its_count_and_can_be_looked_at_again(
    meet: MeetAtHand,
) -> None:
    done = an_upheld_appeal(meet)
    page = opened(meet, done["names"][0], f"jury/{done['id']}")
    assert "3 to uphold, 0 to reject; quorum 3" in page
    assert "The video settles it." in page
    assert shows(page, "reopen") == [True]
    assert shows(opened(meet, done["names"][1], f"jury/{done['id']}"), "reopen") == [False]


def test_a_secretary_who_reads_no_appeals_finds_the_decision_to_sign_alone(
    meet: MeetAtHand,
) -> None:
    lodged = an_open_appeal(meet)
    names = a_panel(meet, lodged)
    seen = meet["jury"].get(f"appeals/{lodged['id']}")
    chair, *members = [meet[name].id for name in names]
    panel = {"chair": chair, "members": members, "secretary_official": meet.organiser.id}
    put = meet["jury"].put(f"appeals/{lodged['id']}/panel", panel, etag=seen.headers["ETag"])
    assert put.status_code == 200, put.text
    opened(meet, "organiser", f"jury/{lodged['id']}", 403)
    for name in names:
        cast(meet, lodged, name, "rejected")
    assert jury_decides(meet, lodged, names[0], "rejected").status_code == 201
    assert "waits for your signature" in opened(meet, "organiser", "jury")
    page = opened(meet, "organiser", f"jury/{lodged['id']}")
    assert "Sign as the secretary" in page
    for hidden in ("Both hands", "The video settles it.", "Gull", "rejected"):
        assert hidden not in page


def test_only_who_can_sit_is_offered_a_seat(meet: MeetAtHand) -> None:
    lodged = an_open_appeal(meet)
    a_panel(meet, lodged)
    page = opened(meet, "jury", f"jury/{lodged['id']}")
    seats = re.findall(r'<select id="seat-([^"]+)"', page)
    assert meet["juror 1"].id in seats
    assert meet.referee.id not in seats


def test_the_record_is_explained_to_those_who_may_read_it(meet: MeetAtHand) -> None:
    page = opened(meet, "jury", "record")
    head = meet.head()
    assert head["root"] in page
    assert "python3 -I check.py ." in page
    assert opened(meet, "referee", "record")
    for who in ("results", "organiser", "umpire"):
        opened(meet, who, "record", 403)
