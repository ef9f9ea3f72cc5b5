"""The smallest change of a plan in force, whatever that plan is: what may not change any more stays
post by post, whoever stays keeps their posts, and nothing is lost that is not told.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence

import pytest

from app.ids import new_id
from tests.builders import (
    Json,
    MeetAtHand,
    Newcomer,
    a_bare_meet,
    a_post,
    a_problem,
    add_officials,
)
from tests.crew_search.test_search import searched, take, umpires, wishes
from tests.running import Service

pytestmark = pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)

EDGES = [(take_over, edge) for take_over in (1, 2, 3) for edge in ("start", "end")]
MINUTES = {"4x100": 5, "4x200": 8, "4x400": 8, "4x800": 15, "medley": 8}


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    """Eight umpires, and a chief who is planned only where the wishes say so."""
    meet = a_bare_meet(service)
    umpires = [Newcomer(f"Umpire {number}", ("umpire",)) for number in range(8)]
    add_officials(meet, *umpires, Newcomer("chief", ("chief_umpire",)))
    return meet


def a_day(meet: MeetAtHand, lanes: Sequence[Sequence[int]], relay: str = "4x400") -> list[str]:
    """Heats of one relay with these lanes, from 10:00 on. Gives their ids."""
    rows = [
        f"Women {relay},heats,{heat},{lane},Team {heat}-{lane},Club {lane},"
        f"{10 + MINUTES[relay] * (heat - 1) // 60}:{MINUTES[relay] * (heat - 1) % 60:02}"
        for heat, in_use in enumerate(lanes, start=1)
        for lane in in_use
    ]
    text = "\n".join(["event,round,heat,lane,team,affiliation,scheduled", *rows])
    loaded = meet.organiser.post("start-lists", content=text)
    assert loaded.status_code == 200, loaded.text
    return [one["id"] for one in meet.organiser.get("heats").json()["heats"]]


def planned(meet: MeetAtHand, *posts: Json) -> None:
    seen = meet.organiser.get("crew").headers.get("ETag")
    answer = meet.organiser.put("crew", {"posts": posts}, etag=seen)
    assert answer.is_success, answer.text


def by_hand(officials: Sequence[str], lanes: Sequence[int] = (3, 4)) -> list[Json]:
    """Each of six has an edge of a take-over, all day."""
    return [
        a_post(new_id(), one, take_over=at, edge=edge, lanes=[*lanes], side="inside")
        for one, (at, edge) in zip(officials, EDGES, strict=True)
    ]


def started(meet: MeetAtHand, heat: str) -> None:
    seen = meet["chief"].get(f"heats/{heat}").headers["ETag"]
    answer = meet["chief"].post(f"heats/{heat}/start", etag=seen)
    assert answer.status_code == 200, answer.text


def in_force(meet: MeetAtHand) -> list[Json]:
    posts: list[Json] = meet.organiser.get("crew").json()["posts"]
    return posts


def at_heat(posts: Sequence[Json], heat: str) -> set[tuple[object, ...]]:
    return {
        (one["official"], one["take_over"], one["edge"], *one["lanes"])
        for one in posts
        if not one["heats"] or heat in one["heats"]
    }


def inactive(meet: MeetAtHand, official: str) -> None:
    seen = next(one for one in meet.organiser.get("officials").json() if one["id"] == official)
    document = {"name": seen["name"], "roles": seen["roles"], "active": False}
    answer = meet.organiser.put(f"officials/{official}", document, etag=f'"v{seen["version"]}"')
    assert answer.is_success, answer.text


@pytest.mark.parametrize("relay", list(MINUTES))
def test_heats_before_the_one_from_which_a_plan_may_change_keep_all_their_posts(
    meet: MeetAtHand, relay: str
) -> None:
    """By hand there is one post for each take-over, also where several lie at one place."""
    heats = a_day(meet, [(3, 4)] * 4, relay)
    planned(meet, *by_hand(umpires(meet)[:6]))
    before = in_force(meet)
    wishes(meet, dropped=[umpires(meet)[0]])
    told = searched(meet, keep=True, from_heat=heats[2], seconds=3)
    assert (told["problem"], told["plan"]["unwatched"]) == ("", [])
    assert not {heat for one in told["plan"]["changes"] for heat in one["heats"]} & {*heats[:2]}
    crew = take(meet, told)
    assert crew["unwatched"] == []
    for heat in heats[:2]:
        assert at_heat(crew["posts"], heat) == at_heat(before, heat)
    for heat in heats[2:]:
        assert umpires(meet)[0] not in {who for who, *_ in at_heat(crew["posts"], heat)}


def test_two_at_one_post_of_a_heat_that_was_run_forbid_no_change(meet: MeetAtHand) -> None:
    """As somebody who learns stands beside somebody who knows."""
    heats = a_day(meet, [(3, 4)] * 3)
    first, beside, third = umpires(meet)[:3]
    places = [(first, "end"), (beside, "end"), (third, "start")]
    planned(
        meet,
        *(
            a_post(new_id(), one, take_over=at, edge=edge, side="inside")
            for one, edge in places
            for at in (1, 2, 3)
        ),
    )
    before = in_force(meet)
    started(meet, heats[0])
    wishes(meet, dropped=[first])
    told = searched(meet, keep=True, from_heat=heats[1], seconds=3)
    assert told["problem"] == ""
    assert {one["official"] for one in told["plan"]["changes"]} == {first}
    crew = take(meet, told)
    assert (crew["unwatched"], at_heat(crew["posts"], heats[0])) == ([], at_heat(before, heats[0]))


def test_two_posts_at_once_are_refused_only_where_the_plan_may_still_change(
    meet: MeetAtHand,
) -> None:
    heats = a_day(meet, [(3, 4)] * 3)
    one, other = umpires(meet)[:2]

    def watched_by(*officials: str) -> list[Json]:
        return [
            a_post(new_id(), each, take_over=at, edge=edge, side="inside")
            for each, edge in zip(officials, ("start", "end"), strict=True)
            for at in (1, 2, 3)
        ]

    planned(meet, *watched_by(one, one))
    refused = searched(meet, keep=True, from_heat=heats[1], seconds=3)
    assert "at two posts in Women 4x400, heats, heat 2" in refused["problem"]
    started(meet, heats[0])
    planned(meet, *watched_by(one, other))
    told = searched(meet, keep=True, from_heat=heats[1], seconds=3)
    assert (told["problem"], told["plan"]["changes"]) == ("", [])


@pytest.mark.parametrize("gone", ["chief", "left out", "never there"])
def test_whoever_can_be_planned_no_more_loses_only_what_may_still_change(
    meet: MeetAtHand, gone: str
) -> None:
    heats = a_day(meet, [(3, 4)] * 4, "4x100")
    first, *others = umpires(meet)
    who = meet["chief"].id if gone == "chief" else first
    planned(meet, *by_hand([who, *others[:5]]))
    before = in_force(meet)
    if gone == "left out":
        wishes(meet, people=[{"official": one} for one in others])
    if gone == "never there":
        away = {"official": first, "hours": [{"begins": "2031-01-01T09:00"}]}
        wishes(meet, people=[away, *({"official": one} for one in others)])
    told = searched(meet, keep=True, from_heat=heats[2], seconds=3)
    assert (told["problem"], told["plan"]["unwatched"]) == ("", [])
    assert [one["heats"] for one in told["plan"]["changes"] if one["official"] == who] == [
        heats[2:]
    ]
    crew = take(meet, told)
    assert crew["unwatched"] == []
    assert [at_heat(crew["posts"], heat) == at_heat(before, heat) for heat in heats] == [
        True,
        True,
        False,
        False,
    ]


def test_a_plan_can_be_changed_though_somebody_who_stood_in_a_heat_is_inactive_by_now(
    meet: MeetAtHand,
) -> None:
    heats = a_day(meet, [(3, 4)] * 3, "4x100")
    first, *others = umpires(meet)
    planned(meet, *by_hand([first, *others[:5]]))
    started(meet, heats[0])
    inactive(meet, first)
    refused = meet.organiser.put(
        f"crew/searches/{new_id()}", {"keep": True, "from_heat": heats[2], "seconds": 3}
    )
    assert "Umpire 0 can have no post any more" in a_problem(refused, 409, "conflict")["detail"]
    told = searched(meet, keep=True, from_heat=heats[1], seconds=3)
    assert {one["official"] for one in told["plan"]["changes"]} >= {first}
    crew = take(meet, told)
    assert first not in {one["official"] for one in crew["posts"]}
    held = meet["chief"].get(f"heats/{heats[0]}/posts").json()["posts"]
    assert first in {one["official"] for one in held}
    anew = take(meet, searched(meet, seconds=3))
    assert first not in {one["official"] for one in anew["posts"]}


def test_a_plan_is_changed_from_no_heat_that_was_run(meet: MeetAtHand) -> None:
    heats = a_day(meet, [(3, 4)] * 3, "4x100")
    planned(meet, *by_hand(umpires(meet)[:6]))
    before = in_force(meet)
    started(meet, heats[0])
    wishes(meet, dropped=[umpires(meet)[0]])
    crew = take(meet, searched(meet, keep=True, from_heat=heats[0], seconds=3))
    assert at_heat(crew["posts"], heats[0]) == at_heat(before, heats[0])
    assert umpires(meet)[0] not in {who for who, *_ in at_heat(crew["posts"], heats[1])}


def found_by_a_search(meet: MeetAtHand) -> None:
    take(meet, searched(meet, seconds=3))


def wide(meet: MeetAtHand) -> None:
    """Over more lanes than the meet's posts may have, of which two are run in."""
    places = [
        {"people": 2, "edge": edge, "side": "inside", "lanes": 4} for edge in ("start", "end")
    ]
    wishes(meet, template=places)
    planned(meet, *by_hand(umpires(meet)[:6], range(1, 9)))


def in_halves(meet: MeetAtHand) -> None:
    """An umpire's lanes as a post each, and a post for a relay that is not on the programme."""
    halves = [
        {**post, "id": new_id(), "lanes": [lane]}
        for post in by_hand(umpires(meet)[:6])
        for lane in post["lanes"]
    ]
    later = a_post(new_id(), umpires(meet)[6], relays=["4x800"])
    planned(meet, *halves, later)


KEPT = {
    "found by a search": (found_by_a_search, "4x100"),
    "a place of several take-overs": (found_by_a_search, "4x400"),
    "wide": (wide, "4x100"),
    "in halves": (in_halves, "4x100"),
}


@pytest.mark.parametrize("kept", KEPT)
def test_a_plan_that_needs_no_change_is_given_back_as_it_was(meet: MeetAtHand, kept: str) -> None:
    """With the ids, lanes and heats of its posts, though the lanes in use change by the heat."""
    plan, relay = KEPT[kept]
    in_use = [range(1, 9), range(1, 9), range(2, 9), range(1, 8)]
    a_day(meet, [(3, 4), (3, 4), (4,)] if plan is not found_by_a_search else in_use, relay)
    if plan is found_by_a_search:
        add_officials(meet, *(Newcomer(f"More {one}", ("umpire",)) for one in range(12)))
    plan(meet)
    before = in_force(meet)
    told = searched(meet, keep=True, seconds=3)
    assert (told["problem"], told["plan"]["changes"]) == ("", [])
    assert take(meet, told)["posts"] == before


@pytest.mark.parametrize("plan", [wide, in_halves])
def test_posts_that_name_no_heats_are_shown_with_all_of_theirs(
    meet: MeetAtHand, plan: Callable[[MeetAtHand], None]
) -> None:
    """As whoever decides reads a plan that was found: person by person."""
    a_day(meet, [(3, 4), (3, 4), (4,)], "4x100")
    plan(meet)
    searched(meet, keep=True, seconds=3)
    path = f"/meets/{meet.id}/organiser/crew-search"
    page = meet.organiser.get(path, headers={"Accept": "text/html"})
    assert page.status_code == 200, page.text
    shown = page.text.split('id="found-by-person"')[1].split("</details>")[0]
    days = dict(re.findall(r"<bdi>(Umpire \d)</bdi>(.*?)</tbody>", shown, re.DOTALL))
    assert {*days} == {f"Umpire {number}" for number in range(6)}
    told = "heats 1–3" if plan is wide else "heats 1–2"  # in the third, one of the halves
    assert all(f"heats, {told}" in re.sub(r"<[^>]+>", "", day) for day in days.values())


def of_others(posts: Sequence[Json], officials: Collection[str]) -> list[Json]:
    return [one for one in posts if one["official"] not in officials]


def test_whoever_stays_where_they_stood_keeps_their_posts_while_others_change(
    meet: MeetAtHand,
) -> None:
    heats = a_day(meet, [(3, 4), (3, 4), (4,)], "4x100")
    first, *others = umpires(meet)
    planned(meet, *by_hand([first, *others[:5]], range(1, 9)))
    before = in_force(meet)
    wishes(meet, people=[{"official": one} for one in [first, *others[:6]]], dropped=[first])
    crew = take(meet, searched(meet, keep=True, from_heat=heats[1], seconds=3))
    changed = {first, others[5]}
    assert of_others(crew["posts"], changed) == of_others(before, changed)
    assert {(one["official"], *one["heats"]) for one in crew["posts"] if one["heats"]} == {
        (first, heats[0]),
        (others[5], *sorted(heats[1:])),
    }
