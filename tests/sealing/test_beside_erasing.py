"""Papers of what was erased: a next edition, also where it is erased while one is drawn."""

from __future__ import annotations

import json
from typing import Any

from app.checking.database import check_meet
from app.erasing.actions import OPERATOR, Wanted, erase
from app.exporting.queries import entries_of_kinds
from app.forms.paper import Paper
from app.ids import MeetId, RulingId
from app.record.kinds import Kind
from app.rulings.form import ruling_form
from app.sealing.papers import give_out
from tests.builders import MeetAtHand
from tests.forms.pdf_reading import read_text
from tests.sealing.test_papers import a_ruled_case, form


def erase_of(meet: MeetAtHand, because: str = "asked for it", **whom: Any) -> None:
    wanted = Wanted(because, "the organiser", **whom)
    meet.service.store.act_now(MeetId(meet.id), OPERATOR, erase(wanted))


def erase_umpire(meet: MeetAtHand) -> None:
    erase_of(meet, official=meet.umpire.id)


def test_editions_count_on_from_those_that_were_erased(meet: MeetAtHand) -> None:
    """Who holds a printed sheet must not find another one under the same number."""
    ruling = a_ruled_case(meet)
    first = form(meet, ruling).content
    erase_umpire(meet)
    assert meet.referee.get("papers").json()["papers"] == []
    second = form(meet, ruling).content
    assert second != first
    assert editions_on_record(meet) == [1, 2]
    (kept,) = meet.referee.get("papers").json()["papers"]
    assert kept["edition"] == 2


def editions_on_record(meet: MeetAtHand) -> list[int]:
    kinds, read = [Kind.PAPER_SEALED], meet.service.store.read_now
    told = read(lambda conn: entries_of_kinds(conn, MeetId(meet.id), kinds))
    return [json.loads(one.text)["edition"] for one in told if one.text is not None]


def test_an_erasure_that_is_told_again_does_not_undo_a_later_one(meet: MeetAtHand) -> None:
    """The first one's entry goes for a name in its reason, and what it said comes after all."""
    meet.start()
    assert meet.load_result().status_code == 201
    assert meet.announce(despite="Cleo Ropewalk saw nothing.").status_code == 201
    erase_of(meet, "as Nora Newcomer asked", official=meet.desk.id)
    erase_of(meet, names=("Cleo Ropewalk",))
    erase_of(meet, names=("Nora Newcomer",))
    found = meet.service.store.read_now(lambda conn: check_meet(conn, MeetId(meet.id)))
    assert not found.mismatches


class _ErasingMeanwhile:
    """The seals of a server beside which an erasure is committed while a paper is drawn."""

    def __init__(self, meet: MeetAtHand) -> None:
        self._meet, self._seals = meet, meet.service.app.state.services.seals
        self._is_erased = False

    def __getattr__(self, name: str) -> Any:
        return getattr(self._seals, name)

    def signed(self, *asked: Any) -> str:
        note = self._seals.signed(*asked)
        if not self._is_erased:
            self._is_erased = True
            erase_umpire(self._meet)
        return str(note)


def test_what_is_erased_while_it_is_drawn_is_drawn_again(meet: MeetAtHand) -> None:
    """Nobody has changed the database behind the record: the record tells of the erasure."""
    ruling = a_ruled_case(meet)["id"]
    seals: Any = _ErasingMeanwhile(meet)
    ident = MeetId(meet.id)
    wanted = ruling_form(ident, RulingId(ruling))
    content = give_out(meet.service.store, seals, ident, Paper.A4, wanted)
    assert "erased on" in read_text(content)
