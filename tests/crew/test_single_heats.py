"""Posts that stand for single heats: awaited there and nowhere else, and honest heat by heat.

Who stands where changes in the course of a day (handbook of the trade, 4: breaks, own clubs).
"""

from __future__ import annotations

import json

import pytest

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet, a_post, a_problem
from tests.running import Service

LANES = list(range(1, 9))
FEW = "event,round,heat,lane,team,affiliation\n"


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    return a_meet(service)


def etag(meet: MeetAtHand) -> str:
    return meet.organiser.get("crew").headers["ETag"]


def plan(meet: MeetAtHand, *posts: Json) -> Json:
    answer = meet.organiser.put("crew", {"posts": list(posts)}, etag=etag(meet))
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def awaited(meet: MeetAtHand, heat: str) -> set[str]:
    return {one["post"] for one in meet.referee.get(f"heats/{heat}/posts").json()["posts"]}


def test_a_post_is_awaited_in_its_own_heats_alone(meet: MeetAtHand) -> None:
    first, second = (new_id() for _ in range(2))
    told = plan(
        meet,
        a_post(first, meet.umpire.id, heats=[meet.heat(0)]),
        a_post(second, meet["second"].id, heats=[meet.heat(1)]),
    )
    assert {tuple(post["relays"]) for post in told["posts"]} == {("4x100",)}, "those of its heats"
    assert awaited(meet, meet.heat(0)) == {first}
    assert awaited(meet, meet.heat(1)) == {second}
    meet.start()
    assert awaited(meet, meet.heat(0)) == {first}, "and held so by its start"


def test_a_phone_is_told_for_which_heats_its_posts_are(meet: MeetAtHand) -> None:
    plan(meet, a_post(new_id(), meet.umpire.id, heats=[meet.heat(1)]))
    assert [post["heats"] for post in meet.umpire.get("watch").json()["posts"]] == [[meet.heat(1)]]


def test_a_rehearsal_awaits_whoever_stands_for_the_first_heat_of_its_relay(
    meet: MeetAtHand,
) -> None:
    first, second = (new_id() for _ in range(2))
    plan(
        meet,
        a_post(second, meet["second"].id, heats=[meet.heat(1)]),
        a_post(first, meet.umpire.id, heats=[meet.heat(0)]),
    )
    made = meet.organiser.put(f"rehearsals/{new_id()}", {"relay": "4x100"})
    assert made.status_code == 201, made.text
    assert awaited(meet, made.json()["id"]) == {first}


def whole_but_for(meet: MeetAtHand, heat: str, lanes: list[int]) -> list[Json]:
    """Everything watched by one person an edge and zone, with these lanes alone at the end of
    take-over 2 in one heat.
    """
    posts = [
        a_post(
            new_id(), meet.umpire.id, take_over=at, edge=edge, lanes=LANES, heats=meet_heats(meet)
        )
        for at in (1, 2, 3)
        for edge in ("start", "end")
    ]
    posts[3]["heats"] = [one for one in meet_heats(meet) if one != heat]
    posts.append({**posts[3], "id": new_id(), "lanes": lanes, "heats": [heat]})
    return posts


def meet_heats(meet: MeetAtHand) -> list[str]:
    return [heat["id"] for heat in meet.heats]


def test_what_nobody_watches_is_said_heat_by_heat(meet: MeetAtHand) -> None:
    heat = meet.heats[1]
    gaps = plan(meet, *whole_but_for(meet, heat["id"], [1, 2, 3, 4, 5]))["unwatched"]
    name = f"{heat['event_name']}, {heat['round']}: heat {heat['number']}"
    assert [(gap["lanes"], gap["heats"], gap["words"]) for gap in gaps] == [
        ([6, 7, 8], [heat["id"]], f"4x100, take-over 2, end, lanes 6–8 ({name})")
    ]


def test_lanes_without_a_team_need_nobody_in_a_heat_that_is_drawn(meet: MeetAtHand) -> None:
    rows = "".join(f"Men 4x100 m,final,1,{lane},Team {lane},Club {lane}\n" for lane in (3, 4))
    assert meet.organiser.post("start-lists", content=FEW + rows).status_code == 200
    heats = meet.organiser.get("heats").json()["heats"]
    few = next(one for one in heats if one["event_name"] == "Men 4x100 m")
    posts = [
        a_post(new_id(), meet.umpire.id, take_over=at, edge=edge, lanes=[3, 4], heats=[few["id"]])
        for at in (1, 2, 3)
        for edge in ("start", "end")
    ]
    others = {one["id"] for one in heats if one["relay"] == "4x100"} - {few["id"]}
    for gap in plan(meet, *posts)["unwatched"]:
        assert set(gap["heats"]) == others


def test_whoever_changes_zones_between_heats_is_not_wanted_at_two_places(
    meet: MeetAtHand,
) -> None:
    one, other = meet.heat(0), meet.heat(1)
    posts = [
        a_post(new_id(), meet.umpire.id, take_over=1, heats=[one]),
        a_post(new_id(), meet.umpire.id, take_over=3, heats=[other]),
    ]
    assert plan(meet, *posts)["apart"] == []
    posts[1]["heats"] = [one, other]
    told = plan(meet, *posts)["apart"]
    assert [(each["take_overs"], each["heats"]) for each in told] == [([1, 3], [one])]


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"heats": ["01890a5d-ac96-774b-bcce-b302099a8057"]}, "/posts/0/heats"),
        ({"heats": ["nowhere"]}, "/posts/0/heats/0"),
        ({"relays": ["4x400"]}, "/posts/0/relays"),
    ],
)
def test_a_heat_that_is_none_or_of_another_relay_is_refused(
    meet: MeetAtHand, changes: Json, pointer: str
) -> None:
    post = a_post(new_id(), meet.umpire.id, heats=[meet.heat()]) | changes
    refused = meet.organiser.put("crew", {"posts": [post]}, etag=etag(meet))
    told = a_problem(refused, 422, "malformed")
    assert told["errors"][0]["pointer"] == pointer


def test_a_plan_without_single_heats_is_kept_and_recorded_as_before(meet: MeetAtHand) -> None:
    """So that a plan sent again after the service was renewed changes nothing."""
    posts = {"posts": [a_post(new_id(), meet.umpire.id)]}
    assert meet.organiser.put("crew", posts, etag=etag(meet)).status_code == 200
    lines = [json.loads(line) for line in meet.referee.get("record").text.splitlines()[:-1]]
    planned = [
        json.loads(line["body"])
        for line in lines
        if json.loads(line["entry"])["kind"] == "crew planned"
    ]
    assert planned[-1]["posts"][0].keys() == posts["posts"][0].keys() | {"side", "relays"}


def listed(meet: MeetAtHand, *rows: str) -> Json:
    text = "official,take_over,edge,lanes,side,event,round,heat\n" + "\n".join(rows) + "\n"
    answer = meet.organiser.post("crew-list", content=text, etag=etag(meet))
    return dict(answer.json()) | {"status": answer.status_code}


def test_rows_of_a_list_that_differ_by_their_heats_alone_make_one_post(meet: MeetAtHand) -> None:
    event, name = meet.heats[0]["event_name"], meet.umpire.name
    told = listed(
        meet,
        f"{name},1,end,1-4,inside,{event},{meet.heats[0]['round']},1",
        f"{name},1,end,1-4,inside,{event},,2",
        f"{name},2,end,1-4,inside,{event},,",
    )
    assert told["status"] == 200, told
    found = meet.organiser.get("crew").json()["posts"]
    assert [(post["take_over"], set(post["heats"])) for post in found] == [
        (1, {meet.heat(0), meet.heat(1)}),
        (2, set(meet_heats(meet))),
    ]


def test_a_row_whose_relays_leave_its_heats_out_is_told(meet: MeetAtHand) -> None:
    event, name = meet.heats[0]["event_name"], meet.umpire.name
    text = (
        "official,take_over,edge,lanes,side,relays,event,round,heat\n"
        f"{name},1,end,1-4,inside,4x400,{event},,1\n{name},2,end,1-4,inside,4x100,{event},,1\n"
    )
    answer = meet.organiser.post("crew-list", content=text, etag=etag(meet))
    (problem,) = a_problem(answer, 422, "file-refused")["problems"]
    assert (problem["row"], problem["column"]) == (2, "relays")
    assert "of a 4x100, which its relays leave out" in problem["problem"]


def test_a_row_can_stand_at_several_take_overs(meet: MeetAtHand) -> None:
    assert listed(meet, f'{meet.umpire.name},"1, 2, 3",end,1-4,inside,,,')["status"] == 200
    found = meet.organiser.get("crew").json()["posts"]
    assert [post["take_over"] for post in found] == [1, 2, 3]


def test_heats_that_a_list_names_and_the_programme_lacks_are_told(meet: MeetAtHand) -> None:
    event, name = meet.heats[0]["event_name"], meet.umpire.name
    told = listed(
        meet,
        f"{name},1,end,1-4,inside,{event},,1-900",
        f"{name},1,end,1-4,inside,Sack race,,",
        f"{name},1,end,1-4,inside,,,1",
        f"{name},1,end,1-4,inside,{event},,4-1",
    )
    assert told["status"] == 422
    places = [(one["row"], one["column"]) for one in told["problems"]]
    assert places == [(2, "heat"), (3, "event"), (4, "event"), (5, "heat")]
    assert "no heat 3 of" in told["problems"][0]["problem"]


def test_a_plan_goes_out_as_a_list_and_comes_back_as_it_was(meet: MeetAtHand) -> None:
    plan(
        meet,
        a_post(new_id(), meet.umpire.id, heats=[meet.heat(0)]),
        a_post(new_id(), meet["second"].id, take_over=2, lanes=[1, 2, 5], side="outside"),
        a_post(new_id(), meet["second"].id, take_over=3, relays=["4x400"]),
    )
    before = meet.organiser.get("crew").json()["posts"]
    csv = meet.organiser.get("crew.csv").content
    answer = meet.organiser.post("crew-list", content=csv, etag=etag(meet))
    assert answer.status_code == 200, answer.text
    assert meet.organiser.get("crew").json()["posts"] == before


def test_the_largest_crew_of_a_long_day_is_taken_in_a_moment(meet: MeetAtHand) -> None:
    """Sixty people, each at thirty places (more than any plan needs)."""
    people = [meet.umpire.id, meet["second"].id]
    posts = [
        a_post(
            new_id(),
            people[at % 2],
            take_over=at % 3 + 1,
            lanes=[at % 8 + 1],
            heats=meet_heats(meet),
        )
        for at in range(1_800)
    ]
    assert len(plan(meet, *posts)["posts"]) == 1_800


def test_a_name_that_a_spreadsheet_would_calculate_comes_back_too(meet: MeetAtHand) -> None:
    odd = new_id()
    document = {"name": "=Bo Halyard", "roles": ["umpire"]}
    assert meet.organiser.put(f"officials/{odd}", document).status_code == 201
    plan(meet, a_post(new_id(), odd))
    csv = meet.organiser.get("crew.csv").content
    answer = meet.organiser.post("crew-list", content=csv, etag=etag(meet))
    assert answer.status_code == 200, answer.text
