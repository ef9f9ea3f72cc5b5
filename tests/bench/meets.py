"""Who sends the load? A meet with its crew and heats, set up over HTTP as an organiser does it.

The crew is the common one for eight lanes, six umpires a zone: two watch the start for half of the
lanes, four watch the end for two lanes each (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass

from app.ids import new_id
from tests.bench.plan import Plan
from tests.builders import (
    MeetAtHand,
    Person,
    a_bare_meet,
    a_post,
    a_start_list,
    add_official,
    all_heats,
)
from tests.running import a_service

PLACES = (
    ("start", (1, 2, 3, 4), "inside"),
    ("start", (5, 6, 7, 8), "outside"),
    ("end", (1, 2), "inside"),
    ("end", (3, 4), "inside"),
    ("end", (5, 6), "outside"),
    ("end", (7, 8), "outside"),
)


@dataclass(frozen=True, slots=True)
class Umpire:
    """A joined umpire and the post they stand at."""

    id: str
    token: str
    post: str
    edge: str
    lanes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MeetUnderLoad:
    """What a load needs to know of a meet.

    `ruling` is one that was made, for its form; `others` organise meets that have no heats yet.
    """

    database_url: str
    id: str
    event: str
    heats: tuple[str, ...]
    umpires: tuple[Umpire, ...]
    referee: str
    referee_token: str
    ruling: str
    others: tuple[Person, ...]


def set_up_meet(database_url: str, plan: Plan) -> MeetUnderLoad:
    """A meet whose heats all run, and in which one case was reported and ruled on.

    Beside it stands one meet without heats for each round.
    """
    with a_service(database_url) as service:
        hand = a_bare_meet(service)
        referee = add_official(hand, "referee", "referee")
        umpires = _set_up_crew(hand, plan.zones)
        loaded = hand.organiser.post("start-lists", content=a_start_list(plan.heats))
        assert loaded.status_code == 200, loaded.text
        hand.heats = list(all_heats(hand))
        for number in range(len(hand.heats)):
            hand.start(number)
        return MeetUnderLoad(
            database_url=database_url,
            id=hand.id,
            event=hand.heats[0]["event"],
            heats=tuple(heat["id"] for heat in hand.heats),
            umpires=umpires,
            referee=referee.id,
            referee_token=referee.token,
            ruling=_rule_on_one_case(hand, umpires[3]),
            others=tuple(a_bare_meet(service).organiser for _ in range(plan.rounds)),
        )


def _set_up_crew(hand: MeetAtHand, zones: int) -> tuple[Umpire, ...]:
    places = [(take_over, *place) for take_over in range(1, zones + 1) for place in PLACES]
    posts, umpires = [], []
    for number, (take_over, edge, lanes, side) in enumerate(places, start=1):
        person = add_official(hand, f"umpire {number}", "umpire", affiliation=f"Club {number}")
        post = a_post(
            new_id(), person.id, take_over=take_over, edge=edge, lanes=list(lanes), side=side
        )
        posts.append(post)
        umpires.append(Umpire(person.id, person.token, post["id"], edge, lanes))
    planned = hand.organiser.put("crew", {"posts": posts})
    assert planned.status_code == 201, planned.text
    return tuple(umpires)


def _rule_on_one_case(hand: MeetAtHand, umpire: Umpire) -> str:
    name = next(name for name, person in hand.people.items() if person.id == umpire.id)
    written = hand.report(by=name, post=umpire.post, lane=umpire.lanes[0])
    ruled = hand.rule(written["case"])
    assert ruled.status_code == 201, ruled.text
    return str(ruled.json()["id"])
