"""When was a paper sealed, by the word of somebody else: a time-stamp authority (RFC 3161)?

The answer is not believed before it is looked at: it must be about what was asked, signed by a
certificate that is for time stamps alone, and near the present. Whether that certificate is to be
trusted is for whoever checks the paper. A stamp is never waited for longer than `PATIENCE`: a form
without one is worth more than none.
"""

from __future__ import annotations

import hashlib
import secrets
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import datetime, timedelta
from http.client import HTTPResponse
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import ClassVar, Protocol

from asn1crypto import algos, cms, core, tsp, x509  # type: ignore[import-untyped]
from pyhanko.sign.validation.generic_cms import validate_sig_integrity

PATIENCE = 4.0  # seconds for all of it: name, connection, question and answer
LARGEST_ANSWER = 64 * 1024
LARGEST_TOKEN = 12 * 1024
"""A token with a chain of RSA certificates has 3 to 7 KiB; a seal keeps so much room for it."""
MOST_APART = timedelta(hours=1)
"""Further apart, one of both clocks is wrong, and a paper would tell two times."""
NONCE_BITS = 63
STAMP_PURPOSE = ["time_stamping"]  # RFC 3161, 2.3: that one alone, and critical


class NotStamped(Exception):
    """There is no time stamp; it says why, in words that go on after "No time stamp: "."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """An authority's token (CMS) as DER, and the time that it tells."""

    token: bytes
    at: datetime


class TimeStampAuthority(Protocol):
    """Whoever stamps a SHA-256."""

    def stamp(self, digest: bytes, now: datetime) -> Stamp:
        """A token over this digest; NotStamped where there is none that can be used."""
        ...


@dataclass(frozen=True, slots=True)
class HttpAuthority:
    """An authority that is asked over HTTP (RFC 3161, 3.4); `patience` in seconds."""

    url: str
    patience: float = PATIENCE

    def stamp(self, digest: bytes, now: datetime) -> Stamp:
        """A token over this digest; NotStamped where none came in time, or one that is not true."""
        nonce = secrets.randbits(NONCE_BITS) | 1
        answer = self._ask(_question(digest, nonce))
        return read_answer(answer, digest, nonce, now)

    def _ask(self, question: bytes) -> bytes:
        """The answer's bytes. Asked in a thread, since neither a name's look-up nor an answer that
        comes byte by byte has a bound of its own.
        """
        came: SimpleQueue[bytes | NotStamped] = SimpleQueue()
        given_up = Event()
        Thread(target=self._fetch, args=(question, came, given_up), daemon=True).start()
        try:
            answer = came.get(timeout=self.patience)
        except Empty:
            given_up.set()
            raise self._too_slow() from None
        if isinstance(answer, NotStamped):
            raise answer
        return answer

    def _fetch(
        self, question: bytes, came: SimpleQueue[bytes | NotStamped], given_up: Event
    ) -> None:
        try:
            came.put(self._post(question, given_up))
        except NotStamped as error:
            came.put(error)
        except Exception as error:  # noqa: BLE001 - a network fails in any way; each is told alike
            reason = getattr(error, "reason", None) or error
            if isinstance(reason, TimeoutError):
                came.put(self._too_slow())
            else:
                came.put(NotStamped(f"the authority was not reached ({type(reason).__name__})"))

    def _too_slow(self) -> NotStamped:
        return NotStamped(f"the authority did not answer within {self.patience:g} seconds")

    def _post(self, question: bytes, given_up: Event) -> bytes:
        request = urllib.request.Request(  # noqa: S310 - the address is the server's own setting
            self.url, question, {"Content-Type": "application/timestamp-query"}
        )
        try:
            with urllib.request.urlopen(request, timeout=self.patience) as answer:  # noqa: S310
                content = _read_all(answer, given_up)
        except urllib.error.HTTPError as error:
            with error:  # it holds the connection open
                raise NotStamped(f"the authority answered {error.code}") from error
        if len(content) > LARGEST_ANSWER:
            raise NotStamped("the authority's answer is too large")
        return content


def _read_all(answer: HTTPResponse, given_up: Event) -> bytes:
    """What comes, as far as anybody waits for it and it is no larger than an answer can be."""
    content = b""
    while len(content) <= LARGEST_ANSWER and not given_up.is_set():
        part = answer.read1(LARGEST_ANSWER)
        if not part:
            break
        content += part
    return content


class _Answer(core.Sequence):  # type: ignore[misc]
    """TimeStampResp (RFC 3161, 2.4.2): who refuses sends no token."""

    _fields: ClassVar = [
        ("status", tsp.PKIStatusInfo),
        ("time_stamp_token", cms.ContentInfo, {"optional": True}),
    ]


def _question(digest: bytes, nonce: int) -> bytes:
    question = tsp.TimeStampReq(
        {
            "version": 1,
            "message_imprint": {
                "hash_algorithm": algos.DigestAlgorithm({"algorithm": "sha256"}),
                "hashed_message": digest,
            },
            "nonce": nonce,
            "cert_req": True,
        }
    )
    content: bytes = question.dump()
    return content


def read_answer(content: bytes, digest: bytes, nonce: int, now: datetime) -> Stamp:
    """The stamp in an authority's answer; NotStamped where it is none, or about something else."""
    try:
        return _read(content, digest, nonce, now)
    except NotStamped:
        raise
    except Exception as error:
        raise NotStamped("the authority's answer cannot be read") from error


def _read(content: bytes, digest: bytes, nonce: int, now: datetime) -> Stamp:
    answer = _Answer.load(content, strict=True)
    status = answer["status"]["status"].native
    if status not in {"granted", "granted_with_mods"}:
        raise NotStamped(f"the authority refused it ({status})")
    token = answer["time_stamp_token"]
    told = token["content"]["encap_content_info"]["content"].parsed
    imprint = told["message_imprint"]
    about = (imprint["hash_algorithm"]["algorithm"].native, imprint["hashed_message"].native)
    if about != ("sha256", digest) or told["nonce"].native != nonce:
        raise NotStamped("the authority stamped something else than what was asked")
    _insist_on_signature(token["content"])
    at: datetime = told["gen_time"].native
    if abs(at - now) > MOST_APART:
        raise NotStamped(f"the authority says that it is {at:%Y-%m-%d %H:%M:%S} UTC")
    content = token.dump()
    if len(content) > LARGEST_TOKEN:
        raise NotStamped("the authority's stamp is too large")
    return Stamp(content, at)


def _insist_on_signature(signed: cms.SignedData) -> None:
    """One signature, good, by a certificate in the token that is for time stamps alone."""
    (signer,) = signed["signer_infos"]
    certificate = _find_signer(signed, signer)
    content = signed["encap_content_info"]["content"]
    is_about_it, is_good = validate_sig_integrity(
        signer,
        certificate,
        expected_content_type="tst_info",
        actual_digest=_digest(signer, bytes(content)),
    )
    if not (is_about_it and is_good):
        raise NotStamped("the authority's signature is not good")
    if certificate.extended_key_usage_value is None or (
        certificate.extended_key_usage_value.native != STAMP_PURPOSE
    ):
        raise NotStamped("the authority's certificate is not for time stamps")


def _find_signer(signed: cms.SignedData, signer: cms.SignerInfo) -> x509.Certificate:
    named = signer["sid"].chosen
    for one in signed["certificates"]:
        certificate = one.chosen
        if signer["sid"].name == "subject_key_identifier":
            is_it = certificate.key_identifier == named.native
        else:
            is_it = certificate.serial_number == named["serial_number"].native and (
                certificate.issuer == named["issuer"]
            )
        if is_it:
            return certificate
    raise NotStamped("the authority's answer lacks its certificate")


def _digest(signer: cms.SignerInfo, content: bytes) -> bytes:
    return hashlib.new(signer["digest_algorithm"]["algorithm"].native, content).digest()
