"""Rows as the first schema held them, in the order in which they can be stored.

`heat` was announced though nobody had started it; `again` too, and was then held back and started.
"""

from __future__ import annotations

from typing import Any

Row = dict[str, Any]

AT = "2026-06-13T12:00:0{}.000000Z"
SAID = '{"lane":4}'
_MEET: Row = {"meet_id": "meet", "version": 1}
_TEAM: Row = {"team_id": "team", "lane": 4}


def _heat(name: str, number: int, **changes: Any) -> Row:
    row = {"id": name, "event_id": "event", "round": "heats", "round_key": "heats", **_MEET}
    return {**row, "number": number, "position": number, **changes}


def _case(name: str, heat: str, second: int, state: str) -> Row:
    return {"id": name, "heat_id": heat, "opened_at": AT.format(second), "state": state} | (
        _MEET | _TEAM
    )


def _report(name: str, heat: str, case: str, **changes: Any) -> Row:
    row = {"id": name, "heat_id": heat, "case_id": case, "official_id": "official", **_MEET}
    told = {"post_words": "", "words": "", "marks": "[]", "raised_at": AT.format(1)}
    return {**row, **_TEAM, **told, "state": "ruled", "content": SAID, **changes}


def _ruling(name: str, heat: str, case: str, **changes: Any) -> Row:
    row = {"id": name, "meet_id": "meet", "case_id": case, "heat_id": heat, **_TEAM}
    effect = {"verdict": "confirmed", "effect": "disqualification", "edition": "nfhs-2019"}
    count = {"separate": 1, "noted_before": 0, "rests_on": "[]", "official_id": "official"}
    signed = {"reasons": "", "statement": "{}", "statement_digest": "", "form_facts": "{}"}
    return {**row, **effect, **count, **signed, "ruled_at": AT.format(3), "content": "{}"} | changes


def _call(name: str, heat: str, run: int | None) -> Row:
    row = {"id": name, "meet_id": "meet", "heat_id": heat, "post_id": "post", "lane": 4}
    told = {"official_id": "official", "flag": "yellow", "clock": "{}", "marks": "[]"}
    return {**row, **told, "run": run, "received_at": AT.format(4), "content": SAID}


def _result(heat: str, run: int) -> Row:
    row = {"heat_id": heat, "rows": "[]", "loaded_by": "official", "run": run, **_MEET}
    return {**row, "loaded_at": AT.format(5)}


def _announcement(name: str, heat: str) -> Row:
    row = {"id": name, "meet_id": "meet", "heat_id": heat, "number": 1, "official_id": "official"}
    told = {"snapshot": "{}", "statement_digest": "", "content": "{}"}
    seen = {"list_seen": 1, "rulings_seen": 1, "run_seen": 0}
    return {**row, **told, **seen, "announced_at": AT.format(6), "entered_at": AT.format(6)}


OLD_ROWS: list[tuple[str, Row]] = [
    (
        "meets",
        {"id": "meet", "name": "Harbour Relays", "time_zone": "UTC", "edition": "nfhs-2019"}
        | {"facts": "{}", "made_at": AT.format(0), "version": 1},
    ),
    (
        "officials",
        {"id": "official", "name": "Bo Halyard", "affiliation": "", "roles": "[]", "active": True}
        | _MEET,
    ),
    (
        "events",
        {"id": "event", "name": "4x1", "name_key": "4x1", "relay": "4x100", "meet_id": "meet"},
    ),
    (
        "teams",
        {"id": "team", "meet_id": "meet", "event_id": "event", "name": "Tern"}
        | {"name_key": "tern", "affiliation": ""},
    ),
    (
        "posts",
        {"id": "post", "meet_id": "meet", "official_id": "official", "take_over": 1}
        | {"edge": "end", "lanes": "[4]", "side": "inside", "relays": "[]", "retired": False},
    ),
    ("heats", _heat("heat", 1, state="announced", run=0)),
    ("heats", _heat("again", 2, state="running", run=1)),
    *(("lanes", {"heat_id": heat, "bib": "", "legs": "[]", **_TEAM}) for heat in ("heat", "again")),
    ("cases", _case("case-b", "heat", 2, "open")),
    ("cases", _case("case-a", "heat", 1, "ruled")),
    ("cases", _case("case-c", "again", 3, "ruled")),
    ("reports", _report("first", "heat", "case-a")),
    ("reports", _report("second", "again", "case-c")),
    ("reports", _report("third", "again", "case-c", run=1)),
    ("rulings", _ruling("ruling", "heat", "case-a")),
    ("rulings", _ruling("shaken", "again", "case-c")),
    ("calls", _call("call-a", "heat", 0)),
    ("calls", _call("call-b", "heat", None)),
    ("calls", _call("call-c", "again", 1)),
    ("results", _result("heat", 0)),
    ("results", _result("again", 0)),
    ("announcements", _announcement("news", "heat")),
    ("announcements", _announcement("old news", "again")),
]

_DECIDED: Row = {"heat_id": "heat", "meet_id": "meet", "number": 1, "team_id": "team"}
_SAID: Row = {"lodged_by": "Mira Anchor", "words": "", "content": "{}", "version": 1}
_TAKEN: Row = {"lodged_at": AT.format(7), "entered_at": AT.format(7), "official_id": "official"}
_LODGED: Row = {**_DECIDED, **_SAID, **_TAKEN, "state": "lodged"}


def _appeal(name: str, number: int, **changes: Any) -> Row:
    row = {"id": name, **_LODGED, "protest_id": "protest", "is_referred": 0, "sitting": 1}
    return {**row, "number": number, "sought": "[]", **changes}


DEPOSIT = '{"amount":100,"currency":"USD","receipt":"R-17"}'
APPEALED_ROWS: list[tuple[str, Row]] = [
    (
        "protests",
        {"id": "protest", **_LODGED, "about": "placing", "ground": "protest"}
        | {"capacity": "athlete", "state": "rejected"},
    ),
    ("appeals", _appeal("paid", 1, deposit=DEPOSIT)),
    ("appeals", _appeal("unpaid", 2)),
    ("appeals", _appeal("referred", 3, is_referred=1)),
]
"""Rows as the third schema held them besides."""


def _decision(number: int, heat: str, carried_out: str = "[]") -> Row:
    row = {"id": f"decision {number}", "meet_id": "meet", "seq": number, "heat_id": heat}
    said = {"sitting": 1, "instance": "referee", "verdict": "upheld", "reasons": "Seen on video."}
    did = {"orders": "[]", "carried_out": carried_out, "moves": "{}", "official_id": "official"}
    signed = {"edition": "nfhs-2019", "statement": "{}", "statement_digest": "", "form_facts": "{}"}
    told = {"decided_at": AT.format(8), "content": "{}", "protest_id": "protest"}
    return {**row, **said, **did, **signed, **told}


def _told(name: str, heat: str, number: int, seen: int, snapshot: str) -> Row:
    row = {**_announcement(name, heat), "number": number, "snapshot": snapshot}
    return {**row, "decisions_seen": seen, "else_seen": ""}


_ORDERED, _KEPT = '{"did":"set aside"}', '{"did":"set aside","is_kept":true}'

DECIDED_ROWS: list[tuple[str, Row]] = [
    ("heats", _heat("run again", 3, state="running", run=1, round="re-run", round_key="re-run")),
    ("heats", _heat("semi", 4, state="running", run=1, round="semi", round_key="semi")),
    *(
        ("decisions", _decision(number, heat, f"[{carried_out}]"))
        for number, (heat, carried_out) in enumerate(
            (
                ("heat", _ORDERED),
                ("semi", _ORDERED),
                ("run again", ""),
                ("again", ""),
                ("heat", _KEPT),
                ("semi", _KEPT),
                ("heat", f"{_KEPT},{_ORDERED}"),
                ("heat", _KEPT),
            ),
            start=1,
        )
    ),
    (
        "re_runs",
        {"id": "re-run", "meet_id": "meet", "event_id": "event", "round_key": "heats"}
        | {"heat_id": "heat", "run_heat_id": "run again", "teams": "[]", "letter": "qR"}
        | {"added_places": 0, "by_decision": "decision 1", "state": "in force"}
        | {"since": AT.format(8)},
    ),
    ("announcements", _told("first", "heat", 2, 2, '{"lines":[],"qualified":[]}')),
    ("announcements", _told("second", "heat", 3, 4, '{"lines":[],"qualified":[{"team":"team"}]}')),
    ("announcements", _told("of the re-run", "run again", 1, 3, '{"lines":[]}')),
]
"""Rows as the fourth schema held them besides: decisions that announcements had told, and some that
none had told yet.
"""


def _undoing(number: int, undone: int | None, **changes: Any) -> Row:
    """The jury undoes a decision on another protest, or takes back on reopening what it undid."""
    orders = "[]" if undone is None else f'[{{"order":"undo","decision":"decision {undone}"}}]'
    did = f'[{{"did":"restored","words":"","takes_back":{"true" if undone is None else "false"}}}]'
    row = {**_decision(number, "heat"), "instance": "jury", "protest_id": "other"}
    return {**row, "appeal_id": "paid", "orders": orders, "carried_out": did, **changes}


SETTLED_ROWS: list[tuple[str, Row]] = [
    (
        "protests",
        {"id": name, **_LODGED, "number": number, "about": "placing", "ground": "protest"}
        | {"capacity": "athlete", "state": "rejected"},
    )
    for number, name in enumerate(("other", "heard"), start=2)
]
SETTLED_ROWS += [
    ("decisions", _decision(11, "heat")),
    ("decisions", {**_decision(12, "heat"), "protest_id": "heard"}),
    ("decisions", _undoing(13, 1)),
    ("decisions", _undoing(14, 11, replaced_by="decision 15")),
    ("decisions", _undoing(15, None)),
    ("decisions", _undoing(16, 12)),
    ("decisions", _undoing(17, 12, protest_id="heard")),
    ("decisions", _undoing(18, 4, replaced_by="decision 19")),
    ("decisions", _undoing(19, 4)),
]
"""Rows as the sixth schema held them besides: what the jury had undone, on which protests."""
