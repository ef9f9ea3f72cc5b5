"""The umpires' phones: after each start every post shows a flag, and some write a report."""

from __future__ import annotations

from time import perf_counter

from app.ids import new_id
from app.record.kinds import Kind
from tests.bench.messages import SEEN_AT
from tests.bench.season.meets import Post
from tests.bench.season.person import KeptPage, Person, Stage
from tests.builders import Json, a_call, a_report

LANES = range(1, 9)


class Crew:
    """All umpires of a meet, and what each has seen: lots are drawn for each lane of a heat."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._phones = [(post, stage.person(post.token)) for post in stage.meet.posts]
        self.flagged_at: dict[str, float] = {}
        """When each flag was sent."""
        self.reported_at: dict[str, float] = {}
        """When each account was."""

    def begin(self) -> None:
        """Every phone shows the meet, and keeps up with it."""
        self._stage.begin(*(self._show(person) for _post, person in self._phones))

    async def _show(self, person: Person) -> None:
        stage = self._stage
        await stage.pause(stage.chance.uniform(0, stage.season.page_looks_every))
        address = f"/api/meets/{stage.meet.id}/watch"
        every = stage.season.page_looks_every
        page = KeptPage(person, "phone, kept up", address, every, is_kept=True)
        stage.begin(page.keep())
        async for _entry in person.follow():
            page.hear()

    def judge(self, heat: str) -> None:
        """All posts show what they saw in a heat that has just been started."""
        reported = self._seen()
        self._stage.begin(
            *(self._flag(post, person, heat, reported) for post, person in self._phones)
        )

    def _seen(self) -> dict[str, int]:
        """The lane that is reported, by the post that does: one that watches that lane."""
        chance, posts = self._stage.chance, self._stage.meet.posts
        hit = [lane for lane in LANES if chance.random() < self._stage.season.reported]
        return {chance.choice([one for one in posts if lane in one.lanes]).id: lane for lane in hit}

    async def _flag(self, post: Post, person: Person, heat: str, reported: dict[str, int]) -> None:
        season, stage = self._stage.season, self._stage
        passed = season.runner_at_take_over * post.take_over
        await stage.pause(passed + stage.within(season.flag_after))
        call, lane = new_id(), reported.get(post.id)
        report = new_id()
        sent = a_call(heat, post.id)
        if lane is not None:
            sent = a_call(heat, post.id, "yellow", lane=lane, report=report)
        self.flagged_at[call] = perf_counter()
        await person.act("flag", Kind.CALL, call, f"calls/{call}", sent)
        if lane is not None:
            await stage.pause(stage.within(season.account_after))
            self.reported_at[report] = perf_counter()
            await person.act(
                *("report", Kind.REPORT_WRITTEN, report, f"reports/{report}"),
                _account(heat, post, lane, report),
            )


def _account(heat: str, post: Post, lane: int, report: str) -> Json:
    seen, words = SEEN_AT[post.edge]
    baton = {"metres": 1.2 if post.edge == "end" else -0.4, "uncertainty": 0.3}
    observation = {"seen": seen, "baton": baton}
    return a_report(heat, post.id, lane=lane, observation=observation, words=f"{words} {report}")
