"""A played meet with a seal, sealed papers, signed heads and signed acts, and its export."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from reportlab.pdfgen.canvas import Canvas

from app.exporting.building import export_to
from app.exporting.files import a_place
from app.exporting.wanted import Order
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.log import Head, Keeper
from app.serving import bring_up_to_date
from app.store.store import Store
from seed_demo.deeds import do_step
from seed_demo.files import read_meet
from seed_demo.setting_up import set_up
from seed_demo.stage import Stage
from seed_demo.story import read_story
from seed_demo.story_clock import StoryClock, Timetable
from tests.exporting.sealing import (
    DeviceKey,
    Sheet,
    TestSeal,
    do,
    make_seal,
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


class NobodySeals:
    """In these tests a meet seals nothing by itself: what is sealed, they seal themselves."""

    def sign_present_head(self, meet: MeetId) -> None:
        """Sign nothing."""


def _play(folder: Path) -> Iterator[Stage]:
    """The demo's meet, played to its end."""
    meet_files, story = read_meet(), read_story()
    set_up_at = meet_files.set_up_at
    timetable = Timetable(set_up_at.astimezone(UTC), set_up_at.time())
    database_url = f"sqlite:///{folder / 'meet.db'}"
    bring_up_to_date(database_url)
    clock = StoryClock(timetable.set_up_at)
    store = Store(database_url, clock, Keeper())
    store.start()
    at_hand = {
        "store": store,
        "seals": NobodySeals(),
        "clock": clock,
        "timetable": timetable,
        "files": meet_files,
        "story": story,
    }
    taken = {one.name: at_hand[one.name] for one in fields(Stage) if one.name in at_hand}
    try:
        stage = Stage(**taken)
        set_up(stage)
        for step in story.step:
            do_step(stage, step)
        yield stage
    finally:
        store.stop()


def a_paper(words: str) -> bytes:
    """A sheet of one page."""
    drawn = BytesIO()
    page = Canvas(drawn, invariant=True)
    page.drawString(72, 720, words)
    page.save()
    return drawn.getvalue()


@pytest.fixture(scope="session")
def unsealed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """A played meet that has no seal."""
    yield from _play(tmp_path_factory.mktemp("unsealed"))


@pytest.fixture(scope="session")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SealedMeet]:
    for stage in _play(tmp_path_factory.mktemp("sealed")):
        seal = TestSeal(stage.meet_id)
        _seal_all(stage, seal)
        yield SealedMeet(stage, seal)


def _seal_all(stage: Stage, seal: TestSeal) -> None:
    """Seal two papers, one of them twice; sign heads, and acts with keys of both kinds."""
    now, store = stage.clock.now(), stage.store
    official = stage.people[stage.files.organiser].id
    make_seal(store, seal, official, now)
    for number, ruled in enumerate(stage.rulings[:2]):
        pdf = seal.seal(a_paper(f"Form of the ruling {ruled.id}"))
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
    statement = {"act": "decision", "words": "Seen by two umpires – «оба»", "metres": 1.5}
    bodies = [
        signed_with_pin(official, statement),
        *(key.signed(statement) for key in (passkey, phone, lost)),
    ]
    for body in bodies:
        do(store, meet, official, Kind.DECISION_SIGNED, meet, body)
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
