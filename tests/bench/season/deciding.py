"""Those who decide: the head official with a tablet, and the jury."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from time import perf_counter

from app.ids import new_id
from app.record.kinds import Kind
from tests.bench.season.crew import Crew
from tests.bench.season.ledger import FLAG_HEARD, FLAG_SEEN, REPORT_RULED
from tests.bench.season.lines import Answer, NoAnswer
from tests.bench.season.person import KeptPage, Stage
from tests.builders import Json

CONFIRMED = 2 / 3


class HeadOfficial:
    """Starts the heats, follows the feed, and rules on one case after the other."""

    def __init__(self, stage: Stage, crew: Crew) -> None:
        self._stage, self._crew = stage, crew
        self._person = stage.person(stage.meet.referee)
        address, every = f"/meets/{stage.meet.id}/head", stage.season.page_looks_every
        self._page = KeptPage(self._person, "head official's page", address, every)
        self._to_do: asyncio.Queue[tuple[Kind, str, float]] = asyncio.Queue()

    def begin(self) -> None:
        """Everything that happens at this place, until the time is up."""
        self._stage.begin(self._page.keep(), self._hear(), self._decide())

    async def start(self, heat: str) -> None:
        """The heat runs."""
        seen = await self._person.read("heat", f"heats/{heat}")
        await self._person.act(
            *("start", Kind.HEAT_STARTED, heat, f"heats/{heat}/start", None, seen.etag),
            method="POST",
        )

    async def _hear(self) -> None:
        async for entry in self._person.follow():
            now, kind, subject = perf_counter(), Kind(entry["kind"]), entry["subject"]
            self._page.hear()
            if kind is Kind.CALL:
                self._stage.account.flags_heard[subject] += 1
                sent_at = self._crew.flagged_at[subject]
                self._stage.ledger.spans[FLAG_HEARD].append(now - sent_at)
                self._page.time(FLAG_SEEN, sent_at)
            elif kind in {Kind.REPORT_WRITTEN, Kind.PROTEST_LODGED}:
                self._to_do.put_nowait((kind, subject, now))

    async def _decide(self) -> None:
        """One after the other, in the order in which they came."""
        while True:
            kind, subject, heard_at = await self._to_do.get()
            with suppress(NoAnswer):  # it was counted where it happened
                if kind is Kind.PROTEST_LODGED:
                    await self._reject(subject)
                else:
                    await self._rule_on_report(subject, heard_at)

    async def _rule_on_report(self, report: str, heard_at: float) -> None:
        """Open the docket and the case, think, and rule on the case as it is shown by then."""
        taken_at = perf_counter()
        docket = (await self._person.read("docket", "docket")).document
        case = await self._case_of(report, docket)
        if case is None:
            return  # ruled on already, with another report about the same team
        thinks = self._stage.within(self._stage.season.referee_thinks)
        thinks_from = perf_counter()
        await self._stage.pause(thinks)
        thought = perf_counter() - thinks_from
        ruled = await self._rule(case)
        while not ruled.is_good:
            if ruled.status != 412:
                return
            ruled = await self._rule(case)
        waited = taken_at - heard_at + thought
        took = ruled.came_at - self._crew.reported_at[report]
        self._stage.ledger.spans[REPORT_RULED].append(took - waited)
        self._stage.ledger.thought[REPORT_RULED].append(waited)
        told = ruled.document | {"came_at": ruled.came_at}
        self._stage.ruled.setdefault(told["heat"], []).append(told)
        await self._person.look(
            "ruling's form", f"/api/meets/{self._stage.meet.id}/rulings/{told['id']}/form.pdf"
        )

    async def _case_of(self, report: str, docket: Json) -> str | None:
        for line in docket["cases"]:
            case = (await self._person.read("case", f"cases/{line['id']}")).document
            if report in [one["id"] for one in case["reports"]]:
                return str(line["id"])
        return None

    async def _rule(self, case: str) -> Answer:
        seen = await self._person.read("case", f"cases/{case}")
        verdict = "confirmed" if self._stage.chance.random() < CONFIRMED else "dismissed"
        sent = {"verdict": verdict, "reasons": "Seen clearly by the umpire."}
        ruling = new_id()
        path = f"cases/{case}/rulings/{ruling}"
        return await self._person.sign("ruling", Kind.RULING, ruling, path, sent, seen.etag)

    async def _reject(self, protest: str) -> None:
        """The referee stays with what was ruled: the jury will have to decide."""
        await self._stage.pause(self._stage.within(self._stage.season.referee_thinks))
        seen = await self._person.read("protest", f"protests/{protest}")
        sent = {"verdict": "rejected", "reasons": "Two umpires saw the same."}
        path = f"protests/{protest}/decision"
        await self._person.sign(
            "decision of the referee", Kind.PROTEST_DECIDED, protest, path, sent, seen.etag
        )


class Jury:
    """A panel of three, that hears each appeal."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._members = [(ident, stage.person(token)) for ident, token in stage.meet.jury]
        self._appeals: asyncio.Queue[str] = asyncio.Queue()

    def begin(self) -> None:
        """Whatever is lodged is decided, one appeal after the other."""
        self._stage.begin(self._hear(), self._decide())

    async def _hear(self) -> None:
        async for entry in self._members[0][1].follow():
            if entry["kind"] == Kind.APPEAL_LODGED:
                self._appeals.put_nowait(entry["subject"])

    async def _decide(self) -> None:
        while True:
            appeal = await self._appeals.get()
            with suppress(NoAnswer):
                await self._sit(appeal)

    async def _sit(self, appeal: str) -> None:
        (chair_id, chair), *others = self._members
        address, stage = f"appeals/{appeal}", self._stage
        seen = await chair.read("appeal", address)
        members = [ident for ident, _person in others]
        panel = {"chair": chair_id, "members": members, "secretary": "Noor Quill"}
        await chair.act("panel", Kind.PANEL_NAMED, appeal, f"{address}/panel", panel, seen.etag)
        dossier = (await chair.read("dossier", f"{address}/dossier")).document
        orders = await self._orders(dossier)
        verdict = "upheld" if orders else "rejected"
        await stage.pause(stage.within(stage.season.jury_thinks))
        for _ident, person in self._members:
            vote = new_id()
            path = f"{address}/votes/{vote}"
            await person.sign("vote", Kind.VOTE_CAST, vote, path, {"vote": verdict}, None)
        seen = await chair.read("appeal", address)
        sent: Json = {"verdict": verdict, "reasons": "The video settles it."}
        sent |= {"orders": orders} if orders else {}
        await chair.sign(
            "decision of the jury",
            *(Kind.APPEAL_DECIDED, appeal, f"{address}/decision", sent, seen.etag),
        )

    async def _orders(self, dossier: Json) -> list[Json]:
        """What a protest about a disqualification asks for, by the toss of a coin."""
        ruling = dossier["protest"]["ruling"]
        if ruling is None or self._stage.chance.random() < 0.5:
            return []
        told = (await self._members[0][1].read("ruling, read", f"rulings/{ruling}")).document
        return [{"order": "set aside", "disqualification": told["disqualification"]}]
