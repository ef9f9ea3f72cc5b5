"""Whatever is changed beside the record is told with its place: heads, acts, papers, pictures."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import delete, insert, select, update

from app.checking.database import check_meet
from app.erasing.actions import OPERATOR, Wanted, erase
from app.ids import MeetId, new_id
from app.record.canonical import canonical, digest_of
from app.record.kinds import Kind
from tests.builders import Json, MeetAtHand
from tests.pictures.photographs import a_photograph
from tests.sealing.changing import entered, put, run, stored, table
from tests.sealing.test_papers import form, rewrite

Spoil = Callable[["Story"], object]


class Story:
    """A meet with one of each: a ruling on no infringement, its sealed form, a signed head, an
    announcement, a picture.
    """

    def __init__(self, meet: MeetAtHand) -> None:
        self.meet = meet
        report = meet.report()
        self.report = report["id"]
        self.picture = new_id()
        address = f"reports/{report['id']}/pictures/{self.picture}"
        assert meet.umpire.put(address, content=a_photograph()).status_code == 201
        ruled = meet.rule(report["case"], verdict="dismissed")
        assert ruled.status_code == 201, ruled.text
        self.ruling = ruled.json()
        form(meet, self.ruling)
        meet.start()
        assert meet.load_result().status_code == 201
        assert meet.announce(despite="No post has called in this test.").status_code == 201
        (self.paper,) = meet.referee.get("papers").json()["papers"]
        (self.seal,) = meet.service.http.get(f"/api/meets/{meet.id}/seals").json()["seals"]

    @property
    def announcement(self) -> str:
        (told,) = self.meet.desk.get("announcements").json()["announcements"]
        return str(told["id"])

    def newest_head(self) -> Json:
        heads = table("checkpoints")
        asked = select(heads).where(heads.c.meet_id == self.meet.id).order_by(heads.c.size.desc())
        read = self.meet.service.store.read_now
        return dict(read(lambda conn: conn.execute(asked.limit(1)).one())._mapping)

    def keep_head(self, **changes: Any) -> None:
        """A further row among the signed heads: nothing guards against one."""
        run(self.meet, insert(table("checkpoints")).values({**self.newest_head(), **changes}))


@pytest.fixture
def story(meet: MeetAtHand) -> Story:
    return Story(meet)


def amiss(meet: MeetAtHand, ident: str = "") -> tuple[list[str], Counter[str]]:
    """What is told of a meet, this one where no other is named, and how much was looked at."""
    ident = MeetId(ident or meet.id)
    found = meet.service.store.read_now(lambda conn: check_meet(conn, ident))
    return list(found.mismatches), found.held


def test_what_is_as_the_record_says_is_counted(story: Story) -> None:
    told, held = amiss(story.meet)
    assert told == []
    assert held == {
        "seal": 1,
        "signed head": 3,
        "signed act": 2,
        "signature": 2,
        "report": 1,
        "sealed paper": 1,
        "picture": 1,
    }


FORGED = new_id()
SPOILT: dict[str, tuple[Spoil, str]] = {}
"""What is changed, and what is told of it."""


def told(*words: str) -> Callable[[Spoil], Spoil]:
    def keep(spoil: Spoil) -> Spoil:
        SPOILT[spoil.__name__.replace("_", " ")] = (spoil, " ".join(words))
        return spoil

    return keep


@told("seal 1: the record tells it otherwise (verifier_key)")
def another_key_for_heads(story: Story) -> None:
    put(story.meet, "seals", story.seal["id"], verifier_key="zone-docket/other+0+AA==")


@told("seal 2: no entry of the record tells of it")
def a_seal_that_nobody_made(story: Story) -> None:
    row = {**stored(story.meet, "seals", story.seal["id"]), "id": new_id(), "number": 2}
    run(story.meet, insert(table("seals")).values({**row, "fingerprint": "0" * 64}))


@told("its head: the next entry would not lead on from it; what it grows from was changed")
def a_record_that_would_grow_from_another(story: Story) -> None:
    _grow_from(story, [story.newest_head()["root"]] * 2)


@told("its head: the next entry would not lead on from it; what it grows from was changed")
def a_record_that_would_grow_from_what_cannot_be_read(story: Story) -> None:
    _grow_from(story, ["9.9.9"])


@told("its head: it says that the meet was erased as a whole")
def a_meet_that_was_closed_without_an_erasure(story: Story) -> None:
    heads = table("record_heads")
    run(story.meet, update(heads).where(heads.c.meet_id == story.meet.id).values(closed=True))


def _grow_from(story: Story, roots: list[str]) -> None:
    heads = table("record_heads")
    run(story.meet, update(heads).where(heads.c.meet_id == story.meet.id).values(frontier=roots))


@told("the signed head of 3 entries: its note tells another one")
def a_head_with_the_note_of_another(story: Story) -> None:
    story.keep_head(size=3)


@told("no key that is known has signed this note")
def a_head_that_nobody_signed(story: Story) -> None:
    note = story.newest_head()["note"].rsplit(" ", 1)[0] + " AAAAAAAA\n"
    story.keep_head(size=3, note=note)


@told("the entries do not lead to it; the record was rewritten behind it")
def a_record_that_was_rewritten(story: Story) -> None:
    rewrite(story.meet, 3)


@told("the ruling {ruling}: it is not what the record says was signed")
def a_ruling_that_was_changed(story: Story) -> None:
    facts = dict(stored(story.meet, "rulings", story.ruling["id"])["form_facts"])
    changed = {**facts, "ruling_verdict": "confirmed"}
    put(story.meet, "rulings", story.ruling["id"], form_facts=changed)


@told("the ruling {ruling}: it is not what the record says was signed")
def a_ruling_of_another_shape(story: Story) -> None:
    put(story.meet, "rulings", story.ruling["id"], form_facts=["no", "form"])


@told("the ruling {ruling}: the record tells of it, and it is not there")
def a_ruling_that_is_gone(story: Story) -> None:
    rows = table("rulings")
    run(story.meet, delete(rows).where(rows.c.id == story.ruling["id"]))


@told("the announcement {announcement}: it is not what the record says was signed")
def an_announcement_that_was_changed(story: Story) -> None:
    snapshot = dict(stored(story.meet, "announcements", story.announcement)["snapshot"])
    changed = {**snapshot, "lines": snapshot["lines"][1:]}
    put(story.meet, "announcements", story.announcement, snapshot=changed)


def signature_of(story: Story) -> Json:
    rows = table("signatures")
    asked = select(rows).where(rows.c.subject == story.ruling["id"])
    return dict(story.meet.service.store.read_now(lambda conn: conn.execute(asked).one())._mapping)


def put_signature(story: Story, **changes: Any) -> None:
    put(story.meet, "signatures", signature_of(story)["id"], **changes)


@told("the signature {signature}: the record tells it otherwise")
def a_signature_of_a_key_that_was_none(story: Story) -> None:
    put_signature(story, strength="device key")


@told("the signature {signature}: the record tells it otherwise")
def a_signature_of_somebody_else(story: Story) -> None:
    put_signature(story, official_id=story.meet.umpire.id)


@told("the signature {signature}: the record tells it otherwise")
def a_signature_with_a_proof_that_was_none(story: Story) -> None:
    put_signature(story, proof={"signature": "AA"})


@told("the signature {signature}: the record tells it otherwise")
def a_signature_of_another_time(story: Story) -> None:
    """A key that was revoked meanwhile would count."""
    put_signature(story, signed_at=signature_of(story)["signed_at"] - timedelta(hours=1))


@told("the signature {signature}: the record tells it otherwise")
def a_signature_under_another_statement(story: Story) -> None:
    statement = {**json.loads(signature_of(story)["statement"]), "verdict": "confirmed"}
    digest = digest_of(statement)
    put_signature(story, statement=canonical(statement).decode(), statement_sha256=digest)


@told("the signature of the ruling {ruling}: the record tells of it, and it is not there")
def a_signature_that_was_put_under_another_act(story: Story) -> None:
    put_signature(story, subject=story.announcement)


@told("the signature of the ruling {ruling}: the record tells of it, and it is not there")
def a_signature_that_is_gone(story: Story) -> None:
    rows = table("signatures")
    run(story.meet, delete(rows).where(rows.c.id == signature_of(story)["id"]))


@told("the signature {forged}: the record tells it otherwise")
def a_signature_that_nobody_gave(story: Story) -> None:
    row = {**signature_of(story), "id": FORGED, "act": "decision signature"}
    run(story.meet, insert(table("signatures")).values(row))


@told("its bytes are not those that the record says were sealed")
def a_paper_that_was_changed(story: Story) -> None:
    put(story.meet, "papers", story.paper["id"], content=b"%PDF-1.7", sha256="0" * 64)


@told("the paper {paper} (ruling, edition 2): the record tells it otherwise (edition)")
def a_paper_of_another_edition(story: Story) -> None:
    put(story.meet, "papers", story.paper["id"], edition=2)


@told("what it is said to be drawn from was changed")
def facts_of_a_paper_that_were_changed(story: Story) -> None:
    put(story.meet, "papers", story.paper["id"], facts={"told": {}, "acts": []})


@told("the paper {paper}: the record tells of it, and it is not there")
def a_paper_that_is_gone(story: Story) -> None:
    rows = table("papers")
    run(story.meet, delete(rows).where(rows.c.id == story.paper["id"]))


@told("(ruling, edition 2): no entry of the record tells of it")
def a_paper_that_nobody_sealed(story: Story) -> None:
    row = {**stored(story.meet, "papers", story.paper["id"]), "id": new_id(), "edition": 2}
    run(story.meet, insert(table("papers")).values(row))


def put_file(story: Story, name: str, content: bytes) -> None:
    rows = table(name)
    mine = rows.c.picture_id == story.picture
    run(story.meet, update(rows).where(mine).values(content=content))


@told("the picture {picture}: its file as it came is not the one that was added")
def an_original_that_was_changed(story: Story) -> None:
    put_file(story, "picture_originals", b"another")


@told("the picture {picture}: its file as shown is not the one that was added")
def a_copy_that_was_changed(story: Story) -> None:
    put_file(story, "picture_copies", b"another")


@told("its file as it came is gone, and no entry says that it was erased")
def an_original_that_is_gone(story: Story) -> None:
    rows = table("picture_originals")
    run(story.meet, delete(rows).where(rows.c.picture_id == story.picture))


@told("the picture {picture}: the record tells it otherwise (sha256)")
def a_digest_of_a_picture_that_was_changed(story: Story) -> None:
    put(story.meet, "pictures", story.picture, sha256="0" * 64)


@pytest.mark.parametrize("spoilt", SPOILT)
def test_what_was_changed_behind_the_record_is_told(story: Story, spoilt: str) -> None:
    spoil, words = SPOILT[spoilt]
    named = {
        "announcement": story.announcement,
        "forged": FORGED,
        "paper": story.paper["id"],
        "picture": story.picture,
        "report": story.report,
        "ruling": story.ruling["id"],
        "signature": signature_of(story)["id"],
    }
    spoil(story)
    told, _held = amiss(story.meet)
    assert words.format(**named) in "\n".join(told)


@pytest.mark.parametrize(
    ("kind", "body", "words"),
    [
        (Kind.SEAL_MADE, {"x": 1}, "its key for heads cannot be read"),
        (Kind.SEAL_MADE, {"verifier_key": "rubbish"}, "its key for heads cannot be read"),
        (Kind.ERASED, {"left_as": [], "papers": 5}, "what it names as papers is no list"),
        (Kind.ERASED, {"left_as": [], "pictures": None}, "what it names as pictures is no list"),
        (Kind.ERASED, {"left_as": None}, "what it names as left_as is no list"),
        (Kind.PAPER_SEALED, {"x": 1}, "the record tells of it, and it is not there"),
    ],
)
def test_an_entry_of_another_shape_is_told_and_stops_no_check(
    story: Story, kind: Kind, body: Json, words: str
) -> None:
    put(story.meet, "rulings", story.ruling["id"], form_facts=["no", "form"])
    entered(story.meet, kind, body)
    told, _held = amiss(story.meet)
    assert words in "\n".join(told)
    assert f"the ruling {story.ruling['id']}: it is not what" in "\n".join(told)


def test_what_the_record_does_not_tell_of_a_thing_is_not_taken_for_told(story: Story) -> None:
    """A name that an entry lacks, as whoever enters another one could leave it out."""
    (picture,) = (stored(story.meet, "pictures", story.picture),)
    run(story.meet, insert(table("pictures")).values({**picture, "id": (ident := new_id())}))
    entered(story.meet, Kind.PICTURE_ADDED, {"sha256": picture["sha256"]}, ident)
    told, _held = amiss(story.meet)
    otherwise = (
        f"the picture {ident}: the record tells it otherwise (media_type, shown_sha256, size)"
    )
    assert otherwise in told


def test_what_was_erased_is_counted_apart(story: Story) -> None:
    wanted = Wanted(because="asked for it", by="the organiser")
    story.meet.service.store.act_now(MeetId(story.meet.id), OPERATOR, erase(wanted))
    found = story.meet.service.store.read_now(lambda conn: check_meet(conn, MeetId(story.meet.id)))
    assert not found.mismatches
    assert found.held == {"seal": 1, "signed head": 3}
    assert found.left == {
        "signed act": 2,
        "signature": 2,
        "report": 1,
        "sealed paper": 1,
        "picture": 1,
    }


def test_a_meet_whose_record_was_taken_away_is_told(meet: MeetAtHand) -> None:
    told, _held = amiss(meet, new_id())
    assert any("it has no entry" in one for one in told)
