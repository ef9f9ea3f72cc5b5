"""Passkeys (WebAuthn Level 2): how one is registered, and how what it signed is verified.

The challenge of a registration is made of the time and the session, under a secret of the session
that never leaves the server: any worker knows it again, and none has to remember it. The challenge
of a signature is the SHA-256 of the statement. Only ES256 and RS256 are taken, whose signatures
`openssl dgst -sha256 -verify` checks.
"""

from __future__ import annotations

import hmac
import json
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePublicKey
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.serialization import load_pem_public_key
from starlette.concurrency import run_in_threadpool
from webauthn import (
    generate_registration_options,
    verify_authentication_response,
    verify_registration_response,
)
from webauthn.helpers import (
    decode_credential_public_key,
    decoded_public_key_to_cryptography,
    encode_cbor,
    options_to_json_dict,
    parse_attestation_object,
    parse_client_data_json,
)
from webauthn.helpers.cose import COSEAlgorithmIdentifier
from webauthn.helpers.exceptions import WebAuthnException
from webauthn.helpers.structs import (
    AttestationConveyancePreference,
    AttestationFormat,
    AuthenticatorSelectionCriteria,
    PublicKeyCredentialDescriptor,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from app.access.guard import Admitted
from app.access.key_kinds import PASSKEY, NewKey, in_pem, insist_on_room
from app.access.pen import NO_SUCH_PASSKEY, DeviceProof
from app.access.queries import Caller, key_row, keys_of, session_salt
from app.access.sign_wire import DeviceSignature, KeyIn, KeyOptionsOut, decode, encode
from app.config import Settings
from app.ids import KeyId, MeetId
from app.record.kinds import Kind
from app.record.queries import entries_about
from app.refusals import SignatureRefused, StateConflict

CHALLENGE_LASTS = timedelta(minutes=10)
TIME_BYTES = 8
ALGORITHMS = [
    COSEAlgorithmIdentifier.ECDSA_SHA_256,
    COSEAlgorithmIdentifier.RSASSA_PKCS1_v1_5_SHA_256,
]
FORMATS = frozenset({AttestationFormat.NONE, AttestationFormat.PACKED})
"""No attestation is asked for; what a browser answers then is one of these (Level 2, 5.1.3)."""
LONGEST_CREDENTIAL = 1023
"""In bytes (WebAuthn Level 2, section 4, Credential ID)."""
RSA_BITS = range(2048, 4097)
USUAL_EXPONENT = 65_537
HOSTILE = (
    WebAuthnException,
    ArithmeticError,
    AttributeError,
    LookupError,
    RecursionError,
    TypeError,
    ValueError,
)
"""What the library and its parsers raise at bytes that no authenticator makes."""


_ORIGIN = re.compile(r"https?://[\w.:\[\]-]{1,255}")
"""An origin that can be told (RFC 6454, 6.2)."""


@dataclass(frozen=True, slots=True)
class Party:
    """Whom passkeys are for: the server by its domain, and the origin that its pages have."""

    id: str
    origin: str


def party_of(settings: Settings) -> Party:
    """The server as browsers know it, by its public address."""
    address = urlsplit(settings.address)
    usual = {"https": 443, "http": 80}.get(address.scheme)
    port = "" if address.port in {None, usual} else f":{address.port}"
    host = address.hostname or ""
    return Party(host, f"{address.scheme}://{f'[{host}]' if ':' in host else host}{port}")


class _OtherPage(ValueError):
    """What was sent was made on a page with another address than the server's."""

    def words(self, party: Party) -> str:
        return (
            f"This was made on a page of {self}, and this server is known as {party.origin}. Open "
            "it there and try again; or, where phones are to open the other address, have its "
            "operator set ZONEDOCKET_PUBLIC_URL to that. Sign with your PIN until then."
        )


def _insist_on_page(client_data: bytes, party: Party) -> None:
    origin = json.loads(client_data)["origin"]
    if origin != party.origin and _ORIGIN.fullmatch(origin):
        raise _OtherPage(origin)


def _insist_domain(party: Party) -> None:
    try:
        ip_address(party.id)
    except ValueError:
        return
    raise StateConflict(
        f"Passkeys need a name, and this server is known as {party.id}. Have its operator set "
        "ZONEDOCKET_PUBLIC_URL to the address that phones open, with HTTPS. Sign with your PIN "
        "until then."
    )


async def creation_options(here: Admitted, meet_id: MeetId) -> KeyOptionsOut:
    """What a browser is asked so that it makes a passkey; StateConflict where the server has no
    name, or the caller as many keys as count at a time.
    """
    caller, party = here.caller, party_of(here.services.settings)
    _insist_domain(party)
    salt = await here.store.read(lambda conn: session_salt(conn, caller.session_id))
    known = await here.store.read(lambda conn: keys_of(conn, meet_id, caller.official_id))
    insist_on_room(sum(one.revoked_from is None for one in known))
    made = generate_registration_options(
        rp_id=party.id,
        rp_name="Zone Docket",
        user_name=caller.name,
        user_id=caller.official_id.encode(),
        challenge=make_challenge(salt, caller, here.clock.now()),
        timeout=int(CHALLENGE_LASTS.total_seconds() * 1000),
        attestation=AttestationConveyancePreference.NONE,
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.DISCOURAGED,
            user_verification=UserVerificationRequirement.REQUIRED,
        ),
        exclude_credentials=[
            PublicKeyCredentialDescriptor(id=decode(one.credential))
            for one in known
            if one.credential and one.revoked_from is None
        ],
        supported_pub_key_algs=ALGORITHMS,
    )
    return KeyOptionsOut(public_key=options_to_json_dict(made))


def make_challenge(salt: str, caller: Caller, now: datetime) -> bytes:
    """A challenge for this session, made now."""
    made_at = int(now.timestamp() * 1000).to_bytes(TIME_BYTES)
    return made_at + _mac(salt, caller, made_at)


def _mac(salt: str, caller: Caller, made_at: bytes) -> bytes:
    what = b"register a passkey|" + caller.session_id.encode() + b"|" + made_at
    return hmac.digest(salt.encode(), what, sha256)


def _is_fresh(challenge: bytes, salt: str, caller: Caller, now: datetime) -> bool:
    made_at, mac = challenge[:TIME_BYTES], challenge[TIME_BYTES:]
    if not hmac.compare_digest(mac, _mac(salt, caller, made_at)):
        return False
    age = int(now.timestamp() * 1000) - int.from_bytes(made_at)
    return 0 <= age <= CHALLENGE_LASTS.total_seconds() * 1000


async def read_attestation(here: Admitted, sent: KeyIn) -> NewKey:
    """The passkey that a browser has made; SignatureRefused where it was not asked for here and
    now, or is none.
    """
    caller, now = here.caller, here.clock.now()
    salt = await here.store.read(lambda conn: session_salt(conn, caller.session_id))
    party = party_of(here.services.settings)
    try:
        return await run_in_threadpool(_attested, sent, party, salt, caller, now)
    except _OtherPage as error:
        raise SignatureRefused(error.words(party)) from error
    except HOSTILE as error:
        raise SignatureRefused(
            "This passkey cannot be registered: it was made for another server, for another "
            "session or more than ten minutes ago, without looking at who holds the device, or "
            "with a kind of key that is not taken here. Ask for the options again "
            "(POST …/me/keys/options), then make it anew."
        ) from error


def _attested(sent: KeyIn, party: Party, salt: str, caller: Caller, now: datetime) -> NewKey:
    assert sent.attestation_object is not None
    assert sent.client_data_json is not None
    attestation, client_data = decode(sent.attestation_object), decode(sent.client_data_json)
    _insist_on_page(client_data, party)
    challenge = parse_client_data_json(client_data).challenge
    read = parse_attestation_object(attestation)
    credential = read.auth_data.attested_credential_data
    if not _is_fresh(challenge, salt, caller, now) or read.fmt not in FORMATS or credential is None:
        raise ValueError("not asked for")
    if len(credential.credential_id) > LONGEST_CREDENTIAL:
        raise ValueError("longer than any")
    ident = encode(credential.credential_id)
    verified = verify_registration_response(
        credential=_credential(
            ident, attestationObject=sent.attestation_object, clientDataJSON=sent.client_data_json
        ),
        expected_challenge=challenge,
        expected_rp_id=party.id,
        expected_origin=party.origin,
        require_user_verification=True,
        supported_pub_key_algs=ALGORITHMS,
    )
    public_key = _public_key(verified.credential_public_key)
    return NewKey(PASSKEY, in_pem(public_key), ident, party.id, verified.sign_count, party.origin)


def _credential(ident: str, **response: str) -> dict[str, Any]:
    """An answer of the browser, in the form in which the library reads it."""
    return {"id": ident, "rawId": ident, "type": "public-key", "response": response}


def _public_key(cose: bytes) -> EllipticCurvePublicKey | RSAPublicKey:
    """A public key that openssl verifies in a moment; ValueError for any other."""
    key = decoded_public_key_to_cryptography(decode_credential_public_key(cose))
    if isinstance(key, EllipticCurvePublicKey) and key.curve.name == "secp256r1":
        return key
    if isinstance(key, RSAPublicKey) and _is_usual(key):
        return key
    raise ValueError("not of a kind that is taken")


def _is_usual(key: RSAPublicKey) -> bool:
    """Whether verifying with it takes the usual time: an exponent may be as long as the modulus."""
    return key.key_size in RSA_BITS and key.public_numbers().e == USUAL_EXPONENT


async def prove(here: Admitted, party: Party, sent: DeviceSignature) -> DeviceProof:
    """What a passkey of the caller has signed; SignatureRefused where it has not."""
    key, caller = KeyId(sent.key), here.caller
    row = await here.store.read(lambda conn: key_row(conn, caller.meet_id, key))
    if row is None or row.kind != PASSKEY or row.official_id != caller.official_id:
        raise SignatureRefused(NO_SUCH_PASSKEY)
    await _insist_registered_here(here, party, key)
    try:
        return await run_in_threadpool(_verified, sent, party, row.public_key, row.credential)
    except _OtherPage as error:
        raise SignatureRefused(error.words(party)) from error
    except HOSTILE as error:
        raise SignatureRefused(
            "This passkey's signature does not fit: it was made with another key, for another "
            "server, or without looking at who holds the device. Nothing was signed. Try again, "
            "or sign with your PIN."
        ) from error


async def _insist_registered_here(here: Admitted, party: Party, key: KeyId) -> None:
    """SignatureRefused for a key of the time when the server had another address: whoever checks
    the record holds a signature's origin against that of its key.
    """
    meet = here.caller.meet_id
    made = await here.store.read(lambda conn: entries_about(conn, meet, Kind.KEY_REGISTERED, key))
    body = made[0].body if made else None
    then = None if body is None else body.get("origin")
    if then not in {None, party.origin}:
        raise SignatureRefused(
            f"This passkey was registered when this server was {then}, and it is {party.origin} "
            "now, so nobody could check what it signs. Nothing was signed. Revoke it "
            "(POST …/me/keys/{key}/revoke) and register this device anew, or sign with your PIN."
        )


def _verified(sent: DeviceSignature, party: Party, pem: str, credential: str) -> DeviceProof:
    _insist_on_page(decode(sent.client_data_json), party)
    challenge = json.loads(decode(sent.client_data_json))["challenge"]
    signed = decode(challenge)
    verified = verify_authentication_response(
        credential=_credential(
            credential,
            authenticatorData=sent.authenticator_data,
            clientDataJSON=sent.client_data_json,
            signature=sent.signature,
        ),
        expected_challenge=signed,
        expected_rp_id=party.id,
        expected_origin=party.origin,
        credential_public_key=_in_cose(pem),
        # The action holds the count against what is stored: there a repetition is known as one.
        credential_current_sign_count=0,
        require_user_verification=True,
    )
    told = sent.model_dump(exclude={"key"})
    return DeviceProof(KeyId(sent.key), signed, verified.new_sign_count, told)


def _in_cose(pem: str) -> bytes:
    """A stored public key as the library reads it (RFC 9053, 7.1; RFC 8230, 4)."""
    key = load_pem_public_key(pem.encode())
    if isinstance(key, EllipticCurvePublicKey):
        point = key.public_numbers()
        x, y = (number.to_bytes(32) for number in (point.x, point.y))
        return encode_cbor({1: 2, 3: int(ALGORITHMS[0]), -1: 1, -2: x, -3: y})
    assert isinstance(key, RSAPublicKey)
    numbers = key.public_numbers()
    n, e = (one.to_bytes((one.bit_length() + 7) // 8) for one in (numbers.n, numbers.e))
    return encode_cbor({1: 3, 3: int(ALGORITHMS[1]), -1: n, -2: e})
