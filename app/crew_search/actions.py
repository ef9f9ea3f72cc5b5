"""Storing what a crew is planned from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from sqlalchemy import update

from app.access.queries import officials_of
from app.access.wire import OfficialOut
from app.crew.actions import is_watching
from app.crew_search.plannable import plannable
from app.crew_search.queries import wishes_of
from app.crew_search.tables import crew_wishes
from app.crew_search.wire import WishesIn, WishesOut
from app.ids import OfficialId
from app.meets.queries import relays_by_heat
from app.record.kinds import Kind
from app.refusals import Malformed, insist_on_version
from app.rules.relay import Edge
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.upsert import insert_or_keep

THERE: Final = (
    "What the crew is planned from is stored already: send If-Match with its ETag to replace it."
)
CHANGED: Final = "It was changed meanwhile. Read it again, then decide."


def set_wishes(
    sent: WishesIn, version: int | None, *, may_leave_out_pinned: bool = False
) -> Action[Put[WishesOut]]:
    """Store them; later ones replace them and must name the version that they replace. A list of
    people may leave out somebody for whom a choice is kept: that binds nobody then, and is told.
    """

    def act(unit: Unit) -> Done[Put[WishesOut]]:
        content = sent.model_dump(mode="json")
        known = wishes_of(unit.conn, unit.meet_id)
        if known.version and known.model_dump(mode="json", exclude={"version"}) == content:
            return Done(Put(known, created=False), None)
        insist_on_version(known.version, version, THERE, CHANGED)
        officials = officials_of(unit.conn, unit.meet_id)
        _insist_on_people(officials, sent, known)
        if not may_leave_out_pinned:
            _insist_on_pinned(officials, sent, known)
        _insist_on_heats(unit, sent, known)
        _insist_on_template(sent)
        fresh = {"meet_id": unit.meet_id, "version": 0, "content": {}}
        insert_or_keep(unit.conn, crew_wishes, fresh)
        unit.conn.execute(
            update(crew_wishes)
            .where(crew_wishes.c.meet_id == unit.meet_id)
            .values(version=crew_wishes.c.version + 1, content=content)
        )
        out = wishes_of(unit.conn, unit.meet_id)
        deed = Deed(Kind.CREW_WISHES_SET, unit.meet_id, content)
        return Done(Put(out, created=not known.version), deed)

    return act


def _insist_on_people(there: Sequence[OfficialOut], sent: WishesIn, known: WishesOut) -> None:
    """Of whoever is new in it: that somebody who is stored already is inactive by now must not keep
    anybody from saying so.
    """
    officials = {one.id: one for one in there}
    stored = {one.official for one in known.people}
    seen: set[str] = set()
    for number, person in enumerate(sent.people):
        field = f"/people/{number}/official"
        official = officials.get(OfficialId(person.official))
        name = official.name if official else f"Person {number + 1}"
        if person.official not in stored and (official is None or not is_watching(official)):
            raise Malformed(f"{name} is no active umpire of this meet.", field=field)
        if person.official in seen:
            raise Malformed(f"{name} is named twice.", field=field)
        seen.add(person.official)
    for number, pin in enumerate(sent.pins):
        if OfficialId(pin.official) not in officials:
            raise Malformed(
                f"Pin {number + 1} is for somebody who is no official of this meet.",
                field=f"/pins/{number}/official",
            )
    for number, dropped in enumerate(sent.dropped):
        if OfficialId(dropped) not in officials:
            raise Malformed(
                "Whoever drops out must be an official of this meet.", field=f"/dropped/{number}"
            )


def _insist_on_pinned(there: Sequence[OfficialOut], sent: WishesIn, known: WishesOut) -> None:
    """That each choice binds somebody, but for those that bound nobody before."""
    names = {one.id: one.name for one in there}
    can, could = ({one.id for one in plannable(some, there)} for some in (sent, known))
    for number, pin in enumerate(sent.pins):
        official = OfficialId(pin.official)
        if official not in can and (pin not in known.pins or official in could):
            raise Malformed(
                f"Pin {number + 1} is for {names[official]}, who is not among those who can be "
                "planned: add their row to the people, or leave the pin out.",
                field=f"/pins/{number}/official",
            )


def _insist_on_heats(unit: Unit, sent: WishesIn, known: WishesOut) -> None:
    on_programme = relays_by_heat(unit.conn, unit.meet_id) if sent.pins else {}
    for number, pin in enumerate(sent.pins):
        if pin.heat not in on_programme and pin not in known.pins:
            raise Malformed(
                f"Pin {number + 1} is for a heat that is not on this meet's programme.",
                field=f"/pins/{number}/heat",
            )


def _insist_on_template(sent: WishesIn) -> None:
    """Each number of people has as many posts, and both edges (as a template from a file)."""
    for people in {one.people for one in sent.template}:
        theirs = [one for one in sent.template if one.people == people]
        if len(theirs) != people or {one.edge for one in theirs} != set(Edge):
            raise Malformed(
                f"With {people} people a zone has {people} posts, and some at either edge.",
                field="/template",
            )
