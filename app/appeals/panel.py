"""The jury of one appeal: who sits, who withdraws, and the votes.

An odd panel of the meet's size with a chair; substitutes take the place of those who withdraw. Not
in it are those who reported, ruled or decided in the matter (`had_a_part.py`), and nobody votes
whose affiliation the consequence touches.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import insert, select, update

from app.access.pen import Pen
from app.access.queries import Caller, official_row, officials_of
from app.access.wire import OfficialOut
from app.appeals.had_a_part import had_a_part, had_judged
from app.appeals.jury_wire import AppealOut, PanelIn, StepAsideIn, VoteIn, VoteOut
from app.appeals.queries import (
    appeal_row,
    votes_of,
)
from app.appeals.seats import without_member
from app.appeals.showing import appeal_shown
from app.appeals.standing import Touched, state_now, touched_by
from app.appeals.states import OPEN, AppealState
from app.appeals.tables import appeals, votes
from app.appeals.who_can_sit import MAY_WRITE_MINUTES, barred_from
from app.clock import rfc3339
from app.ids import AppealId, OfficialId, VoteId
from app.meets.queries import MeetFacts, meet_facts
from app.record.kinds import Kind
from app.refusals import Affected, IdTaken, Malformed, NotYours, Stale, StateConflict
from app.roles import Role
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow


def name_panel(appeal_id: AppealId, sent: PanelIn, version: int) -> Action[AppealOut]:
    """Name who decides an appeal; once votes are cast, only seats that are empty are filled."""

    def act(unit: Unit) -> Done[AppealOut]:
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)
        insist_version(row, version)
        meet = meet_facts(unit.conn, unit.meet_id)
        _insist_undecided(unit, meet, row)
        has_begun = bool(votes_of(unit.conn, appeal_id, row.sitting))
        if has_begun:
            _insist_who_sits_stays(unit, panel_of(row), sent)
        terms = _terms(meet, row if has_begun else None)
        _insist_on_size(terms["size"], sent)
        _insist_may_sit(unit, meet, row, [sent.chair, *sent.members, *sent.substitutes])
        panel = {
            "chair": sent.chair,
            "members": [sent.chair, *sent.members],
            **_secretary(unit, meet, row, sent),
            "substitutes": sent.substitutes,
            "withdrawn": row.panel["withdrawn"] if row.panel is not None else [],
            **terms,
        }
        change_appeal(unit, row, panel=panel)
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        return Done(out, Deed(Kind.PANEL_NAMED, appeal_id, panel))

    return act


def _terms(meet: MeetFacts, row: AnyRow | None) -> dict[str, Any]:
    """How this panel decides, fixed once it votes: nobody changes it between votes."""
    if row is not None:
        return {name: row.panel[name] for name in ("size", "quorum", "chair_casts")}
    jury = meet.terms.jury
    quorum = jury.quorum or jury.size
    return {"size": jury.size, "quorum": quorum, "chair_casts": jury.chair_casts}


def _insist_undecided(unit: Unit, meet: MeetFacts, row: AnyRow) -> None:
    """The panel may be named before the appeal is admitted: its chair says whether it is."""
    state = state_now(unit.conn, meet, row)
    if state not in OPEN:
        raise StateConflict(
            f"This appeal is “{state}”. A decision of the jury is looked at again only where it is "
            "reopened, on new conclusive evidence."
        )


def _insist_who_sits_stays(unit: Unit, panel: Mapping[str, Any], sent: PanelIn) -> None:
    """Nobody is exchanged once it shows how the votes go, but for who is no member of the jury any
    more: the organiser says so by taking the role, where somebody has left.
    """
    stay = {one for one in panel["members"] if is_juror(unit, OfficialId(one))}
    is_chaired = panel["chair"] in stay
    if not stay <= {sent.chair, *sent.members} or (is_chaired and panel["chair"] != sent.chair):
        raise StateConflict(
            "Votes have been cast: who sits on the panel stays, and so does its chair. A member "
            "who is concerned withdraws, and from one who has left the organiser takes the role; "
            "then name who takes the place."
        )


def _insist_on_size(asked: int, sent: PanelIn) -> None:
    size = len(sent.members) + 1
    if size != asked:
        raise Malformed(
            f"The panel of this meet has {asked} members with the chair; this names "
            f"{size}. The organiser sets the size in the meet's terms (“jury”).",
            field="/members",
        )


def _insist_may_sit(unit: Unit, meet: MeetFacts, row: AnyRow, people: Iterable[str]) -> None:
    known = {one.id: one for one in officials_of(unit.conn, unit.meet_id)}
    named = touched_by(unit.conn, meet, row).named
    barred = barred_from(unit.conn, unit.meet_id, row, named)
    for ident in people:
        person: OfficialOut | None = known.get(OfficialId(ident))
        if person is None or not person.active or Role.JURY not in person.roles:
            raise Malformed(
                f"{person.name if person else ident} does not hold the role jury at this meet. The "
                "organiser gives it.",
                field="/members",
            )
        if person.id in barred:
            raise Malformed(
                f"{person.name} {barred[person.id]}, so somebody else sits.",
                field="/members",
            )


def _secretary(unit: Unit, meet: MeetFacts, row: AnyRow, sent: PanelIn) -> dict[str, Any]:
    """Who writes the minutes: a name from outside, or an official who did not judge in the matter
    before. Whoever typed its times may: that is the desk's work.
    """
    if sent.secretary_official is None:
        return {"secretary": sent.secretary, "secretary_official": None}
    known = {one.id: one for one in officials_of(unit.conn, unit.meet_id)}
    person = known.get(OfficialId(sent.secretary_official))
    if person is None or not person.active or MAY_WRITE_MINUTES.isdisjoint(person.roles):
        raise Malformed(
            "The secretary is an official of this meet with the role jury, results, referee or "
            "organiser. Name somebody else, or a name from outside in “secretary”.",
            field="/secretary_official",
        )
    part = had_judged(unit.conn, unit.meet_id, row, touched_by(unit.conn, meet, row).named)
    if person.id in part:
        raise Malformed(
            f"{person.name} {part[person.id]}, so somebody else writes the minutes.",
            field="/secretary_official",
        )
    return {"secretary": person.name, "secretary_official": person.id}


def is_juror(unit: Unit, official: OfficialId) -> bool:
    """Whether an official is still a member of the jury."""
    person = official_row(unit.conn, unit.meet_id, official)
    return bool(person.active and Role.JURY in person.roles)


def insist_version(row: AnyRow, version: int) -> None:
    """The caller has seen the appeal as it is."""
    if version != row.version:
        raise Stale("This appeal was changed meanwhile. Read it again, then decide.")


def insist_open(unit: Unit, meet: MeetFacts, row: AnyRow) -> None:
    """StateConflict for an appeal that is decided, withdrawn or not admitted."""
    state = state_now(unit.conn, meet, row)
    if state in {AppealState.LODGED, AppealState.LATE}:
        raise StateConflict(
            f"This appeal is “{state}”: it awaits its deposit, or the jury's word that admits it."
        )
    if state is not AppealState.ADMITTED:
        raise StateConflict(
            f"This appeal is “{state}”. A decision of the jury is looked at again only where it is "
            "reopened, on new conclusive evidence."
        )


def change_appeal(unit: Unit, row: AnyRow, **values: Any) -> None:
    """Store a change of an appeal; somebody else may have been first."""
    claimed = unit.conn.execute(
        update(appeals)
        .where(appeals.c.id == row.id, appeals.c.version == row.version)
        .values(version=row.version + 1, **values)
    )
    if claimed.rowcount != 1:
        raise Stale("This appeal was changed meanwhile. Read it again.")


def panel_of(row: AnyRow) -> Mapping[str, Any]:
    """The panel; StateConflict before it is named."""
    if row.panel is None:
        raise StateConflict("No panel has been named for this appeal yet.")
    panel: Mapping[str, Any] = row.panel
    return panel


def step_aside(
    appeal_id: AppealId, member: OfficialId, sent: StepAsideIn, caller: Caller, version: int
) -> Action[AppealOut]:
    """A member withdraws, and a substitute who is not concerned takes the place."""

    def act(unit: Unit) -> Done[AppealOut]:
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)
        insist_version(row, version)
        meet = meet_facts(unit.conn, unit.meet_id)
        insist_open(unit, meet, row)
        panel = panel_of(row)
        if member not in panel["members"]:
            raise StateConflict(_why_not_seated(panel, member))
        concerned = touched_by(unit.conn, meet, row)
        _insist_may_ask_aside(unit, row, member, caller, concerned)
        changed = {**_replaced(unit, meet, row, panel, sent.replaced_by, member, concerned)}
        why = {"reasons": sent.reasons, "replaced_by": sent.replaced_by}
        gone = {"official": member, "by": caller.official_id, "at": rfc3339(unit.now), **why}
        changed["withdrawn"] = [*panel["withdrawn"], gone]
        change_appeal(unit, row, panel=changed)
        out = appeal_shown(unit.conn, unit.meet_id, appeal_id, unit.now)
        return Done(out, Deed(Kind.MEMBER_WITHDREW, appeal_id, {"member": member, **why}))

    return act


def _why_not_seated(panel: Mapping[str, Any], member: OfficialId) -> str:
    """Why nobody takes the place of this official; who has gone already left a seat, which only the
    panel named again fills.
    """
    gone = [one for one in panel["withdrawn"] if one["official"] == member]
    if not gone:
        return "This official does not sit on this panel."
    if gone[-1]["replaced_by"] is not None or len(panel["members"]) == panel["size"]:
        return "This official has withdrawn from this panel already, and the place is taken."
    return (
        "This official has withdrawn from this panel, and the seat was left empty. Name the panel "
        "again (PUT …/panel) to fill it."
    )


def _insist_may_ask_aside(
    unit: Unit, row: AnyRow, member: OfficialId, caller: Caller, concerned: Touched
) -> None:
    """Members withdraw themselves; the chair takes out only whom the consequence touches or who
    had a part in the matter, so that nobody is struck out for how they vote.
    """
    if caller.official_id == member:
        return
    person = official_row(unit.conn, unit.meet_id, member)
    is_chair = caller.official_id == panel_of(row)["chair"]
    barred = barred_from(unit.conn, unit.meet_id, row, concerned.named)
    if not is_chair or not (member in barred or concerned.touches(person.affiliation)):
        raise NotYours(
            "A member withdraws in person. The chair can ask aside only a member whose affiliation "
            "the consequence touches, or who has had a part in the matter."
        )


def _replaced(
    unit: Unit,
    meet: MeetFacts,
    row: AnyRow,
    panel: Mapping[str, Any],
    instead: str | None,
    member: OfficialId,
    concerned: Touched,
) -> dict[str, Any]:
    """The panel without the member; a chair is followed by whoever takes the place."""
    if instead is None:
        return without_member(panel, member, None)
    if instead not in panel["substitutes"]:
        raise Malformed("This official is no substitute of this panel.", field="/replaced_by")
    person = official_row(unit.conn, meet.id, OfficialId(instead))
    if concerned.touches(person.affiliation):
        raise Affected(
            f"The consequence touches a team of {person.affiliation}, so {person.name} cannot take "
            f"the place either ({_conflict_rule(meet)}). Name another substitute.",
            field="/replaced_by",
        )
    _insist_no_part(unit, row, [instead], concerned)
    return without_member(panel, member, instead)


def vote(appeal_id: AppealId, vote_id: VoteId, sent: VoteIn, pen: Pen) -> Action[Put[VoteOut]]:
    """A member's vote, signed with this pen. It stands: there is no second one.

    What was voted comes into the record with the decision, and its signature with it: the digest of
    one of two statements would tell which.
    """
    caller = pen.caller

    def act(unit: Unit) -> Done[Put[VoteOut]]:
        known = unit.conn.execute(select(votes).where(votes.c.id == vote_id)).one_or_none()
        if known is not None:
            same = (known.meet_id, known.appeal_id, known.official_id, known.vote) == (
                unit.meet_id,
                appeal_id,
                caller.official_id,
                sent.vote,
            )
            if not same:
                raise IdTaken("a vote", vote_id)
            return Done(Put(_vote_out(known), created=False), None)
        pen.insist_may_sign(unit)
        row = appeal_row(unit.conn, unit.meet_id, appeal_id)
        meet = meet_facts(unit.conn, unit.meet_id)
        insist_open(unit, meet, row)
        _insist_may_vote(unit, meet, row, caller)
        values = {
            "id": vote_id,
            "meet_id": unit.meet_id,
            "appeal_id": appeal_id,
            "sitting": row.sitting,
            "official_id": caller.official_id,
            "vote": sent.vote,
            "cast_at": unit.now,
        }
        said = {"appeal": appeal_id, "sitting": row.sitting, "vote": sent.vote, "ballot": vote_id}
        pen.sign(unit, "vote", vote_id, said)
        unit.conn.execute(insert(votes).values(**values))
        change_appeal(unit, row)
        stored = unit.conn.execute(select(votes).where(votes.c.id == vote_id)).one()
        body = {name: values[name] for name in ("id", "appeal_id", "sitting", "official_id")}
        return Done(Put(_vote_out(stored), created=True), Deed(Kind.VOTE_CAST, appeal_id, body))

    return act


def _insist_may_vote(unit: Unit, meet: MeetFacts, row: AnyRow, caller: Caller) -> None:
    panel = panel_of(row)
    withdrawn = [one["official"] for one in panel["withdrawn"]]
    if caller.official_id in withdrawn:
        raise NotYours(
            "You have withdrawn from this appeal, so you have no vote in it "
            f"({_conflict_rule(meet)})."
        )
    if caller.official_id not in panel["members"]:
        raise NotYours(
            "You do not sit on this panel, so you have no vote: only its members do, not the "
            "secretary, and substitutes once they have taken a place."
        )
    if any(one.official_id == caller.official_id for one in _cast(unit, row)):
        raise StateConflict(
            "You have voted on this appeal already. One member, one vote (common practice)."
        )
    insist_unconcerned(unit, meet, row, [caller.official_id])


def _conflict_rule(meet: MeetFacts) -> str:
    """The rule by which whoever is concerned withdraws; NFHS is not known to have one."""
    return "common practice" if meet.book.code == "nfhs" else "World Athletics CR12, from memory"


def _cast(unit: Unit, row: AnyRow) -> list[AnyRow]:
    return votes_of(unit.conn, AppealId(row.id), row.sitting)


def insist_unconcerned(
    unit: Unit,
    meet: MeetFacts,
    row: AnyRow,
    members: Iterable[str],
    concerned: Touched | None = None,
) -> None:
    """Affected for a member whose affiliation has a team that the consequence touches; NotYours for
    one who has had a part in the matter, also where that came after the panel was named.
    """
    concerned = concerned or touched_by(unit.conn, meet, row)
    for member in members:
        person = official_row(unit.conn, unit.meet_id, OfficialId(member))
        if concerned.touches(person.affiliation):
            raise Affected(
                f"The consequence touches a team of {person.affiliation}, the affiliation of "
                f"{person.name}, who is asked to withdraw and cannot vote "
                f"({_conflict_rule(meet)}). A substitute takes the place. From a member who does "
                "not go, and whom the chair cannot ask aside, the organiser takes the role jury; "
                "then name the panel again (“appeals/{id}/panel”).",
                member=member,
                affiliations=list(concerned.affiliations),
            )
    _insist_no_part(unit, row, members, concerned)


def _insist_no_part(unit: Unit, row: AnyRow, members: Iterable[str], concerned: Touched) -> None:
    barred = had_a_part(unit.conn, unit.meet_id, row, concerned.named)
    for member in members:
        why = barred.get(OfficialId(member))
        if why is not None:
            name = official_row(unit.conn, unit.meet_id, OfficialId(member)).name
            raise NotYours(
                f"{name} {why}, so somebody else decides on it. The member withdraws, or the "
                "chair asks that member aside, and a substitute takes the place "
                "(“panel/{official}/withdraw”).",
                member=member,
            )


def _vote_out(row: AnyRow) -> VoteOut:
    return VoteOut(
        id=row.id,
        appeal=row.appeal_id,
        sitting=row.sitting,
        official=row.official_id,
        vote=row.vote,
        cast_at=row.cast_at,
    )
