"""Signed acts, erasures and the files that a record speaks of, as the checker sees them."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from app.exporting.check_export import SIGNED, Report, paper_name
from app.record.canonical import canonical
from tests.exporting.conftest import SealedMeet
from tests.exporting.sealing import DeviceKey, as_url_text, signed_with_pin
from tests.exporting.tampering import (
    Files,
    Json,
    Line,
    checked,
    lines_in,
    of_kind,
    read_files,
    rechain,
    remanifest,
    resign_heads,
)

RULING = "0190b3c1-0000-7000-8000-00000000a001"


def a_statement(sealed: SealedMeet, **changes: object) -> Json:
    """What the organiser signs for a ruling, in the parts that bind it to its entry."""
    return {
        "act": "ruling",
        "meet": sealed.meet,
        "official": official(sealed),
        "ruling": RULING,
        "verdict": "confirmed",
        **changes,
    }


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


Change = Callable[[list[Line]], None]


def changed_by_the_keeper(sealed: SealedMeet, whole: Files, change: Change) -> Report:
    """What is found where somebody who has all keys of the meet changes its record."""
    files = dict(whole)
    lines = lines_in(files)
    change(lines)
    rechain(files, lines)
    resign_heads(files, sealed.seal.notes)
    return checked(remanifest(files, sealed.seal.notes))


def an_entry(lines: list[Line], kind: str, body: Json, subject: str = "") -> Line:
    """One more entry at the end of the record."""
    last = lines[-1].entry
    line = Line({**last, "kind": kind, "subject": subject or last["subject"]}, body)
    lines.append(line)
    return line


def told_of(sealed: SealedMeet, whole: Files, *more: tuple[str, Json]) -> Report:
    """What is found about further entries."""

    def add(lines: list[Line]) -> None:
        for kind, body in more:
            an_entry(lines, kind, body, RULING if kind == "ruling" else "")

    return changed_by_the_keeper(sealed, whole, add)


def only(report: Report) -> str:
    (one,) = report.mismatches
    return one


def official(sealed: SealedMeet) -> str:
    return sealed.stage.people[sealed.stage.files.organiser].id


# Signed acts -------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["passkey", "phone key"])
def test_a_device_that_signed_is_believed(sealed: SealedMeet, whole: Files, kind: str) -> None:
    for _ in range(3):  # r and s are whole numbers of changing length
        key = DeviceKey(official(sealed), kind)
        report = told_of(
            sealed,
            whole,
            ("key registered", key.registered()),
            ("ruling", key.signed(a_statement(sealed))),
        )
        assert (report.mismatches, report.ends_with) == ([], 0)


Forge = Callable[[str], Json]


def says(**forged: object) -> Forge:
    """A proof that says this, whatever was to be signed."""
    return lambda challenge: forged


def a_client(**changes: str) -> Forge:
    """What a browser would say of the challenge, with changes."""

    def forge(challenge: str) -> Json:
        told = {"type": "webauthn.get", "challenge": challenge, **changes}
        return {"client_data_json": as_url_text(json.dumps(told).encode())}

    return forge


PASSKEY_FORGERIES: list[tuple[Forge, str]] = [
    (a_client(challenge=as_url_text(b"x" * 32)), "over another statement"),
    (a_client(type="webauthn.create"), "made for something else"),
    (a_client(origin="https://other.example"), "does not hold"),
    (says(client_data_json=as_url_text(b"[]")), "made for something else"),
    (says(client_data_json=as_url_text(b"\xff")), "not UTF-8"),
    (says(client_data_json=as_url_text(b"{")), "no JSON"),
    (says(client_data_json="é"), "base64url"),
    (says(authenticator_data=as_url_text(b"x" * 37)), "for another service"),
    (says(authenticator_data=""), "for another service"),
    (
        says(authenticator_data=as_url_text(sha256(b"zonedocket.example").digest() + bytes(5))),
        "nobody was present",
    ),
    *(
        (
            says(
                authenticator_data=as_url_text(
                    sha256(b"zonedocket.example").digest() + bytes([flags]) + bytes(4)
                )
            ),
            "nobody was present and verified",
        )
        for flags in (1, 4)
    ),
    (says(signature=as_url_text(b"0" * 70)), "does not hold"),
    (says(signature=7), "base64url"),
    (says(signature="a"), "base64url"),
]


@pytest.mark.parametrize(("forged", "words"), PASSKEY_FORGERIES)
def test_a_passkeys_proof_that_was_forged_is_found(
    sealed: SealedMeet, whole: Files, forged: Forge, words: str
) -> None:
    key, statement = DeviceKey(official(sealed)), a_statement(sealed)
    challenge = as_url_text(sha256(canonical(statement)).digest())
    body = key.signed(statement, **forged(challenge))
    more = (("key registered", key.registered()), ("ruling", body))
    assert words in only(told_of(sealed, whole, *more))


def test_a_passkeys_proof_from_a_page_of_another_origin_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    key = DeviceKey(official(sealed))
    act = ("ruling", key.signed(a_statement(sealed)))

    def of_origin(origin: str | None) -> Report:
        registered = {**key.registered(), "origin": origin}
        return told_of(sealed, whole, ("key registered", registered), act)

    assert of_origin("https://zonedocket.example").ends_with == 0
    assert of_origin(None).ends_with == 0
    assert "another origin" in only(of_origin("https://other.example"))


def test_a_statement_that_was_changed_is_found(sealed: SealedMeet, whole: Files) -> None:
    key = DeviceKey(official(sealed), "phone key")
    changed = a_statement(sealed, verdict="dismissed")
    body = {**key.signed(a_statement(sealed)), "statement": changed}
    registered = ("key registered", key.registered())
    assert "digest" in only(told_of(sealed, whole, registered, ("ruling", body)))
    body["statement_sha256"] = sha256(canonical(changed)).hexdigest()
    assert "does not hold" in only(told_of(sealed, whole, registered, ("ruling", body)))
    with_pin = {**signed_with_pin(official(sealed), a_statement(sealed)), "statement": changed}
    assert "digest" in only(told_of(sealed, whole, ("ruling", with_pin)))


def test_a_key_that_is_not_the_officials_own_in_force_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    key, other = DeviceKey(official(sealed)), DeviceKey(official(sealed))
    registered, act = (
        ("key registered", key.registered()),
        ("ruling", key.signed(a_statement(sealed))),
    )
    assert "does not name" in only(told_of(sealed, whole, act))
    assert "only afterwards" in only(told_of(sealed, whole, act, registered))
    theirs = ("key registered", {**key.registered(), "official": "somebody else"})
    assert "another official" in only(told_of(sealed, whole, theirs, act))
    exchanged = {**key.registered(), "public_key": other.registered()["public_key"]}
    assert "does not hold" in only(told_of(sealed, whole, ("key registered", exchanged), act))
    for wrong in ("no PEM", None, "-----BEGIN PUBLIC KEY-----"):
        broken = ("key registered", {**key.registered(), "public_key": wrong})
        assert told_of(sealed, whole, broken, act).ends_with == 1
    of_other_kind = ("key registered", {**key.registered(), "kind": "phone key"})
    assert "another kind" in only(told_of(sealed, whole, of_other_kind, act))


def test_a_key_that_was_revoked_signs_nothing_from_then_on(
    sealed: SealedMeet, whole: Files
) -> None:
    key = DeviceKey(official(sealed))
    registered, act = (
        ("key registered", key.registered()),
        ("ruling", key.signed(a_statement(sealed))),
    )
    before = ("key revoked", key.revoked("2026-06-01T10:00:00+02:00"))
    much_later = ("key revoked", key.revoked("2026-12-01T10:00:00Z"))
    assert "revoked from" in only(told_of(sealed, whole, registered, before, act))
    assert told_of(sealed, whole, registered, much_later, act).ends_with == 0
    report = told_of(sealed, whole, registered, act, before)
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert "revoked later" in report.to_explain[0]
    for malformed in ("yesterday", "2026-06-01T10:00:00"):
        revoked = ("key revoked", key.revoked(malformed))
        assert told_of(sealed, whole, registered, revoked, act).ends_with == 1


def test_a_key_is_revoked_as_well_where_its_session_ended(sealed: SealedMeet, whole: Files) -> None:
    key = DeviceKey(official(sealed))
    registered, act = (
        ("key registered", key.registered()),
        ("ruling", key.signed(a_statement(sealed))),
    )
    left = ("left", {"session": "x", "keys_revoked": [key.revoked("2026-06-01T10:00:00Z"), 7]})
    assert "revoked from" in only(told_of(sealed, whole, registered, left, act))
    assert told_of(sealed, whole, registered, ("left", {"session": "x"}), act).ends_with == 0


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ({"signature": {"strength": "PIN"}}, "what was signed is missing"),
        ({"signature": "signed"}, "what was signed is missing"),
        ({"statement": {}, "signature": []}, "cannot be read"),
        ({"statement": {}, "signature": {"strength": "oath"}}, "unknown strength"),
    ],
)
def test_a_signature_that_is_none_is_found(
    sealed: SealedMeet, whole: Files, body: Json, words: str
) -> None:
    if "statement" in body:
        signed = signed_with_pin(official(sealed), a_statement(sealed))
        body = {**signed, "signature": body["signature"]}
        if isinstance(body["signature"], dict):
            body["signature"] = {**signed["signature"], **body["signature"]}
    assert words in only(told_of(sealed, whole, ("ruling", body)))


def test_a_proof_that_is_missing_or_of_the_wrong_length_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    key = DeviceKey(official(sealed), "phone key")
    registered = ("key registered", key.registered())
    body = key.signed(a_statement(sealed))
    none = {**body, "signature": {**body["signature"], "proof": None}}
    assert "is missing" in only(told_of(sealed, whole, registered, ("ruling", none)))
    short = key.signed(a_statement(sealed), signature=as_url_text(b"x" * 63))
    assert "64 bytes" in only(told_of(sealed, whole, registered, ("ruling", short)))
    zero = key.signed(a_statement(sealed), signature=as_url_text(bytes(64)))
    assert "does not hold" in only(told_of(sealed, whole, registered, ("ruling", zero)))


@pytest.mark.parametrize("kind", sorted(SIGNED))
def test_an_entry_of_a_kind_that_is_signed_is_found_where_it_is_not(
    sealed: SealedMeet, whole: Files, kind: str
) -> None:
    """Else whoever has the meet's key could strip any act of its signature."""
    in_words = {"statement": "in words", "statement_sha256": "3f" * 32}
    for body in ({"verdict": "confirmed"}, in_words):
        report = told_of(sealed, whole, (kind, body))
        assert "is signed, and what was signed is missing" in "\n".join(report.mismatches)


def test_a_statement_that_nobody_signed_is_found(sealed: SealedMeet, whole: Files) -> None:
    unsigned = signed_with_pin(official(sealed), a_statement(sealed))
    del unsigned["signature"]
    found = only(told_of(sealed, whole, ("ruling", unsigned)))
    assert found.endswith("an act of this kind is signed, and its signature is missing")


def test_who_strips_every_ruling_of_what_was_signed_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    files = {name: one for name, one in whole.items() if not name.startswith("facts/ruling")}

    def strip(lines: list[Line]) -> None:
        for line in of_kind(lines, "ruling"):
            assert line.body is not None
            for name in ("statement", "statement_sha256", "signature"):
                del line.body[name]

    report = changed_by_the_keeper(sealed, files, strip)
    count = len(of_kind(lines_in(files), "ruling"))
    assert sum("what was signed is missing" in one for one in report.mismatches) == count > 0


# Ballots -----------------------------------------------------------------------------------------

Forgery = Callable[[Json], Any]


def with_ballot(sealed: SealedMeet, whole: Files, forge: Forgery) -> Report:
    """What is found where the first ballot of a jury's decision is changed."""

    def change(lines: list[Line]) -> None:
        (decided,) = of_kind(lines, "appeal decided")
        assert decided.body is not None
        decided.body["ballots"][0] = forge(decided.body["ballots"][0])

    return changed_by_the_keeper(sealed, whole, change)


def resaid(**changes: object) -> Forgery:
    """The ballot with a statement that says another thing, and a digest that fits it."""
    return lambda ballot: signed_with_pin(
        str(ballot["statement"]["official"]), {**ballot["statement"], **changes}
    )


BALLOTS: list[tuple[Forgery, str]] = [
    (lambda ballot: {**ballot, "statement": {**ballot["statement"], "vote": "x"}}, "digest"),
    (resaid(vote="rejected"), "not the one on the ballot"),
    (resaid(act="ruling"), "belongs to another act"),
    (resaid(appeal="x"), "about something else"),
    (resaid(meet="x"), "another meet"),
    (resaid(official="x"), "names another official"),
    (resaid(sitting=2), "not the vote that was cast"),
    (resaid(ballot="x"), "no entry of the record says that this vote was cast"),
    (lambda ballot: {**ballot, "signature": {}}, "not the vote that was cast"),
    (lambda ballot: {**ballot, "signature": None}, "not signed"),
    (lambda ballot: 7, "not signed"),
]


@pytest.mark.parametrize(("forge", "words"), BALLOTS)
def test_a_ballot_that_was_forged_is_found_at_its_place(
    sealed: SealedMeet, whole: Files, forge: Forgery, words: str
) -> None:
    report = with_ballot(sealed, whole, forge)
    assert any(words in one for one in report.mismatches), report.mismatches
    if "on the ballot" not in words:
        assert any(", ballot 1: " in one for one in report.mismatches)


def test_a_ballot_is_missed_and_one_too_many_is_found(sealed: SealedMeet, whole: Files) -> None:
    def changed(change: Callable[[list[Json]], object]) -> Report:
        def on_lines(lines: list[Line]) -> None:
            (decided,) = of_kind(lines, "appeal decided")
            assert decided.body is not None
            change(decided.body["ballots"])

        return changed_by_the_keeper(sealed, whole, on_lines)

    assert "not the one on the ballot" in only(changed(lambda ballots: ballots.pop()))
    twice = changed(lambda ballots: ballots.append(ballots[0]))
    assert any("one of each voter" in one for one in twice.mismatches)
    assert any("signed for entry" in one for one in twice.mismatches)


def test_a_ballot_by_passkey_is_checked_with_the_voters_key_as_it_was_when_the_vote_was_cast(
    sealed: SealedMeet, whole: Files
) -> None:
    """Who voted and then left, before the jury decided, has voted."""

    def by_key(since: str, **forged: object) -> Report:
        def change(lines: list[Line]) -> None:
            (decided,) = of_kind(lines, "appeal decided")
            assert decided.body is not None
            statement = decided.body["ballots"][0]["statement"]
            key = DeviceKey(statement["official"])
            decided.body["ballots"][0] = key.signed(statement, **forged)
            first = Line(dict(lines[1].entry), key.registered())
            first.entry |= {"kind": "key registered", "subject": key.id}
            at = next(i for i, one in enumerate(lines) if one is decided)
            revoked = Line(dict(decided.entry), key.revoked(since))
            revoked.entry |= {"kind": "key revoked", "subject": key.id}
            lines.insert(at, revoked)
            lines.insert(2, first)

        return changed_by_the_keeper(sealed, whole, change)

    (decided,) = of_kind(lines_in(dict(whole)), "appeal decided")
    just_before, long_before = decided.entry["at"], "2026-06-13T10:00:00Z"

    def told(report: Report) -> list[str]:
        return [one for one in report.mismatches if "ballot 1" in one]

    in_time = by_key(just_before)
    assert (told(in_time), in_time.to_explain) == ([], [])
    assert any("revoked later" in one for one in by_key(long_before).to_explain)
    assert "does not hold" in told(by_key(just_before, signature=as_url_text(b"0" * 70)))[0]


OTHER = "0190b3c1-0000-7000-8000-00000000a002"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"act": "vote"}, "belongs to another act"),
        ({"act": None}, "belongs to another act"),
        ({"ruling": OTHER}, "about something else"),
        ({"meet": OTHER}, "another meet"),
        ({"official": "nobody"}, "names another official"),
    ],
)
def test_a_statement_of_another_act_is_found_under_whatever_signature(
    sealed: SealedMeet, whole: Files, changes: Json, words: str
) -> None:
    key, statement = DeviceKey(official(sealed)), a_statement(sealed, **changes)
    registered = ("key registered", key.registered())
    assert words in only(told_of(sealed, whole, registered, ("ruling", key.signed(statement))))
    with_pin = signed_with_pin(official(sealed), statement)
    assert words in only(told_of(sealed, whole, ("ruling", with_pin)))
    del with_pin["signature"]
    assert words in only(told_of(sealed, whole, ("ruling", with_pin)))


def test_another_acts_signature_is_found(sealed: SealedMeet, whole: Files) -> None:
    signed = [
        line.body
        for line in of_kind(lines_in(dict(whole)), "decision signed")
        if line.body and line.body["signature"]["proof"]
    ]
    assert len(signed) == 3
    for body in signed:
        report = told_of(sealed, whole, ("ruling", body))
        assert any("belongs to another act" in one for one in report.mismatches)


def test_a_signature_of_somebody_else_than_who_acted_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    body = signed_with_pin("somebody else", a_statement(sealed))
    assert "another official" in only(told_of(sealed, whole, ("ruling", body)))


def test_a_signature_that_is_used_twice_is_found(sealed: SealedMeet, whole: Files) -> None:
    body = signed_with_pin(official(sealed), a_statement(sealed))
    assert told_of(sealed, whole, ("ruling", body)).ends_with == 0
    found = told_of(sealed, whole, ("ruling", body), ("ruling", body)).mismatches
    assert [one for one in found if "signed for entry" in one]
    assert len(found) == 2  # and a ruling is entered once


def test_a_signature_on_what_nobody_signs_is_found(sealed: SealedMeet, whole: Files) -> None:
    body = signed_with_pin(official(sealed), a_statement(sealed))
    assert "no entry of this kind" in only(told_of(sealed, whole, ("paper seen", body)))


def test_the_time_of_an_advice_is_corrected_for_a_decision_on_that_very_protest(
    sealed: SealedMeet, whole: Files
) -> None:
    first, second = (
        line.body["decision"]
        for line in of_kind(lines_in(dict(whole)), "protest decided")[:2]
        if line.body
    )

    def corrected(decision: str) -> Report:
        def add(lines: list[Line]) -> None:
            protest = of_kind(lines, "protest decided")[0].entry["subject"]
            said = {"act": "correction", "subject": decision, "meet": sealed.meet}
            body = signed_with_pin(official(sealed), {**said, "official": official(sealed)})
            an_entry(lines, "protest corrected", body, protest)

        return changed_by_the_keeper(sealed, whole, add)

    assert corrected(first).ends_with == 0
    assert "about something else" in only(corrected(second))
    assert "about something else" in only(corrected(OTHER))


def test_a_report_that_comes_again_is_no_second_act_and_wants_explaining_after_another(
    sealed: SealedMeet, whole: Files
) -> None:
    key, last = DeviceKey(official(sealed), "phone key"), lines_in(dict(whole))[-1].entry
    document = {"act": "report", "meet": sealed.meet, "report": last["subject"], "lane": 4}
    other = {**document, "lane": 5}
    for order, ends in (((document, document, other), 0), ((document, other, document), 3)):
        written = [("report written", key.signed(one)) for one in order]
        report = told_of(sealed, whole, ("key registered", key.registered()), *written)
        assert (report.mismatches, report.ends_with) == ([], ends)
    (found,) = report.to_explain
    assert "and another was written between" in found


# Erasures ----------------------------------------------------------------------------------------


def erase(lines: list[Line], *seqs: int, **changes: object) -> None:
    for seq in seqs:
        lines[seq - 1].body = None
    told = {"because": "asked for", "by": "the organiser", "scope": "one person", **changes}
    an_entry(lines, "erased", {"entries": list(seqs), **told})


def test_bodies_that_were_erased_are_told_and_nothing_is_wrong(
    sealed: SealedMeet, whole: Files
) -> None:
    report = changed_by_the_keeper(sealed, whole, lambda lines: erase(lines, 5, 6))
    assert (report.mismatches, report.ends_with) == ([], 0)
    told = "\n".join(report.told)
    assert "2 entries' bodies, by the organiser, for asked for" in told
    assert "2 bodies were erased" in told


def test_a_body_that_was_taken_away_is_found(sealed: SealedMeet, whole: Files) -> None:
    def take(lines: list[Line]) -> None:
        lines[4].body = None

    assert "no entry erased it" in only(changed_by_the_keeper(sealed, whole, take))

    def take_more(lines: list[Line]) -> None:
        erase(lines, 5)
        lines[5].body = None

    assert "entry 6: its body is missing" in only(changed_by_the_keeper(sealed, whole, take_more))


def test_an_erasure_names_only_what_was_before_it(sealed: SealedMeet, whole: Files) -> None:
    def early(lines: list[Line]) -> None:
        erase(lines, 9)
        lines.insert(3, lines.pop())

    # Entry 9 is now entry 10, and the erasure, entry 4, cannot have been about it.
    assert changed_by_the_keeper(sealed, whole, early).ends_with == 1


def test_an_erasure_that_says_not_what_is_found(sealed: SealedMeet, whole: Files) -> None:
    for entries in (None, "all", [True], [5.5]):
        report = changed_by_the_keeper(
            sealed,
            whole,
            lambda lines, said=entries: erase(lines, 5, entries=said),  # type: ignore[misc]
        )
        assert any("does not say which" in one for one in report.mismatches)


def test_a_body_that_came_back_after_its_erasure_wants_explaining(
    sealed: SealedMeet, whole: Files
) -> None:
    def bring_back(lines: list[Line]) -> None:
        kept = lines[4].body
        erase(lines, 5)
        lines[4].body = kept

    report = changed_by_the_keeper(sealed, whole, bring_back)
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert "still here" in report.to_explain[0]


def test_an_act_whose_key_was_erased_is_found_where_no_erasure_tells_that_key_again(
    sealed: SealedMeet, whole: Files
) -> None:
    """Whoever may erase could otherwise pass anything off as signed: nothing else says that the
    proof of an act holds.
    """

    def erase_keys(lines: list[Line]) -> None:
        keys = [one.entry["seq"] for one in of_kind(lines, "key registered")]
        erase(lines, *keys, keys=[])

    report = changed_by_the_keeper(sealed, whole, erase_keys)
    assert report.ends_with == 1
    assert sum("no erasure tells that key again" in one for one in report.mismatches) == 3
    assert len(report.mismatches) == 3


def test_an_erasure_keeps_of_a_key_what_its_signatures_are_checked_by(
    sealed: SealedMeet, whole: Files
) -> None:
    keys: list[Json] = []

    def erase_keys(lines: list[Line], **changes: str) -> None:
        registered = of_kind(lines, "key registered")
        bodies = [one.body or {} for one in registered]
        kept = ("key", "kind", "official", "public_key", "rp_id")
        keys[:] = [{**{name: body[name] for name in kept}, **changes} for body in bodies]
        erase(lines, *(one.entry["seq"] for one in registered), keys=[*keys, 7])

    report = changed_by_the_keeper(sealed, whole, erase_keys)
    assert (report.mismatches, report.ends_with) == ([], 0)

    def exchange(lines: list[Line]) -> None:
        other = DeviceKey("x").registered()["public_key"]
        erase_keys(lines, public_key=other)

    report = changed_by_the_keeper(sealed, whole, exchange)
    assert sum("does not hold" in one for one in report.mismatches) == 3


def test_papers_and_pictures_that_were_erased_are_not_missing(
    sealed: SealedMeet, whole: Files
) -> None:
    files = dict(whole)
    lines = lines_in(files)
    gone = {
        kind: [one.entry["subject"] for one in of_kind(lines, kind)]
        for kind in ("paper sealed", "picture added")
    }
    erase(lines, papers=gone["paper sealed"], pictures=gone["picture added"])
    for name in [one for one in files if one.startswith(("papers/", "pictures/"))]:
        del files[name]
    rechain(files, lines)
    resign_heads(files, sealed.seal.notes)
    report = checked(remanifest(files, sealed.seal.notes))
    assert (report.mismatches, report.ends_with) == ([], 3)
    assert "cannot be checked any more: 4 sealed papers, 1 picture" in report.unchecked[0]


# The files that the record speaks of -------------------------------------------------------------


def without(whole: Files, sealed: SealedMeet, name: str) -> Report:
    files = {one: content for one, content in whole.items() if one != name}
    return checked(remanifest(files, sealed.seal.notes))


def test_every_file_that_the_record_speaks_of_must_be_there(
    sealed: SealedMeet, whole: Files
) -> None:
    bound = ("papers/", "pictures/", "announcements/", "certificates/", "record.jsonl")
    names = [one for one in whole if one.startswith(bound)]
    kinds = {(one.split("/")[0], one.rpartition(".")[2], "shown" in one): one for one in names}
    for name in kinds.values():
        report = without(whole, sealed, name) if name != "record.jsonl" else None
        assert report is None or any(name in one for one in report.mismatches), name
    files = {one: content for one, content in whole.items() if one != "record.jsonl"}
    assert any("record.jsonl: this file is missing" in one for one in checked(files).mismatches)


@pytest.mark.parametrize(
    "name",
    [
        "papers/infringement-form-x-A4-1.pdf",
        "pictures/x.jpg",
        "announcements/x.json",
        "certificates/seal-2.pem",
        "checkpoints/x.note",
        "checkpoints/7.note",
        "manifest.txt",
    ],
)
def test_a_file_that_nothing_speaks_of_is_found(
    sealed: SealedMeet, whole: Files, name: str
) -> None:
    files = {**whole, name: b"x"}
    if name != "manifest.txt":
        remanifest(files, sealed.seal.notes)
    assert any(name.rpartition(".")[0] in one for one in checked(files).mismatches)


def test_an_announcement_that_says_another_thing_than_was_announced_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    name = next(one for one in whole if one.startswith("announcements/") and "json" in one)
    document = json.loads(whole[name])
    for said, value in (("remark", "Another remark."), ("id", "x"), ("lines", [])):
        content = json.dumps({**document, said: value}).encode()
        files = remanifest({**whole, name: content}, sealed.seal.notes)
        assert name in only(checked(files))
    files = remanifest({**whole, name: b"[]"}, sealed.seal.notes)
    assert "no announcement" in only(checked(files))


BINDING = ("act", "announcement", "meet", "official")


def test_an_announcement_is_held_against_the_statement_that_was_signed(
    sealed: SealedMeet, whole: Files
) -> None:
    """A body may hold what was announced within its statement, and beside it only what came to be
    when it was stored.
    """

    def nest(lines: list[Line]) -> None:
        for line in of_kind(lines, "announcement"):
            assert line.body is not None
            facts = {**line.body.get("statement", {}), **line.body}
            facts = {name: value for name, value in facts.items() if name in document}
            beside = {"announced_at": facts["announced_at"]}
            facts |= {name: line.body["statement"][name] for name in BINDING}
            actor = line.entry["actor"]
            signed = signed_with_pin(actor, {**facts, "announced_at": None})
            line.body = {**signed, **beside}

    name = next(one for one in whole if one.startswith("announcements/") and "json" in one)
    document = json.loads(whole[name])
    nest(lines := lines_in(whole))
    files = {**whole, **dict(of_what_is_signed(whole, lines))}
    assert changed_by_the_keeper(sealed, files, nest).ends_with == 0
    content = json.dumps({**document, "remark": "Another remark."}).encode()
    report = changed_by_the_keeper(sealed, {**files, name: content}, nest)
    assert "what it says as “remark”" in only(report)


def of_what_is_signed(files: Files, lines: list[Line]) -> Iterator[tuple[str, bytes]]:
    """The documents of announcements, each with the digest of the statement in its entry."""
    for line in of_kind(lines, "announcement"):
        assert line.body is not None
        name = f"announcements/{line.entry['subject']}.json"
        document = {**json.loads(files[name]), "statement_digest": line.body["statement_sha256"]}
        yield name, json.dumps(document).encode()


FORGED_ANNOUNCEMENTS: list[tuple[str, Callable[[Any], Any]]] = [
    ("lines", lambda lines: lines[::-1]),
    ("remark", lambda remark: "Another remark."),
    ("windows", lambda windows: windows[:-1]),
    ("windows", lambda windows: [{**one, "minutes": 1} for one in windows]),
    ("announced_at", lambda at: "2026-01-01T00:00:00.000000Z"),
]


@pytest.mark.parametrize(("name", "forge"), FORGED_ANNOUNCEMENTS)
def test_an_announcement_whose_body_says_another_thing_than_was_signed_is_found(
    sealed: SealedMeet, whole: Files, name: str, forge: Callable[[Any], Any]
) -> None:
    """Beside the statement stands only what it leaves open."""
    told = (one for one in whole if one.startswith("announcements/") and "json" in one)
    file = next(one for one in told if json.loads(whole[one])["windows"])
    document = json.loads(whole[file])
    subject = file.split("/")[1].removesuffix(".json")
    files = {**whole, file: json.dumps({**document, name: forge(document[name])}).encode()}

    def change(lines: list[Line]) -> None:
        (line,) = (one for one in of_kind(lines, "announcement") if one.entry["subject"] == subject)
        assert line.body is not None
        was = line.body["statement"]["announced_at"] if name == "announced_at" else None
        if name == "announced_at" and was is None:
            at = document["announced_at"]
            resigned = {**line.body["statement"], "announced_at": at}
            line.body.update(signed_with_pin(line.entry["actor"], resigned))
        line.body[name] = forge(document[name])

    report = changed_by_the_keeper(sealed, files, change)
    assert any(f"says as “{name}” is not what was" in one for one in report.mismatches)


def test_what_only_the_storing_knows_may_stand_beside_what_was_signed(
    sealed: SealedMeet, whole: Files
) -> None:
    """The export of a played meet has announcements whose times nobody gave."""
    bodies = [one.body or {} for one in of_kind(lines_in(dict(whole)), "announcement")]
    assert any(one["statement"]["announced_at"] is None for one in bodies)
    assert any(
        window["closes_at"] is None for one in bodies for window in one["statement"]["windows"]
    )
    assert checked(dict(whole)).ends_with == 0


def test_a_list_of_seals_that_is_another_is_found(sealed: SealedMeet, whole: Files) -> None:
    name = "certificates/seals.json"
    files = remanifest({**whole, name: b"[]"}, sealed.seal.notes)
    assert name in only(checked(files))
    pem = "certificates/seal-1.pem"
    files = remanifest({**whole, pem: whole[pem] + b"\n"}, sealed.seal.notes)
    assert pem in only(checked(files))


@pytest.mark.parametrize(
    "changes",
    [
        {"certificates": None},
        {"certificates": "no PEM"},
        {"certificates": "-----BEGIN CERTIFICATE-----\n!\n-----END CERTIFICATE-----"},
        {"certificates": "x" * 300_000},
        {"fingerprint": "3f" * 32},
        {"verifier_key": "a+b+c"},
        {"verifier_key": "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"},
    ],
)
def test_a_seal_that_does_not_fit_in_itself_is_found(
    sealed: SealedMeet, whole: Files, changes: Json
) -> None:
    def change(lines: list[Line]) -> None:
        (made,) = of_kind(lines, "seal made")
        assert made.body is not None
        made.body.update(changes)

    report = changed_by_the_keeper(sealed, whole, change)
    assert any("this seal cannot be read" in one for one in report.mismatches)


def test_a_paper_under_a_seal_that_the_record_does_not_have_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    def change(lines: list[Line]) -> None:
        for line in of_kind(lines, "paper sealed"):
            assert line.body is not None
            line.body["fingerprint"] = "3f" * 32

    report = changed_by_the_keeper(sealed, whole, change)
    assert len(report.mismatches) == 4
    assert "names a seal that the record does not have" in report.mismatches[0]


# What is entered twice ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kind", ["picture added", "announcement", "key registered", "seal made", "paper sealed"]
)
def test_what_is_entered_a_second_time_is_found(
    sealed: SealedMeet, whole: Files, kind: str
) -> None:
    def again(lines: list[Line]) -> None:
        first = of_kind(lines, kind)[0]
        an_entry(lines, kind, dict(first.body or {}), first.entry["subject"])

    report = changed_by_the_keeper(sealed, whole, again)
    assert any("one of them is false" in one for one in report.mismatches)


def edition_again(lines: list[Line], paper: str, **changes: object) -> None:
    """A paper's first edition is entered once more, under another id."""
    first = of_kind(lines, "paper sealed")[0]
    an_entry(lines, "paper sealed", {**(first.body or {}), **changes}, paper)


def test_a_sealed_form_that_was_exchanged_by_a_second_entry_is_found(
    sealed: SealedMeet, whole: Files
) -> None:
    report = changed_by_the_keeper(sealed, whole, lambda lines: edition_again(lines, OTHER))
    assert any("of this paper was sealed, after edition" in one for one in report.mismatches)


@pytest.mark.parametrize("edition", [0, 9, "2", True, None])
def test_an_edition_that_does_not_follow_is_found(
    sealed: SealedMeet, whole: Files, edition: object
) -> None:
    def add(lines: list[Line]) -> None:
        edition_again(lines, OTHER, edition=edition)

    assert any("edition" in one for one in changed_by_the_keeper(sealed, whole, add).mismatches)


def number_of(line: Line, paper: Json) -> object:
    """Which edition of this paper a line of the record is; None where it is of another one."""
    told = line.body or {}
    same = all(told.get(name) == paper[name] for name in ("kind", "subject", "sheet"))
    return told.get("edition") if same else None


def test_editions_count_on_after_an_erasure_or_from_what_it_left(
    sealed: SealedMeet, whole: Files
) -> None:
    def sealed_anew(files: Files, *gone: int, edition: int) -> Report:
        lines = lines_in(files)
        first = of_kind(lines, "paper sealed")[0].body or {}
        papers = [one for one in of_kind(lines, "paper sealed") if number_of(one, first) in gone]
        for one in papers:
            files.pop(paper_name(one.body or {}))
        erase(lines, papers=[one.entry["subject"] for one in papers])
        files[paper_name({**first, "edition": edition})] = whole[paper_name(first)]
        edition_again(lines, OTHER, edition=edition)
        rechain(files, lines)
        resign_heads(files, sealed.seal.notes)
        return checked(remanifest(files, sealed.seal.notes))

    for edition in (1, 2):
        after_all = sealed_anew(dict(whole), 1, edition=edition)
        assert (after_all.mismatches, after_all.ends_with) == ([], 3)
        (unchecked,) = after_all.unchecked
        assert unchecked.endswith("cannot be checked any more: 1 sealed paper")
    assert sealed_anew(dict(whole), 1, edition=3).ends_with == 1


def test_the_name_of_a_paper_has_no_letters_that_a_disk_may_refuse() -> None:
    body = {"kind": "remedy: «paper»", "subject": "a/b", "sheet": "letter", "edition": 2}
    assert paper_name(body) == "papers/remedy-paper--a-b-letter-2.pdf"


def test_a_head_of_another_meet_is_found(sealed: SealedMeet, whole: Files) -> None:
    name = max(one for one in whole if one.startswith("checkpoints/"))
    text = whole[name].decode().rpartition("\n\n")[0] + "\n"
    for changed, words in (
        (text.replace("zone-docket/", "zone-docket/0"), "another meet's record"),
        (text.replace("\n2", "\n1", 1), "another size than its name"),
        ("one line\n", "no checkpoint"),
        (f"zone-docket/x\n1\n{base64.b64encode(b'x').decode()}\n", "no size, or no root"),
    ):
        files = {**whole, name: sealed.seal.notes.sign_note(changed).encode()}
        report = checked(remanifest(files, sealed.seal.notes), credulous=True)
        assert any(words in one for one in report.mismatches), words
