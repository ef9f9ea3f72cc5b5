"""A report that its phone has signed with its own key, without a network, over what it sends.

ECDSA on P-256 with SHA-256, r and s as WebCrypto gives them (W3C Web Cryptography API, 23.3), over
RFC 8785: made here by the libraries cryptography and rfc8785, verified of what the record gives out
with openssl.
"""

from __future__ import annotations

import json
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import httpx
import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from app.ids import new_id
from app.reports.attesting import as_taken_in
from tests.access.authenticator import a_key, encoded
from tests.access.test_signing import entry, openssl_verifies, raw
from tests.builders import PIN, Json, MeetAtHand, Person, a_meet, a_problem, a_report
from tests.forms.pdf_reading import read_text
from tests.running import Service

UNFIT = "the phone's signature does not fit what was sent"
UNKNOWN = "signed with a key that is not known here"
REVOKED = "signed with a key that was revoked before it came"


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    """A meet whose first heat runs, so that its reports bear no mark."""
    hand = a_meet(service)
    hand.start()
    return hand


def as_jwk(key: ec.EllipticCurvePrivateKey) -> Json:
    """What WebCrypto exports of a public key (RFC 7517; W3C Web Cryptography API, 23.7)."""
    point = key.public_key().public_numbers()
    x, y = encoded(point.x.to_bytes(32)), encoded(point.y.to_bytes(32))
    return {"kty": "EC", "crv": "P-256", "x": x, "y": y, "ext": True, "key_ops": ["verify"]}


class Phone:
    """A phone with a key of its own, registered by its umpire."""

    def __init__(self, meet: MeetAtHand, who: Person | None = None) -> None:
        self.meet, self.who = meet, who or meet.umpire
        self.key, self.id = a_key(), new_id()
        sent = {"kind": "phone key", "public_key": as_jwk(self.key), "device": "Bo's phone"}
        answer = self.who.put(f"me/keys/{self.id}", {**sent, "pin": PIN})
        assert answer.status_code == 201, answer.text

    def signed(self, ident: str, document: Json, **changes: Any) -> Json:
        """The document with its signature; `changes` are what else is signed than sent."""
        told = {"act": "report", "meet": self.meet.id, "report": ident, **document, **changes}
        r, s = decode_dss_signature(self.key.sign(rfc8785.dumps(told), ec.ECDSA(SHA256())))
        signature = encoded(r.to_bytes(32) + s.to_bytes(32))
        return {**document, "signature": {"key": self.id, "signature": signature}}

    def write(self, **changes: Any) -> httpx.Response:
        ident = new_id()
        document = a_report(self.meet.heat(), self.meet.posts["umpire"], lane=4)
        return self.who.put(f"reports/{ident}", self.signed(ident, document, **changes))


def test_a_report_signed_on_the_phone_is_verified_by_openssl_from_the_record_alone(
    meet: MeetAtHand, tmp_path: Path
) -> None:
    phone = Phone(meet)
    written = phone.write()
    assert written.status_code == 201, written.text
    told = written.json()
    body = entry(meet, "report written", told["id"])
    signature = body["signature"]
    assert (signature["strength"], signature["key"]) == ("phone key", phone.id)
    assert signature["official"] == meet.umpire.id
    signed = rfc8785.dumps(body["statement"])
    assert sha256(signed).hexdigest() == body["statement_sha256"]
    assert told["attested"] == {
        "strength": "phone key",
        "key": phone.id,
        "statement_sha256": body["statement_sha256"],
        "key_revoked_from": None,
        "words": "signed on the phone with its own key at the moment of writing",
    }
    halves = raw(signature["proof"]["signature"])
    # openssl reads r and s as ASN.1 (RFC 3279, 2.2.3).
    in_asn1 = as_asn1(halves[:32], halves[32:])
    pem = entry(meet, "key registered", phone.id)["public_key"]
    assert openssl_verifies(tmp_path, pem, in_asn1, signed)
    assert not openssl_verifies(tmp_path, pem, in_asn1, signed + b" ")
    assert not told["marks"]


def as_asn1(*numbers: bytes) -> bytes:
    content = b"".join(integer(number) for number in numbers)
    return b"\x30" + bytes([len(content)]) + content


def integer(number: bytes) -> bytes:
    shortest = number.lstrip(b"\x00")
    padded = b"\x00" + shortest if shortest[:1] >= b"\x80" else shortest
    return b"\x02" + bytes([len(padded)]) + padded


def test_without_a_signature_a_report_is_attested_by_the_server(meet: MeetAtHand) -> None:
    told = meet.report(lane=4)
    body = entry(meet, "report written", told["id"])
    by = {"strength": "server", "official": meet.umpire.id, "key": None, "proof": None}
    assert body["signature"] == by
    digest = body["statement_sha256"]
    assert "statement" not in body
    assert told["attested"] == {
        "strength": "server",
        "key": None,
        "statement_sha256": digest,
        "key_revoked_from": None,
        "words": "attested by the server",
    }


@pytest.mark.parametrize("is_own", [False, True], ids=["at a post", "an own observation"])
def test_the_statement_of_a_report_without_a_signature_is_what_its_entry_says_was_sent(
    meet: MeetAtHand, is_own: bool
) -> None:
    sent = a_report(meet.heat(), meet.posts["umpire"], lane=4)
    if is_own:
        sent |= {"post": None, "take_over": 3}
    report = new_id()
    assert meet.umpire.put(f"reports/{report}", sent).status_code == 201
    body = entry(meet, "report written", report)
    statement = {
        "act": "report",
        "clock": body["clock"],
        "heat": sent["heat"],
        "lane": 4,
        "meet": meet.id,
        "observation": body["observation"],
        "post": sent["post"],
        "report": report,
        "take_over": 3 if is_own else None,
        "words": sent["words"],
    }
    # RFC 8785 by the library rfc8785, SHA-256 by the standard library.
    assert sha256(rfc8785.dumps(statement)).hexdigest() == body["statement_sha256"]
    assert as_taken_in(body, meet.id, report) == statement


def test_every_papers_report_has_the_digest_of_its_statement(meet: MeetAtHand) -> None:
    told = meet.report(lane=4)
    ruled = meet.rule(told["case"]).json()
    digest = told["attested"]["statement_sha256"]
    addresses = (f"reports/{told['id']}/form.pdf", f"rulings/{ruled['id']}/form.pdf")
    for address in (*addresses, f"cases/{told['case']}/file.pdf"):
        words = "".join(read_text(meet.referee.get(address).content).split())
        assert digest in words, address


@pytest.mark.parametrize(
    "changes",
    [{"lane": 5}, {"meet": new_id()}, {"report": new_id()}, {"act": "ruling"}, {"words": "x"}],
)
def test_a_signature_of_something_else_costs_no_report_and_does_not_count(
    meet: MeetAtHand, changes: Json
) -> None:
    told = Phone(meet).write(**changes)
    assert told.status_code == 201, told.text
    assert told.json()["marks"] == [UNFIT]
    assert told.json()["attested"]["strength"] == "server"
    body = entry(meet, "report written", told.json()["id"])
    assert body["signature"]["strength"] == "server"
    assert body["signature"]["proof"] is None
    assert body["signature_sent"]["signature"]
    assert meet.umpire.get(f"reports/{told.json()['id']}").json()["marks"] == [UNFIT]


def test_a_key_that_is_not_the_umpires_own_does_not_count(meet: MeetAtHand) -> None:
    phone, other = Phone(meet), Phone(meet, meet["second"])
    phone.id = other.id
    assert phone.write().json()["marks"] == [UNKNOWN]
    phone.id = new_id()
    assert phone.write().json()["marks"] == [UNKNOWN]


def test_a_revoked_key_does_not_count_whatever_the_phones_clock_says(meet: MeetAtHand) -> None:
    phone = Phone(meet)
    before = phone.write().json()
    meet.service.clock.move(timedelta(minutes=1))
    revoked = meet.umpire.post(f"me/keys/{phone.id}/revoke", {"reason": "Lost on the way."})
    assert revoked.status_code == 200
    told = phone.write().json()
    assert (told["marks"], told["attested"]["strength"]) == ([REVOKED], "server")
    assert meet.umpire.get(f"reports/{before['id']}").json()["attested"]["key"] == phone.id


@pytest.mark.parametrize("spoilt", ["", "=", "A" * 2001, "Å"])
def test_a_signature_that_is_no_base64url_is_malformed(meet: MeetAtHand, spoilt: str) -> None:
    sent = a_report(meet.heat(), meet.posts["umpire"], lane=4)
    sent["signature"] = {"key": new_id(), "signature": spoilt}
    told = a_problem(meet.umpire.put(f"reports/{new_id()}", sent), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/signature/signature"


@pytest.mark.parametrize("spoilt", ["AA", "A" * 86, "A" * 88, "_" * 86])
def test_a_signature_of_another_length_or_of_nothing_does_not_count(
    meet: MeetAtHand, spoilt: str
) -> None:
    phone, report = Phone(meet), new_id()
    sent = a_report(meet.heat(), meet.posts["umpire"], lane=4)
    sent["signature"] = {"key": phone.id, "signature": spoilt.replace("_" * 86, "_" * 85 + "w")}
    answer = meet.umpire.put(f"reports/{report}", sent)
    assert answer.json()["marks"] == [UNFIT], answer.text


def test_the_same_report_signed_sent_again_is_the_same(meet: MeetAtHand) -> None:
    phone, report = Phone(meet), new_id()
    document = a_report(meet.heat(), meet.posts["umpire"], lane=4)
    sent = phone.signed(report, document)
    first = meet.umpire.put(f"reports/{report}", sent)
    head = meet.head()
    again = meet.umpire.put(f"reports/{report}", sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    # How it is signed is no part of what it says.
    assert meet.umpire.put(f"reports/{report}", document).status_code == 200
    assert meet.head() == head


@pytest.mark.parametrize("kind", ["application/json", "application/json; charset=utf-8"])
def test_a_signature_counts_whichever_way_a_report_takes(meet: MeetAtHand, kind: str) -> None:
    """The short way and the framework's: see `tests/test_short_way.py`."""
    phone, report = Phone(meet), new_id()
    document = a_report(meet.heat(), meet.posts["umpire"], lane=4)
    content = json.dumps(phone.signed(report, document)).encode()
    headers = {"Content-Type": kind}
    answer = meet.umpire.put(f"reports/{report.upper()}", content=content, headers=headers)
    assert answer.json()["attested"]["strength"] == "phone key", answer.text
    report = new_id()
    content = json.dumps(phone.signed(report, document)).encode()
    answer = meet.umpire.put(f"reports/{report}", content=content, headers=headers)
    assert answer.json()["attested"]["strength"] == "phone key", answer.text


@pytest.mark.parametrize("number", ["1e999", "1E400", "123456789012345678901234567890"])
def test_a_number_that_no_phone_writes_is_malformed_with_a_signature_too(
    meet: MeetAtHand, number: str
) -> None:
    phone, report = Phone(meet), new_id()
    document = a_report(meet.heat(), meet.posts["umpire"], lane=4)
    sent = json.dumps(phone.signed(report, document))
    spoilt = sent.replace('"lane": 4', f'"lane": {number}').encode()
    headers = {"Content-Type": "application/json"}
    answer = meet.umpire.put(f"reports/{report}", content=spoilt, headers=headers)
    a_problem(answer, 422, "malformed")


def test_what_is_written_again_is_signed_again(meet: MeetAtHand) -> None:
    phone, report = Phone(meet), new_id()
    document = a_report(meet.heat(), meet.posts["umpire"], lane=4)
    first = meet.umpire.put(f"reports/{report}", phone.signed(report, document)).json()
    etag = meet.umpire.get(f"reports/{report}").headers["ETag"]
    reason = {"reason": "How far past the line?"}
    returned = meet.referee.post(f"reports/{report}/return", reason, etag=etag)
    better = {**document, "words": "A step past the line."}
    second = meet.umpire.put(
        f"reports/{report}", phone.signed(report, better), etag=returned.headers["ETag"]
    ).json()
    assert second["attested"]["strength"] == "phone key"
    assert second["attested"]["statement_sha256"] != first["attested"]["statement_sha256"]


def test_a_signed_report_means_what_was_sent_not_how_the_server_writes_it(
    meet: MeetAtHand,
) -> None:
    """Spaces, order of names, numbers and letters as a phone wrote them: RFC 8785 takes care."""
    phone, report = Phone(meet), new_id()
    document = a_report(
        meet.heat(), meet.posts["umpire"], lane=4, words="  Zoë: “too far” \U0001f3c1 "
    )
    sent = phone.signed(report, document)
    text = json.dumps(dict(reversed(sent.items())), indent=3, ensure_ascii=False)
    headers = {"Content-Type": "application/json"}
    answer = meet.umpire.put(f"reports/{report}", content=text.encode(), headers=headers)
    assert answer.json()["attested"]["strength"] == "phone key", answer.text


def test_the_form_names_how_each_report_is_attested(meet: MeetAtHand) -> None:
    told = Phone(meet).write().json()
    second = meet.report(by="second", lane=4)
    assert second["case"] == told["case"]
    ruled = meet.rule(told["case"])
    form = meet.referee.get(f"rulings/{ruled.json()['id']}/form.pdf").content
    words = " ".join(read_text(form).split())
    assert "by the phone's own key, with which it was signed at the moment of writing" in words
    assert told["attested"]["statement_sha256"] in words.replace(" ", "")
    assert "attested by the server" in words


@pytest.mark.parametrize(
    "key",
    [
        {"kty": "EC", "crv": "P-256", "x": "A" * 43, "y": "A" * 43},
        {"kty": "EC", "crv": "P-384", "x": "A" * 43, "y": "A" * 43},
        {"kty": "EC", "crv": "P-256", "x": "A" * 42, "y": "A" * 43},
        {**as_jwk(a_key()), "d": "A" * 43},
        "AAAA",
        "A" * 2001,
        None,
    ],
)
def test_what_is_no_public_key_on_the_curve_is_not_registered(meet: MeetAtHand, key: Any) -> None:
    before = meet.head()
    sent = {"kind": "phone key", "public_key": key, "pin": PIN}
    told = a_problem(meet.umpire.put(f"me/keys/{new_id()}", sent), 422, "malformed")
    assert told["errors"][0]["pointer"].startswith("/public_key")
    assert meet.head() == before
