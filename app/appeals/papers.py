"""What the papers tell: a protest, the referee's decision, an appeal, the jury's decision.

The facts of a decision are gathered when it is made and kept with it; their digest is part of what
was signed. A protest and an appeal are told as they stand when they are printed. Read at printing
are the time, the record's head, whether a later decision stands instead, and what `since_signed`
tells below the signatures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import Connection

from app.access.queries import official_row
from app.appeals.bench import Bench
from app.appeals.jury_wire import AppealOut, PanelOut
from app.appeals.ordered import Ordered
from app.appeals.queries import decision_row, protest_out, protest_row
from app.appeals.since_signed import since_signed
from app.appeals.standing import appeal_out, marks_of_appeal, measured_appeal
from app.appeals.wire import About, Instance, ProtestOut, Timeliness, Verdict
from app.clock import in_zone
from app.forms.remedy_paper import RemedyPaper, Section
from app.forms.signature_section import InkField, Signature
from app.ids import AppealId, DecisionId, HeatId, MeetId, OfficialId, ProtestId, RulingId
from app.meets.queries import MeetFacts, heat, meet_facts
from app.meets.wire import HeatOut
from app.record.queries import head_of
from app.rounds.wire import ConsequencesOut
from app.rulings.queries import ruling_in_words
from app.store.action import Unit
from app.store.rows import AnyRow

PAPER: TypeAdapter[RemedyPaper] = TypeAdapter(RemedyPaper)

TITLES = {
    Instance.REFEREE: "Decision of the referee",
    Instance.JURY: "Decision of the jury of appeal",
}
VERDICTS = {
    Verdict.UPHELD: "upheld",
    Verdict.REJECTED: "rejected",
    Verdict.REFERRED: "referred to the jury",
}
ABOUT = {
    About.RULING: "a ruling",
    About.PLACING: "a placing",
    About.CONDUCT: "another team's conduct",
    About.OTHER: "something else, as written below",
}
GONE = ("returned", "forfeited")
NOTHING_MOVES = "Nothing moves."


def decided_paper(
    unit: Unit, meet: MeetFacts, bench: Bench, decided: Ordered, by: OfficialId
) -> dict[str, Any]:
    """The facts of a decision's paper, as a small document."""
    protest, appeal, zone = decided.protest, decided.appeal, meet.time_zone
    about = protest if appeal is None else appeal
    signer = official_row(unit.conn, meet.id, by)
    role = "Referee" if decided.instance is Instance.REFEREE else "Chair of the jury"
    grounds = [("decided", in_zone(unit.now, zone)), ("by", signer.name)]
    if "votes" in decided.more:
        grounds.append(("votes", _votes(decided.more["votes"])))
    if decided.advised_at is not None:
        grounds.append(("advice given", in_zone(decided.advised_at, zone)))
    base = _blank(meet, bench.heat, about, unit.now)
    paper = replace(
        base,
        title=TITLES[decided.instance],
        number=_number(protest, appeal),
        verdict=VERDICTS[decided.verdict],
        effect=_effect(decided),
        grounds=tuple(grounds),
        reasons=decided.reasons,
        marks=_marks_of(unit.conn, meet, protest, appeal),
        sections=tuple(_decided_sections(unit, meet, decided)),
        ink_fields=(InkField(role, signer.name), InkField("Team, for receipt")),
    )
    document: dict[str, Any] = PAPER.dump_python(paper, mode="json")
    return document


def _number(protest: AnyRow, appeal: AnyRow | None) -> str:
    return f"protest {protest.number}" if appeal is None else f"appeal {appeal.number}"


def _votes(told: Mapping[str, Any]) -> str:
    tie = f" ({told['tie']})" if told["tie"] else ""
    return f"{told['upheld']} for, {told['rejected']} against{tie}; quorum {told['quorum']}"


def _effect(decided: Ordered) -> str:
    if decided.verdict is Verdict.REFERRED:
        return "the jury decides"
    return "the result is amended" if decided.words else "nothing is amended"


def _marks_of(
    conn: Connection, meet: MeetFacts, protest: AnyRow, appeal: AnyRow | None
) -> tuple[str, ...]:
    """What was odd about what is decided, as its reader must know first."""
    if appeal is None:
        out = protest_out(conn, meet.id, ProtestId(protest.id))
        return _marks(out.marks, out.timeliness)
    timely = measured_appeal(conn, appeal, meet.time_zone)
    return _marks(marks_of_appeal(conn, meet, appeal, timely), timely)


def _decided_sections(unit: Unit, meet: MeetFacts, decided: Ordered) -> list[Section]:
    out = protest_out(unit.conn, meet.id, ProtestId(decided.protest.id))
    sections = [_protest_section(unit.conn, meet, out)]
    if decided.appeal is not None:
        appeal = appeal_out(unit.conn, meet.id, AppealId(decided.appeal.id))
        sections.append(_appeal_section(appeal, meet.time_zone))
        if appeal.panel is not None:
            sections.append(_panel_section(appeal.panel))
    if decided.heard_because:
        sections.append(Section("Heard all the same", paragraphs=(decided.heard_because,)))
    if decided.words:
        sections.append(Section("What is ordered", items=tuple(decided.words)))
    sections.append(_moves_section("What this moves", decided.shown))
    if decided.shown.too_late:
        late = tuple(decided.shown.too_late)
        sections.append(Section("What it can no longer change", items=late))
    sections.append(_what_next(meet, decided))
    return sections


def _moves_section(title: str, shown: ConsequencesOut) -> Section:
    moves = tuple(move.sentence for move in shown.moves)
    return Section(title, items=moves or (NOTHING_MOVES,))


def _what_next(meet: MeetFacts, decided: Ordered) -> Section:
    """Which way is open to a team now, and from when its time runs."""
    title = "What is open now"
    if decided.instance is Instance.JURY:
        deposit = decided.more.get("deposit")
        said = ["The decision of the jury is final; there is no appeal against it."]
        if deposit:
            said.append(f"The deposit is {deposit}.")
        return Section(title, items=tuple(said))
    if decided.verdict is Verdict.REFERRED:
        return Section(title, items=("The protest lies before the jury; no deposit is needed.",))
    asked = meet.terms.appeal_deposit or meet.book.appeal_deposit
    deposit_words = f", with a deposit of {asked.amount} {asked.currency}" if asked else ""
    if decided.words:
        when = "The time for an appeal runs from the announcement of the amended result"
    elif decided.advised_at is not None:
        when = f"The time for an appeal runs from {in_zone(decided.advised_at, meet.time_zone)}"
    else:
        when = "The time for an appeal runs from when the protesters are told"
    return Section(title, items=(f"{when}; in writing, to the jury{deposit_words}.",))


def _protest_section(conn: Connection, meet: MeetFacts, out: ProtestOut) -> Section:
    about = ABOUT[out.about]
    if out.ruling is not None:
        about = ruling_in_words(conn, meet.id, RulingId(out.ruling), meet.time_zone)
    facts = [
        ("lodged for", out.team_name),
        ("lodged by", out.lodged_by),
        ("as", out.capacity.value),
        ("lodged at", in_zone(out.lodged_at, meet.time_zone)),
        ("about", about if out.against_name is None else f"{about}: {out.against_name}"),
        *([("ground", out.ground)] if out.ground != "protest" else []),
        ("window", _window(out.timeliness)),
        ("in that round", "yes" if out.took_part else "NO: from outside the round"),
        ("taken in by", out.taken_by_name),
    ]
    if out.allowed_because:
        facts.append(("let through because", out.allowed_because))
    words = (out.words,) if out.words else ()
    return Section(f"Protest {out.number}", tuple(facts), words)


def _window(timely: Timeliness) -> str:
    if timely.window is None:
        return timely.words
    until = f", until {timely.closes_at_local}" if timely.closes_at_local else ""
    return f"{timely.words} (opened by {timely.opened_by}{until}; {timely.rule})"


def _appeal_section(out: AppealOut, zone: str) -> Section:
    deposit = out.deposit
    said = deposit.received or "none"
    if deposit.receipt:
        said += f", receipt {deposit.receipt}"
    facts = [
        ("lodged for", out.team_name),
        ("lodged by", out.lodged_by),
        ("lodged at", in_zone(out.lodged_at, zone)),
        ("window", _window(out.timeliness)),
        ("deposit asked", deposit.asked or "none"),
        ("deposit received", said),
        *([("deposit", deposit.outcome)] if deposit.outcome in GONE else []),
        ("taken in by", out.taken_by_name),
    ]
    if out.admitted is not None:
        word = "admitted" if out.admitted["admit"] else "turned away"
        facts.append((word, f"{out.admitted['by_name']}: {out.admitted['reasons']}"))
    if out.reopened is not None:
        facts.append(("reopened", f"allowed by {out.reopened['allowed_by']}"))
        facts.append(("new evidence", out.reopened["evidence"]))
    title = f"Appeal {out.number}" + (", referred by the referee" if out.is_referred else "")
    return Section(title, tuple(facts), (out.words,) if out.words else ())


def _panel_section(panel: PanelOut) -> Section:
    sitting = [
        (one.part, one.name) for one in panel.members if one.state in {"sits", "asked to withdraw"}
    ]
    withdrawn = [
        ("withdrew", f"{one.name}: {one.because}")
        for one in panel.members
        if one.state == "withdrawn"
    ]
    secretary = [("secretary, no vote", panel.secretary)] if panel.secretary else []
    return Section("Panel", (*sitting, *secretary, *withdrawn))


def _blank(meet: MeetFacts, run: HeatOut, about: AnyRow, at: datetime) -> RemedyPaper:
    """A paper with its head, and nothing else on it yet."""
    lane = next((line for line in run.lanes if line.team == about.team_id), None)
    return RemedyPaper(
        meet=meet.name,
        place=meet.venue,
        date=in_zone(at, meet.time_zone)[:10],
        time_zone=meet.time_zone,
        edition=f"{meet.book.title}, {meet.book.edition}",
        event=run.event_name,
        round=run.round,
        heat=str(run.number),
        lane="" if lane is None else str(lane.lane),
        team=about.team_name,
        affiliation=about.affiliation,
        bib="" if lane is None else lane.bib,
        title="",
        number="",
        verdict="",
        awaits="",
        effect="",
        grounds=(),
        reasons="",
        standing_note="",
        marks=(),
        sections=(),
        signatures=(),
        ink_fields=(),
        record_head="",
        printed_at="",
    )


def _printed(conn: Connection, meet: MeetFacts, paper: RemedyPaper, now: datetime) -> RemedyPaper:
    head = head_of(conn, meet.id)
    return replace(
        paper,
        record_head=f"{head.size} entries, root {head.root}",
        printed_at=in_zone(now, meet.time_zone),
    )


def decision_paper(
    conn: Connection, meet_id: MeetId, decision_id: DecisionId, now: datetime
) -> RemedyPaper:
    """A decision's paper: what was fixed when it was made, and what is known now."""
    row = decision_row(conn, meet_id, decision_id)
    meet = meet_facts(conn, meet_id)
    paper = PAPER.validate_python(row.form_facts)
    note = ""
    if row.replaced_by is not None:
        later = decision_row(conn, meet_id, DecisionId(row.replaced_by))
        note = (
            f"This decision no longer stands: the jury reopened it and decided on "
            f"{in_zone(later.decided_at, meet.time_zone)}: {later.verdict}."
        )
    signature = Signature(
        role="Referee" if row.instance == Instance.REFEREE else "Chair of the jury",
        # As it was then: an official may be named otherwise since.
        name=dict(paper.grounds).get("by", row.official_name),
        at=in_zone(row.decided_at, meet.time_zone),
        how="PIN on a joined device, attested by the server",
        digest=row.statement_digest,
    )
    protest = protest_row(conn, meet_id, ProtestId(row.protest_id))
    since = since_signed(conn, meet, row, protest)
    known = replace(paper, standing_note=note, signatures=(signature,), since=since)
    return _printed(conn, meet, known, now)


def protest_paper(
    conn: Connection, meet_id: MeetId, protest_id: ProtestId, now: datetime
) -> RemedyPaper:
    """A protest as it stands."""
    meet = meet_facts(conn, meet_id)
    out = protest_out(conn, meet_id, protest_id)
    run = heat(conn, meet_id, HeatId(out.heat))
    awaits = {"lodged": "awaits the referee", "referred": "awaits the jury"}
    paper = replace(
        _blank(meet, run, _about(out), out.lodged_at),
        title="Protest",
        number=f"protest {out.number}",
        verdict="" if out.state in awaits else out.state.value,
        awaits=awaits.get(out.state, ""),
        grounds=_standing(out),
        marks=_marks(out.marks, out.timeliness),
        sections=(_protest_section(conn, meet, out),),
        ink_fields=(
            InkField("Lodged by", out.lodged_by),
            InkField("Taken in by", out.taken_by_name),
        ),
    )
    return _printed(conn, meet, paper, now)


def appeal_paper(
    conn: Connection, meet_id: MeetId, appeal_id: AppealId, now: datetime
) -> RemedyPaper:
    """An appeal as it stands."""
    meet = meet_facts(conn, meet_id)
    out = appeal_out(conn, meet_id, appeal_id)
    protest = protest_out(conn, meet_id, ProtestId(out.protest))
    run = heat(conn, meet_id, HeatId(out.heat))
    awaits = {
        "lodged": "awaits its deposit or the jury's word",
        "late": "late: awaits the jury's word",
        "admitted": "awaits the jury",
    }
    sections = [_appeal_section(out, meet.time_zone), _protest_section(conn, meet, protest)]
    if protest.decision is not None:
        decided = protest.decision
        sections.append(
            Section(
                "The referee's decision",
                (
                    ("decided", decided.decided_at_local),
                    ("by", decided.official_name),
                    ("verdict", VERDICTS[decided.verdict]),
                ),
                (decided.reasons,),
                tuple(decided.ordered),
            )
        )
    paper = replace(
        _blank(meet, run, _about(out), out.lodged_at),
        title="Appeal to the jury",
        number=f"appeal {out.number}",
        verdict="" if out.state in awaits else _outcome(out),
        awaits=awaits.get(out.state, ""),
        grounds=_standing(out),
        marks=_marks(out.marks, out.timeliness),
        sections=tuple(sections),
        ink_fields=(
            InkField("Appellant", out.lodged_by),
            InkField("Taken in by", out.taken_by_name),
        ),
    )
    return _printed(conn, meet, paper, now)


def _outcome(out: AppealOut) -> str:
    """What was not heard was not decided either."""
    unheard = out.decision is None and out.admitted is not None and not out.admitted["admit"]
    return "turned away" if unheard else out.state.value


@dataclass(frozen=True, slots=True)
class _About:
    team_id: str
    team_name: str
    affiliation: str


def _about(out: ProtestOut | AppealOut) -> Any:
    return _About(out.team, out.team_name, out.affiliation)


def _marks(marks: Sequence[str], timely: Timeliness) -> tuple[str, ...]:
    words = {
        "late": timely.words,
        "outside": "FROM OUTSIDE the round",
        "no deposit": "WITHOUT DEPOSIT",
    }
    return tuple(words[mark] for mark in marks)


def _standing(out: ProtestOut | AppealOut) -> tuple[tuple[str, str], ...]:
    decided = out.decision
    if decided is not None:
        return (("decided", decided.decided_at_local), ("by", decided.official_name))
    said = out.withdrawn
    if said is None:
        return ()
    if said.get("turned_away"):
        return (("turned away by", str(said["by_name"])),)
    return (("withdrawn by", str(said["by"])),)
