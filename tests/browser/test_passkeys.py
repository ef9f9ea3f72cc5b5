"""A passkey made and used by Chromium through its virtual authenticator (Chrome DevTools Protocol,
domain WebAuthn), and a key made by its WebCrypto. What they sign is verified with openssl alone, of
what the record gives out.
"""

from __future__ import annotations

import json
import re
from hashlib import sha256
from pathlib import Path

import pytest
import rfc8785
from playwright.sync_api import CDPSession, Error, Page

from app.ids import new_id
from tests.access.test_signing import Matter, entry, openssl_verifies, raw
from tests.builders import PIN, Json, MeetAtHand, a_problem, a_report
from tests.reports.test_signed_on_the_phone import as_asn1

pytestmark = pytest.mark.browser

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
CREATE = """async (options) => {
    const publicKey = PublicKeyCredential.parseCreationOptionsFromJSON(options);
    const made = (await navigator.credentials.create({publicKey})).toJSON();
    return {attestation_object: made.response.attestationObject,
            client_data_json: made.response.clientDataJSON, credential: made.id};
}"""
SIGN = """async ([credential, digest]) => {
    const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")),
                                            (letter) => letter.charCodeAt(0));
    const challenge = Uint8Array.from(digest.match(/../g), (pair) => parseInt(pair, 16));
    const publicKey = {challenge, rpId: "localhost", userVerification: "required",
                       allowCredentials: [{type: "public-key", id: bytes(credential)}]};
    const made = (await navigator.credentials.get({publicKey})).toJSON();
    return {authenticator_data: made.response.authenticatorData,
            client_data_json: made.response.clientDataJSON, signature: made.response.signature};
}"""


class Tablet:
    """A tablet whose authenticator verifies its holder, or does not."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.protocol: CDPSession = page.context.new_cdp_session(page)
        self.protocol.send("WebAuthn.enable")
        told = self.protocol.send(
            "WebAuthn.addVirtualAuthenticator",
            {
                "options": {
                    "protocol": "ctap2",
                    "transport": "internal",
                    "hasUserVerification": True,
                    "isUserVerified": True,
                    "automaticPresenceSimulation": True,
                }
            },
        )
        self.authenticator = told["authenticatorId"]

    def verifies(self, *, holder: bool) -> None:
        which = {"authenticatorId": self.authenticator, "isUserVerified": holder}
        self.protocol.send("WebAuthn.setUserVerified", which)

    def create(self, options: Json) -> Json:
        return dict(self.page.evaluate(CREATE, options))

    def sign(self, credential: str, digest: str) -> Json:
        return dict(self.page.evaluate(SIGN, [credential, digest]))


def register(meet: MeetAtHand, tablet: Tablet) -> tuple[str, str]:
    """A passkey of the referee's on the tablet: its id, and its credential's."""
    options = meet.referee.post("me/keys/options").json()["public_key"]
    made, key = tablet.create(options), new_id()
    credential = made.pop("credential")
    sent = {"kind": "passkey", **made, "device": "Cleo's tablet", "pin": PIN}
    answer = meet.referee.put(f"me/keys/{key}", sent)
    assert answer.status_code == 201, answer.text
    assert answer.json()["credential"] == credential
    return key, credential


def test_a_ruling_is_signed_with_a_passkey_and_verified_by_openssl_from_the_record(
    meet: MeetAtHand, page: Page, tmp_path: Path
) -> None:
    tablet = Tablet(page)
    key, credential = register(meet, tablet)
    matter = Matter(meet)
    shown = matter.show()
    signature = {"key": key, **tablet.sign(credential, shown["sha256"])}
    signed = matter.put(device_signature=signature, shown_at=shown["shown_at"])
    assert signed.status_code == 201, signed.text
    body = entry(meet, "ruling", signed.json()["id"])
    registered = entry(meet, "key registered", key)
    assert body["statement"] == shown["statement"]
    proof = {name: raw(text) for name, text in body["signature"]["proof"].items()}
    digest = sha256(rfc8785.dumps(body["statement"])).digest()
    assert raw(json.loads(proof["client_data_json"])["challenge"]) == digest
    covered = proof["authenticator_data"] + sha256(proof["client_data_json"]).digest()
    pem = registered["public_key"]
    assert openssl_verifies(tmp_path, pem, proof["signature"], covered)
    assert not openssl_verifies(tmp_path, pem, proof["signature"], covered[:-1] + b"x")
    # WebAuthn Level 2, 6.1: SHA-256 of the server's name, then flags: present 1, verified 4.
    assert proof["authenticator_data"][:32] == sha256(b"localhost").digest()
    assert proof["authenticator_data"][32] & 5 == 5
    assert registered["rp_id"] == "localhost"


def test_a_passkey_signs_again_and_again_and_counts(meet: MeetAtHand, page: Page) -> None:
    tablet = Tablet(page)
    key, credential = register(meet, tablet)
    for lane in (4, 5, 6):
        matter = Matter(meet, lane=lane)
        shown = matter.show()
        signature = {"key": key, **tablet.sign(credential, shown["sha256"])}
        sent = {"device_signature": signature, "shown_at": shown["shown_at"]}
        assert matter.put(**sent).status_code == 201
        assert matter.put(**sent).status_code == 200


def test_a_tablet_that_does_not_know_its_holder_signs_nothing(meet: MeetAtHand, page: Page) -> None:
    tablet = Tablet(page)
    _, credential = register(meet, tablet)
    tablet.verifies(holder=False)
    with pytest.raises(Error, match="NotAllowedError"):
        tablet.sign(credential, Matter(meet).show()["sha256"])


def test_a_passkey_made_on_another_page_of_the_machine_is_refused(
    meet: MeetAtHand, page: Page, chromium: object
) -> None:
    """The same machine, another port: to a browser that is another origin."""
    tablet = Tablet(page)
    origin = meet.service.app.state.services.settings.public_url
    page.route("http://localhost:1/*", lambda route: route.fulfill(body="another page"))
    page.goto("http://localhost:1/")
    assert origin not in page.url
    options = meet.referee.post("me/keys/options").json()["public_key"]
    made = tablet.create(options)
    made.pop("credential")
    sent = {"kind": "passkey", **made, "pin": PIN}
    a_problem(meet.referee.put(f"me/keys/{new_id()}", sent), 403, "signature-refused")


def test_the_example_for_phones_signs_a_report_with_a_key_that_cannot_be_taken_out(
    meet: MeetAtHand, page: Page, tmp_path: Path
) -> None:
    """DEVELOPERS.md's own lines, run as they stand there."""
    found = re.search(r"```js\n(.*?)```", DEVELOPERS.read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    program = f"""async ([document, meet, report, key]) => {{
        {found[1]}
        return {{jwk: await crypto.subtle.exportKey("jwk", keys.publicKey), signature,
                 extractable: keys.privateKey.extractable,
                 sent: JSON.stringify({{...document, signature: {{key, signature}}}})}};
    }}"""
    report, key = new_id(), new_id()
    words = "Zoë’s foot: “too far” \U0001f3c1, \u20ac 1\n2"
    document = a_report(meet.heat(), meet.posts["umpire"], lane=4, words=words)
    made = page.evaluate(program, [document, meet.id, report, key])
    assert made["extractable"] is False
    with pytest.raises(Error, match="InvalidAccessError"):
        page.evaluate(
            """async () => {
                const kind = {name: "ECDSA", namedCurve: "P-256"};
                const keys = await crypto.subtle.generateKey(kind, false, ["sign", "verify"]);
                return await crypto.subtle.exportKey("jwk", keys.privateKey);
            }"""
        )
    sent = {"kind": "phone key", "public_key": made["jwk"], "device": "Bo's phone", "pin": PIN}
    assert meet.umpire.put(f"me/keys/{key}", sent).status_code == 201
    headers = {"Content-Type": "application/json"}
    written = meet.umpire.put(f"reports/{report}", content=made["sent"].encode(), headers=headers)
    assert written.status_code == 201, written.text
    assert written.json()["attested"]["strength"] == "phone key", written.text
    body = entry(meet, "report written", report)
    halves = raw(body["signature"]["proof"]["signature"])
    pem = entry(meet, "key registered", key)["public_key"]
    signed = rfc8785.dumps(body["statement"])
    assert openssl_verifies(tmp_path, pem, as_asn1(halves[:32], halves[32:]), signed)
