"""What an entry says is what was signed for it, word for word; of a report, as its phone sent."""

from __future__ import annotations

import dataclasses
import typing
import unicodedata
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest

from app.exporting.check_export import WHERE_LEFT_OUT, Entry, Unfit, insist_as_signed
from app.ids import new_id
from app.rules.observation import Observation
from tests.builders import Json, MeetAtHand, a_report
from tests.exporting.conftest import SealedMeet
from tests.exporting.sealing import DeviceKey, signed_with_pin
from tests.exporting.tampering import Files, checked, lines_in, of_kind, read_files
from tests.exporting.test_acts import a_statement, official, told_of
from tests.reports.test_signed_on_the_phone import Phone

HEAT = "0190b3c1-0000-7000-8000-00000000b001"
POST = "0190b3c1-0000-7000-8000-00000000b002"


@pytest.fixture(scope="module")
def whole(exported: Path) -> Files:
    return read_files(exported)


# Any act -----------------------------------------------------------------------------------------


def test_a_body_that_says_something_else_than_was_signed_does_not_agree(
    sealed: SealedMeet, whole: Files
) -> None:
    body = signed_with_pin(official(sealed), a_statement(sealed))
    assert told_of(sealed, whole, ("ruling", {**body, "verdict": "confirmed"})).mismatches == []
    report = told_of(sealed, whole, ("ruling", {**body, "verdict": "dismissed"}))
    (found,) = report.mismatches
    assert found.endswith("what its entry says as “verdict” is not what was signed")


def test_a_body_that_gives_other_reasons_than_were_sent_does_not_agree(
    sealed: SealedMeet, whole: Files
) -> None:
    said = {"reasons": "Seen on the film.", "remark": None}
    body = signed_with_pin(official(sealed), a_statement(sealed, said=said))
    body |= {"reasons": "Seen on the film.", "remark": "Read aloud."}
    assert told_of(sealed, whole, ("ruling", body)).mismatches == []
    report = told_of(sealed, whole, ("ruling", {**body, "reasons": "Nothing was seen."}))
    (found,) = report.mismatches
    assert "“reasons” is not what was sent and signed" in found


def an_act(kind: str, statement: Json, body: Json) -> Entry:
    return Entry(9, kind, "x", "o", "2026-06-13T10:00:00.000000Z", body | {"statement": statement})


def test_an_advice_just_before_the_signing_counts_from_the_signing() -> None:
    def told(advised: str | None, kept: str | None) -> None:
        statement = {"advised_at": advised}
        insist_as_signed(an_act("protest decided", statement, {"advised_at": kept}), statement)

    told(None, None)
    told("2026-06-13T10:00:00Z", "2026-06-13T10:01:59.5Z")
    for advised, kept in (
        ("2026-06-13T10:00:00Z", "2026-06-13T10:05:00Z"),
        ("2026-06-13T10:00:00Z", "2026-06-13T09:59:00Z"),
        (None, "2026-06-13T10:00:00Z"),
    ):
        with pytest.raises(Unfit, match="advised_at"):
            told(advised, kept)


# Reports -----------------------------------------------------------------------------------------

OBSERVATION = {"seen": "pass_completed_beyond_zone", "baton": {"metres": 1.2, "uncertainty": 0.3}}
KEPT = {
    **OBSERVATION,
    "baton": {"metres": 1.2, "uncertainty": 0.3, "measured_from": None},
    "clearly": "unsure",
    "held_by": "receiver",
}
SIGNED: Json = {
    "heat": HEAT.upper(),
    "post": POST,
    "lane": 4,
    "observation": OBSERVATION,
    "words": " Both hands\r\non the baton: zone\u0301 3. ",
    "clock": {"at": "2026-06-13T12:00:00.5+02:00"},
}
WRITTEN: Json = {
    "heat": HEAT,
    "post": POST,
    "lane": 4,
    "observation": KEPT,
    "take_over": 2,
    "words": unicodedata.normalize("NFC", "Both hands\non the baton: zone\u0301 3."),
    "clock": {"at": "2026-06-13T10:00:00.500000Z", "offset_ms": None, "error_ms": None},
    "finding": {"outcome": "infringement"},
}


def written(
    sealed: SealedMeet, whole: Files, signed: Json, body: Json, *, key: DeviceKey | None = None
) -> list[str]:
    key = key or DeviceKey(official(sealed), "phone key")
    subject = lines_in(dict(whole))[-1].entry["subject"]
    statement = {"act": "report", "meet": sealed.meet, "report": subject, **signed}
    entry = {**body, **key.signed(statement)}
    report = told_of(sealed, whole, ("key registered", key.registered()), ("report written", entry))
    return report.mismatches


def test_a_report_may_be_kept_tidier_than_its_phone_sent_it(
    sealed: SealedMeet, whole: Files
) -> None:
    assert written(sealed, whole, SIGNED, WRITTEN) == []


@pytest.mark.parametrize(
    "forged",
    [
        {"words": "Nothing was seen."},
        {"lane": 5},
        {"heat": POST},
        {"post": None, "take_over": 3},
        {"observation": {**KEPT, "baton": {"metres": -1.2, "uncertainty": 0.3}}},
        {"observation": {**KEPT, "clearly": "yes"}},
        {"observation": {**KEPT, "held_by": "incoming"}},
        {"clock": {"at": "2026-06-13T10:00:01Z"}},
        {"clock": {"at": "2026-06-13T10:00:00.500000Z", "offset_ms": -60_000}},
    ],
    ids="-".join,
)
def test_a_report_that_says_another_thing_than_its_phone_has_signed_does_not_agree(
    sealed: SealedMeet, whole: Files, forged: Json
) -> None:
    (found,) = written(sealed, whole, SIGNED, {**WRITTEN, **forged})
    assert found.endswith("is not what was signed")


def test_words_that_the_phone_left_out_cannot_be_put_into_its_mouth(
    sealed: SealedMeet, whole: Files
) -> None:
    silent = {name: value for name, value in SIGNED.items() if name != "words"}
    assert written(sealed, whole, silent, {**WRITTEN, "words": ""}) == []
    (found,) = written(sealed, whole, silent, {**WRITTEN, "words": "It was outside."})
    assert "“words” is not what was signed" in found


def test_every_answer_that_may_be_left_out_is_known_to_the_checker() -> None:
    for kind in typing.get_args(Observation):
        for field in dataclasses.fields(kind):
            if field.name == "seen" or field.default is dataclasses.MISSING:
                continue
            empty = field.default is None or str(field.default) == "unsure"
            known = WHERE_LEFT_OUT.get(field.name, ())
            assert empty or str(field.default) in known, (kind, field.name)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"words": "  Zone 3:\r\nboth hands, e\u0301tape.  "},
        {"observation": {"seen": "lane_infringement", "steps": 2}},
        {"observation": {"seen": "pass_begun_before_zone"}},
        {"observation": {"seen": "dropped_baton"}},
        {"clock": {"at": "2026-06-13T12:00:00.1234567+02:00", "offset_ms": 12}},
        {"clock": {"at": "2026-06-13t10:00:00z"}},
    ],
    ids="-".join,
)
def test_whatever_a_phone_signs_agrees_with_what_is_kept_of_it(
    meet: MeetAtHand, changes: Json
) -> None:
    phone, ident = Phone(meet), new_id()
    document = a_report(meet.heat(), meet.posts["umpire"], **changes)
    sent = meet.umpire.put(f"reports/{ident}", phone.signed(ident, document))
    assert sent.status_code == 201, sent.text
    answer = meet.referee.get("record.zip")
    with ZipFile(BytesIO(answer.content)) as opened:
        files = {name: opened.read(name) for name in opened.namelist()}
    (line,) = of_kind(lines_in(files), "report written")
    assert line.body is not None
    assert line.body["signature"]["strength"] == "phone key"
    assert checked(files).mismatches == []


def taken_in(sealed: SealedMeet, whole: Files, **forged: object) -> list[str]:
    """What is found of a report that came without a signature, and was changed since."""
    subject = lines_in(dict(whole))[-1].entry["subject"]
    body = {**WRITTEN, "take_over": 2}
    sent = {name: body[name] for name in ("clock", "heat", "lane", "observation", "post", "words")}
    about = {"act": "report", "meet": sealed.meet, "report": subject, "take_over": None}
    signed = signed_with_pin(official(sealed), {**sent, **about})
    del signed["statement"]
    signed["signature"]["strength"] = "server"
    changed = {**body, **signed, **forged}
    kept = {name: value for name, value in changed.items() if value is not GONE}
    return told_of(sealed, whole, ("report written", kept)).mismatches


GONE = object()


@pytest.mark.parametrize(
    "forged",
    [
        {"words": "Nothing was seen."},
        {"lane": 5},
        {"post": None},
        {"observation": {**KEPT, "clearly": "yes"}},
        {"statement_sha256": "0" * 64},
        {"words": GONE},
        {"signature": {"strength": "phone key", "official": "", "key": None, "proof": None}},
        {"signature": {"strength": "PIN", "official": "", "key": None, "proof": None}},
    ],
    ids="-".join,
)
def test_a_report_that_says_another_thing_than_was_taken_in_does_not_agree(
    sealed: SealedMeet, whole: Files, forged: Json
) -> None:
    assert taken_in(sealed, whole) == []
    (found,) = taken_in(sealed, whole, **forged)
    assert "what was signed" in found
