"""What was signed is what is sealed: whoever changes it in the database gets no seal for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, NamedTuple

import pytest
from sqlalchemy import delete, insert, select

from app.ids import MeetId, new_id
from app.record.canonical import canonical, digest_of
from app.record.kinds import Kind
from app.record.queries import entries_about
from app.sealing.actions import SERVER
from app.sealing.as_signed import as_told_by_erasure, is_as_signed
from app.sealing.told import Kept
from app.store.action import Deed, Done
from tests.appeals.desk import a_rejected_protest, an_announced_disqualification, an_upheld_appeal
from tests.builders import Json, MeetAtHand, a_problem
from tests.forms.pdf_reading import read_text
from tests.sealing.changing import put, run, stored, table
from tests.sealing.test_papers import a_ruled_case


class Act(NamedTuple):
    """A signed act: its address, and where what was fixed of it lies."""

    address: str
    table: str
    id: str
    column: str = "form_facts"


def a_ruling(meet: MeetAtHand) -> Act:
    ident = a_ruled_case(meet)["id"]
    return Act(f"rulings/{ident}/form.pdf", "rulings", ident)


def of_referee(meet: MeetAtHand) -> Act:
    ident = a_rejected_protest(meet)["decision"]["id"]
    return Act(f"decisions/{ident}/form.pdf", "decisions", ident)


def of_jury(meet: MeetAtHand) -> Act:
    ident = an_upheld_appeal(meet)["decision"]["id"]
    return Act(f"decisions/{ident}/form.pdf", "decisions", ident)


def an_announcement(meet: MeetAtHand) -> Act:
    an_announced_disqualification(meet)
    (told,) = meet.desk.get("announcements").json()["announcements"]
    return Act(f"announcements/{told['id']}.pdf", "announcements", told["id"], "snapshot")


ACTS: dict[str, Callable[[MeetAtHand], Act]] = {
    "a ruling": a_ruling,
    "a decision of the referee": of_referee,
    "a decision of the jury": of_jury,
    "an announcement": an_announcement,
}


def sealed(meet: MeetAtHand, act: Act, paper: str = "A4") -> bytes:
    answer = meet.referee.get(act.address, params={"paper": paper})
    assert answer.status_code == 200, answer.text
    return answer.content


def is_refused(meet: MeetAtHand, act: Act) -> None:
    known = meet.referee.get("papers").json()["papers"]
    for paper in ("A4", "letter"):
        answer = meet.referee.get(act.address, params={"paper": paper})
        told = a_problem(answer, 503, "not-as-signed")
        assert "check --database" in told["detail"]
    assert meet.referee.get("papers").json()["papers"] == known


@pytest.mark.parametrize("made", ACTS)
@pytest.mark.parametrize("place", ["event", "time"])
def test_what_was_changed_since_it_was_signed_is_sealed_no_more(
    meet: MeetAtHand, made: str, place: str
) -> None:
    """The time is no part of the statement: nobody can be shown when something will be stored."""
    act = ACTS[made](meet)
    before = sealed(meet, act)
    facts = dict(stored(meet, act.table, act.id)[act.column])
    put(meet, act.table, act.id, **{act.column: {**facts, **CHANGES[place](facts)}})
    is_refused(meet, act)
    put(meet, act.table, act.id, **{act.column: facts})
    assert sealed(meet, act) == before
    sealed(meet, act, "letter")


def at_another_time(facts: Json) -> Json:
    if "ruled_at" in facts:
        return {"ruled_at": "2026-06-13 09:00:00 CEST (Europe/Paris)"}
    if "grounds" in facts:
        return {"grounds": [["decided", "yesterday"], *facts["grounds"][1:]]}
    return {"announced_at": "2026-06-13T07:00:00Z"}


CHANGES: dict[str, Callable[[Json], Json]] = {
    "event": lambda facts: {("event" if "event" in facts else "event_name"): "Men 4x400 m"},
    "time": at_another_time,
}


@pytest.mark.parametrize("made", ["a ruling", "a decision of the referee"])
def test_another_digest_than_that_of_the_signed_statement_is_printed_nowhere(
    meet: MeetAtHand, made: str
) -> None:
    act = ACTS[made](meet)
    put(meet, act.table, act.id, statement_digest="0" * 64)
    is_refused(meet, act)


SIGNED_OTHERWISE: dict[str, Json] = {
    "stronger": {"strength": "device key"},
    "with a proof": {"proof": {"signature": "AA"}},
    "earlier": {"signed_at": datetime(2026, 6, 13, 6, tzinfo=UTC)},
    "another statement": {"statement_sha256": "0" * 64},
}


@pytest.mark.parametrize("made", ACTS)
@pytest.mark.parametrize("otherwise", SIGNED_OTHERWISE)
def test_a_signature_that_was_changed_is_printed_nowhere(
    meet: MeetAtHand, made: str, otherwise: str
) -> None:
    act = ACTS[made](meet)
    before = sealed(meet, act)
    (known,) = signatures_on(meet, act.id)
    put(meet, "signatures", known["id"], **SIGNED_OTHERWISE[otherwise])
    sealed_again_or_refused(meet, act, before)
    put(meet, "signatures", known["id"], **{k: known[k] for k in SIGNED_OTHERWISE[otherwise]})
    sealed(meet, act, "letter")


def sealed_again_or_refused(meet: MeetAtHand, act: Act, before: bytes) -> None:
    """What is printed of it elsewhere stays as it was sealed; nothing else is sealed."""
    known = meet.referee.get("papers").json()["papers"]
    answer = meet.referee.get(act.address)
    assert answer.content == before or a_problem(answer, 503, "not-as-signed")
    a_problem(meet.referee.get(act.address, params={"paper": "letter"}), 503, "not-as-signed")
    assert meet.referee.get("papers").json()["papers"] == known


def signatures_on(meet: MeetAtHand, subject: str) -> list[Json]:
    rows = table("signatures")
    asked = select(rows).where(rows.c.subject == subject)
    return [
        dict(row._mapping)
        for row in meet.service.store.read_now(lambda conn: conn.execute(asked).all())
    ]


def test_a_signature_that_was_taken_away_is_not_told_as_a_pin(meet: MeetAtHand) -> None:
    act = a_ruling(meet)
    rows = table("signatures")
    run(meet, delete(rows).where(rows.c.subject == act.id))
    is_refused(meet, act)


def test_a_secretary_who_did_not_sign_is_on_no_paper(meet: MeetAtHand) -> None:
    act = of_jury(meet)
    sealed(meet, act)
    (chair,) = signatures_on(meet, act.id)
    row = {**chair, "id": new_id(), "act": "decision signature"}
    run(meet, insert(table("signatures")).values(row))
    is_refused(meet, act)


def test_a_changed_entry_does_not_help_whoever_changed_the_form(meet: MeetAtHand) -> None:
    """Bodies may be taken away, for erasing; one that is put in its place is not what the entry
    commits to.
    """
    act = a_ruling(meet)
    facts = {**stored(meet, act.table, act.id)["form_facts"], "effect": "no infringement"}
    (made,) = recorded(meet, Kind.RULING, act.id)
    statement = {**made.body["statement"], "form_sha256": digest_without_time(facts)}
    digest = digest_of(statement)
    body = {**made.body, "statement": statement, "statement_sha256": digest}
    body["facts_sha256"] = digest_of(facts)
    put_body(meet, made.seq, body)
    put(meet, act.table, act.id, form_facts=facts, statement_digest=digest)
    is_refused(meet, act)


def recorded(meet: MeetAtHand, kind: Kind, subject: str) -> list[Any]:
    ident = MeetId(meet.id)
    return meet.service.store.read_now(lambda conn: entries_about(conn, ident, kind, subject))


def digest_without_time(facts: Json) -> str:
    return digest_of({name: facts[name] for name in facts.keys() - {"date", "ruled_at"}})


def put_body(meet: MeetAtHand, seq: int, body: Json) -> None:
    bodies = table("record_bodies")
    mine = (bodies.c.meet_id == meet.id) & (bodies.c.seq == seq)
    row = {"meet_id": meet.id, "seq": seq, "salt": b"0" * 32, "body": canonical(body).decode()}
    run(meet, delete(bodies).where(mine), insert(bodies).values(row))


def test_a_changed_file_gets_no_further_signature(meet: MeetAtHand) -> None:
    """The head official's seal goes into the umpire's own file."""
    report = meet.report()
    address = f"reports/{report['id']}/form.pdf"
    content = meet.umpire.get(address).content
    (paper,) = meet.referee.get("papers").json()["papers"]
    put(meet, "papers", paper["id"], content=content + b"\n%%EOF\n")
    assert meet.rule(report["case"]).status_code == 201
    a_problem(meet.umpire.get(address), 503, "not-as-signed")
    put(meet, "papers", paper["id"], content=content)
    assert meet.umpire.get(address).content.startswith(content)


def test_a_ruling_that_was_changed_is_not_sealed_into_the_umpires_paper(meet: MeetAtHand) -> None:
    report = meet.report()
    address = f"reports/{report['id']}/form.pdf"
    ruling = meet.rule(report["case"]).json()
    facts = dict(stored(meet, "rulings", ruling["id"])["form_facts"])
    put(meet, "rulings", ruling["id"], form_facts={**facts, "ruling_verdict": "dismissed"})
    a_problem(meet.umpire.get(address), 503, "not-as-signed")
    put(meet, "rulings", ruling["id"], form_facts=facts, verdict="dismissed", effect="none")
    told = read_text(meet.umpire.get(address).content)
    assert "confirmed" in told
    assert "dismissed" not in told


FACTS: Json = {"team": "Plover 1", "ruled_at": "then"}


def of_form(facts: Any) -> str:
    return digest_of({"team": facts["team"]})


KEPT = Kept(new_id(), Kind.RULING, new_id(), digest_of({"act": "ruling"}), FACTS, of_form)


def told(meet: MeetAtHand, kind: Kind, body: Json, about: str = "") -> str:
    """An entry with this body; what it is about."""
    subject = meet.id if kind is Kind.ERASED else about or new_id()

    def act(_unit: Any) -> Done[None]:
        return Done(None, Deed(kind, subject, body))

    meet.service.store.act_now(MeetId(meet.id), SERVER, act)
    return subject


def agrees(meet: MeetAtHand, kept: Kept) -> bool:
    return meet.service.store.read_now(lambda conn: is_as_signed(conn, MeetId(meet.id), kept))


def changed(facts: Json) -> Json:
    return {**facts, "ruled_at": "another time"}


@pytest.mark.parametrize("named", ["form_sha256", "nothing"])
def test_an_entry_of_before_is_the_statement_itself(meet: MeetAtHand, named: str) -> None:
    """It named the digest of all that the form tells, or none."""
    statement = {"act": "ruling", "form_sha256": digest_of(FACTS)}
    if named == "nothing":
        del statement["form_sha256"]
    digest = digest_of(statement)
    about = told(meet, Kind.RULING, {**statement, "statement_sha256": digest})
    kept = replace(KEPT, about=about, statement_sha256=digest)
    assert agrees(meet, kept)
    assert agrees(meet, replace(kept, facts=changed(FACTS))) == (named == "nothing")
    assert not agrees(meet, replace(kept, statement_sha256="0" * 64))


def test_an_entry_of_before_is_the_announcement_itself(meet: MeetAtHand) -> None:
    about = told(meet, Kind.ANNOUNCEMENT, FACTS)
    kept = replace(KEPT, kind=Kind.ANNOUNCEMENT, about=about, form_sha256=None)
    assert agrees(meet, kept)
    assert not agrees(meet, replace(kept, facts=changed(FACTS)))


def test_what_an_erasure_left_is_what_it_says_and_nothing_else(meet: MeetAtHand) -> None:
    after = {**FACTS, "team": "erased"}
    told(meet, Kind.ERASED, {"left_as": [as_told_by_erasure(KEPT, after)]})
    assert agrees(meet, replace(KEPT, facts=after))
    assert not agrees(meet, KEPT)
    assert not agrees(meet, replace(KEPT, facts=changed(after)))
    assert not agrees(meet, replace(KEPT, facts=after, act=new_id()))


def test_of_what_several_erasures_left_the_last_one_counts(meet: MeetAtHand) -> None:
    """Else whoever puts back what an earlier one left brings back whom the later one took out."""
    first, second = ({**FACTS, "team": "erased", "clause": one} for one in ("Bo", "erased"))
    for after in (first, second):
        told(meet, Kind.ERASED, {"left_as": [as_told_by_erasure(KEPT, after)]})
    assert agrees(meet, replace(KEPT, facts=second))
    assert not agrees(meet, replace(KEPT, facts=first))


@pytest.mark.parametrize("added", ["another statement", "an entry of before", "an erasure"])
def test_what_is_added_to_the_record_later_makes_nothing_signed(
    meet: MeetAtHand, added: str
) -> None:
    statement = {"act": "ruling", "form_sha256": of_form(FACTS)}
    digest = digest_of(statement)
    about = told(meet, Kind.RULING, {"statement": statement, "statement_sha256": digest})
    forged = {**FACTS, "team": "Plover 2"}
    kept = replace(KEPT, act=about, about=about, statement_sha256=digest, facts=forged)
    if added == "another statement":
        other = {"act": "ruling", "form_sha256": of_form(forged)}
        kept = replace(kept, statement_sha256=digest_of(other))
        body = {"statement": other, "statement_sha256": digest_of(other)}
        told(meet, Kind.RULING, body, about)
    elif added == "an entry of before":
        told(meet, Kind.RULING, {"statement_sha256": digest}, about)
    else:
        told(meet, Kind.ERASED, {"because": "x", "by": "y", "entries": []})
    assert not agrees(meet, kept)


def test_what_was_signed_counts_no_more_once_an_erasure_has_changed_it(meet: MeetAtHand) -> None:
    statement = {"act": "ruling", "form_sha256": of_form(FACTS)}
    digest = digest_of(statement)
    about = told(meet, Kind.RULING, {"statement": statement, "statement_sha256": digest})
    kept = replace(KEPT, about=about, statement_sha256=digest)
    assert agrees(meet, kept)
    after = {**FACTS, "team": "erased"}
    told(meet, Kind.ERASED, {"left_as": [as_told_by_erasure(kept, after)]})
    assert agrees(meet, replace(kept, facts=after))
    assert not agrees(meet, kept)


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        (Kind.ERASED, {"left_as": None}),
        (Kind.ERASED, {"left_as": {"of": KEPT.act}}),
        (Kind.ERASED, {"left_as": [None, 5, "x"]}),
        (Kind.RULING, {"statement": ["no", "object"], "statement_sha256": ""}),
    ],
)
def test_an_entry_of_another_shape_tells_of_nothing(
    meet: MeetAtHand, kind: Kind, body: Json
) -> None:
    about = told(meet, kind, body)
    assert not agrees(meet, replace(KEPT, about=about))


def test_of_what_an_erasure_of_before_left_nothing_is_known(meet: MeetAtHand) -> None:
    """It explains only what has lost its body."""
    about = told(meet, Kind.RULING, {"statement": {}, "statement_sha256": ""})
    kept = replace(KEPT, about=about)
    told(meet, Kind.ERASED, {"entries": []})
    assert not agrees(meet, kept)
    (made,) = recorded(meet, Kind.RULING, about)
    bodies = table("record_bodies")
    run(meet, delete(bodies).where(bodies.c.meet_id == meet.id, bodies.c.seq == made.seq))
    assert agrees(meet, kept)
    later = told(meet, Kind.RULING, {"statement": {}, "statement_sha256": ""})
    (made,) = recorded(meet, Kind.RULING, later)
    run(meet, delete(bodies).where(bodies.c.meet_id == meet.id, bodies.c.seq == made.seq))
    assert not agrees(meet, replace(kept, about=later))


def test_a_ruling_without_an_entry_is_nobodys(meet: MeetAtHand) -> None:
    assert not agrees(meet, KEPT)
