"""Everybody who works at a desk: head officials, results desk, jury, and the teams that come there.

Each act has an id of its own and is sent until an answer comes, whatever became of it meanwhile. A
refusal is no fault, most are what the rules want; what it must not do is leave something behind.
"""

from __future__ import annotations

import asyncio
import random
from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from app.clock import rfc3339
from app.ids import new_id
from tests.builders import PIN, Json, a_ruling
from tests.simulation.network import Line
from tests.simulation.phones import Witness
from tests.simulation.server import Answer, Request, a_request
from tests.simulation.virtual import VirtualClock

SEND_AGAIN_AFTER = 3.0
TICK = timedelta(microseconds=1)
DESPITE = "The programme goes on."


@dataclass(eq=False)
class Desk:
    """An official before a screen, and what has been said to whom: `told` counts it."""

    meet: str
    official: str
    token: str
    line: Line
    clock: VirtualClock
    chance: random.Random
    told: Counter[str]
    witness: Witness

    async def ask(
        self, method: str, path: str, document: object = None, etag: str | None = None
    ) -> Answer:
        """Ask till an answer comes."""
        return await self.insist(self._asked(method, path, document, etag))

    def _asked(self, method: str, path: str, document: object, etag: str | None) -> Request:
        return a_request(method, f"/api/meets/{self.meet}/{path}", self.token, document, etag)

    async def insist(self, request: Request) -> Answer:
        """The same is sent each time, under the same id."""
        while True:
            answer = await self.line.ask(request)
            if answer is not None and answer.status != 503:
                break
            await asyncio.sleep(SEND_AGAIN_AFTER)
        assert answer.status < 500, (request, answer.status, answer.content)
        return answer

    async def act(
        self, kind: str, path: str, document: Json, etag: str | None = None, ident: str = ""
    ) -> Answer:
        """Put something, under an id of its own where it has one.

        Where it was refused, a copy that comes later may still be taken: that is looked at only
        where there is none, or where the refusal says that the id is taken, which it is by itself.
        """
        request = self._asked("PUT", path, document, etag)
        answer = await self.insist(request)
        slug = "" if answer.is_good else f" {answer.document['type'].rsplit('/', 1)[1]}"
        self.told[f"{kind}: {answer.status}{slug}"] += 1
        is_told_for_good = answer.is_good or self.line.copies[request] == 1 or "id-taken" in slug
        if ident and is_told_for_good:
            self.witness.hear(kind, ident, answer)
        return answer

    async def read(self, path: str) -> Any:
        return (await self.ask("GET", path)).document

    async def pause(self, mean: float) -> None:
        await asyncio.sleep(self.chance.expovariate(1 / mean))


async def start_heat(referee: Desk, heat: str) -> None:
    """The heat runs, also where the answer that said so was lost."""
    state = "to come"
    while state == "to come":
        seen = await referee.ask("GET", f"heats/{heat}")
        state = seen.document["state"]
        if state == "to come":
            answer = await referee.ask("POST", f"heats/{heat}/start", etag=seen.etag)
            referee.told[f"start: {answer.status}"] += 1


async def rule_on_what_comes(referee: Desk) -> None:
    """A head official looks at the docket, takes a case from it, and decides."""
    while True:
        await referee.pause(120)
        docket = await referee.read("docket")
        if docket["cases"]:
            case = referee.chance.choice(docket["cases"])["id"]
            seen = await referee.ask("GET", f"cases/{case}")
            await referee.pause(40)
            await _rule(referee, seen)
        if docket["protests"]:
            await _decide(referee, referee.chance.choice(docket["protests"])["protest"])


async def _rule(referee: Desk, seen: Answer) -> None:
    case, ruling = seen.document["id"], new_id()
    written = [one for one in seen.document["reports"] if one["state"] == "written"]
    if written and referee.chance.random() < 0.2:
        await _ask_back(referee, referee.chance.choice(written))
        return
    verdict = referee.chance.choice(("confirmed", "confirmed", "dismissed"))
    sent = a_ruling(verdict=verdict)
    if verdict == "confirmed":
        sent["infringement"] = "pass_completed_beyond_zone"
    ruled = await referee.act("ruling", f"cases/{case}/rulings/{ruling}", sent, seen.etag, ruling)
    if ruled.is_good:
        referee.witness.insist_ruled_as_seen(case, seen.document["reports"])


async def _ask_back(referee: Desk, report: Json) -> None:
    address, why = f"reports/{report['id']}/return", {"reason": "How far beyond the line?"}
    answer = await referee.ask("POST", address, why, f'"v{report["version"]}"')
    referee.told[f"return: {answer.status}"] += 1


async def _decide(referee: Desk, protest: str) -> None:
    seen = await referee.ask("GET", f"protests/{protest}")
    found = seen.document
    sent: Json = {"verdict": "rejected", "reasons": "Seen by two umpires.", "pin": PIN}
    if found["marks"] == [] and referee.chance.random() < 0.5:
        sent |= {"verdict": "upheld", **await _orders(referee, found["ruling"])}
    decided = await referee.act(
        "decision on a protest", f"protests/{protest}/decision", sent, seen.etag
    )
    if decided.is_good and sent["verdict"] == "rejected":
        await referee.act("advice", f"protests/{protest}/advice", {})


async def _orders(desk: Desk, ruling: str | None) -> Json:
    """What upholding means: a disqualification is set aside, or something was found done."""
    if ruling is not None:
        found = await desk.read(f"rulings/{ruling}")
        if found["disqualification"] is not None:
            aside = {"order": "set aside", "disqualification": found["disqualification"]}
            return {"orders": [aside]}
    return {"done_already": "The desk has put it right."}


async def work_at_results(desk: Desk, heats: list[Json]) -> None:
    """Finish lists come in and are announced, and announced anew when something was decided."""
    for heat in heats:
        await desk.pause(60)
        rows = [f"{one['lane']},{42 + one['lane'] / 10:.2f}" for one in heat["lanes"]]
        content = "\n".join(["lane,time", *rows])
        loaded = await desk.ask("PUT", f"heats/{heat['id']}/result", content)
        desk.told[f"list: {loaded.status}"] += 1
    announced: dict[str, list[Json]] = {}
    while True:
        for heat in heats:
            await desk.pause(200)
            await _announce(desk, heat["id"], announced)


async def _announce(desk: Desk, heat: str, announced: dict[str, list[Json]]) -> None:
    """Where there is news, or by mistake without any."""
    seen = await desk.ask("GET", f"heats/{heat}/result")
    if not seen.is_good:
        return
    result, told = seen.document, new_id()
    is_odd = bool(result["in_the_way"]) or announced.get(heat) == result["lines"]
    if is_odd and desk.chance.random() < 0.7:
        return
    await desk.pause(45)
    sent: Json = {"heat": heat, "pin": PIN}
    if result["in_the_way"] and desk.chance.random() < 0.9:
        sent["despite"] = DESPITE
    if result["announced"] is not None and desk.chance.random() < 0.1:
        sent["remark"] = "Read aloud once more."
    answer = await desk.act("announcement", f"announcements/{told}", sent, seen.etag, told)
    if answer.is_good:
        announced[heat] = result["lines"]
        desk.witness.insist_announced_as_seen(told, result["lines"])


async def come_with_protests(desk: Desk, heats: list[Json]) -> None:
    """Teams hand in protests and appeals: soon, late, or in the very last microsecond."""
    lodged: list[str] = []
    while True:
        await desk.pause(400)
        windows = (await desk.read("windows.json"))["windows"]
        if lodged and desk.chance.random() < 0.5:
            await _appeal(desk, await desk.read(f"protests/{desk.chance.choice(lodged)}"), windows)
        of_protests = [one for one in windows if one["remedy"] == "protest"]
        if of_protests:
            lodged += await _protest(desk, heats, desk.chance.choice(of_protests))


async def _protest(desk: Desk, heats: list[Json], window: Json) -> list[str]:
    heat = next(one for one in heats if one["id"] == window["heat"])
    lane = desk.chance.choice(heat["lanes"])
    sent = {"heat": heat["id"], "team": lane["team"], "about": "placing", "words": "We were third."}
    standing = (await desk.read(f"heats/{heat['id']}/rulings"))["rulings"]
    of_ours = [one for one in standing if one["verdict"] == "confirmed" and one["team"]]
    if of_ours and desk.chance.random() < 0.7:
        ruling = desk.chance.choice(of_ours)
        sent |= {"about": "ruling", "ruling": ruling["id"], "team": ruling["team"]}
    sent |= {"lodged_by": "Mira Anchor", **await _when(desk, window["closes_at"])}
    ident = new_id()
    answer = await desk.act("protest", f"protests/{ident}", sent, ident=ident)
    return [ident] if answer.is_good else []


async def _appeal(desk: Desk, protest: Json, windows: list[Json]) -> None:
    if protest["state"] != "rejected":
        return
    of_appeals = [
        one for one in windows if one["remedy"] == "appeal" and one["heat"] == protest["heat"]
    ]
    ident, receipt = new_id(), f"R-{new_id()}"
    sent = {
        "protest": protest["id"],
        "team": protest["team"],
        "lodged_by": "Mira Anchor",
        "words": "The video was not looked at.",
        "deposit": {"amount": 100, "currency": "USD", "receipt": receipt},
    }
    if of_appeals:
        sent |= await _when(desk, of_appeals[-1]["closes_at"])
    await desk.act("appeal", f"appeals/{ident}", sent, ident=ident)


async def _when(desk: Desk, closes_at: str | None) -> Json:
    """When it is handed in: now, or at the edge of its window, and typed in a little later."""
    if closes_at is None or desk.chance.random() < 0.5:
        return {}
    closes = datetime.fromisoformat(closes_at)
    edge = closes + desk.chance.choice((-1, 0, 1)) * TICK
    if edge > desk.clock.now():
        await asyncio.sleep(desk.clock.seconds_until(edge) + 1)
    return {"lodged_at": rfc3339(edge)}


async def sit_on_appeals(members: list[Desk]) -> None:
    """The jury: a panel is named, votes, and its chair signs what was voted."""
    chair = members[0]
    done: set[str] = set()
    while True:
        await chair.pause(500)
        for one in (await chair.read("appeals"))["appeals"]:
            if one["state"] == "admitted" and one["id"] not in done:
                done.add(one["id"])
                await _hear(chair, members, one)


async def _hear(chair: Desk, members: list[Desk], appeal: Json) -> None:
    address, verdict = f"appeals/{appeal['id']}", chair.chance.choice(("upheld", "rejected"))
    seen = await chair.ask("GET", address)
    panel = {
        "chair": chair.official,
        "members": [one.official for one in members[1:]],
        "secretary": "Noor Quill",
    }
    await chair.act("panel", f"{address}/panel", panel, seen.etag)
    for member in members:
        await member.pause(20)
        vote = new_id()
        sent = {"vote": verdict, "pin": PIN}
        await member.act("vote", f"{address}/votes/{vote}", sent)
    seen = await chair.ask("GET", address)
    sent = {"verdict": verdict, "reasons": "The video settles it.", "pin": PIN}
    if verdict == "upheld":
        protest = await chair.read(f"protests/{appeal['protest']}")
        sent |= await _orders(chair, protest["ruling"])
    await chair.act("decision of the jury", f"{address}/decision", sent, seen.etag)
