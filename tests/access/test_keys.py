"""The keys of an official's devices: how many there are, and what becomes of them."""

from __future__ import annotations

import pytest

from app.ids import new_id
from tests.access.authenticator import Authenticator
from tests.access.test_signing import Matter, challenge_of, register
from tests.builders import PIN, MeetAtHand, a_meet, a_problem, add_official
from tests.conftest import NewDatabase
from tests.reports.test_signed_on_the_phone import Phone
from tests.running import PUBLIC_URL, Service, a_service


def test_twenty_keys_of_one_official_count_at_a_time(meet: MeetAtHand) -> None:
    who = add_official(meet, f"collector {new_id()}", "umpire")
    phones = [Phone(meet, who) for _ in range(19)]
    first = Authenticator().create(challenge_of(who)) | {"pin": PIN}
    late = Authenticator().create(challenge_of(who)) | {"pin": PIN}
    known = new_id()
    assert who.put(f"me/keys/{known}", first).status_code == 201
    before = meet.head()
    told = a_problem(who.put(f"me/keys/{new_id()}", late), 409, "conflict")
    assert "Revoke one that you no longer use" in told["detail"]
    a_problem(who.post("me/keys/options"), 409, "conflict")
    assert meet.head() == before
    assert who.put(f"me/keys/{known}", first).status_code == 200
    # Somebody else's are counted for themselves.
    Phone(meet, meet.umpire)
    revoked = who.post(f"me/keys/{phones[0].id}/revoke", {"reason": "Given away."})
    assert revoked.status_code == 200
    assert who.put(f"me/keys/{new_id()}", late).status_code == 201


def test_whoever_leaves_a_device_is_told_what_becomes_of_its_keys(meet: MeetAtHand) -> None:
    """Keys of the session count no more; one that was revoked before is not told again."""
    who = add_official(meet, f"leaver {new_id()}", "umpire")
    old, phone = Phone(meet, who), Phone(meet, who)
    assert who.post(f"me/keys/{old.id}/revoke", {"reason": "Given away."}).status_code == 200
    left = who.delete("/api/me/session")
    assert left.status_code == 200, left.text
    [told] = left.json()["keys_revoked"]
    [kept] = [
        one
        for one in meet.organiser.get(f"officials/{who.id}/keys").json()
        if one["id"] == phone.id
    ]
    assert told == {"key": phone.id, "revoked_from": kept["revoked_from"]}
    other = add_official(meet, f"leaver {new_id()}", "umpire")
    assert other.delete("/api/me/session").json()["keys_revoked"] == []


def test_a_passkey_used_on_a_page_of_another_address_is_refused_with_the_way_out(
    meet: MeetAtHand,
) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    device.origin = "https://relays.test:8443"
    told = a_problem(matter.sign(key, device), 403, "signature-refused")
    assert "on a page of https://relays.test:8443, and this server is known as" in told["detail"]
    assert "ZONEDOCKET_PUBLIC_URL" in told["detail"]
    late = device.create(challenge_of(meet.referee)) | {"pin": PIN}
    told = a_problem(meet.referee.put(f"me/keys/{new_id()}", late), 403, "signature-refused")
    assert "on a page of https://relays.test:8443" in told["detail"]


@pytest.mark.parametrize(
    "origin", ["javascript:alert(1)", "https://" + "a" * 300, "https://a b", 3]
)
def test_an_address_that_is_none_is_not_told_again(meet: MeetAtHand, origin: str) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    device.origin = origin
    told = a_problem(matter.sign(key, device), 403, "signature-refused")
    assert "does not fit" in told["detail"]


@pytest.mark.parametrize("now", ["https://relays.test:8443", "http://relays.test"])
def test_a_passkey_of_the_time_when_the_server_had_another_address_is_to_be_made_anew(
    new_database: NewDatabase, now: str
) -> None:
    """Whoever checks an export holds a proof's origin against that of its key."""
    url, device = new_database("sqlite"), Authenticator()
    with a_service(url) as service:
        meet = a_meet(service)
        key = register(meet.referee, device)
        assert Matter(meet).sign(key, device).status_code == 201
    with a_service(url, public_url=now) as service:
        moved(meet, service)
        device.origin = now
        told = a_problem(Matter(meet, lane=5).sign(key, device), 403, "signature-refused")
        assert f"registered when this server was {PUBLIC_URL}" in told["detail"]
        assert "register this device anew" in told["detail"]
        anew = Authenticator(origin=now)
        key = register(meet.referee, anew)
        assert Matter(meet, lane=6).sign(key, anew).status_code == 201


def moved(meet: MeetAtHand, service: Service) -> None:
    """The same meet, as another service serves it."""
    meet.service = service
    for person in meet.people.values():
        person.http = service.http
