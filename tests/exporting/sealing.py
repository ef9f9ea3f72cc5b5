"""A meet's seal for tests: certificates, sealed papers, signed heads and signed acts, made with
general libraries and put into the store as the program does it.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from io import BytesIO
from typing import Any

from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import fields, signers
from pyhanko_certvalidator.registry import SimpleCertificateStore
from sqlalchemy import insert

from app.ids import MeetId, new_id
from app.record.canonical import canonical
from app.record.kinds import Kind
from app.record.notes import NoteKey, checkpoint, origin_of
from app.record.queries import head_of
from app.record.tables import checkpoints
from app.sealing.queries import seal_in_use
from app.sealing.seals import note_key
from app.sealing.tables import papers
from app.store.action import Actor, Deed, Done, Unit
from app.store.store import Store
from seed_demo.stage import Stage

RP = "zonedocket.example"


def a_certificate(name: str) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    """A key and its self-signed certificate."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(datetime(2026, 1, 1, tzinfo=UTC))
        .not_valid_after(datetime(2056, 1, 1, tzinfo=UTC))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            x509.KeyUsage(True, True, False, False, False, False, False, False, False),
            critical=True,
        )
    )
    return key, made.sign(key, SHA256())


@dataclass
class TestSeal:
    """A seal with its private halves."""

    __test__ = False

    meet: MeetId
    name: str = "Test meet"
    number: int = 1
    id: str = field(default_factory=new_id)

    def __post_init__(self) -> None:
        self.key, self.certificate = a_certificate(self.name)
        self.notes = NoteKey(origin_of(self.meet), Ed25519PrivateKey.generate())

    @classmethod
    def of(cls, stage: Stage) -> TestSeal:
        """The seal that a played meet has."""
        known = stage.read(lambda conn: seal_in_use(conn, stage.meet_id))
        assert known is not None
        kept = stage.seals._keys.find(stage.meet_id, known.fingerprint)
        assert kept is not None
        seal = cls(stage.meet_id, id=known.id)
        seal.key, seal.certificate = kept.private_key, kept.certificate
        seal.notes = note_key(kept, stage.meet_id)
        return seal

    @property
    def pem(self) -> str:
        return self.certificate.public_bytes(Encoding.PEM).decode()

    @property
    def fingerprint(self) -> str:
        return self.certificate.fingerprint(SHA256()).hex()

    def signer(self) -> signers.SimpleSigner:
        private = self.key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
        return signers.SimpleSigner(
            signing_cert=asn1_x509.Certificate.load(self.certificate.public_bytes(Encoding.DER)),
            signing_key=asn1_keys.PrivateKeyInfo.load(private),
            cert_registry=SimpleCertificateStore(),
        )

    def seal(self, pdf: bytes, name: str = "Seal1") -> bytes:
        """The PDF with one more seal, as an incremental update."""
        out = signers.sign_pdf(
            IncrementalPdfFileWriter(BytesIO(pdf)),
            signers.PdfSignatureMetadata(
                field_name=name, subfilter=fields.SigSeedSubFilter.PADES, md_algorithm="sha256"
            ),
            signer=self.signer(),
        )
        return bytes(out.getvalue())


def do(
    store: Store, meet: MeetId, actor: str, kind: Kind, subject: str, body: Any, *rows: Any
) -> None:
    """An act that stores rows and leaves one entry."""

    def act(unit: Unit) -> Done[None]:
        for table, row in rows:
            unit.conn.execute(insert(table).values(row))
        return Done(None, Deed(kind, subject, body))

    store.act_now(meet, Actor(actor), act)


def sign_head(store: Store, seal: TestSeal, now: datetime) -> int:
    """The present head is signed and given out."""
    head = store.read_now(lambda conn: head_of(conn, seal.meet))
    note = seal.notes.sign_note(checkpoint(seal.meet, head.size, head.root, now).body)
    row = {"meet_id": seal.meet, "size": head.size, "root": head.root, "made_at": now, "note": note}

    def act(unit: Unit) -> Done[None]:
        unit.conn.execute(insert(checkpoints).values(row))
        return Done(None, None)

    store.act_now(seal.meet, Actor("founder"), act)
    return head.size


@dataclass(frozen=True)
class Sheet:
    """A paper to be sealed."""

    kind: str
    subject: str
    content: bytes
    edition: int = 1


def seal_paper(store: Store, seal: TestSeal, actor: str, sheet: Sheet, now: datetime) -> str:
    """A paper is stored as sealed, with the head that is printed on it."""
    size, paper = sign_head(store, seal, now), new_id()
    told = {
        "kind": sheet.kind,
        "subject": sheet.subject,
        "sheet": "A4",
        "edition": sheet.edition,
        "sha256": sha256(sheet.content).hexdigest(),
        "head_size": size,
    }
    body = {**told, "paper": paper, "fingerprint": seal.fingerprint}
    row = {
        **told,
        "id": paper,
        "meet_id": seal.meet,
        "facts": {},
        "facts_sha256": "00" * 32,
        "content": sheet.content,
        "seal_id": seal.id,
        "sealed_at": now,
    }
    do(store, seal.meet, actor, Kind.PAPER_SEALED, paper, body, (papers, row))
    return paper


def as_url_text(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


@dataclass
class DeviceKey:
    """A key of an official's device, in software."""

    official: str
    kind: str = "passkey"
    id: str = field(default_factory=new_id)

    def __post_init__(self) -> None:
        self.private = ec.generate_private_key(ec.SECP256R1())

    def registered(self) -> dict[str, Any]:
        pem = self.private.public_key().public_bytes(
            Encoding.PEM, PublicFormat.SubjectPublicKeyInfo
        )
        return {
            "key": self.id,
            "kind": self.kind,
            "official": self.official,
            "public_key": pem.decode(),
            "credential": "abc",
            "rp_id": RP,
            "device": "a telephone",
        }

    def revoked(self, since: str) -> dict[str, Any]:
        return {"key": self.id, "revoked_from": since, "official": self.official}

    def signed(self, statement: Mapping[str, Any], **changes: Any) -> dict[str, Any]:
        """The body of an act that is signed with this key."""
        form = canonical(dict(statement))
        proof = self._by_phone(form) if self.kind == "phone key" else self._by_passkey(form)
        strength = "phone key" if self.kind == "phone key" else "device key"
        signature = {
            "strength": strength,
            "official": self.official,
            "key": self.id,
            "proof": {**proof, **changes},
        }
        digest = sha256(form).hexdigest()
        return {"statement": dict(statement), "statement_sha256": digest, "signature": signature}

    def _by_phone(self, form: bytes) -> dict[str, str]:
        r, s = decode_dss_signature(self.private.sign(form, ec.ECDSA(SHA256())))
        return {"signature": as_url_text(r.to_bytes(32, "big") + s.to_bytes(32, "big"))}

    def _by_passkey(self, form: bytes) -> dict[str, str]:
        data = sha256(RP.encode()).digest() + b"\x05" + (7).to_bytes(4, "big")
        challenge = as_url_text(sha256(form).digest())
        told = {"type": "webauthn.get", "challenge": challenge, "origin": f"https://{RP}"}
        client = json.dumps(told).encode()
        made = self.private.sign(data + sha256(client).digest(), ec.ECDSA(SHA256()))
        return {
            "authenticator_data": as_url_text(data),
            "client_data_json": as_url_text(client),
            "signature": as_url_text(made),
        }


def signed_with_pin(official: str, statement: Mapping[str, Any]) -> dict[str, Any]:
    """The body of an act that is signed with a PIN."""
    digest = sha256(canonical(dict(statement))).hexdigest()
    signature = {"strength": "PIN", "official": official, "key": None, "proof": None}
    return {"statement": dict(statement), "statement_sha256": digest, "signature": signature}


def later(now: datetime, minutes: int) -> datetime:
    return now + timedelta(minutes=minutes)
