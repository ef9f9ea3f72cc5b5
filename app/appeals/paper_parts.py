"""The parts of a paper: the protest, the appeal, its panel, what moves, and what is open now.

Each part is a titled section; what is odd about a protest or an appeal stands above them in words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from app.appeals.corrected import measure_in_words
from app.appeals.decision_queries import decision_row
from app.appeals.deposits import asked_by, deposit_decided
from app.appeals.jury_wire import AppealOut, PanelOut
from app.appeals.ordered import Ordered
from app.appeals.ran_elsewhere import ran_elsewhere
from app.appeals.wire import About, Instance, ProtestOut, Timeliness, Verdict
from app.clock import in_zone
from app.forms.remedy_paper import Section
from app.forms.signature_section import SHA256_OF_STATEMENT, group_digest
from app.ids import DecisionId, DisqualificationId, HeatId, RulingId, TeamId
from app.meets.queries import MeetFacts, team_row
from app.rounds.wire import ConsequencesOut
from app.rulings.decided import disqualification_in
from app.rulings.queries import ruling_in_words
from app.store.rows import AnyRow

ABOUT = {
    About.RULING: "a ruling",
    About.PLACING: "a placing",
    About.CONDUCT: "another team's conduct",
    About.OTHER: "something else, as written below",
}
GONE = ("returned", "forfeited")
OPEN_NOW = "What is open now"
NOTHING_MOVES = "Nothing moves."


def moves_section(title: str, shown: ConsequencesOut) -> Section:
    """What moves, a sentence each; that nothing does is said."""
    moves = tuple(move.sentence for move in shown.moves)
    return Section(title, items=moves or (NOTHING_MOVES,))


def what_next(meet: MeetFacts, decided: Ordered) -> Section:
    """Which way is open to a team now, and from when its time runs."""
    title = OPEN_NOW
    if decided.instance is Instance.JURY:
        appeal, outcome = decided.appeal, decided.more.get("deposit")
        said = ["The decision of the jury is final; there is no appeal against it."]
        if appeal is not None and outcome:
            said.append(deposit_decided(appeal, outcome))
        return Section(title, items=tuple(said))
    if decided.verdict is Verdict.REFERRED:
        return Section(title, items=("The protest lies before the jury; no deposit is needed.",))
    asked = asked_by(meet)
    deposit_words = f", with a deposit of {asked.words}" if asked else ""
    if decided.words:
        when = "The time for an appeal runs from the announcement of the amended result"
    elif decided.advised_at is not None:
        when = f"The time for an appeal runs from {in_zone(decided.advised_at, meet.time_zone)}"
    else:
        when = "The time for an appeal runs from when the protesters are told"
    return Section(title, items=(f"{when}; in writing, to the jury{deposit_words}.",))


def protest_section(conn: Connection, meet: MeetFacts, out: ProtestOut) -> Section:
    """A protest: for whom, by whom, when, about what, and in which window."""
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
        *_time_corrected(conn, meet, out),
        ("took part in the round", _took_part(conn, meet, out)),
        ("taken in by", out.taken_by_name),
    ]
    if out.allowed_because:
        facts.append(("let through because", out.allowed_because))
    words = (out.words,) if out.words else ()
    return Section(f"Protest {out.number}", tuple(facts), words)


def _took_part(conn: Connection, meet: MeetFacts, out: ProtestOut) -> str:
    if not out.took_part:
        return "NO: from outside the round"
    elsewhere = _ran_in(conn, meet, out)
    return f"yes, in {elsewhere[0][1]}" if elsewhere else "yes"


def _ran_in(
    conn: Connection, meet: MeetFacts, out: ProtestOut | AppealOut
) -> list[tuple[str, str]]:
    """In which other heat the team ran than the one that this is about; nothing for no other."""
    ran = ran_elsewhere(conn, meet.id, HeatId(out.heat), TeamId(out.team))
    return [] if ran is None else [("ran in", f"{ran.heat}, lane {ran.lane}")]


def _window(timely: Timeliness) -> str:
    if timely.window is None:
        return timely.words
    until = f", until {timely.closes_at_local}" if timely.closes_at_local else ""
    return f"{timely.words} (opened by {timely.opened_by}{until}; {timely.rule})"


def _time_corrected(
    conn: Connection, meet: MeetFacts, out: ProtestOut | AppealOut
) -> list[tuple[str, str]]:
    """That the announcement or the end which a window counts from had been given another time."""
    return [("corrected", said) for said in measure_in_words(conn, meet, out)]


def appeal_section(conn: Connection, meet: MeetFacts, out: AppealOut) -> Section:
    """An appeal: for whom, by whom, when, in which window, and its deposit; or who referred a
    protest, and when.
    """
    if out.is_referred:
        return _referred_section(conn, meet, out)
    deposit = out.deposit
    said = deposit.received or "none"
    if deposit.receipt:
        said += f", receipt {deposit.receipt}"
    facts = [
        ("lodged for", out.team_name),
        *_ran_in(conn, meet, out),
        ("lodged by", out.lodged_by),
        ("lodged at", in_zone(out.lodged_at, meet.time_zone)),
        ("window", _window(out.timeliness)),
        *_time_corrected(conn, meet, out),
        ("deposit asked", deposit.asked or "none"),
        ("deposit received", said),
        *([("deposit", _gone(out))] if deposit.outcome in GONE else []),
        ("taken in by", out.taken_by_name),
    ]
    if out.admitted is not None:
        word = "admitted by" if out.admitted["admit"] else "turned away by"
        facts += [(word, out.admitted["by_name"]), ("because", out.admitted["reasons"])]
    return Section(f"Appeal {out.number}", tuple(facts), (out.words,) if out.words else ())


def _referred_section(conn: Connection, meet: MeetFacts, out: AppealOut) -> Section:
    """A protest that the referee referred (World Athletics TR8.7): no team appeals, so there is no
    window and no deposit, and what the team wrote stands with its protest.
    """
    facts = (
        ("protest of", out.team_name),
        *_ran_in(conn, meet, out),
        ("referred by", f"{out.taken_by_name}, referee"),
        ("referred at", out.lodged_at_local),
        ("deposit", "none is asked for what the referee refers"),
    )
    return Section(f"Appeal {out.number} (protest {out.protest_number}, referred)", facts)


def _gone(out: AppealOut) -> str:
    """What became of the deposit; while a reopened appeal waits, that was the earlier sitting's."""
    of_earlier = out.reopened is not None and out.decision is None
    return out.deposit.outcome + (f" by sitting {out.sitting - 1}" if of_earlier else "")


def sought_section(conn: Connection, meet: MeetFacts, out: AppealOut) -> list[Section]:
    """What the team asks the jury to order; none where it left that open."""
    asked = tuple(_order_in_words(conn, meet, out.heat, order) for order in out.sought)
    return [Section("What is asked for", items=asked)] if asked else []


def _order_in_words(
    conn: Connection, meet: MeetFacts, heat_id: HeatId, order: Mapping[str, Any]
) -> str:
    """An order with the teams, the disqualification or the decision that it names."""
    named = [order["team"]] if order.get("team") else order.get("teams") or []
    words = [team_row(conn, meet.id, TeamId(team)).name for team in named]
    if order.get("disqualification"):
        ident = DisqualificationId(order["disqualification"])
        row = disqualification_in(conn, meet.id, heat_id, ident)
        words.append(f"{team_row(conn, meet.id, TeamId(row.team_id)).name} (DQ {row.rule})")
    if order.get("decision"):
        decided = decision_row(conn, meet.id, DecisionId(order["decision"]))
        words.append(f"the decision of {in_zone(decided.decided_at, meet.time_zone)}")
    more = [str(order[name]) for name in ("time", "place") if order.get(name)]
    more += [f"lane {order['lane']}"] if order.get("lane") else []
    return f"{order['order'].capitalize()}: {', '.join([*words, *more]) or 'the whole heat'}"


def reopened_section(
    conn: Connection, meet: MeetFacts, out: AppealOut, title: str
) -> list[Section]:
    """The earlier decision on an appeal, on what new evidence and who allowed another look at it;
    none where the jury has not reopened it.
    """
    said = out.reopened
    if said is None:
        return []
    earlier = decision_row(conn, meet.id, DecisionId(said["decision"]))
    at = datetime.fromisoformat(said["at"])
    facts = (
        ("earlier decision", jury_decision_in_words(earlier, out.number, meet.time_zone)),
        (SHA256_OF_STATEMENT, group_digest(earlier.statement_digest)),
        ("reopened", f"{in_zone(at, meet.time_zone)}, by {said['by_name']}"),
        ("allowed by", said["allowed_by"]),
        ("new evidence", said["evidence"]),
        ("why", said["reasons"]),
    )
    return [Section(title, facts)]


def replaced_section(conn: Connection, meet: MeetFacts, earlier: DecisionId) -> Section:
    """The referee's earlier decision on a protest, which was late by a time typed wrongly."""
    row = decision_row(conn, meet.id, earlier)
    facts = (
        ("earlier decision", referees_decision_in_words(row, meet.time_zone)),
        (SHA256_OF_STATEMENT, group_digest(row.statement_digest)),
        ("why again", "the protest was late by a time that was put right since"),
    )
    return Section("The decision that this replaces", facts)


def referees_decision_in_words(row: AnyRow, zone: str) -> str:
    """Which of the referee's decisions on a protest, when it was made, and what it was."""
    return f"of the referee, {in_zone(row.decided_at, zone)}: {row.verdict}"


def jury_decision_in_words(row: AnyRow, number: int, zone: str) -> str:
    """Which of the jury's decisions, when it was made, and what it was."""
    return (
        f"of the jury on appeal {number}, sitting {row.sitting}, "
        f"{in_zone(row.decided_at, zone)}: {row.verdict}"
    )


def panel_section(panel: PanelOut) -> Section:
    """Who sits, who writes the minutes, and who has withdrawn and why."""
    sitting = [
        (one.part, one.name) for one in panel.members if one.state in {"sits", "asked to withdraw"}
    ]
    withdrawn = [
        fact
        for one in panel.members
        if one.state == "withdrawn"
        for fact in (("withdrew", one.name), ("because", one.because))
    ]
    secretary = [("secretary, no vote", panel.secretary)] if panel.secretary else []
    return Section("Panel", (*sitting, *secretary, *withdrawn))


def marks_in_words(marks: Sequence[str], timely: Timeliness) -> tuple[str, ...]:
    """What is odd about a protest or an appeal, as its reader must know first."""
    words = {
        "late": timely.words,
        "outside": "FROM OUTSIDE the round",
        "no deposit": "WITHOUT DEPOSIT",
    }
    return tuple(words[mark] for mark in marks)
