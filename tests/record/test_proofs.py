"""Proofs and signed heads over HTTP: whoever kept a head can hold a later record against it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import insert

from app.access.pace import MOST_FILES
from app.ids import MeetId, new_id
from app.record.merkle import leaf_hash, root_from_inclusion
from app.record.notes import Checkpoint, NoteKey, VerifierKey, checkpoint, open_note, origin_of
from app.record.proofs import REMEMBERED, Proofs, prove_consistency, prove_inclusion
from app.record.queries import export_lines, head_of
from app.record.tables import checkpoints, record_entries, record_heads
from app.store.engine import open_engines
from tests.builders import Json, MeetAtHand, a_problem
from tests.record.looking import Looks, ask_at_once, looking_at
from tests.record.proving import is_consistent
from tests.running import Service

NOW = datetime(2026, 6, 13, 12, 3, 22, tzinfo=UTC)


def leaf_of(meet: MeetAtHand, seq: int) -> bytes:
    lines = meet.service.store.read_now(lambda conn: list(export_lines(conn, MeetId(meet.id))))
    entry = json.loads(lines[seq - 1])["entry"]
    return leaf_hash(entry.encode())


def path_of(proof: Json) -> list[bytes]:
    return [bytes.fromhex(step) for step in proof["path"]]


def sign_heads(service: Service, meet: MeetId, sizes: list[int]) -> NoteKey:
    """Store signed heads, as whoever holds the meet's key does."""
    key = NoteKey(origin_of(meet), Ed25519PrivateKey.generate())
    engines = open_engines(service.database_url)
    with engines.writing.connect() as conn, conn.begin():
        for size in sizes:
            now = NOW + timedelta(minutes=size)
            head = checkpoint(meet, size, "3f" * 32, now)
            row = {"meet_id": meet, "size": size, "root": "3f" * 32, "made_at": now}
            conn.execute(insert(checkpoints).values(**row, note=key.sign_note(head.body)))
    engines.dispose()
    return key


def test_every_entry_is_proved_in_every_head_that_has_it(meet: MeetAtHand) -> None:
    head = meet.referee.get("record/head").json()
    roots = {}
    for size in range(1, head["size"] + 1):
        for entry in range(1, size + 1):
            query = f"record/proofs/inclusion?entry={entry}&size={size}"
            if entry in {1, size // 2 + 1, size}:
                proof = meet.referee.get(query).json()
                leaf = (
                    leaf_of(meet, entry) if size == head["size"] else bytes.fromhex(proof["leaf"])
                )
                found = root_from_inclusion(entry - 1, size, leaf, path_of(proof))
                assert found is not None
                assert found.hex() == proof["root"] == roots.setdefault(size, proof["root"])
    assert roots[head["size"]] == head["root"]
    assert meet.referee.get("record/proofs/inclusion?entry=1").json()["size"] == head["size"]


def test_a_head_that_was_kept_is_proved_to_be_extended(meet: MeetAtHand) -> None:
    kept = meet.referee.get("record/head").json()
    meet.start()
    meet.hold_back()
    for earlier in range(1, kept["size"] + 1):
        proof = meet.service.http.get(
            f"/api/meets/{meet.id}/record/proofs/consistency?from={earlier}"
        ).json()
        old, new = bytes.fromhex(proof["from_root"]), bytes.fromhex(proof["to_root"])
        assert is_consistent(earlier, proof["to_size"], old, new, path_of(proof))
    assert proof["from_root"] == kept["root"]
    assert proof["to_root"] == meet.referee.get("record/head").json()["root"]
    same = meet.referee.get(
        f"record/proofs/consistency?from={kept['size']}&to={kept['size']}"
    ).json()
    assert (same["path"], same["to_root"]) == ([], kept["root"])


def test_what_the_record_does_not_have_cannot_be_proved(meet: MeetAtHand) -> None:
    size = meet.referee.get("record/head").json()["size"]
    for query in (
        f"inclusion?entry={size + 1}",
        f"inclusion?entry=1&size={size + 1}",
        f"consistency?from={size + 1}",
        f"consistency?from=1&to={size + 1}",
        "consistency?from=3&to=2",
    ):
        a_problem(meet.referee.get(f"record/proofs/{query}"), 404, "not-found")
    elsewhere = f"/api/meets/{new_id()}/record/proofs/consistency?from=1"
    a_problem(meet.service.http.get(elsewhere), 404, "not-found")


def test_a_record_without_a_seal_says_that_no_head_was_signed(service: Service) -> None:
    heads = f"/api/meets/{new_id()}/record"
    answer = service.http.get(f"{heads}/checkpoint")
    assert "nothing was sealed" in a_problem(answer, 404, "not-found")["detail"]
    assert service.http.get(f"{heads}/checkpoints").json() == {"checkpoints": [], "next": None}


def test_the_newest_signed_head_is_given_out_word_for_word(service: Service) -> None:
    meet = MeetId(new_id())
    key = sign_heads(service, meet, [3, 5, 4])
    answer = service.http.get(f"/api/meets/{meet}/record/checkpoint")
    assert answer.headers["content-type"].startswith("text/plain")
    body = open_note(answer.text, [VerifierKey.parse(key.verifier_key)])
    assert Checkpoint.parse(body).size == 5


def test_signed_heads_are_listed_in_pages_largest_first(service: Service) -> None:
    meet = MeetId(new_id())
    sign_heads(service, meet, list(range(1, 251)))
    sizes: list[int] = []
    before = ""
    while True:
        page = service.http.get(f"/api/meets/{meet}/record/checkpoints{before}").json()
        sizes += [one["size"] for one in page["checkpoints"]]
        if page["next"] is None:
            break
        before = f"?before={page['next']}"
    assert sizes == list(range(250, 0, -1))


def fill_record(service: Service, size: int) -> MeetId:
    """A record of entries that need several pages, written beside the record's own writer."""
    meet = MeetId(new_id())
    engines = open_engines(service.database_url)
    with engines.writing.connect() as conn, conn.begin():
        row = {"meet_id": meet, "kind": "call", "subject": ""}
        conn.execute(
            insert(record_entries),
            [{**row, "seq": seq, "entry": f"entry {seq}"} for seq in range(1, size + 1)],
        )
        head = {"meet_id": meet, "size": size, "frontier": [], "root": "00" * 32}
        conn.execute(insert(record_heads).values(**head))
    engines.dispose()
    return meet


def test_a_proof_in_a_record_of_many_pages_leads_to_its_root(service: Service) -> None:
    size = 6_007
    meet = fill_record(service, size)
    engines = open_engines(service.database_url)
    with engines.reading.connect() as conn:
        one = prove_inclusion(conn, meet, 4_711, None)
        other = prove_inclusion(conn, meet, 1, size)
        extended = prove_consistency(conn, meet, 4_096, None)
        assert one.root == other.root == extended.later_root
        assert extended.earlier_root == prove_inclusion(conn, meet, 7, 4_096).root
        assert head_of(conn, meet).size == size
    engines.dispose()


@pytest.fixture
def looks(service: Service) -> Iterator[Looks]:
    with looking_at(service) as found:
        yield found


def test_strangers_who_ask_for_proofs_at_once_have_one_record_read_at_a_time(
    service: Service, looks: Looks
) -> None:
    meet = fill_record(service, 4_500)
    asked = [f"/api/meets/{meet}/record/proofs/consistency?from={3_001 + n}" for n in range(6)]
    answers = ask_at_once(service, asked)
    assert len({one.json()["to_root"] for one in answers}) == 1
    assert looks.count > len(asked)
    assert looks.at_once == 1


def test_a_proof_that_was_just_made_is_not_made_again(service: Service, looks: Looks) -> None:
    meet = fill_record(service, 4_500)
    address = f"/api/meets/{meet}/record/proofs/consistency?from=3000"
    first = service.http.get(address).json()
    made = looks.count
    again = ask_at_once(service, [address, f"{address}&to=4500"] * 2)
    assert [one.json() for one in again] == [first] * 4
    assert looks.count == made
    assert service.http.get(f"{address}&to=4499").json()["to_root"] != first["to_root"]


def test_only_so_many_proofs_are_remembered(service: Service) -> None:
    meet = fill_record(service, 100)
    proofs = Proofs()

    async def ask_for_all() -> None:
        for earlier in range(1, 101):
            proof = await proofs.consistency(service.store, meet, earlier, None)
            assert (proof.earlier, proof.later) == (earlier, 100)

    service.do(ask_for_all())
    assert len(proofs._known) == REMEMBERED


@pytest.mark.parametrize("path", ["record", "record.zip", "record/proofs/inclusion?entry=1"])
def test_readers_of_the_record_read_it_one_after_another(
    meet: MeetAtHand, looks: Looks, path: str
) -> None:
    address = f"/api/meets/{meet.id}/{path}"
    headers = {"Authorization": f"Bearer {meet.referee.token}"}
    answers = ask_at_once(meet.service, [address] * MOST_FILES, headers=headers)
    assert [one.status_code for one in answers] == [200] * MOST_FILES
    assert looks.count >= MOST_FILES
    assert looks.at_once == 1
