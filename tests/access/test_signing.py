"""Signing is an act: what is signed is what was shown, and by whom it was meant to be.

What a passkey signs, and how, is that of W3C WebAuthn Level 2 (6.3.3, 7.2); its signatures are
verified here with openssl, of what the record gives out, and by nothing of the service.
"""

from __future__ import annotations

import json
import re
import subprocess
from base64 import urlsafe_b64decode
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import httpx
import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric import ec, rsa

from app.access.passkeys import party_of
from app.config import Settings
from app.ids import new_id
from tests.access.authenticator import (
    USER_PRESENT,
    Authenticator,
    a_key,
    an_rsa_key,
    encoded,
)
from tests.builders import (
    PIN,
    Json,
    MeetAtHand,
    Person,
    a_meet,
    a_meet_document,
    a_problem,
    add_official,
)
from tests.conftest import NewDatabase
from tests.forms.pdf_reading import read_text
from tests.running import Service, a_service, workers_of
from tests.sendings import DOCUMENTS, Sending

UNSIGNED = {"verdict": "confirmed", "reasons": "Seen by two umpires, independently."}


def register(who: Person, device: Authenticator, key: str | None = None) -> str:
    """A passkey of this official, registered."""
    key = key or new_id()
    answer = who.put(f"me/keys/{key}", {**device.create(challenge_of(who)), "pin": PIN})
    assert answer.status_code == 201, answer.text
    return key


def challenge_of(who: Person) -> str:
    options = who.post("me/keys/options")
    assert options.status_code == 200, options.text
    return str(options.json()["public_key"]["challenge"])


class Matter:
    """A case that awaits its ruling, and a ruling to be signed on it."""

    def __init__(self, meet: MeetAtHand, by: Person | None = None, lane: int = 4) -> None:
        self.meet, self.by = meet, by or meet.referee
        self.case = meet.report(lane=lane)["case"]
        self.path = f"cases/{self.case}/rulings/{new_id()}"
        self.etag = self.by.get(f"cases/{self.case}").headers["ETag"]

    def put(self, check: bool = False, **more: Any) -> httpx.Response:
        params = {"check": "true"} if check else None
        return self.by.put(self.path, {**UNSIGNED, **more}, etag=self.etag, params=params)

    def show(self) -> Json:
        answer = self.put(check=True)
        assert answer.status_code == 200, answer.text
        return dict(answer.json())

    def sign(self, key: str, device: Authenticator, shown: Json | None = None) -> httpx.Response:
        shown = shown or self.show()
        signature = device.sign(key, shown["sha256"])
        return self.put(device_signature=signature, shown_at=shown["shown_at"])


def entry(meet: MeetAtHand, kind: str, subject: str) -> Json:
    """The body of the last record entry of a kind about something."""
    lines = [json.loads(line) for line in meet.referee.get("record").text.splitlines()[:-1]]
    found = [
        json.loads(line["body"])
        for line in lines
        if json.loads(line["entry"])["kind"] == kind and subject in line["entry"]
    ]
    return dict(found[-1])


def raw(text: str) -> bytes:
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))


def openssl_verifies(folder: Path, public_key: str, signature: bytes, content: bytes) -> bool:
    """Whether openssl, which shares nothing with the service, verifies a signature."""
    for name, what in (("key", public_key.encode()), ("sig", signature), ("what", content)):
        (folder / name).write_bytes(what)
    command = ["openssl", "dgst", "-sha256", "-verify", "key", "-signature", "sig", "what"]
    return subprocess.run(command, cwd=folder, check=False, capture_output=True).returncode == 0


@pytest.mark.parametrize("made", [a_key, an_rsa_key])
def test_what_a_passkey_signed_is_verified_by_openssl_from_the_record_alone(
    meet: MeetAtHand, tmp_path: Path, made: Any
) -> None:
    device = Authenticator(made())
    key, matter = register(meet.referee, device), Matter(meet)
    signed = matter.sign(key, device)
    assert signed.status_code == 201, signed.text
    ruling = matter.path.rsplit("/", 1)[1]
    body, registered = entry(meet, "ruling", ruling), entry(meet, "key registered", key)
    signature = body["signature"]
    assert {name: signature[name] for name in ("strength", "official", "key")} == {
        "strength": "device key",
        "official": meet.referee.id,
        "key": key,
    }
    assert registered["official"] == meet.referee.id
    assert registered["origin"] == device.origin
    proof = {name: raw(text) for name, text in signature["proof"].items()}
    # RFC 8785 by the library rfc8785, SHA-256 by the standard library.
    digest = sha256(rfc8785.dumps(body["statement"])).digest()
    assert raw(json.loads(proof["client_data_json"])["challenge"]) == digest
    assert body["statement_sha256"] == digest.hex() == signed.json()["statement_digest"]
    covered = proof["authenticator_data"] + sha256(proof["client_data_json"]).digest()
    pem = registered["public_key"]
    assert openssl_verifies(tmp_path, pem, proof["signature"], covered)
    assert not openssl_verifies(tmp_path, pem, proof["signature"], covered + b"x")


def test_looking_at_what_would_be_signed_asks_for_no_pin_and_stores_nothing(
    meet: MeetAtHand,
) -> None:
    matter = Matter(meet)
    before = meet.head()
    shown = matter.show()
    assert meet.head() == before
    assert matter.by.get(f"rulings/{matter.path.rsplit('/', 1)[1]}").status_code == 404
    assert rfc8785.dumps(shown["statement"]) == shown["canonical"].encode()
    assert sha256(shown["canonical"].encode()).hexdigest() == shown["sha256"]
    assert shown["statement"]["shown_at"] == shown["shown_at"]
    assert shown["statement"]["reasons"] == UNSIGNED["reasons"]


def test_what_is_signed_with_a_pin_is_the_statement_that_was_shown(meet: MeetAtHand) -> None:
    matter = Matter(meet)
    shown = matter.show()
    meet.service.clock.move(timedelta(minutes=14))
    signed = matter.put(pin=PIN, shown_at=shown["shown_at"], statement_sha256=shown["sha256"])
    assert signed.status_code == 201, signed.text
    assert signed.json()["statement_digest"] == shown["sha256"]
    body = entry(meet, "ruling", signed.json()["id"])
    assert body["statement"] == shown["statement"]
    assert body["signature"] == {
        "strength": "PIN",
        "official": meet.referee.id,
        "key": None,
        "proof": None,
    }


def test_a_pin_without_what_was_shown_signs_what_is_stored(meet: MeetAtHand) -> None:
    matter = Matter(meet)
    signed = matter.put(pin=PIN)
    assert signed.status_code == 201
    body = entry(meet, "ruling", signed.json()["id"])
    assert body["statement"]["shown_at"] == signed.json()["ruled_at"]


def test_something_else_than_was_shown_is_not_stored(meet: MeetAtHand) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    shown = matter.show()
    before = meet.head()
    signature = device.sign(key, shown["sha256"])
    with_passkey = {"device_signature": signature, "shown_at": shown["shown_at"]}
    told = a_problem(
        matter.put(**with_passkey, reasons="Seen by one umpire."), 409, "statement-changed"
    )
    assert "Look at it again" in told["detail"]
    with_pin = {"shown_at": shown["shown_at"], "statement_sha256": shown["sha256"], "pin": PIN}
    a_problem(matter.put(**with_pin, reasons="Seen by one umpire."), 409, "statement-changed")
    assert meet.head() == before
    assert matter.put(**with_passkey).status_code == 201


def test_what_changed_between_the_showing_and_the_signing_is_looked_at_again(
    meet: MeetAtHand,
) -> None:
    """The organiser moves the meet to another venue: the form would tell that one."""
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    shown = matter.show()
    seen = meet.organiser.get(f"/api/meets/{meet.id}")
    organiser = {"id": meet.organiser.id, "name": meet.organiser.name}
    moved = a_meet_document(venue="Elsewhere", organiser=organiser)
    changed = meet.organiser.put(f"/api/meets/{meet.id}", moved, etag=seen.headers["ETag"])
    assert changed.status_code == 200, changed.text
    before = meet.head()
    a_problem(matter.sign(key, device, shown), 409, "statement-changed")
    assert meet.head() == before
    assert matter.sign(key, device).status_code == 201


def test_another_name_of_who_reported_changes_nothing_that_was_shown(meet: MeetAtHand) -> None:
    """The form tells the name that the report was written under."""
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    shown = matter.show()
    seen = meet.organiser.get(f"officials/{meet.umpire.id}")
    renamed = {"name": "Una Umpire", "affiliation": "", "roles": ["umpire"]}
    changed = meet.organiser.put(f"officials/{meet.umpire.id}", renamed, etag=seen.headers["ETag"])
    assert changed.status_code == 200, changed.text
    assert matter.sign(key, device, shown).status_code == 201


def test_what_was_shown_long_ago_or_is_to_be_shown_is_not_signed(meet: MeetAtHand) -> None:
    matter = Matter(meet)
    shown = matter.show()
    meet.service.clock.move(timedelta(minutes=16))
    late = matter.put(pin=PIN, shown_at=shown["shown_at"])
    assert "fifteen minutes" in a_problem(late, 409, "shown-long-ago")["detail"]
    ahead = (meet.service.clock.now() + timedelta(minutes=1)).isoformat()
    told = a_problem(matter.put(pin=PIN, shown_at=ahead), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/shown_at"


def test_the_same_signed_again_is_the_same_and_keeps_its_first_signature(
    meet: MeetAtHand,
) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    shown = matter.show()
    first = matter.sign(key, device, shown)
    head = meet.head()
    meet.service.clock.move(timedelta(hours=1))
    again = matter.sign(key, device, shown)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json()["statement_digest"] == first.json()["statement_digest"]
    assert matter.put(pin=PIN).status_code == 200
    assert meet.head() == head
    nothing_left = matter.put(check=True)
    assert "nothing to sign" in a_problem(nothing_left, 409, "conflict")["detail"]


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"pin": PIN, "device_signature": Authenticator().sign(new_id(), "00" * 32)},
    ],
)
def test_an_act_is_signed_in_one_of_the_two_ways(meet: MeetAtHand, how: Json) -> None:
    matter = Matter(meet)
    told = a_problem(matter.put(**how), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/pin"


def test_a_passkey_signs_only_what_was_shown(meet: MeetAtHand) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    signature = device.sign(key, matter.show()["sha256"])
    told = a_problem(matter.put(device_signature=signature), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/shown_at"


@pytest.mark.parametrize(
    "changed",
    [
        {"origin": "https://elsewhere.test"},
        {"origin": "http://relays.test"},
        {"rp_id": "elsewhere.test"},
        {"key": a_key()},
        {"flags": USER_PRESENT},
        {"flags": 0},
    ],
    ids=["other origin", "no TLS", "other server", "other key", "not verified", "not present"],
)
def test_a_signature_that_is_not_this_passkeys_for_this_server_is_refused(
    meet: MeetAtHand, changed: Json
) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    before = meet.head()
    for name, value in changed.items():
        setattr(device, name, value)
    a_problem(matter.sign(key, device), 403, "signature-refused")
    assert meet.head() == before


@pytest.mark.parametrize("part", ["authenticator_data", "client_data_json", "signature"])
@pytest.mark.parametrize("spoilt", ["", "=", "a", "A" * 2001, "\x00", "Å", "AAAA", "o2NmbXQ"])
def test_what_no_browser_sends_is_refused_and_stores_nothing(
    meet: MeetAtHand, part: str, spoilt: str
) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    shown, before = matter.show(), meet.head()
    signature = device.sign(key, shown["sha256"]) | {part: spoilt}
    answer = matter.put(device_signature=signature, shown_at=shown["shown_at"])
    assert answer.status_code in {403, 422}, answer.text
    a_problem(
        answer, answer.status_code, {403: "signature-refused", 422: "malformed"}[answer.status_code]
    )
    assert meet.head() == before


@pytest.mark.parametrize("told", ["[]", "3", '{"challenge": 3}', "{}", "[" * 700])
def test_client_data_of_another_form_is_refused(meet: MeetAtHand, told: str) -> None:
    device = Authenticator()
    key, matter = register(meet.referee, device), Matter(meet)
    shown = matter.show()
    signature = device.sign(key, shown["sha256"]) | {"client_data_json": encoded(told.encode())}
    answer = matter.put(device_signature=signature, shown_at=shown["shown_at"])
    a_problem(answer, 403, "signature-refused")


def test_a_signature_is_good_for_its_own_act_alone(meet: MeetAtHand) -> None:
    device = Authenticator()
    key, matter, other = register(meet.referee, device), Matter(meet), Matter(meet, lane=5)
    shown = matter.show()
    signature = device.sign(key, shown["sha256"])
    replayed = other.put(device_signature=signature, shown_at=shown["shown_at"])
    a_problem(replayed, 409, "statement-changed")
    assert matter.put(device_signature=signature, shown_at=shown["shown_at"]).status_code == 201


def test_nobody_signs_with_the_key_of_somebody_else(meet: MeetAtHand) -> None:
    device = Authenticator()
    key = register(meet.referee, device)
    second = add_official(meet, f"second referee {new_id()}", "referee")
    told = a_problem(Matter(meet, second).sign(key, device), 403, "signature-refused")
    assert "no such passkey" in told["detail"]
    a_problem(Matter(meet, lane=5).sign(new_id(), device), 403, "signature-refused")


def test_a_passkey_whose_count_goes_back_may_have_a_copy(meet: MeetAtHand) -> None:
    device = Authenticator(count=7)
    key = register(meet.referee, device)
    assert Matter(meet).sign(key, device).status_code == 201
    device.count = 7
    told = a_problem(Matter(meet, lane=5).sign(key, device), 403, "signature-refused")
    assert "copy" in told["detail"]
    device.count = 8
    assert Matter(meet, lane=6).sign(key, device).status_code == 201


def test_a_passkey_that_does_not_count_signs_as_often_as_it_likes(meet: MeetAtHand) -> None:
    device = Authenticator(counts=False)
    key = register(meet.referee, device)
    for lane in (4, 5):
        assert Matter(meet, lane=lane).sign(key, device).status_code == 201


def test_a_revoked_key_signs_nothing_more_and_what_it_signed_stays(meet: MeetAtHand) -> None:
    device = Authenticator()
    key, first = register(meet.referee, device), Matter(meet)
    assert first.sign(key, device).status_code == 201
    meet.service.clock.move(timedelta(minutes=10))
    second = Matter(meet, lane=5)
    assert second.sign(key, device).status_code == 201
    lost = (meet.service.clock.now() - timedelta(minutes=5)).isoformat()
    reason = {"reason": "The tablet was lost.", "revoked_from": lost}
    revoked = meet.organiser.post(f"officials/{meet.referee.id}/keys/{key}/revoke", reason)
    assert revoked.status_code == 200, revoked.text
    told = revoked.json()
    assert [(one["act"], one["subject"]) for one in told["signed_since"]] == [
        ("ruling", second.path.rsplit("/", 1)[1])
    ]
    assert told["signed_since_in_all"] == 1
    for matter in (first, second):
        assert matter.by.get(f"rulings/{matter.path.rsplit('/', 1)[1]}").status_code == 200
    refused = a_problem(Matter(meet, lane=6).sign(key, device), 403, "signature-refused")
    assert "revoked" in refused["detail"]
    kept = entry(meet, "key revoked", key)
    assert (kept["key"], kept["official"]) == (key, meet.referee.id)


def test_a_key_is_revoked_once_and_can_only_come_to_be_revoked_earlier(meet: MeetAtHand) -> None:
    key = register(meet.referee, Authenticator())
    reason, path = {"reason": "Another tablet."}, f"me/keys/{key}/revoke"
    ahead = (meet.service.clock.now() + timedelta(hours=1)).isoformat()
    told = a_problem(meet.referee.post(path, {**reason, "revoked_from": ahead}), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/revoked_from"
    first = meet.referee.post(path, reason).json()
    head = meet.head()
    assert meet.referee.post(path, reason).json() == first
    assert meet.head() == head
    earlier = (meet.service.clock.now() - timedelta(hours=1)).isoformat()
    moved = meet.referee.post(path, {**reason, "revoked_from": earlier}).json()
    assert moved["revoked_from"] < first["revoked_from"]
    a_problem(meet.umpire.post(path, reason), 404, "not-found")
    elsewhere = meet.organiser.post(f"officials/{meet.umpire.id}/keys/{key}/revoke", reason)
    a_problem(elsewhere, 404, "not-found")


def leave(meet: MeetAtHand, who: Person) -> None:
    assert who.delete("/api/me/session").status_code == 200


def lose_the_pin(meet: MeetAtHand, who: Person) -> None:
    assert meet.organiser.delete(f"officials/{who.id}/pin").status_code == 200


@pytest.mark.parametrize(("ends", "kind"), [(leave, "left"), (lose_the_pin, "PIN cleared")])
def test_a_session_that_ends_takes_its_keys_along(meet: MeetAtHand, ends: Any, kind: str) -> None:
    who = add_official(meet, f"leaver {new_id()}", "referee")
    key = register(who, Authenticator())
    ends(meet, who)
    [told] = meet.organiser.get(f"officials/{who.id}/keys").json()
    assert told["id"] == key
    assert told["revoked_from"] is not None
    [kept] = entry(meet, kind, who.id)["keys_revoked"]
    assert (kept["key"], kept["official"]) == (key, who.id)


def test_registering_the_same_key_again_is_the_same(meet: MeetAtHand) -> None:
    device, key = Authenticator(), new_id()
    document = {**device.create(challenge_of(meet.referee)), "pin": PIN}
    first = meet.referee.put(f"me/keys/{key}", document)
    meet.service.clock.move(timedelta(hours=1))
    again = meet.referee.put(f"me/keys/{key}", document)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json() == meet.referee.get("me/keys").json()[-1]
    other = {**document, "device": "Another tablet"}
    a_problem(meet.referee.put(f"me/keys/{key}", other), 409, "id-taken")
    twice = {**device.create(challenge_of(meet.referee)), "pin": PIN}
    a_problem(meet.referee.put(f"me/keys/{new_id()}", twice), 409, "conflict")


def test_a_key_is_registered_with_the_pin(meet: MeetAtHand) -> None:
    document = Authenticator().create(challenge_of(meet.referee))
    key = new_id()
    wrong = meet.referee.put(f"me/keys/{key}", {**document, "pin": "111119"})
    a_problem(wrong, 403, "pin-refused")
    assert key not in meet.referee.get("me/keys").text


@pytest.mark.parametrize(
    "device",
    [
        Authenticator(origin="https://elsewhere.test"),
        Authenticator(rp_id="elsewhere.test"),
        Authenticator(flags=USER_PRESENT),
        Authenticator(ec.generate_private_key(ec.SECP384R1())),
        Authenticator(rsa.generate_private_key(3, 2048)),
        Authenticator(credential=bytes(1024)),
    ],
    ids=["other origin", "other server", "not verified", "other curve", "other exponent", "long"],
)
def test_a_passkey_made_otherwise_than_asked_is_not_registered(
    meet: MeetAtHand, device: Authenticator
) -> None:
    before = meet.head()
    document = {**device.create(challenge_of(meet.referee)), "pin": PIN}
    a_problem(meet.referee.put(f"me/keys/{new_id()}", document), 403, "signature-refused")
    assert meet.head() == before


def test_a_challenge_is_good_for_its_session_and_for_ten_minutes(meet: MeetAtHand) -> None:
    mine, theirs = challenge_of(meet.referee), challenge_of(meet.desk)
    for challenge in (theirs, encoded(b"\x00" * 40), mine[:-2]):
        document = {**Authenticator().create(challenge), "pin": PIN}
        refused = meet.referee.put(f"me/keys/{new_id()}", document)
        a_problem(refused, 403, "signature-refused")
    meet.service.clock.move(timedelta(minutes=11))
    late = {**Authenticator().create(mine), "pin": PIN}
    a_problem(meet.referee.put(f"me/keys/{new_id()}", late), 403, "signature-refused")


def test_any_worker_knows_the_challenge_that_another_has_given(meet: MeetAtHand) -> None:
    with workers_of(meet.service) as workers:
        for asked, told in ((workers[0], workers[-1]), (workers[-1], workers[0])):
            options = replace(meet.referee, http=asked).post("me/keys/options").json()
            document = Authenticator().create(options["public_key"]["challenge"])
            sent = {**document, "pin": PIN}
            registered = replace(meet.referee, http=told).put(f"me/keys/{new_id()}", sent)
            assert registered.status_code == 201, registered.text


@pytest.mark.parametrize(
    ("public_url", "told"),
    [
        ("https://relays.test", ("relays.test", "https://relays.test")),
        ("https://relays.test:443/", ("relays.test", "https://relays.test")),
        ("https://Relays.test/docket/", ("relays.test", "https://relays.test")),
        ("http://localhost:8480", ("localhost", "http://localhost:8480")),
        ("", ("127.0.0.1", "http://127.0.0.1:8480")),
        ("http://[::1]:8480", ("::1", "http://[::1]:8480")),
    ],
)
def test_passkeys_are_for_the_name_under_which_phones_open_the_server(
    public_url: str, told: tuple[str, str]
) -> None:
    # An origin is scheme, host and port without the usual one, in lower case (RFC 6454, 6.2).
    party = party_of(Settings(_env_file=None, public_url=public_url))
    assert (party.id, party.origin) == told


def test_a_server_without_a_name_says_why_it_takes_no_passkeys(new_database: NewDatabase) -> None:
    with a_service(new_database("sqlite"), public_url="http://192.0.2.7:8480") as service:
        told = a_problem(a_meet(service).referee.post("me/keys/options"), 409, "conflict")
    assert "ZONEDOCKET_PUBLIC_URL" in told["detail"]


@pytest.mark.parametrize(
    "changes",
    [
        {"fmt": "tpm"},
        {"fmt": 3},
        {"authData": b""},
        {"authData": b"\x00" * 36},
        {"authData": "text"},
    ],
)
def test_an_attestation_of_another_form_is_refused(meet: MeetAtHand, changes: Json) -> None:
    document = {**Authenticator().create(challenge_of(meet.referee), **changes), "pin": PIN}
    a_problem(meet.referee.put(f"me/keys/{new_id()}", document), 403, "signature-refused")


@pytest.mark.parametrize("spoilt", [b"\x9f" * 3000, b"\x81" * 8000, b"\x00", b"\xbf\xff", b"\xff"])
def test_bytes_that_are_no_attestation_are_refused(meet: MeetAtHand, spoilt: bytes) -> None:
    document = Authenticator().create(challenge_of(meet.referee))
    document |= {"attestation_object": encoded(spoilt), "pin": PIN}
    a_problem(meet.referee.put(f"me/keys/{new_id()}", document), 403, "signature-refused")


def test_the_form_names_how_it_was_signed(meet: MeetAtHand) -> None:
    device = Authenticator()
    key = register(meet.referee, device)
    for lane, how in (
        (4, "passkey of Cleo's tablet; anybody can check it"),
        (5, "PIN on a joined"),
    ):
        matter = Matter(meet, lane=lane)
        signed = matter.sign(key, device) if lane == 4 else matter.put(pin=PIN)
        form = meet.referee.get(f"rulings/{signed.json()['id']}/form.pdf")
        assert how in " ".join(read_text(form.content).split())


def test_the_sheet_of_a_result_names_how_it_was_announced(meet: MeetAtHand) -> None:
    assert meet.load_result().status_code == 201
    announced = meet.announce(despite="Nobody stood there.")
    assert announced.status_code == 201, announced.text
    assert announced.json()["signed_with"] == "PIN on a joined device, attested by the server"
    sheet = meet.desk.get(f"announcements/{announced.json()['id']}.pdf").content
    signed = (
        r"Signed: results, [-\d]+ [:\d]+ CES?T \(Europe/Paris\), PIN on a joined device, attested"
    )
    assert re.search(signed, " ".join(read_text(sheet).split()))


def test_an_official_of_another_meet_has_no_keys_here(meet: MeetAtHand, service: Service) -> None:
    elsewhere = a_meet(service).referee.id
    a_problem(meet.organiser.get(f"officials/{elsewhere}/keys"), 404, "not-found")


SIGNED = {
    name: build for name, build in DOCUMENTS.items() if name not in {"joining", "key", "look"}
}


def signings(meet: MeetAtHand) -> Iterator[tuple[str, Sending, Json]]:
    """All signed routes, each by a good request of its own (`tests/sendings.py`), with what it
    shows beforehand: nothing is stored by that.
    """
    for name, build in SIGNED.items():
        sending = build(meet)
        if "pin" not in sending.document:
            continue
        before = meet.head()
        unsigned = {field: value for field, value in sending.document.items() if field != "pin"}
        looking = replace(sending, path=f"{sending.path}?check=true", body=unsigned)
        shown = looking.send(meet.service.http)
        assert shown.status_code == 200, (name, shown.text)
        assert meet.head() == before, name
        yield name, replace(sending, body=unsigned), shown.json()


def test_each_signed_act_is_looked_at_and_then_signed_with_the_pin(meet: MeetAtHand) -> None:
    names = []
    for name, unsigned, shown in signings(meet):
        echo = {"shown_at": shown["shown_at"], "statement_sha256": shown["sha256"]}
        signed = unsigned.changed(pin=PIN, **echo).send(meet.service.http)
        assert signed.status_code in {200, 201}, (name, signed.text)
        names.append(name)
    assert len(names) == 17


def test_each_signed_act_is_looked_at_and_then_signed_with_a_passkey(meet: MeetAtHand) -> None:
    devices: dict[str, tuple[str, Authenticator]] = {}
    names = []
    for name, unsigned, shown in signings(meet):
        [who] = [one for one in meet.people.values() if one.token == unsigned.token]
        if who.id not in devices:
            device = Authenticator()
            devices[who.id] = register(who, device), device
        key, device = devices[who.id]
        signature = device.sign(key, shown["sha256"])
        sent = {"device_signature": signature, "shown_at": shown["shown_at"]}
        signed = unsigned.changed(**sent).send(meet.service.http)
        assert signed.status_code in {200, 201}, (name, signed.text)
        names.append(name)
    assert len(names) == 17
