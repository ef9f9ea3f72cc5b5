"""A played meet with a seal, sealed papers, signed heads and signed acts, and its export."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest

from app.access.guard import FOUNDER
from app.clock import SystemClock
from app.exporting.building import export_to
from app.exporting.files import a_place
from app.exporting.wanted import Order
from app.forms.infringement_form import InfringementForm, draw_infringement_form
from app.forms.paper import Paper
from app.forms.record_head import UNKNOWN_HEAD
from app.ids import MeetId, new_id
from app.meets.actions import make_meet
from app.meets.wire import MeetIn
from app.record.kinds import Kind
from app.record.log import Head, Keeper
from app.rulings.form import ruling_form, ruling_told
from app.sealing.key_store import KeyStore
from app.sealing.papers import give_out
from app.serving import bring_up_to_date
from app.store.store import Store
from seed_demo.files import read_meet
from seed_demo.play import play
from seed_demo.stage import Stage
from seed_demo.story import read_story
from seed_demo.story_clock import Timetable
from tests.builders import a_meet_document
from tests.exporting.sealing import (
    DeviceKey,
    Sheet,
    TestSeal,
    do,
    seal_paper,
    sign_head,
    signed_with_pin,
)


@dataclass(frozen=True)
class SealedMeet:
    """A meet of which everything can be exported, while its store is open."""

    stage: Stage
    seal: TestSeal

    @property
    def store(self) -> Store:
        return self.stage.store

    @property
    def meet(self) -> MeetId:
        return self.stage.meet_id

    def export(self, path: Path, entries: frozenset[int] | None = None) -> Head:
        order = Order(self.meet, self.stage.clock.now(), self.seal.notes, entries)
        with a_place(path, order.now) as place:
            return self.store.read_now(lambda conn: export_to(conn, order, place))


def _play(folder: Path) -> Iterator[Stage]:
    files, story = read_meet(), read_story()
    timetable = Timetable(files.set_up_at.astimezone(UTC), files.set_up_at.time())
    with play(f"sqlite:///{folder / 'meet.db'}", files, story, timetable, KeyStore()) as played:
        yield played.stage


@dataclass(frozen=True)
class BareMeet:
    """A meet that has no seal, as one was before there were any."""

    store: Store
    meet_id: MeetId


@pytest.fixture(scope="session")
def unsealed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BareMeet]:
    url = f"sqlite:///{tmp_path_factory.mktemp('unsealed') / 'meet.db'}"
    bring_up_to_date(url)
    store, meet = Store(url, SystemClock(), Keeper()), MeetId(new_id())
    store.start()
    sent = MeetIn.model_validate(a_meet_document())
    store.act_now(meet, FOUNDER, make_meet(meet, sent))
    yield BareMeet(store, meet)
    store.stop()


@pytest.fixture(scope="session")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SealedMeet]:
    for stage in _play(tmp_path_factory.mktemp("sealed")):
        seal = TestSeal.of(stage)
        _seal_all(stage, seal)
        yield SealedMeet(stage, seal)


def _without_its_head(facts: InfringementForm, paper: Paper) -> bytes:
    """A form as whoever rewrites a record has drawn it anew: it shows no head of before, so that
    what is found then, the record alone has shown. `test_printed_heads.py` is about the others.
    """
    return draw_infringement_form(replace(facts, head=UNKNOWN_HEAD), paper)


def _seal_all(stage: Stage, seal: TestSeal) -> None:
    """Seal three papers, one of them twice; sign heads, and acts with keys of both kinds."""
    now, store, meet = stage.clock.now(), stage.store, stage.meet_id
    official = stage.people[stage.files.organiser].id
    third = replace(ruling_form(meet, stage.rulings[2].id), draw=_without_its_head)
    give_out(store, stage.seals, meet, Paper.A4, third)
    for number, ruled in enumerate(stage.rulings[:2]):
        facts = stage.read(lambda conn, one=ruled: ruling_told(conn, meet, one.id, now)).facts
        pdf = seal.seal(draw_infringement_form(facts, Paper.A4))
        seal_paper(store, seal, official, Sheet("infringement form", ruled.id, pdf), now)
        if number == 0:
            again = seal.seal(pdf, "Seal2")
            seal_paper(store, seal, official, Sheet("infringement form", ruled.id, again, 2), now)
    _sign_acts(stage, official, now)
    sign_head(store, seal, now)


def _sign_acts(stage: Stage, official: str, now: datetime) -> None:
    store, meet = stage.store, stage.meet_id
    passkey, phone = DeviceKey(official), DeviceKey(official, "phone key")
    lost = DeviceKey(official)
    for key in (passkey, phone, lost):
        do(store, meet, official, Kind.KEY_REGISTERED, key.id, key.registered())
    signing = [partial(signed_with_pin, official), *(key.signed for key in (passkey, phone, lost))]
    for sign in signing:
        decision = new_id()
        statement = {
            "act": "decision signature",
            "meet": meet,
            "official": official,
            "decision": decision,
            "words": "Seen by two umpires – «оба»",
            "metres": 1.5,
        }
        do(store, meet, official, Kind.DECISION_SIGNED, decision, sign(statement))
    since = (now + timedelta(hours=1)).isoformat()
    do(store, meet, official, Kind.KEY_REVOKED, lost.id, lost.revoked(since))


@pytest.fixture(scope="session")
def exported(sealed: SealedMeet, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The export as a folder, to be read only."""
    path = tmp_path_factory.mktemp("exported") / "export"
    sealed.export(path)
    return path


@pytest.fixture
def copied(exported: Path, tmp_path: Path) -> Path:
    """The export as a folder of the test's own."""
    return Path(shutil.copytree(exported, tmp_path / "export"))


@pytest.fixture(scope="session")
def zipped(sealed: SealedMeet, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("zipped") / "export.zip"
    sealed.export(path)
    return path
