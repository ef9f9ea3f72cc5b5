"""Papers over HTTP: sealed once, the same for everybody, and on record."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from sqlalchemy import Connection, delete, select, text, update

from app.access.who_may import MEET, WHO_MAY, WHO_READS_PAPER
from app.forms.paper import Paper
from app.forms.report_form import ReportForm
from app.ids import MeetId, ReportId, new_id
from app.record.canonical import canonical
from app.record.merkle import Frontier, leaf_hash
from app.record.notes import VerifierKey, open_note
from app.record.queries import FeedEntry, entries_after, export_lines, head_of
from app.record.tables import GUARDS, record_bodies, record_entries, record_heads
from app.refusals import Unavailable
from app.roles import Role
from app.rulings.report_form import report_form
from app.sealing import rewriting
from app.sealing.key_store import KeyStore
from app.sealing.papers import give_out
from app.store.engine import open_engines
from tests.builders import Json, MeetAtHand, a_problem
from tests.forms.pdf_reading import read_text
from tests.sealing.reading import seals_in


def entries(meet: MeetAtHand, kind: str) -> list[Json]:
    """The bodies of the record's entries of a kind, with their seq and subject."""
    lines = meet.service.store.read_now(lambda conn: list(export_lines(conn, MeetId(meet.id))))
    read = [json.loads(line) for line in lines[:-1]]
    told = [(json.loads(line["entry"]), json.loads(line["body"])) for line in read]
    return [{**body, "entry": entry} for entry, body in told if entry["kind"] == kind]


def a_ruled_case(meet: MeetAtHand) -> Json:
    report = meet.report()
    answer = meet.rule(report["case"])
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def form(meet: MeetAtHand, ruling: Json, **params: str) -> httpx.Response:
    answer = meet.referee.get(f"rulings/{ruling['id']}/form.pdf", params=params)
    assert answer.status_code == 200, answer.text
    return answer


def test_a_form_is_sealed_once_and_then_the_same_bytes_for_everybody(meet: MeetAtHand) -> None:
    ruling = a_ruled_case(meet)
    first = form(meet, ruling).content
    assert form(meet, ruling).content == first
    assert meet.desk.get(f"rulings/{ruling['id']}/form.pdf").content == first
    (sealed,) = entries(meet, "paper sealed")
    assert sealed["sha256"] == hashlib.sha256(first).hexdigest()
    assert (sealed["kind"], sealed["subject"], sealed["edition"]) == ("ruling", ruling["id"], 1)


def test_pdfsig_finds_the_seal_of_the_meets_own_certificate(
    meet: MeetAtHand, tmp_path: Path
) -> None:
    (seal,) = seals_in(form(meet, a_ruled_case(meet)).content, tmp_path)
    assert seal.is_valid
    assert seal.covers_all
    assert seal.common_name == "Harbour Relays"


def test_many_who_ask_at_once_get_one_and_the_same_edition(meet: MeetAtHand) -> None:
    ruling = a_ruled_case(meet)
    with ThreadPoolExecutor(8) as pool:
        contents = list(pool.map(lambda _: form(meet, ruling).content, range(8)))
    assert len(set(contents)) == 1
    assert len(entries(meet, "paper sealed")) == 1


def test_what_has_changed_since_is_a_next_edition_and_the_earlier_one_stays(
    meet: MeetAtHand,
) -> None:
    report = meet.report()
    ruling = meet.rule(report["case"]).json()
    first = form(meet, ruling).content
    again = meet.rule(report["case"], reconsiders=ruling["id"], verdict="dismissed")
    assert again.status_code == 201, again.text
    second = form(meet, ruling).content
    assert second != first
    assert "no longer stands" in read_text(second)
    listed = meet.referee.get("papers").json()["papers"]
    assert [one["edition"] for one in listed] == [1, 2]
    kept = [meet.referee.get(f"papers/{one['id']}.pdf").content for one in listed]
    assert kept == [first, second]


@pytest.mark.parametrize("slow_times", [1, 99])
def test_what_was_read_earlier_does_not_become_a_later_edition(
    meet: MeetAtHand, slow_times: int
) -> None:
    """While this worker draws, another keeps an edition of what is newer, then overtaken."""
    report = meet.report()
    rulings = [meet.rule(report["case"]).json()["id"]]
    store, seals, ident = meet.service.store, meet.service.app.state.services.seals, MeetId(meet.id)
    real = report_form(ident, ReportId(report["id"]))

    def rule_again() -> None:
        verdict = "dismissed" if len(rulings) % 2 else "confirmed"
        answer = meet.rule(report["case"], reconsiders=rulings[-1], verdict=verdict)
        assert answer.status_code == 201, answer.text
        rulings.append(answer.json()["id"])

    def slow(facts: ReportForm, paper: Paper) -> bytes:
        if len(rulings) <= 2 * slow_times:
            rule_again()
            give_out(store, seals, ident, paper, real)
            rule_again()
        return real.draw(facts, paper)

    wanted = replace(real, draw=slow)
    if slow_times == 1:
        assert "Ruled on 3 times" in read_text(give_out(store, seals, ident, Paper.A4, wanted))
    else:
        with pytest.raises(Unavailable, match="changes just now"):
            give_out(store, seals, ident, Paper.A4, wanted)
    newest = meet.umpire.get(f"reports/{report['id']}/form.pdf").content
    told = [
        read_text(meet.referee.get(f"papers/{one['id']}.pdf").content)
        for one in meet.referee.get("papers").json()["papers"]
    ]
    assert told[-1] == read_text(newest)
    said = [int(re.search(r"Ruled on (\d+) times", one)[1]) for one in told]  # type: ignore[index]
    assert said == sorted(set(said))
    assert said[-1] == len(rulings)


def test_a4_and_letter_are_papers_of_their_own(meet: MeetAtHand) -> None:
    ruling = a_ruled_case(meet)
    contents = {form(meet, ruling, paper=sheet).content for sheet in ("A4", "letter", "A4")}
    assert len(contents) == 2


def test_the_referees_seal_is_added_to_the_umpires_own_file(
    meet: MeetAtHand, tmp_path: Path
) -> None:
    report = meet.report()
    address = f"reports/{report['id']}/form.pdf"
    written = meet.umpire.get(address).content
    (umpires,) = seals_in(written, tmp_path)
    assert umpires.is_valid
    assert meet.rule(report["case"]).status_code == 201
    ruled = meet.umpire.get(address).content
    assert ruled.startswith(written)
    first, second = seals_in(ruled, tmp_path)
    assert first.is_valid
    assert not first.covers_all
    assert second.is_valid
    assert second.covers_all
    assert "confirmed" in read_text(ruled)
    assert "confirmed" not in read_text(written)


def test_a_report_that_is_written_anew_is_a_new_paper(meet: MeetAtHand) -> None:
    report = meet.report()
    address = f"reports/{report['id']}/form.pdf"
    first = meet.umpire.get(address).content
    etag = meet.referee.get(f"reports/{report['id']}").headers["ETag"]
    returned = meet.referee.post(
        f"reports/{report['id']}/return", {"reason": "How far past the line?"}, etag=etag
    )
    assert returned.status_code == 200, returned.text
    assert not meet.umpire.get(address).content.startswith(first)


def test_another_umpire_does_not_get_the_form_of_a_report(meet: MeetAtHand) -> None:
    report = meet.report()
    others = [one for name, one in meet.people.items() if name.startswith("umpire-")]
    for other in others:
        answer = other.get(f"reports/{report['id']}/form.pdf")
        a_problem(answer, 403, "not-yours")


def test_a_reports_paper_is_read_by_those_alone_who_read_reports(meet: MeetAtHand) -> None:
    report = meet.report()
    own = f"reports/{report['id']}/form.pdf"
    drawn = meet.umpire.get(own).content
    a_problem(meet.desk.get(own), 403, "role-missing")
    ruling = meet.rule(report["case"]).json()
    form(meet, ruling)
    first, *others = meet.referee.get("papers").json()["papers"]
    assert first["kind"] == "report"
    a_problem(meet.desk.get(f"papers/{first['id']}.pdf"), 403, "role-missing")
    assert meet.referee.get(f"papers/{first['id']}.pdf").content == drawn
    assert meet.desk.get("papers").json()["papers"] == others
    assert meet.desk.get(f"papers/{others[0]['id']}.pdf").status_code == 200


def test_a_paper_by_its_id_is_read_by_nobody_who_could_not_have_it_drawn() -> None:
    drawn_at = {kind: f"{MEET}/{kind}s/{{{kind}}}/form.pdf" for kind in WHO_READS_PAPER}
    drawn_at["announcement"] = f"{MEET}/announcements/{{announcement}}.pdf"
    for kind, who in WHO_READS_PAPER.items():
        form = WHO_MAY["GET", drawn_at[kind]]
        others = {Role.UMPIRE} if kind == "report" else set()  # only their own
        assert (who.roles, who.public) == (form.roles - others, form.public)


def test_an_announcement_signs_the_head_of_the_record_and_its_sheet_shows_it(
    meet: MeetAtHand,
) -> None:
    meet.start()
    assert meet.load_result().status_code == 201
    announced = meet.announce(despite="No post has called in this test.")
    assert announced.status_code == 201, announced.text
    note = meet.service.http.get(f"/api/meets/{meet.id}/record/checkpoint").text
    (seal,) = meet.service.http.get(f"/api/meets/{meet.id}/seals").json()["seals"]
    body = open_note(note, [VerifierKey.parse(seal["verifier_key"])])
    origin, size, _root, time = body.splitlines()
    assert origin == f"zone-docket/{meet.id}"
    assert time.startswith("time ")
    (entry,) = (one["entry"] for one in entries(meet, "announcement"))
    assert int(size) >= entry["seq"]
    sheet = meet.service.http.get(
        f"/api/meets/{meet.id}/announcements/{announced.json()['id']}.pdf"
    )
    assert f"Record head {size}" in " ".join(read_text(sheet.content).split())


def test_a_sheet_on_the_board_is_not_sealed_again_while_nothing_changes(meet: MeetAtHand) -> None:
    meet.start()
    assert meet.load_result().status_code == 201
    announced = meet.announce(despite="No post has called in this test.").json()
    address = f"/api/meets/{meet.id}/announcements/{announced['id']}.pdf"
    first = meet.service.http.get(address).content
    meet.service.clock.move(by=_minutes(7))
    assert meet.service.http.get(address).content == first
    meet.service.clock.move(by=_minutes(60))
    assert meet.service.http.get(address).content != first  # final by now


def _minutes(many: int):
    from datetime import timedelta

    return timedelta(minutes=many)


def test_without_its_key_a_meet_seals_nothing_and_all_else_goes_on(meet: MeetAtHand) -> None:
    ruling = a_ruled_case(meet)
    known = form(meet, ruling).content
    seals = meet.service.app.state.services.seals
    kept, opened = seals._keys, seals._open.pop(meet.id)
    seals._keys = KeyStore()
    try:
        told = a_problem(
            meet.referee.get(f"rulings/{ruling['id']}/form.pdf", params={"paper": "letter"}),
            503,
            "unavailable",
        )
        assert "seal" in told["detail"]
        assert form(meet, ruling).content == known
        meet.start()
        assert meet.load_result().status_code == 201
        announced = meet.announce(despite="No post has called in this test.")
        assert announced.status_code == 201, announced.text
    finally:
        seals._keys, seals._open[meet.id] = kept, opened
    form(meet, ruling, paper="letter")


GUARD = "record_entries_refuse_update"


@contextmanager
def no_guard(conn: Connection, guard: str = GUARD) -> Iterator[None]:
    """What whoever owns the database can do: the record's entries can be changed meanwhile."""
    engine = conn.dialect.name
    dropped = f"DROP TRIGGER {guard}" + (" ON record_entries" if engine == "postgresql" else "")
    conn.execute(text(dropped))
    yield
    conn.execute(text(GUARDS[engine][guard]))


def rewrite(meet: MeetAtHand, seq: int) -> None:
    """Backdate an entry, and make all hashes anew that stand in the database unsigned."""
    engines = open_engines(meet.service.database_url)
    mine, frontier = record_entries.c.meet_id == meet.id, Frontier()
    with engines.writing.connect() as conn, conn.begin(), no_guard(conn):
        ordered = select(record_entries).where(mine).order_by(record_entries.c.seq)
        for row in conn.execute(ordered).all():
            entry = row.entry
            if row.seq == seq:
                changed = {**json.loads(entry), "at": "2020-01-01T00:00:00.000000Z"}
                entry = canonical(changed).decode()
                this = mine & (record_entries.c.seq == seq)
                conn.execute(update(record_entries).where(this).values(entry=entry))
            frontier = frontier.grow(leaf_hash(entry.encode()))
        put_head(conn, meet, frontier)
    engines.dispose()


def put_head(conn: Connection, meet: MeetAtHand, frontier: Frontier) -> None:
    conn.execute(
        update(record_heads)
        .where(record_heads.c.meet_id == meet.id)
        .values(
            size=frontier.size,
            root=frontier.root.hex(),
            frontier=[one.hex() for one in frontier.roots],
        )
    )


@pytest.mark.parametrize("is_started_anew", [True, False])
@pytest.mark.parametrize("seq", [1, 3, -1])
def test_a_record_that_was_rewritten_behind_its_signed_head_seals_nothing(
    meet: MeetAtHand, seq: int, *, is_started_anew: bool
) -> None:
    """Also where it has grown since, and where the server that knew it as it was has ended."""
    ruling = a_ruled_case(meet)
    form(meet, ruling)  # a signed head, and the paper's entry after it
    newest = meet.service.http.get(f"/api/meets/{meet.id}/record/checkpoint").text
    rewrite(meet, seq if seq > 0 else int(newest.splitlines()[1]))
    if is_started_anew:
        seals = meet.service.app.state.services.seals
        seals.agreement = type(seals.agreement)()
    told = a_problem(
        meet.referee.get(f"rulings/{ruling['id']}/form.pdf", params={"paper": "letter"}),
        503,
        "unavailable",
    )
    assert "changed the database" in told["detail"]
    assert meet.service.http.get(f"/api/meets/{meet.id}/record/checkpoint").text == newest


def cut_off(meet: MeetAtHand, size: int) -> None:
    """Take the record back to its first entries, as if nothing had been done since."""
    engines = open_engines(meet.service.database_url)
    store, ident = meet.service.store, MeetId(meet.id)
    frontier = Frontier()
    for one in store.read_now(lambda conn: entries_after(conn, ident, 0, size)):
        frontier = frontier.grow(leaf_hash(one.entry.encode()))
    gone = (record_entries.c.meet_id == meet.id) & (record_entries.c.seq > size)
    told = (record_bodies.c.meet_id == meet.id) & (record_bodies.c.seq > size)
    with (
        engines.writing.connect() as conn,
        conn.begin(),
        no_guard(conn, "record_entries_refuse_delete"),
    ):
        conn.execute(delete(record_bodies).where(told))
        conn.execute(delete(record_entries).where(gone))
        put_head(conn, meet, frontier)
    engines.dispose()


@pytest.mark.parametrize("spoil", ["rewritten", "cut off"])
def test_nothing_is_exported_of_a_record_that_is_not_what_was_signed(
    meet: MeetAtHand, spoil: str
) -> None:
    """An export would be signed as a whole."""
    ruling = a_ruled_case(meet)
    form(meet, ruling)
    assert meet.referee.get("record.zip").status_code == 200
    if spoil == "rewritten":
        rewrite(meet, 3)
        meet.service.app.state.services.seals.agreement = rewriting.Agreement()
    else:
        newest = meet.service.http.get(f"/api/meets/{meet.id}/record/checkpoint").text
        cut_off(meet, int(newest.splitlines()[1]) - 1)
    told = a_problem(meet.referee.get("record.zip"), 503, "unavailable")
    assert "changed the database" in told["detail"]
    address = f"rulings/{ruling['id']}/form.pdf"
    a_problem(meet.referee.get(address, params={"paper": "letter"}), 503, "unavailable")


def test_what_was_found_to_be_as_signed_is_not_read_again(
    meet: MeetAtHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[int] = []

    def counted(conn: Connection, ident: MeetId, after: int, most: int) -> list[FeedEntry]:
        found = entries_after(conn, ident, after, most)
        read.append(len(found))
        return found

    ruling = a_ruled_case(meet)
    form(meet, ruling)
    monkeypatch.setattr(rewriting, "entries_after", counted)
    form(meet, ruling, paper="letter")
    assert sum(read) == 1  # the first sheet's own entry


def test_a_head_that_a_slower_request_has_seen_is_signed_as_well(meet: MeetAtHand) -> None:
    store, seals, ident = meet.service.store, meet.service.app.state.services.seals, MeetId(meet.id)
    earlier = store.read_now(lambda conn: head_of(conn, ident))
    a_ruled_case(meet)
    seals.signed(ident, store.read_now(lambda conn: head_of(conn, ident)))
    assert seals.signed(ident, earlier).splitlines()[1] == str(earlier.size)


def test_the_seals_of_a_meet_that_is_not_there_are_not_found(meet: MeetAtHand) -> None:
    a_problem(meet.service.http.get(f"/api/meets/{new_id()}/seals"), 404, "not-found")


@pytest.mark.parametrize("kind", ["seal made", "paper sealed"])
def test_sealing_is_the_servers_own_act(meet: MeetAtHand, kind: str) -> None:
    form(meet, a_ruled_case(meet))
    (made,) = entries(meet, kind)
    assert made["entry"]["actor"] == "server"
