"""What does it take to check an export, as anybody runs the checker: a bare interpreter, one file?

The invented meet is played, and its record made long with the acts that were done there: their own
bodies, signed with a PIN where those were. It is exported twice by the program: as it is then, and
with many papers more, each with a signed head, and as many signatures by passkey. For each of those
the checker asks `openssl`, as it does for each seal of a paper.
"""

from __future__ import annotations

import json
import secrets
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter
from typing import Any

from sqlalchemy import Connection, insert, select, update

from app.clock import rfc3339
from app.exporting import building
from app.exporting.building import export_to
from app.exporting.files import a_place
from app.exporting.queries import Recorded, entries_of_kinds
from app.exporting.wanted import Order
from app.forms.form_facts import InfringementForm
from app.forms.infringement_form import draw_infringement_form
from app.forms.paper import Paper
from app.ids import new_id
from app.record.canonical import canonical, digest_of
from app.record.kinds import Kind
from app.record.log import commitment
from app.record.merkle import Frontier, leaf_hash
from app.record.tables import record_bodies, record_entries, record_heads
from app.reports.attesting import as_taken_in
from app.rulings.form import ruling_told
from app.sealing.key_store import KeyStore
from app.sealing.papers import give_out
from app.sealing.told import Told, Wanted
from app.store.engine import open_engines
from seed_demo.files import read_meet
from seed_demo.play import play
from seed_demo.stage import Stage
from seed_demo.story import read_story
from seed_demo.story_clock import Timetable
from tests.bench.lines import Line, at_most, time_line
from tests.bench.load import LoadFailed
from tests.bench.plan import SLOWEST_CHECK_S, Plan
from tests.exporting.sealing import DeviceKey, do

CHECKER = Path(building.__file__).with_name(building.CHECKER)
AT_ONCE = 2_000
NOT_TWICE = frozenset(
    {
        Kind.SEAL_MADE,
        Kind.PAPER_SEALED,
        Kind.KEY_REGISTERED,
        Kind.KEY_REVOKED,
        Kind.PICTURE_ADDED,
        Kind.ANNOUNCEMENT,
        Kind.VOTE_CAST,
        Kind.RULING,
        Kind.PROTEST_DECIDED,
        Kind.APPEAL_DECIDED,
        Kind.ANNOUNCEMENT_TIME_CORRECTED,
        Kind.END_OF_MEET_CORRECTED,
    }
)
"""What stands in a record once: it names a file or a key, decides, corrects, or holds further
statements."""


def measure_checking(plan: Plan) -> list[Line]:
    """A check of a long record, and of one with many papers, heads and signatures by passkey."""
    entries, papers = plan.entries_checked, plan.papers_checked
    with tempfile.TemporaryDirectory(prefix="zd-bench-") as name:
        folder = Path(name)
        with _a_played_meet(folder) as stage:
            _fill(f"sqlite:///{folder / 'meet.db'}", stage, entries)
            _export(stage, folder / "bare")
            _seal(stage, papers)
            _sign(stage, papers)
            _export(stage, folder / "full")
        bare, full = [], []
        for _ in range(plan.rounds):
            bare.append(_check(folder / "bare"))
            full.append(_check(folder / "full"))
    line = time_line(f"check of an export of {entries:,} entries", bare)
    goal = at_most(line.median, SLOWEST_CHECK_S, " s")
    more = f"the same with {papers} papers, heads and passkey acts more"
    return [replace(line, goal=goal), time_line(more, full)]


@contextmanager
def _a_played_meet(folder: Path) -> Iterator[Stage]:
    files, story = read_meet(), read_story()
    timetable = Timetable(files.set_up_at.astimezone(UTC), files.set_up_at.time())
    with play(f"sqlite:///{folder / 'meet.db'}", files, story, timetable, KeyStore()) as played:
        yield played.stage


class _Done:
    """What was done once, to be done again."""

    def __init__(self, act: Recorded) -> None:
        assert act.text is not None
        self.facts: dict[str, Any] = json.loads(act.entry)
        self._text, self._body = act.text, dict(act.body)

    def again(self, at: datetime, number: int) -> tuple[str, str]:
        """What the same act is about, done once more, and its body: a report is another one, and
        what else was signed was shown at another time.
        """
        subject = str(self.facts["subject"])
        if "signature" not in self._body:
            return subject, self._text
        if self.facts["kind"] == Kind.REPORT_WRITTEN:
            subject = new_id()
            other = {"report": subject}
        else:
            other = {"shown_at": rfc3339(at - timedelta(microseconds=number))}
        if "statement" not in self._body:
            taken_in = as_taken_in(self._body, str(self.facts["meet"]), subject)
            told = {"statement_sha256": digest_of(taken_in)}
            return subject, canonical({**self._body, **told}).decode()
        statement = {**self._body["statement"], **other}
        told = {"statement": statement, "statement_sha256": digest_of(statement)}
        return subject, canonical({**self._body, **told}).decode()


def _can_be_again(one: Recorded) -> bool:
    """Whether no device's key has signed it, which would have to sign it once more."""
    signature = one.body.get("signature")
    return signature is None or signature["key"] is None


def _fill(url: str, stage: Stage, size: int) -> None:
    """Acts of the record, done again until it has this size, written straight into the tables."""
    engines, now = open_engines(url), stage.clock.now()
    try:
        with engines.writing.connect() as conn, conn.begin():
            kinds = [kind for kind in Kind if kind not in NOT_TWICE]
            all_acts = entries_of_kinds(conn, stage.meet_id, kinds)
            done = [_Done(one) for one in all_acts if _can_be_again(one)]
            mine = record_heads.c.meet_id == stage.meet_id
            head = conn.execute(select(record_heads).where(mine)).one()
            frontier = Frontier(head.size, tuple(bytes.fromhex(root) for root in head.frontier))
            while frontier.size < size:
                most = min(AT_ONCE, size - frontier.size)
                frontier = _add(conn, frontier, done, most, now)
            roots = [root.hex() for root in frontier.roots]
            told = {"size": frontier.size, "frontier": roots, "root": frontier.root.hex()}
            conn.execute(update(record_heads).where(mine).values(told))
    finally:
        engines.dispose()


def _add(
    conn: Connection, frontier: Frontier, done: list[_Done], most: int, now: datetime
) -> Frontier:
    entries: list[dict[str, Any]] = []
    bodies: list[dict[str, Any]] = []
    for seq in range(frontier.size + 1, frontier.size + most + 1):
        act, salt = done[seq % len(done)], secrets.token_bytes(32)
        subject, body = act.again(now, seq)
        told = {"at": rfc3339(now), "commitment": commitment(salt, body.encode()), "seq": seq}
        entry = canonical({**act.facts, **told, "subject": subject})
        key = {"meet_id": act.facts["meet"], "seq": seq}
        about = {"kind": act.facts["kind"], "subject": subject}
        entries.append({**key, **about, "entry": entry.decode()})
        bodies.append({**key, "salt": salt, "body": body})
        frontier = frontier.grow(leaf_hash(entry))
    conn.execute(insert(record_entries), entries)
    conn.execute(insert(record_bodies), bodies)
    return frontier


def _seal(stage: Stage, papers: int) -> None:
    """So many editions of a ruling's form, each with a signed head, as the program seals them."""
    ruled = stage.rulings[0].id
    for number in range(papers):

        def gather(conn: Connection, now: datetime, number: int = number) -> Told[InfringementForm]:
            told = ruling_told(conn, stage.meet_id, ruled, now)
            return replace(told, facts=replace(told.facts, later_ruling=f"Looked at: {number}."))

        wanted = Wanted("ruling", ruled, gather, draw_infringement_form)
        give_out(stage.store, stage.seals, stage.meet_id, Paper.LETTER, wanted)


def _sign(stage: Stage, acts: int) -> None:
    """So many signatures of a secretary on a decision, by passkey."""
    official, decided, now = (
        stage.people[stage.files.organiser].id,
        _decided(stage),
        stage.clock.now(),
    )
    key = DeviceKey(official)
    do(stage.store, stage.meet_id, official, Kind.KEY_REGISTERED, key.id, key.registered())
    for number in range(acts):
        statement = {
            "act": "decision signature",
            "as": "secretary",
            "decision": decided["decision"],
            "decision_sha256": decided["statement_sha256"],
            "meet": stage.meet_id,
            "official": official,
            "shown_at": rfc3339(now - timedelta(microseconds=number)),
        }
        body = key.signed(statement)
        do(stage.store, stage.meet_id, official, Kind.DECISION_SIGNED, decided["decision"], body)


def _decided(stage: Stage) -> dict[str, Any]:
    """What the record says of a decision of the jury."""
    kinds = [Kind.APPEAL_DECIDED]
    made = stage.read(lambda conn: entries_of_kinds(conn, stage.meet_id, kinds))
    return dict(made[0].body)


def _export(stage: Stage, folder: Path) -> None:
    order = Order(stage.meet_id, stage.clock.now(), stage.seals.of(stage.meet_id).notes)
    with a_place(folder, order.now) as place:
        stage.read(lambda conn: export_to(conn, order, place))


def _check(folder: Path) -> float:
    began = perf_counter()
    ran = subprocess.run(
        [sys.executable, "-I", str(CHECKER), str(folder)], capture_output=True, check=False
    )
    took = perf_counter() - began
    if ran.returncode:
        raise LoadFailed(f"The check found something: {ran.stdout.decode()[:500]}")
    return took
