"""The results desk: loads the finish list, announces when nothing is in the way, takes in protests,
and announces anew what the jury has changed.
"""

from __future__ import annotations

import asyncio
from contextlib import suppress
from time import perf_counter

from app.ids import new_id
from app.record.kinds import Kind
from tests.bench.season.ledger import RULING_ANNOUNCED
from tests.bench.season.lines import NoAnswer
from tests.bench.season.person import KeptPage, Stage
from tests.builders import Json

SHOWS = frozenset({Kind.CALL, Kind.RULING, Kind.RESULT_LOADED, Kind.APPEAL_DECIDED})
"""After one of these something may have gone out of the way."""


class Desk:
    """Two at one desk: one for results, one for whoever comes with a protest."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._person = stage.person(stage.meet.desk)
        address, every = f"/meets/{stage.meet.id}/desk", stage.season.page_looks_every
        self._page = KeptPage(self._person, "desk's page", address, every)
        self._to_announce: dict[str, float] = {}
        """Heats whose list is loaded, and since when."""
        self._news = asyncio.Event()
        self._protests: asyncio.Queue[tuple[Kind, str]] = asyncio.Queue()

    def begin(self) -> None:
        """Everything that happens at this place, until the time is up."""
        self._stage.begin(
            *(self._page.keep(), self._hear(), self._announce_all(), self._go_on_with_protests())
        )

    async def load_list(self, heat: Json) -> None:
        """The photo finish has the times."""
        await self._stage.pause(self._stage.within(self._stage.season.finish_list_after))
        times = self._stage.chance.sample(range(4200, 4900), len(heat["lanes"]))
        rows = [
            f"{one['lane']},{time / 100:.2f}"
            for one, time in zip(heat["lanes"], sorted(times), strict=True)
        ]
        content = "\n".join(["lane,time", *rows])
        path = f"heats/{heat['id']}/result"
        loaded = await self._person.act(
            "finish list", Kind.RESULT_LOADED, heat["id"], path, content
        )
        self._to_announce[heat["id"]] = loaded.came_at
        self._news.set()

    async def _hear(self) -> None:
        async for entry in self._person.follow():
            self._page.hear()
            kind = Kind(entry["kind"])
            if kind in {Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED}:
                self._protests.put_nowait((kind, entry["subject"]))
            if kind in SHOWS:
                self._news.set()

    async def _announce_all(self) -> None:
        """At each piece of news look at those heats that wait, and announce what is ready."""
        while True:
            await self._news.wait()
            self._news.clear()
            for heat in list(self._to_announce):
                with suppress(NoAnswer):  # it was counted where it happened
                    await self._announce(heat)

    async def _announce(self, heat: str) -> None:
        seen = await self._person.read("result", f"heats/{heat}/result")
        if seen.document["in_the_way"]:
            return
        thinks_from = perf_counter()
        await self._stage.pause(self._stage.within(self._stage.season.desk_thinks))
        thought = perf_counter() - thinks_from
        seen = await self._person.read("result", f"heats/{heat}/result")
        if seen.document["in_the_way"]:
            return
        ident, path = new_id(), "announcements"
        told = await self._person.sign(
            *("announcement", Kind.ANNOUNCEMENT, ident, f"{path}/{ident}", {"heat": heat}),
            seen.etag,
        )
        if not told.is_good:
            self._news.set()
            return
        listed_at = self._to_announce.pop(heat)
        if rulings := self._stage.ruled.get(heat):
            since = max(listed_at, *(one["came_at"] for one in rulings))
            self._stage.ledger.spans[RULING_ANNOUNCED].append(told.came_at - since - thought)
            self._stage.ledger.thought[RULING_ANNOUNCED].append(thought)
        await self._person.look(
            "announcement's sheet", f"/api/meets/{self._stage.meet.id}/{path}/{ident}.pdf"
        )
        is_first = seen.document["announced"] is None
        if is_first and self._stage.chance.random() < self._stage.season.protested:
            self._stage.begin(self._take_in_protest(heat))

    async def _take_in_protest(self, heat: str) -> None:
        """About a disqualification where there was one, else about the placing."""
        await self._stage.pause(self._stage.within(self._stage.season.protest_after))
        protest = new_id()
        sent: Json = {
            "heat": heat,
            "lodged_by": "Mira Anchor",
            "words": f"Our video shows {protest}.",
        }
        out = [one for one in self._stage.ruled.get(heat, ()) if one["disqualification"]]
        if out:
            sent |= {"about": "ruling", "ruling": out[0]["id"], "team": out[0]["team"]}
        else:
            lanes = next(one["lanes"] for one in self._stage.meet.heats if one["id"] == heat)
            sent |= {"about": "placing", "team": self._stage.chance.choice(lanes)["team"]}
        path = f"protests/{protest}"
        await self._person.act("protest, taken in", Kind.PROTEST_LODGED, protest, path, sent)

    async def _go_on_with_protests(self) -> None:
        """Tell those who protested, take in their appeal, announce what the jury has changed."""
        while True:
            kind, subject = await self._protests.get()
            with suppress(NoAnswer):
                if kind is Kind.PROTEST_DECIDED:
                    await self._tell_and_take_in_appeal(subject)
                else:
                    await self._note_what_changed(subject)

    async def _note_what_changed(self, appeal: str) -> None:
        told = (await self._person.read("appeal", f"appeals/{appeal}")).document
        if told["state"] == "upheld":
            self._to_announce[told["heat"]] = perf_counter()
            self._news.set()

    async def _tell_and_take_in_appeal(self, protest: str) -> None:
        path = f"protests/{protest}/advice"
        await self._person.act("advice", Kind.ADVICE_GIVEN, protest, path, {})
        known = (await self._person.read("protest", f"protests/{protest}")).document
        appeal = new_id()
        sent = {
            "protest": protest,
            "team": known["team"],
            "lodged_by": "Mira Anchor",
            "words": "The video was not looked at.",
            "deposit": {"amount": 100, "currency": "USD", "receipt": f"R-{appeal}"},
        }
        await self._person.act(
            "appeal, taken in", Kind.APPEAL_LODGED, appeal, f"appeals/{appeal}", sent
        )
