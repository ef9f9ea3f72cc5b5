"""What a part of a record takes along besides its entries, and what of erased things is left."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import delete

from app.exporting.building import export_to
from app.exporting.check_export import check
from app.exporting.files import a_place
from app.exporting.wanted import Order
from app.ids import new_id
from app.pictures.tables import picture_copies
from app.record.kinds import Kind
from app.record.queries import head_of
from app.refusals import NotFound
from app.store.action import Actor, Deed, Done, Unit
from tests.exporting.conftest import SealedMeet
from tests.exporting.sealing import DeviceKey, do, signed_with_pin
from tests.exporting.test_export import insist_good, seqs_of


@pytest.mark.usefixtures("exported", "zipped")  # made before anything is added to the record
def test_a_part_takes_along_what_its_entries_cannot_be_checked_without(
    sealed: SealedMeet, tmp_path: Path
) -> None:
    """Of a key that signed: its registration, what revoked it, and what was erased of it. Of
    others, nothing.
    """
    official, meet = new_id(), sealed.meet
    key, other = DeviceKey(official), DeviceKey(official)
    since, held, stranger = "2030-01-01T00:00:00Z", [], []

    def entered(one: DeviceKey) -> list[Deed]:
        left = {"session": one.id, "keys_revoked": [one.revoked(since)]}
        gone = {"because": "x", "by": "y", "entries": [], "papers": [one.id], "forms": []}
        said = {"act": "decision signature", "decision": one.id}
        signed = one.signed({**said, "meet": meet, "official": official})
        return [
            Deed(Kind.KEY_REGISTERED, one.id, one.registered()),
            Deed(Kind.DECISION_SIGNED, one.id, signed),
            Deed(Kind.KEY_REVOKED, one.id, one.revoked(since)),
            Deed(Kind.LEFT, official, left),
            Deed(Kind.ERASED, meet, gone),
        ]

    for one, seqs in ((key, held), (other, stranger)):
        for deed in entered(one):
            do(sealed.store, meet, official, Kind(deed.kind), deed.subject, deed.body)
            seqs.append(sealed.store.read_now(lambda conn: head_of(conn, meet)).size)
    sealed.export(tmp_path / "part", frozenset({held[1]}))
    insist_good(tmp_path / "part")
    found = set(seqs_of(tmp_path / "part", *Kind))
    assert found >= set(held)
    assert found.isdisjoint(stranger)
    assert other.id.encode() not in (tmp_path / "part" / "record.jsonl").read_bytes()


@pytest.mark.usefixtures("exported", "zipped")  # made before anything is added to the record
def test_a_part_takes_along_the_keys_that_signed_the_votes_in_it(
    sealed: SealedMeet, tmp_path: Path
) -> None:
    voter, meet, appeal = new_id(), sealed.meet, new_id()
    key = DeviceKey(voter)
    said = {"meet": meet, "official": voter, "appeal": appeal}
    vote = key.signed({**said, "act": "vote", "ballot": new_id(), "sitting": 1, "vote": "upheld"})
    votes = {"cast": {voter: "upheld"}, "upheld": 1, "rejected": 0}
    decided = signed_with_pin(voter, {**said, "act": "decision", "votes": votes})
    do(sealed.store, meet, voter, Kind.KEY_REGISTERED, key.id, key.registered())
    cast = vote["statement"]
    body = {"id": cast["ballot"], "appeal_id": appeal, "sitting": 1, "official_id": voter}
    do(sealed.store, meet, voter, Kind.VOTE_CAST, appeal, body)
    do(sealed.store, meet, voter, Kind.APPEAL_DECIDED, appeal, {**decided, "ballots": [vote]})
    size = sealed.store.read_now(lambda conn: head_of(conn, meet)).size
    sealed.export(tmp_path / "part", frozenset({size}))
    insist_good(tmp_path / "part")
    assert size - 2 in seqs_of(tmp_path / "part", Kind.KEY_REGISTERED)


def test_of_a_picture_that_was_erased_only_what_is_left_is_exported(
    sealed: SealedMeet, tmp_path: Path
) -> None:
    """Erased and exported within an act that is then undone: nothing in the record tells of it, so
    the checker misses just the file that is not there.
    """
    written: list[Path] = []

    def erase_and_export(unit: Unit) -> Done[None]:
        unit.conn.execute(delete(picture_copies))
        written.append(tmp_path / new_id())
        order = Order(sealed.meet, unit.now, sealed.seal.notes)
        with a_place(written[-1], order.now) as place:
            export_to(unit.conn, order, place)
        raise NotFound("undone")

    with pytest.raises(NotFound, match="undone"):
        sealed.store.act_now(sealed.meet, Actor("founder"), erase_and_export)
    (missed,) = check(str(written[-1])).mismatches
    assert "-shown.jpg: entry" in missed
    assert "added this picture, and it is missing" in missed
