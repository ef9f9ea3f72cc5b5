"""A seal is stamped by an authority that tells the truth in time; any other holds up nothing."""

from __future__ import annotations

import hashlib
import random
import secrets
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter

import pytest
from asn1crypto import cms, tsp

from app.forms.paper import Paper
from app.forms.seal import Level, Sealer
from app.forms.time_stamps import HttpAuthority, NotStamped, Stamp
from tests.forms.seal_builders import (
    NOW,
    PAPERS,
    a_certificate,
    a_meets_key,
    a_private_key,
    an_attestation,
)
from tests.forms.sealing_tools import (
    ask_library,
    ask_openssl,
    ask_pdfsig,
    check_structure,
    extract_seals,
)
from tests.forms.stamping import (
    Answer,
    Openssl,
    a_slow_authority,
    an_authority,
    stamps_at,
)

PDF = PAPERS["infringement form"](Paper.A4)
PATIENCE = 0.4
DIGEST = hashlib.sha256(b"what is stamped").digest()


def present() -> datetime:
    """The machine's time, as openssl tells it."""
    return datetime.now(UTC)


def token_of(seal: bytes) -> bytes:
    """The stamp in a seal's CMS."""
    (signer,) = cms.ContentInfo.load(seal)["content"]["signer_infos"]
    for attribute in signer["unsigned_attrs"]:
        if attribute["type"].native == "signature_time_stamp_token":
            token: bytes = attribute["values"][0].dump()
            return token
    raise AssertionError("There is no stamp.")


def signature_of(seal: bytes) -> bytes:
    """The signature itself in a seal's CMS."""
    (signer,) = cms.ContentInfo.load(seal)["content"]["signer_infos"]
    signature: bytes = signer["signature"].native
    return signature


@pytest.mark.parametrize("kind", ["P-256", "RSA 2048"])
def test_a_stamped_seal_is_good_for_every_tool_and_its_stamp_for_openssl(
    kind: str, tmp_path: Path
) -> None:
    clock = Openssl(tmp_path, kind)
    with an_authority(clock) as url:
        sealer = Sealer(a_meets_key(), HttpAuthority(url))
        sealed = sealer.seal(PDF, an_attestation(at=present()))
        twice = sealer.seal(sealed.content, an_attestation(at=present()))
    assert (sealed.level, sealed.not_stamped) == (Level.B_T, "")
    assert sealed.stamped_at is not None
    assert abs(sealed.stamped_at - present()) < timedelta(minutes=1)
    (seal,) = extract_seals(sealed.content)
    assert clock.verify(token_of(seal.cms), signature_of(seal.cms)) == (True, _any_of(clock, seal))
    assert not clock.verify(token_of(seal.cms), b"something else")[0]
    root = a_meets_key().certificate
    assert ask_openssl(seal, root, tmp_path)[0]
    told = ask_pdfsig(twice.content, tmp_path)
    assert [one.validation for one in told] == ["Signature is Valid."] * 2
    assert [one.is_whole for one in told] == [False, True]
    for status in ask_library(twice.content, root, clock.certificate):
        assert status.bottom_line, status.summary()
        assert status.timestamp_validity is not None
        assert status.timestamp_validity.valid
    check_structure(twice.content, tmp_path)


def _any_of(clock: Openssl, seal: object) -> str:
    return clock.verify(token_of(seal.cms), signature_of(seal.cms))[1]


def refuses(question: bytes) -> bytes:
    """An authority that says no."""
    return bytes.fromhex("30053003020102")  # DER: PKIStatusInfo with status 2 (RFC 3161, 2.4.2)


def stamps_something_else(question: bytes) -> bytes:
    """A true stamp, about another digest."""
    asked = tsp.TimeStampReq.load(question)
    asked["message_imprint"]["hashed_message"] = secrets.token_bytes(32)
    return stamps_at(None)(asked.dump(force=True))


def gives_an_earlier_answer(question: bytes) -> bytes:
    """A true stamp about the same digest, given to another question."""
    asked = tsp.TimeStampReq.load(question)
    asked["nonce"] = asked["nonce"].native ^ 1
    return stamps_at(None)(asked.dump(force=True))


def forgets_the_nonce(question: bytes) -> bytes:
    asked = tsp.TimeStampReq.load(question)
    del asked["nonce"]
    return stamps_at(None)(asked.dump(force=True))


def forges(question: bytes) -> bytes:
    """The last byte of an answer belongs to its signature."""
    answer = stamps_at(None)(question)
    return answer[:-1] + bytes([answer[-1] ^ 1])


def without_certificate(question: bytes) -> bytes:
    answer = tsp.TimeStampResp.load(stamps_at(None)(question))
    answer["time_stamp_token"]["content"]["certificates"] = []
    return answer.dump(force=True)


def for_other_purposes(question: bytes) -> bytes:
    key = a_private_key("RSA 2048")
    return stamps_at(None, a_certificate("Invented Clock", key), key)(question)


LIARS: dict[str, tuple[Answer, str]] = {
    "refuses": (refuses, "refused it (rejection)"),
    "something else": (stamps_something_else, "something else than what was asked"),
    "earlier answer": (gives_an_earlier_answer, "something else than what was asked"),
    "no nonce": (forgets_the_nonce, "something else than what was asked"),
    "forged": (forges, "signature is not good"),
    "no certificate": (without_certificate, "lacks its certificate"),
    "other purposes": (for_other_purposes, "not for time stamps"),
    "yesterday": (stamps_at(NOW - timedelta(days=1)), "says that it is"),
    "tomorrow": (stamps_at(NOW + timedelta(days=1)), "says that it is"),
    "empty": (lambda _: b"", "cannot be read"),
    "a page": (lambda _: b"<html>Sign in to this network</html>", "cannot be read"),
    "cut off": (lambda question: stamps_at(None)(question)[:-40], "cannot be read"),
    "followed by more": (lambda question: stamps_at(None)(question) + b"0", "cannot be read"),
    "endless": (lambda _: b"0" * 200_000, "too large"),
}


@pytest.mark.parametrize("lie", list(LIARS))
def test_what_an_authority_says_is_looked_at_and_a_lie_is_left_out(
    lie: str, tmp_path: Path
) -> None:
    answer, why = LIARS[lie]
    with an_authority(answer) as url:
        sealed = Sealer(a_meets_key(), HttpAuthority(url)).seal(PDF, an_attestation(at=present()))
    assert (sealed.level, sealed.stamped_at) == (Level.B_B, None)
    assert why in sealed.not_stamped
    (seal,) = extract_seals(sealed.content)
    assert ask_openssl(seal, a_meets_key().certificate, tmp_path)[0]
    (told,) = ask_pdfsig(sealed.content, tmp_path)
    assert (told.validation, told.is_whole) == ("Signature is Valid.", True)


@contextmanager
def nobody_there() -> Iterator[str]:
    """The address of a server that has gone."""
    with an_authority(lambda _: b"") as url:
        pass
    yield url


SILENT: dict[str, tuple[Callable[[], AbstractContextManager[str]], str]] = {
    "nobody there": (nobody_there, "was not reached"),
    "no such name": (lambda: _at("http://stamps.invalid/"), "the authority "),
    "no address": (lambda: _at("somewhere"), "was not reached"),
    "an error": (lambda: an_authority(lambda _: b"busy", 503), "answered 503"),
    "hangs": (lambda: a_slow_authority(60.0), "did not answer within 0.4 seconds"),
    "byte by byte": (lambda: a_slow_authority(0.05), "did not answer within 0.4 seconds"),
}


@contextmanager
def _at(url: str) -> Iterator[str]:
    yield url


@pytest.mark.parametrize("way", list(SILENT))
def test_an_authority_that_fails_or_hangs_holds_up_no_form(way: str, tmp_path: Path) -> None:
    asked, why = SILENT[way]
    with asked() as url:
        began = perf_counter()
        sealer = Sealer(a_meets_key(), HttpAuthority(url, PATIENCE))
        sealed = sealer.seal(PDF, an_attestation(at=present()))
        took = perf_counter() - began
    assert took < PATIENCE + 1.5
    assert sealed.level == Level.B_B
    assert why in sealed.not_stamped
    assert ask_pdfsig(sealed.content, tmp_path)[0].validation == "Signature is Valid."


def test_nobody_goes_on_reading_an_answer_that_nobody_waits_for_any_more() -> None:
    """Else each paper would leave a thread behind while an authority drips."""
    before = set(threading.enumerate())
    with a_slow_authority(0.02) as url:
        with pytest.raises(NotStamped):
            HttpAuthority(url, 0.1).stamp(DIGEST, present())
        asking = [one for one in threading.enumerate() if one not in before and _asks(one)]
        for one in asking:
            one.join(5.0)
        assert not any(one.is_alive() for one in asking)


def _asks(thread: threading.Thread) -> bool:
    return "_fetch" in thread.name


class Counting:
    """An authority that fails so many times, and counts how often it was asked."""

    def __init__(self, failures: int) -> None:
        self.failures = failures
        self.asked = 0

    def stamp(self, digest: bytes, now: datetime) -> Stamp:
        self.asked += 1
        if self.asked <= self.failures:
            raise NotStamped("the authority was not reached")
        answer = stamps_at(now.astimezone(UTC))(_question(digest))
        return Stamp(tsp.TimeStampResp.load(answer)["time_stamp_token"].dump(), now)


def _question(digest: bytes) -> bytes:
    return tsp.TimeStampReq(
        {
            "version": 1,
            "message_imprint": {
                "hash_algorithm": {"algorithm": "sha256"},
                "hashed_message": digest,
            },
        }
    ).dump()


def test_after_a_failure_an_authority_is_left_alone_for_a_minute() -> None:
    clock = Counting(failures=1)
    sealer = Sealer(a_meets_key(), clock)
    levels = []
    for seconds in (0, 30, 59, 61, 62):
        at = NOW + timedelta(seconds=seconds)
        sealed = sealer.seal(PDF, an_attestation(at=at))
        levels.append((sealed.level, clock.asked, sealed.not_stamped))
    rests = "the authority failed less than a minute before"
    assert levels == [
        (Level.B_B, 1, "the authority was not reached"),
        (Level.B_B, 1, rests),
        (Level.B_B, 1, rests),
        (Level.B_T, 2, ""),
        (Level.B_T, 3, ""),
    ]


def test_no_change_of_an_answer_is_taken_for_another_stamp() -> None:
    """Each byte that counts is covered: another time or digest cannot be had by turning bits."""
    answers: list[bytes] = []

    def keep(question: bytes) -> bytes:
        answers.append(stamps_at(None)(question))
        return answers[-1]

    seed = random.randrange(2**32)
    chance = random.Random(seed)

    def turn(question: bytes) -> bytes:
        answer = bytearray(keep(question))
        answer[chance.randrange(len(answer))] ^= 1 << chance.randrange(8)
        return bytes(answer)

    with an_authority(turn) as url:
        authority = HttpAuthority(url)
        for _ in range(30):
            try:
                stamp = authority.stamp(DIGEST, present())
            except NotStamped:
                continue
            kept = tsp.TimeStampResp.load(answers[-1])["time_stamp_token"]["content"]
            told = cms.ContentInfo.load(stamp.token)["content"]
            assert (
                told["encap_content_info"]["content"].native
                == kept["encap_content_info"]["content"].native
            ), f"seed {seed}"
