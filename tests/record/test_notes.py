"""Signed notes and checkpoints against their published examples, and against what is malformed."""

from __future__ import annotations

import base64
from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from app.ids import MeetId, new_id
from app.record.notes import (
    BadNote,
    Checkpoint,
    NoteKey,
    VerifierKey,
    checkpoint,
    open_note,
    origin_of,
)

# Source: the reference tests of signed notes, golang.org/x/mod, sumdb/note/note_test.go.
VERIFIER = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
SIGNER = "PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz"
TEXT = (
    "If you think cryptography is the answer to your problem,\n"
    "then you don't know what your problem is.\n"
)
SIGNATURE = (
    "— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6"
    "KE6RyyBwJnAM=\n"
)
NOTE = f"{TEXT}\n{SIGNATURE}"
WRONG_LENGTH = "PeterNeumann+cc469956+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TWBADKEY=="
UNKNOWN_KIND = "PeterNeumann+173116ae+ZRpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"

# Source: the examples of C2SP's signed-note.md and tlog-checkpoint.md.
POEM = (
    "Ognuno sta solo sul cuor della terra\ntrafitto da un raggio di sole:\n\ned è subito sera.\n\n"
    "— quasimodo.example/salvatore NnugSzTjtVAewIS+Z/iJhUPeFDkO/5QQ2i5ddnGITLlC+EhfLW9oJKONrMouFSQU"
    "0xMcXxj99ihAQwaqP3ZekRwNtIc=\n"
)
CHECKPOINT = (
    "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n"
    "— example.com/behind-the-sofa Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q"
    "1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n"
)


def the_key() -> NoteKey:
    secret = base64.b64decode(SIGNER.split("+", 4)[4])
    return NoteKey("PeterNeumann", Ed25519PrivateKey.from_private_bytes(secret[1:]))


def a_key(name: str = "example.com/log") -> NoteKey:
    return NoteKey(name, Ed25519PrivateKey.generate())


def public(key: NoteKey) -> VerifierKey:
    return VerifierKey.parse(key.verifier_key)


def test_the_published_note_is_signed_and_opened_to_the_letter() -> None:
    assert the_key().sign_note(TEXT) == NOTE
    assert the_key().verifier_key == VERIFIER
    assert open_note(NOTE, [VerifierKey.parse(VERIFIER)]) == TEXT


@pytest.mark.parametrize("key", [WRONG_LENGTH, UNKNOWN_KIND, "", "a", "a+b", "a b+c74f20a3+AR"])
def test_a_key_that_the_reference_refuses_is_refused(key: str) -> None:
    with pytest.raises(BadNote):
        VerifierKey.parse(key)


def test_no_part_of_a_verifier_key_is_one() -> None:
    # As the reference tests do: every cut, and every letter that is another.
    for start in range(len(VERIFIER)):
        for end in range(start + 1, len(VERIFIER) + 1):
            if (start, end) != (0, len(VERIFIER)):
                with pytest.raises(BadNote):
                    VerifierKey.parse(VERIFIER[start:end])
    for at, letter in enumerate(VERIFIER):
        with pytest.raises(BadNote):
            VerifierKey.parse(f"{VERIFIER[:at]}{chr(ord(letter) + 1)}{VERIFIER[at + 1 :]}")


def test_a_text_with_empty_lines_ends_at_the_last_of_them() -> None:
    key = a_key()
    text = POEM.rpartition("\n\n")[0] + "\n"
    assert open_note(key.sign_note(text), [public(key)]) == text
    with pytest.raises(BadNote, match="no key that is known"):
        open_note(POEM, [public(key)])


def test_the_published_checkpoint_is_read_and_written_to_the_letter() -> None:
    body = CHECKPOINT.rpartition("\n\n")[0] + "\n"
    found = Checkpoint.parse(body)
    assert (found.origin, found.size) == ("example.com/behind-the-sofa", 20852163)
    assert found.root.hex()[:8] == "0ac5186a"
    assert found.body == body


def test_signatures_of_keys_that_nobody_knows_are_ignored() -> None:
    ours, other = a_key(), a_key("example.com/witness")
    note = ours.sign_note(TEXT) + other.sign_note(TEXT).rpartition("\n\n")[2]
    assert open_note(note, [public(ours)]) == TEXT
    assert open_note(note, [public(ours), public(other)]) == TEXT
    # The same name with another key is another key.
    namesake = a_key()
    assert open_note(note + namesake.sign_note(TEXT).rpartition("\n\n")[2], [public(ours)]) == TEXT
    with pytest.raises(BadNote, match="no key that is known"):
        open_note(note, [public(namesake)])


def test_a_bad_signature_of_a_known_key_spoils_the_note_whatever_else_stands_below() -> None:
    ours, other = a_key(), a_key("example.com/witness")
    foreign = other.sign_note("another text\n").rpartition("\n\n")[2]
    with pytest.raises(BadNote, match="witness does not fit"):
        open_note(ours.sign_note(TEXT) + foreign, [public(ours), public(other)])


@given(st.integers(0, len(NOTE) - 1), st.characters(codec="utf-8"))
def test_a_note_with_one_letter_changed_is_not_believed(at: int, letter: str) -> None:
    changed = NOTE[:at] + letter + NOTE[at + 1 :]
    if changed != NOTE:
        with pytest.raises(BadNote):
            open_note(changed, [VerifierKey.parse(VERIFIER)])


@pytest.mark.parametrize(
    "note",
    [
        "",
        "\n",
        TEXT,
        SIGNATURE,
        NOTE.rstrip("\n"),
        NOTE.replace("—", "-"),
        NOTE.replace("\n\n", "\n"),
        NOTE.replace("then", "\tthen"),
        f"{NOTE}{SIGNATURE * 100}",
        f"{TEXT}\n— PeterNeumann x08g\n",
        f"{TEXT}\n— Peter Neumann {SIGNATURE.split()[2]}\n",
        f"{'x' * 70_000}\n\n{SIGNATURE}",
        "\ud800" + NOTE,
    ],
)
def test_what_is_no_note_is_refused(note: str) -> None:
    with pytest.raises(BadNote):
        open_note(note, [VerifierKey.parse(VERIFIER)])


@pytest.mark.parametrize(
    "body",
    [
        "",
        "origin\n1\n",
        "origin\n01\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n",
        "origin\n-1\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n",
        f"origin\n{'9' * 5000}\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n",
        "origin\n1\nCsUYapGG\n",
        "origin\n1\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2J=\n",
        "\n1\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n",
        "origin\n1\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\nmore\n",
        "origin\n1\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=",
    ],
)
def test_what_is_no_checkpoint_is_refused(body: str) -> None:
    with pytest.raises(BadNote):
        Checkpoint.parse(body)


def test_a_meets_checkpoint_names_the_meet_and_the_instant() -> None:
    meet = MeetId(new_id())
    head = checkpoint(meet, 264, "3f" * 32, datetime(2026, 6, 13, 12, 3, 22, tzinfo=UTC))
    assert head.body.splitlines()[0] == f"zone-docket/{meet}" == origin_of(meet)
    assert head.body.splitlines()[1] == "264"
    assert head.body.splitlines()[3:] == ["time 2026-06-13T12:03:22.000000Z"]
    assert Checkpoint.parse(head.body) == head


def test_a_key_signs_only_under_a_name_and_only_a_text() -> None:
    for name in ("", "a b", "a+b", "a\u00a0b"):
        with pytest.raises(BadNote, match="neither spaces"):
            a_key(name)
    with pytest.raises(BadNote):
        a_key().sign_note("no end of line")
