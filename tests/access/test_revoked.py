"""A key that was in other hands: what it signed from then on is told wherever the signature is."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import httpx
import pytest

from app.ids import new_id
from tests.access.authenticator import Authenticator
from tests.access.test_signing import Matter, register
from tests.appeals.test_countersigning import VOTERS, a_decision
from tests.builders import PIN, Json, MeetAtHand, Person, a_meet, add_official
from tests.forms.pdf_reading import read_text
from tests.reports.test_signed_on_the_phone import Phone
from tests.running import Service
from tests.sealing.reading import seals_in

DOUBT = "before this was signed, so it does not show who signed"


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    hand = a_meet(service)
    hand.start()
    return hand


def words_of(paper: httpx.Response) -> str:
    assert paper.status_code == 200, paper.text
    return " ".join(read_text(paper.content).split())


def revoke(meet: MeetAtHand, who: Person, key: str, minutes_ago: int) -> str:
    """Revoke somebody's key from so many minutes ago on; from when that is."""
    since = (meet.service.clock.now() - timedelta(minutes=minutes_ago)).isoformat()
    sent = {"reason": "It lay about.", "revoked_from": since}
    told = meet.organiser.post(f"officials/{who.id}/keys/{key}/revoke", sent)
    assert told.status_code == 200, told.text
    return str(told.json()["revoked_from"])


def signed_by_passkey(
    meet: MeetAtHand, who: Person, path: str, document: Json, etag: str | None = None
) -> httpx.Response:
    """What this official has signed with a passkey that is revoked from before that."""
    device = Authenticator()
    key = register(who, device)
    shown = who.put(path, document, etag=etag, params={"check": "true"}).json()
    sent = {
        **document,
        "device_signature": device.sign(key, shown["sha256"]),
        "shown_at": shown["shown_at"],
    }
    signed = who.put(path, sent, etag=etag)
    assert signed.status_code == 201, signed.text
    meet.service.clock.move(timedelta(minutes=1))
    revoke(meet, who, key, 2)
    return signed


def test_a_ruling_signed_by_a_key_in_other_hands_says_so_everywhere(
    meet: MeetAtHand, tmp_path: Path
) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    ruling = matter.sign(key, device).json()["id"]
    report = meet.referee.get(f"cases/{matter.case}").json()["reports"][0]["id"]
    papers = [f"rulings/{ruling}/form.pdf", f"reports/{report}/form.pdf"]
    before = {paper: meet.referee.get(paper).content for paper in papers}
    told = meet.referee.get(f"rulings/{ruling}").json()["signed_with"]
    assert (told["strength"], told["key"]) == ("device key", key)
    assert told["key_revoked_from"] is None
    meet.service.clock.move(timedelta(minutes=1))
    since = revoke(meet, meet.referee, key, 2)
    for paper in papers:
        again = meet.referee.get(paper)
        assert again.content != before[paper]
        assert all(seal.is_valid for seal in seals_in(again.content, tmp_path))
        assert DOUBT in words_of(again), paper
    told = meet.referee.get(f"rulings/{ruling}").json()["signed_with"]
    assert told["key_revoked_from"] == since
    assert DOUBT in told["words"]
    assert DOUBT in words_of(meet.referee.get(f"cases/{matter.case}/file.pdf"))


def test_a_later_revoking_leaves_earlier_signatures_and_their_papers_as_they_were(
    meet: MeetAtHand,
) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    ruling = matter.sign(key, device).json()["id"]
    report = Phone(meet)
    written = report.write().json()["id"]
    papers = [f"rulings/{ruling}/form.pdf", f"reports/{written}/form.pdf"]
    before = {paper: meet.referee.get(paper).content for paper in papers}
    meet.service.clock.move(timedelta(minutes=10))
    revoke(meet, meet.referee, key, 5)
    revoke(meet, meet.umpire, report.id, 5)
    assert {paper: meet.referee.get(paper).content for paper in papers} == before
    assert meet.referee.get(f"rulings/{ruling}").json()["signed_with"]["key_revoked_from"] is None
    assert meet.umpire.get(f"reports/{written}").json()["attested"]["key_revoked_from"] is None


def revoke_now(meet: MeetAtHand, who: Person, key: str) -> None:
    assert who.post(f"me/keys/{key}/revoke", {"reason": "Given away."}).status_code == 200


def leave(meet: MeetAtHand, who: Person, key: str) -> None:
    assert who.delete("/api/me/session").status_code == 200


@pytest.mark.parametrize("end", [revoke_now, leave])
def test_a_clock_that_was_set_back_makes_no_earlier_signature_a_doubtful_one(
    meet: MeetAtHand, end: Callable[[MeetAtHand, Person, str], None]
) -> None:
    """Nobody has said that the key was in other hands."""
    who, device = add_official(meet, f"second referee {new_id()}", "referee"), Authenticator()
    key, matter = register(who, device), Matter(meet, who)
    ruling = matter.sign(key, device).json()["id"]
    meet.service.clock.move(timedelta(minutes=-5))
    end(meet, who, key)
    told = meet.referee.get(f"rulings/{ruling}").json()["signed_with"]
    assert told["key_revoked_from"] is None
    [kept] = meet.organiser.get(f"officials/{who.id}/keys").json()
    assert kept["revoked_from"] is not None
    assert kept["signed_since"] == []


def test_a_ruling_signed_with_a_pin_stays_good_whatever_key_is_revoked(meet: MeetAtHand) -> None:
    key, matter = register(meet.referee, Authenticator()), Matter(meet)
    ruling = matter.put(pin=PIN).json()["id"]
    meet.service.clock.move(timedelta(minutes=1))
    revoke(meet, meet.referee, key, 10)
    told = meet.referee.get(f"rulings/{ruling}").json()["signed_with"]
    assert told == {
        "strength": "PIN",
        "key": None,
        "key_revoked_from": None,
        "words": "PIN on a joined device, attested by the server",
    }


def test_a_report_signed_by_a_phone_in_other_hands_says_so_everywhere(meet: MeetAtHand) -> None:
    phone = Phone(meet)
    report = phone.write().json()
    ruled = meet.rule(report["case"]).json()["id"]
    papers = [f"reports/{report['id']}/form.pdf", f"rulings/{ruled}/form.pdf"]
    assert not any(DOUBT in words_of(meet.referee.get(paper)) for paper in papers)
    meet.service.clock.move(timedelta(minutes=1))
    since = revoke(meet, meet.umpire, phone.id, 2)
    told = meet.umpire.get(f"reports/{report['id']}").json()["attested"]
    assert (told["strength"], told["key_revoked_from"]) == ("phone key", since)
    assert DOUBT in told["words"]
    listed = meet.umpire.get("reports").json()
    assert [one["attested"] for one in listed if one["id"] == report["id"]] == [told]
    case = meet.referee.get(f"cases/{report['case']}").json()
    assert case["reports"][0]["attested"] == told
    for paper in [papers[0], f"cases/{report['case']}/file.pdf"]:
        assert DOUBT in words_of(meet.referee.get(paper)), paper
    by = f"Report 1, of {meet.umpire.name}, is signed with a phone's key that is revoked from "
    ruling = words_of(meet.referee.get(papers[1]))
    assert by in ruling
    assert "It came after that time, so its signature does not show who wrote it." in ruling


def test_a_ruling_made_after_the_revoking_says_it_once(meet: MeetAtHand) -> None:
    phone = Phone(meet)
    report = phone.write().json()
    meet.service.clock.move(timedelta(minutes=1))
    revoke(meet, meet.umpire, phone.id, 2)
    ruled = meet.rule(report["case"]).json()["id"]
    assert words_of(meet.referee.get(f"rulings/{ruled}/form.pdf")).count(DOUBT) == 1


def test_a_result_announced_by_a_key_in_other_hands_says_so(meet: MeetAtHand) -> None:
    assert meet.load_result().status_code == 201
    etag = meet.desk.get(f"heats/{meet.heat()}/result").headers["ETag"]
    document = {"heat": meet.heat(), "despite": "Nobody stood there."}
    path = f"announcements/{new_id()}"
    announced = signed_by_passkey(meet, meet.desk, path, document, etag).json()
    told = meet.desk.get(f"announcements/{announced['id']}.json").json()
    assert DOUBT in told["signed_with"]
    assert "Cleo" not in json.dumps(told)
    assert DOUBT in words_of(meet.desk.get(f"announcements/{announced['id']}.pdf"))


def test_a_decision_signed_beside_by_a_key_in_other_hands_says_so(meet: MeetAtHand) -> None:
    for juror in VOTERS[1:]:
        add_official(meet, juror, "jury")
    add_official(meet, "secretary", "organiser")
    decided = a_decision(meet)
    path = f"decisions/{decided['id']}/signatures/{new_id()}"
    signed_by_passkey(meet, meet["secretary"], path, {})
    assert DOUBT in words_of(meet.referee.get(f"decisions/{decided['id']}/form.pdf"))
    appeal = meet["jury"].get(f"appeals/{decided['appeal']}").json()
    chairs, secretarys = appeal["decision"]["signatures"]
    assert chairs["key_revoked_from"] is None
    assert secretarys["key_revoked_from"] < secretarys["signed_at"]
    assert DOUBT in secretarys["how"]
