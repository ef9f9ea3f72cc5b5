"""Builders: an event with its rounds, its heats run and announced, and how it stands then."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from typing import TypeVar

import httpx

from app.ids import DecisionId, EventId, HeatId, MeetId, TeamId, new_id
from app.meets.queries import heat as read_heat
from app.meets.wire import HeatOut
from app.rounds.standing import RoundAtHand, round_at_hand
from app.store.action import Actor, Done, Unit
from tests.builders import PIN, Json, MeetAtHand, all_heats

DESPITE = "No telephone at the zones."
FIRST_LANE = 3
Found = TypeVar("Found")
_numbers = count(1)


@dataclass
class Event:
    """An event of the meet at hand; heats are named as "heats 1", "final 1"."""

    meet: MeetAtHand
    name: str
    round: str = field(default_factory=new_id)
    heats: dict[str, Json] = field(default_factory=dict)

    @property
    def id(self) -> str:
        return str(next(iter(self.heats.values()))["event"])

    def heat(self, name: str = "heats 1") -> str:
        return str(self.heats[name]["id"])

    def team(self, name: str) -> TeamId:
        """The id of a team of this event."""
        lanes = [lane for heat in self.heats.values() for lane in heat["lanes"]]
        return TeamId(next(lane["team"] for lane in lanes if lane["name"] == name))

    def lane(self, name: str, heat: str = "heats 1") -> int:
        return int(next(one["lane"] for one in self.heats[heat]["lanes"] if one["name"] == name))

    def draw(self, heats: Mapping[str, Sequence[str]], affiliations: str = "Club") -> None:
        """Load start lists: the teams of each heat in their lanes, from lane 3."""
        rows = ["event,round,heat,lane,team,affiliation,bib,leg1"]
        for name, teams in heats.items():
            stage, number = name.rsplit(" ", 1)
            rows += [
                f"{self.name},{stage},{number},{lane},{team},{team} {affiliations},{lane},First"
                for lane, team in enumerate(teams, start=FIRST_LANE)
            ]
        loaded = self.meet.organiser.post("start-lists", content="\n".join(rows))
        assert loaded.status_code == 200, loaded.text
        self.read_again()

    def read_again(self) -> None:
        """Read the event's heats as they are now."""
        own = [heat for heat in all_heats(self.meet) if heat["event_name"] == self.name]
        self.heats = {f"{heat['round']} {heat['number']}": heat for heat in own}

    def setting(self, **changes: object) -> Json:
        """Two heats lead to a final: the first of each, and two by time."""
        return {
            "event": self.id,
            "round": "heats",
            "next_round": "final",
            "by_place": 1,
            "by_time": 2,
            "lanes": 4,
            **changes,
        }

    def set(self, **changes: object) -> Json:
        """Set who goes on from the heats."""
        sent = self.setting(**changes)
        put = self.meet.organiser.put(f"rounds/{changes.pop('id', self.round)}", sent)
        assert put.status_code == 201, put.text
        return dict(put.json())

    def load(self, heat: str, *times: str) -> None:
        """The heat's finish list, in the order of lanes; loaded again where one is there."""
        lanes = [lane["lane"] for lane in self.heats[heat]["lanes"]]
        rows = [f"{lane},{time}" for lane, time in zip(lanes, times, strict=True)]
        address = f"heats/{self.heat(heat)}/result"
        seen = self.meet.desk.get(address).headers.get("ETag")
        sent = "\n".join(["lane,time", *rows])
        put = self.meet.desk.put(address, content=sent, etag=seen)
        assert put.is_success, put.text

    def announce(self, heat: str, **changes: object) -> httpx.Response:
        return self.hand(heat).announce(0, **{"despite": DESPITE, **changes})

    def run(self, heat: str, *times: str) -> Json:
        """The heat's list is loaded and its result announced."""
        self.load(heat, *times)
        told = self.announce(heat)
        assert told.status_code == 201, told.text
        return dict(told.json())

    def disqualify(self, name: str, heat: str = "heats 1") -> None:
        """A team is reported and the referee confirms."""
        hand = self.hand(heat)
        ruled = hand.rule(hand.report(lane=self.lane(name, heat))["case"])
        assert ruled.status_code == 201, ruled.text

    def start(self, heat: str) -> None:
        self.hand(heat).start()

    def result(self, heat: str = "heats 1") -> Json:
        """The heat's result as the desk sees it."""
        return dict(self.meet.desk.get(f"heats/{self.heat(heat)}/result").json())

    def letters(self, heat: str = "heats 1") -> dict[str, str | None]:
        """The letters on a heat's result, by team."""
        return {line["team_name"]: line["qualification"] for line in self.result(heat)["lines"]}

    def now(self, heat: str = "heats 1") -> Json:
        """The round as the desk sees it."""
        return dict(self.meet.desk.get(f"heats/{self.heat(heat)}/round/now").json())

    def public(self, heat: str = "heats 1") -> Json:
        """The round as everybody sees it."""
        address = f"/api/meets/{self.meet.id}/heats/{self.heat(heat)}/round"
        return dict(self.meet.service.http.get(address).json())

    def lots(self, *drawn: str, **changes: object) -> httpx.Response:
        """Enter lots drawn between teams, first drawn first."""
        teams = [self.team(name) for name in drawn]
        sent = {"drawn": teams, "drawn_by": "Finn Compass", "pin": PIN, **changes}
        return self.meet.desk.put(f"rounds/{self.round}/lots/{new_id()}", sent)

    def at_hand(self, round_key: str = "heats") -> RoundAtHand:
        return self.read(
            lambda unit: round_at_hand(unit.conn, unit.meet_id, EventId(self.id), round_key)
        )

    def heat_out(self, heat: str = "heats 1") -> HeatOut:
        return self.read(lambda unit: read_heat(unit.conn, unit.meet_id, HeatId(self.heat(heat))))

    def read(self, what: Callable[[Unit], Found]) -> Found:
        """What happens inside an act, as a decision would do it."""
        store, meet_id = self.meet.service.store, MeetId(self.meet.id)
        return store.act_now(meet_id, Actor("test"), lambda unit: Done(what(unit), None))

    def hand(self, heat: str) -> MeetAtHand:
        """The same meet, seen from this heat alone."""
        return replace(self.meet, heats=[self.heats[heat]])


def an_event(meet: MeetAtHand, heats: Mapping[str, Sequence[str]], **more: str) -> Event:
    """An event nobody else touches, with these heats drawn."""
    event = Event(meet, f"Women 4x100 m no R{next(_numbers)}")
    event.draw(heats, **more)
    return event


def two_heats(meet: MeetAtHand) -> Event:
    """Two heats of three teams; no round is set."""
    return an_event(
        meet, {"heats 1": ("Tern", "Gull", "Heron"), "heats 2": ("Plover", "Curlew", "Puffin")}
    )


def a_decision() -> DecisionId:
    return DecisionId(new_id())


def by_name(standing: Json) -> dict[str, Json]:
    """The teams of a standing by name."""
    return {team["name"]: team for team in standing["teams"]}


def qualified(told: Json) -> list[tuple[str, str]]:
    """Who qualified by an announcement or a result, with the letters."""
    return [(one["team_name"], one["letter"]) for one in told["qualified"]]
