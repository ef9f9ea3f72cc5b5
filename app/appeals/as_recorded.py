"""What does the record tell of a protest and of an appeal, to hold their rows against?

What was lodged stands in one entry, and stays. What changes afterwards is told by entries of its
own: times that were put right, the deposit, the panel, what the jury said, and where it stands. An
appeal that the referee referred is told by the entry of that decision.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, bindparam, select

from app.appeals.seats import without_member
from app.appeals.states import AppealState, ProtestState
from app.appeals.tables import appeals, protests
from app.appeals.wire import Verdict
from app.clock import rfc3339
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.queries import Sound, committed_on
from app.results.correction_wire import Mistyped
from app.sealing.left_rows import Columns, Drawn, Part, Row, Says, agrees

OF_PROTESTS = frozenset(
    {
        *(Kind.PROTEST_LODGED, Kind.PROTEST_DECIDED, Kind.PROTEST_WITHDRAWN),
        *(Kind.PROTEST_CORRECTED, Kind.APPEAL_DECIDED),
    }
)
OF_APPEALS = frozenset(
    {
        *(Kind.APPEAL_LODGED, Kind.PROTEST_DECIDED, Kind.PROTEST_WITHDRAWN, Kind.DEPOSIT_RECEIVED),
        *(Kind.APPEAL_ADMITTED, Kind.APPEAL_TURNED_AWAY, Kind.PANEL_NAMED, Kind.MEMBER_WITHDREW),
        *(Kind.APPEAL_DECIDED, Kind.APPEAL_WITHDRAWN, Kind.APPEAL_REOPENED, Kind.APPEAL_CORRECTED),
    }
)
_PROTEST = (
    *("number", "heat_id", "team_id", "about", "ruling_id", "against_id", "ground", "window_id"),
    *("lodged_by", "capacity", "words", "allowed_because"),
)
_APPEAL = (
    *("number", "heat_id", "protest_id", "team_id", "window_id", "lodged_by", "words", "sought"),
    *("asked", "is_referred"),
)
_OF_PROTEST = {Verdict.UPHELD: ProtestState.UPHELD, Verdict.REJECTED: ProtestState.REJECTED}
_BY_REFEREE = {**_OF_PROTEST, Verdict.REFERRED: ProtestState.REFERRED}
_BY_JURY = {Verdict.UPHELD: AppealState.UPHELD, Verdict.REJECTED: AppealState.REJECTED}


def _verdict(one: Sound) -> str | None:
    """What a decision's entry says was decided; those of before were the statement itself."""
    body = one.body or {}
    verdict = body.get("statement", body).get("verdict")
    return None if verdict is None else str(verdict)


def _lodged(one: Sound, body: Mapping[str, Any], names: tuple[str, ...]) -> Says:
    told = {name: body[name] for name in names if name in body}
    return {**told, "entered_at": one.at, "official_id": one.by}


def _says(row: Row, names: tuple[str, ...]) -> Says:
    """What a row says of how it was lodged."""
    said = {name: row[name] for name in names}
    return {**said, "entered_at": rfc3339(row["entered_at"]), "official_id": row["official_id"]}


@dataclass(slots=True)
class _Lodged:
    """What entries say of things that were lodged."""

    names: tuple[str, ...]
    changing: tuple[str, ...]
    word: str
    told: dict[str, Says] = field(default_factory=dict)
    gone: dict[str, list[Sound]] = field(default_factory=dict)
    columns: Columns = field(default_factory=Columns)
    found: set[str] = field(default_factory=set)

    def parts(self, row: Row) -> Iterator[Part]:
        """What a row says of how it was lodged, and each column that changes."""
        ident, says = row["id"], _says(row, self.names)
        self.found.add(ident)
        is_told = ident in self.told and agrees(says, self.told[ident])
        yield Part(ident, says, is_told, self.gone.get(ident, ()))
        changing = {name: row[name] for name in self.changing}
        yield from self.columns.parts(ident, {**changing, "lodged_at": rfc3339(row["lodged_at"])})

    def missing(self) -> Iterator[str]:
        """What was lodged and is not there."""
        known = self.told.keys() | self.gone.keys()
        yield from (f"the {self.word} {one}" for one in sorted(known - self.found))

    def lodge(self, one: Sound, **first: Any) -> None:
        """What was lodged, and what its columns held then."""
        ident, body = one.subject, one.body or {}
        if one.body is None:
            self.gone.setdefault(ident, []).append(one)
        else:
            self.told[ident] = _lodged(one, body, self.names)
        self.columns.put(ident, "lodged_at", body.get("lodged_at"), one)
        for name, value in first.items():
            self.columns.put(ident, name, value)

    def correct(self, one: Sound, about: Mistyped) -> None:
        """A time that was put right; of a correction without a body nobody knows what it was."""
        if one.body is None:
            self.columns.change(one.subject, "lodged_at", lambda was: was, one)
        elif one.body.get("about") == about.value:
            self.columns.put(one.subject, "lodged_at", one.body["becomes"])


class ProtestsTold(_Lodged):
    """What the entries of a record say of protests."""

    def __init__(self) -> None:
        super().__init__(_PROTEST, ("state", "withdrawn"), "protest")
        self._referred: dict[str, str] = {}

    def add(self, one: Sound) -> None:
        """What one more entry says."""
        match one.kind:
            case Kind.PROTEST_LODGED:
                self.lodge(one, state=ProtestState.LODGED.value, withdrawn=None)
            case Kind.PROTEST_DECIDED:
                self._decide(one, one.subject, _BY_REFEREE)
                self._referred[str((one.body or {}).get("appeal"))] = one.subject
            case Kind.PROTEST_WITHDRAWN:
                self.columns.put(one.subject, "state", ProtestState.WITHDRAWN.value)
                self.columns.put(one.subject, "withdrawn", one.body, one)
            case Kind.PROTEST_CORRECTED:
                self.correct(one, Mistyped.PROTEST)
            case _:
                self._decide_by_jury(one)

    def _decide_by_jury(self, one: Sound) -> None:
        """A decision on an appeal that was referred decides the protest."""
        if one.subject in self._referred:
            self._decide(one, self._referred[one.subject], _OF_PROTEST)

    def _decide(self, one: Sound, protest: str, states: Mapping[Verdict, ProtestState]) -> None:
        verdict = _verdict(one)
        state = states[Verdict(verdict)].value if verdict is not None else None
        self.columns.put(protest, "state", state, one)


class AppealsTold(_Lodged):
    """What the entries of a record say of appeals."""

    def __init__(self) -> None:
        changing = ("admitted", "deposit", "panel", "reopened", "sitting", "state", "withdrawn")
        super().__init__(_APPEAL, changing, "appeal")
        self._referred: dict[str, list[str]] = {}

    def add(self, one: Sound) -> None:
        """What one more entry says."""
        match one.kind:
            case Kind.APPEAL_LODGED:
                self.lodge(one, **_AT_FIRST)
                self.columns.put(one.subject, "deposit", (one.body or {}).get("deposit"), one)
            case Kind.PROTEST_DECIDED:
                self._refer(one)
            case Kind.PROTEST_WITHDRAWN:
                for appeal in self._referred.get(one.subject, ()):
                    self._withdraw(one, appeal)
            case Kind.APPEAL_WITHDRAWN:
                self._withdraw(one, one.subject)
                self._settle_deposit(one.subject, "returned")
            case Kind.DEPOSIT_RECEIVED:
                self.columns.put(one.subject, "deposit", one.body, one)
            case Kind.APPEAL_CORRECTED:
                self._correct(one)
            case _:
                self._hear(one)

    def _hear(self, one: Sound) -> None:
        match one.kind:
            case Kind.PANEL_NAMED:
                self.columns.put(one.subject, "panel", one.body, one)
            case Kind.MEMBER_WITHDREW:
                self.columns.change(one.subject, "panel", lambda was: _without(was, one), one)
            case Kind.APPEAL_ADMITTED | Kind.APPEAL_TURNED_AWAY:
                self._admit(one)
            case Kind.APPEAL_DECIDED:
                self._decide(one)
            case _:
                said = _said(one, ("evidence", "allowed_by", "reasons", "decision"))
                self.columns.put(one.subject, "reopened", said, one)
                self.columns.put(one.subject, "state", AppealState.LODGED.value)
                self.columns.change(one.subject, "sitting", lambda was: was + 1)

    def _refer(self, one: Sound) -> None:
        """What the referee passes on lies before the jury like an appeal."""
        appeal = (one.body or {}).get("appeal")
        if appeal is None:
            return
        referred = {"protest_id": one.subject, "is_referred": 1, "sought": [], "asked": {}}
        self.told[appeal] = {**referred, "entered_at": one.at, "official_id": one.by}
        self._referred.setdefault(one.subject, []).append(appeal)
        for name, value in {**_AT_FIRST, "deposit": None, "lodged_at": one.at}.items():
            self.columns.put(appeal, name, value)

    def _withdraw(self, one: Sound, appeal: str) -> None:
        self.columns.put(appeal, "state", AppealState.WITHDRAWN.value)
        self.columns.put(appeal, "withdrawn", one.body, one)

    def _admit(self, one: Sound) -> None:
        """One that was turned away unheard is rejected; admitted after all, it is open again."""
        appeal, is_admitted = one.subject, one.kind == Kind.APPEAL_ADMITTED
        self.columns.put(appeal, "admitted", _said(one, ("admit", "reasons")), one)
        if not is_admitted:
            self.columns.put(appeal, "state", AppealState.REJECTED.value)
            self._settle_deposit(appeal, "returned")
            return
        was = self.columns.values.get((appeal, "state"))
        if was is not None and was.told == AppealState.REJECTED:
            self.columns.put(appeal, "state", AppealState.LODGED.value)
            self._settle_deposit(appeal, "held")

    def _decide(self, one: Sound) -> None:
        verdict = _verdict(one)
        state = _BY_JURY[Verdict(verdict)].value if verdict is not None else None
        self.columns.put(one.subject, "state", state, one)
        body = one.body or {}
        said = body.get("statement", body).get("deposit")
        self._settle_deposit(one.subject, said, one)

    def _settle_deposit(self, appeal: str, outcome: str | None, by: Sound | None = None) -> None:
        def then(was: Any) -> Any:
            return was and {**was, "outcome": outcome}

        self.columns.change(appeal, "deposit", then, by)

    def _correct(self, one: Sound) -> None:
        body = one.body or {}
        about, becomes = str(body.get("about")), body.get("becomes")
        self.correct(one, Mistyped.APPEAL)
        name = _OF_DEPOSIT.get(about)
        if one.body is None or name is not None:
            put = {} if name is None else {name: becomes}
            self.columns.change(one.subject, "deposit", lambda was: was and {**was, **put}, one)


_PROTEST_ROW = select(protests).where(
    protests.c.meet_id == bindparam("meet"), protests.c.id == bindparam("protest")
)
_APPEALS = select(appeals).where(
    appeals.c.meet_id == bindparam("meet"), appeals.c.protest_id == bindparam("protest")
)
_OF_DEPOSIT = {Mistyped.DEPOSIT.value: "received_at", Mistyped.RECEIPT.value: "receipt"}
_AT_FIRST: Says = {
    "admitted": None,
    "panel": None,
    "reopened": None,
    "sitting": 1,
    "state": AppealState.LODGED.value,
    "withdrawn": None,
}


def _said(one: Sound, names: tuple[str, ...]) -> Says:
    """What the jury said of an appeal, beside the signature of it."""
    body = one.body or {}
    return {name: body[name] for name in (*names, "by", "by_name", "at") if name in body}


def _without(panel: Mapping[str, Any], one: Sound) -> Mapping[str, Any]:
    """A panel after a member withdrew."""
    body = one.body or {}
    why = {name: body[name] for name in ("reasons", "replaced_by") if name in body}
    gone = {"official": body["member"], "by": one.by, "at": one.at, **why}
    left = without_member(panel, body["member"], body.get("replaced_by"))
    return {**left, "withdrawn": [*panel["withdrawn"], gone]}


def drawn_from_protest(conn: Connection, meet: MeetId, protest: str) -> list[Drawn]:
    """The rows of a protest and of its appeals, and the entries that tell of them."""
    asked = {"meet": meet, "protest": protest}
    lodged = [dict(row) for row in conn.execute(_APPEALS, asked).mappings()]
    entries = committed_on(conn, meet, protest)
    for appeal in lodged:
        entries += committed_on(conn, meet, appeal["id"])
    told = [one for one in entries if one.kind in OF_PROTESTS]
    row = dict(conn.execute(_PROTEST_ROW, asked).mappings().one())
    of_appeals = [one for one in entries if one.kind in OF_APPEALS]
    return [
        Drawn(row, ProtestsTold(), told),
        *(Drawn(appeal, AppealsTold(), of_appeals) for appeal in lodged),
    ]
