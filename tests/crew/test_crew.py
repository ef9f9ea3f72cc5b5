"""The crew plan over HTTP: set whole, replaced as seen, and honest about what nobody watches.

Every edge of every lane of a zone wants a pair of eyes (Swiss federation 2016: one judge for two
lanes at the entry and one at the exit).
"""

from __future__ import annotations

import pytest

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet, a_post, a_problem, with_own_heats
from tests.running import Service

EDGES_OF_4X100 = 3 * 2 * 8


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    return with_own_heats(stadium)


def etag(meet: MeetAtHand) -> str:
    return meet.organiser.get("crew").headers["ETag"]


def plan(meet: MeetAtHand, *posts: Json) -> Json:
    """Set the plan as it stands now, and return it."""
    answer = meet.organiser.put("crew", {"posts": list(posts)}, etag=etag(meet))
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def test_a_plan_is_replaced_only_as_it_was_seen(meet: MeetAtHand) -> None:
    seen = etag(meet)
    posts = {"posts": [a_post(new_id(), meet.umpire.id, lanes=[1])]}
    before = meet.head()
    a_problem(meet.organiser.put("crew", posts), 428, "precondition-missing")
    assert meet.head() == before
    assert meet.organiser.put("crew", posts, etag=seen).status_code == 200
    other = {"posts": [a_post(new_id(), meet.umpire.id, lanes=[2])]}
    a_problem(meet.organiser.put("crew", other, etag=seen), 412, "stale")
    assert meet.organiser.get("crew").json()["posts"][0]["lanes"] == [1]


def test_the_same_plan_again_changes_nothing(meet: MeetAtHand) -> None:
    posts = {"posts": [a_post(new_id(), meet.umpire.id)]}
    plan(meet, *posts["posts"])
    before = meet.head()
    assert meet.organiser.put("crew", posts).status_code == 200
    assert meet.head() == before


def test_the_first_plan_needs_no_version(service: Service) -> None:
    hand = a_meet(service)
    assert hand.organiser.get("crew").json()["version"] == 1


def test_an_inactive_official_gets_no_post(meet: MeetAtHand) -> None:
    official, document = new_id(), {"name": "Ina Gone", "roles": ["umpire"], "active": False}
    assert meet.organiser.put(f"officials/{official}", document).status_code == 201
    before = meet.head()
    posts = {"posts": [a_post(new_id(), meet.umpire.id), a_post(new_id(), official)]}
    told = a_problem(meet.organiser.put("crew", posts, etag=etag(meet)), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/posts/1/official"
    assert "Ina Gone is inactive" in told["detail"]
    assert meet.head() == before


def test_a_plan_without_posts_leaves_every_edge_of_every_lane_unwatched(meet: MeetAtHand) -> None:
    gaps = plan(meet)["unwatched"]
    assert sum(len(gap["lanes"]) for gap in gaps) == EDGES_OF_4X100
    assert {gap["relay"] for gap in gaps} == {"4x100"}


def test_what_is_unwatched_is_said_edge_by_edge(meet: MeetAtHand) -> None:
    posts = [
        a_post(new_id(), meet.umpire.id, take_over=take_over, edge=edge, lanes=list(range(1, 9)))
        for take_over in (1, 2, 3)
        for edge in ("start", "end")
    ]
    assert plan(meet, *posts)["unwatched"] == []
    posts[3] |= {"lanes": [1, 2, 3, 4, 5, 6, 8]}
    gaps = plan(meet, *posts)["unwatched"]
    words = "4x100, take-over 2, end, lane 7"
    where = {"relay": "4x100", "take_over": 2, "edge": "end", "lanes": [7]}
    assert gaps == [where | {"heats": [], "words": words}]


def test_a_post_stands_for_the_relays_it_names(meet: MeetAtHand) -> None:
    post = a_post(new_id(), meet.umpire.id, lanes=list(range(1, 9)), relays=["4x400"])
    gaps = plan(meet, post)["unwatched"]
    assert sum(len(gap["lanes"]) for gap in gaps) == EDGES_OF_4X100
    posts = meet.referee.get(f"heats/{meet.heat()}/posts").json()
    assert posts["posts"] == []


@pytest.mark.parametrize("role", ["referee", "results", "jury", "organiser"])
def test_only_umpires_stand_at_posts(meet: MeetAtHand, role: str) -> None:
    before = meet.head()
    posts = {"posts": [a_post(new_id(), meet[role].id)]}
    told = a_problem(meet.organiser.put("crew", posts, etag=etag(meet)), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/posts/0/official"
    assert meet[role].name in told["detail"]
    assert meet.head() == before


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"lanes": [8, 9]}, "/posts/0/lanes"),
        ({"lanes": []}, "/posts/0/lanes"),
        ({"lanes": [0]}, "/posts/0/lanes/0"),
        ({"lanes": [11]}, "/posts/0/lanes/0"),
        ({"take_over": 0}, "/posts/0/take_over"),
        ({"take_over": 4}, "/posts/0/take_over"),
        ({"edge": "middle"}, "/posts/0/edge"),
        ({"side": "above"}, "/posts/0/side"),
        ({"relays": ["5x80"]}, "/posts/0/relays/0"),
        ({"official": "nobody"}, "/posts/0/official"),
    ],
)
def test_a_post_that_cannot_be_is_refused_and_the_field_named(
    meet: MeetAtHand, changes: Json, pointer: str
) -> None:
    before = meet.head()
    posts = {"posts": [a_post(new_id(), meet.umpire.id) | changes]}
    told = a_problem(meet.organiser.put("crew", posts, etag=etag(meet)), 422, "malformed")
    assert told["errors"][0]["pointer"] == pointer
    assert meet.head() == before


def test_an_unknown_official_or_a_post_named_twice_is_refused(meet: MeetAtHand) -> None:
    stranger = {"posts": [a_post(new_id(), new_id())]}
    a_problem(meet.organiser.put("crew", stranger, etag=etag(meet)), 422, "malformed")
    post = a_post(new_id(), meet.umpire.id)
    twice = {"posts": [post, post | {"lanes": [7]}]}
    a_problem(meet.organiser.put("crew", twice, etag=etag(meet)), 422, "malformed")


def awaited(meet: MeetAtHand, heat: int = 0) -> dict[str, str]:
    """The posts that are expected to call for a heat, in words."""
    posts = meet.referee.get(f"heats/{meet.heat(heat)}/posts").json()["posts"]
    return {line["post"]: line["words"] for line in posts}


def test_a_post_that_left_the_plan_is_awaited_no_more_in_heats_that_start_later(
    meet: MeetAtHand,
) -> None:
    first, second = new_id(), new_id()
    mine = a_post(first, meet.umpire.id)
    plan(meet, mine, a_post(second, meet["second"].id, lanes=[5, 6]))
    meet.start()
    call = meet.call("yellow", post=first, lane=4).json()
    plan(meet, a_post(second, meet["second"].id, lanes=[5, 6]))
    assert awaited(meet).keys() == {first, second}
    assert awaited(meet, 1).keys() == {second}
    assert meet.referee.get(f"calls/{call['id']}").json()["post"] == first
    assert meet.open_cases() == [call["case"]]


def test_a_new_plan_makes_nobody_silent_for_a_heat_that_was_started_before(
    meet: MeetAtHand,
) -> None:
    first, later = new_id(), new_id()
    plan(meet, a_post(first, meet.umpire.id))
    meet.start()
    meet.call("white", post=first)
    plan(meet, a_post(later, meet["second"].id, lanes=[5, 6]))
    seen = meet.referee.get(f"heats/{meet.heat()}/posts").json()
    assert ([line["post"] for line in seen["posts"]], seen["silent"]) == ([first], 0)


def test_a_post_id_that_is_used_again_elsewhere_leaves_a_started_heat_as_it_was(
    meet: MeetAtHand,
) -> None:
    post = new_id()
    plan(meet, a_post(post, meet.umpire.id))
    meet.start()
    report = meet.report(post=post)
    plan(meet, a_post(post, meet["second"].id, take_over=3, lanes=[7]))
    words = "take-over 1, end, lanes 3–4, inside"
    assert awaited(meet) == {post: words}
    assert meet.umpire.get(f"reports/{report['id']}").json()["post_words"] == words
    late = meet.report(post=post, lane=3)
    assert (late["post_words"], late["take_over"], late["marks"]) == (words, 1, [])
    meet.call("white", post=post)
    seen = meet.referee.get(f"heats/{meet.heat()}/posts").json()["posts"][0]
    assert (seen["official"], seen["flag"], seen["called_by"]) == (
        meet.umpire.id,
        "yellow",
        meet.umpire.id,
    )


def test_a_stand_in_who_takes_a_post_over_calls_for_it(meet: MeetAtHand) -> None:
    post = new_id()
    plan(meet, a_post(post, meet.umpire.id))
    meet.start()
    plan(meet, a_post(post, meet["second"].id))
    call = meet.call("white", by="second", post=post).json()
    assert (call["marks"], call["counts"]) == (["by a stand-in"], True)
    seen = meet.referee.get(f"heats/{meet.heat()}/posts").json()["posts"][0]
    assert (seen["flag"], seen["called_by"]) == ("white", meet["second"].id)


def test_a_written_report_of_a_stand_in_speaks_for_the_post(meet: MeetAtHand) -> None:
    post = new_id()
    plan(meet, a_post(post, meet.umpire.id))
    meet.start()
    plan(meet, a_post(post, meet["second"].id))
    assert meet.report(by="second", post=post)["marks"] == ["by a stand-in"]
    seen = meet.referee.get(f"heats/{meet.heat()}/posts").json()["posts"][0]
    assert (seen["flag"], seen["called_by"]) == ("yellow", meet["second"].id)


def test_whoever_has_the_id_of_a_post_elsewhere_now_does_not_speak_for_it(
    meet: MeetAtHand,
) -> None:
    post = new_id()
    plan(meet, a_post(post, meet.umpire.id))
    meet.start()
    plan(meet, a_post(post, meet["second"].id, take_over=3, lanes=[7]))
    call = meet.call("white", by="second", post=post).json()
    assert (call["marks"], call["counts"]) == (["post of a later crew plan"], False)
    report = meet.report(by="second", post=post, lane=7)
    assert (report["take_over"], report["post_words"]) == (3, "take-over 3, end, lane 7, inside")
    seen = meet.referee.get(f"heats/{meet.heat()}/posts").json()
    assert (seen["posts"][0]["flag"], seen["silent"]) == (None, 1)


def test_the_head_of_the_crew_does_not_speak_by_the_id_of_a_post_elsewhere_either(
    meet: MeetAtHand,
) -> None:
    post = new_id()
    plan(meet, a_post(post, meet.umpire.id))
    meet.start()
    plan(meet, a_post(post, meet["chief_umpire"].id, take_over=3, lanes=[7]))
    call = meet.call("white", by="chief_umpire", post=post).json()
    assert (call["marks"], call["counts"]) == (["post of a later crew plan"], False)


@pytest.mark.parametrize("by", ["umpire", "second", "referee"])
def test_a_flag_from_a_post_that_left_the_plan_is_kept_and_speaks_for_nobody(
    meet: MeetAtHand, by: str
) -> None:
    gone, kept = new_id(), new_id()
    plan(meet, a_post(gone, meet.umpire.id), a_post(kept, meet["second"].id, lanes=[5, 6]))
    plan(meet, a_post(kept, meet["second"].id, lanes=[5, 6]))
    meet.start()
    call = meet.call("yellow", by=by, post=gone, lane=4).json()
    assert (call["marks"], call["counts"]) == (["post no longer in the crew plan"], False)
    assert meet.open_cases() == [call["case"]]


def test_umpires_who_swap_for_the_next_heat_do_not_speak_for_each_other_in_this_one(
    meet: MeetAtHand,
) -> None:
    first, second = new_id(), new_id()
    plan(meet, a_post(first, meet.umpire.id), a_post(second, meet["second"].id, lanes=[5, 6]))
    meet.start()
    plan(meet, a_post(first, meet["second"].id), a_post(second, meet.umpire.id, lanes=[5, 6]))
    call = meet.call("white", by="second", post=first).json()
    assert (call["marks"], call["counts"]) == (["post of somebody else"], False)
    assert meet.call("white", post=first).json()["counts"] is True


def test_a_heat_that_was_started_without_posts_awaits_none_later(meet: MeetAtHand) -> None:
    plan(meet)
    meet.start()
    post = new_id()
    plan(meet, a_post(post, meet.umpire.id))
    assert awaited(meet) == {}
    assert awaited(meet, 1).keys() == {post}
    meet.call("white", post=post)
    assert meet.referee.get(f"heats/{meet.heat()}").json()["state"] == "running"


def test_the_chief_umpire_plans_the_crew_too(meet: MeetAtHand) -> None:
    posts = {"posts": [a_post(new_id(), meet["chief_umpire"].id, lanes=[1, 2])]}
    assert meet["chief_umpire"].put("crew", posts, etag=etag(meet)).status_code == 200
    a_problem(meet.umpire.put("crew", posts, etag=etag(meet)), 403, "role-missing")


def test_a_place_on_the_line_is_watched_where_more_teams_start_than_there_are_lanes(
    service: Service,
) -> None:
    stadium = a_meet(service, roles=("umpire",))
    place = a_post(new_id(), stadium.umpire.id, lanes=[9, 10])
    seen = etag(stadium)
    a_problem(stadium.organiser.put("crew", {"posts": [place]}, etag=seen), 422, "malformed")
    rows = [f"Women 4x800 m,final,1,{number},Team {number}" for number in range(1, 11)]
    listed = "\n".join(["event,round,heat,lane,team", *rows])
    assert stadium.organiser.post("start-lists", content=listed).status_code == 200
    told = plan(stadium, place, a_post(new_id(), stadium.umpire.id, lanes=[9], relays=["4x800"]))
    assert [post["lanes"] for post in told["posts"]] == [[9, 10], [9]]
    in_lanes = a_post(new_id(), stadium.umpire.id, lanes=[9], relays=["4x100"])
    refused = stadium.organiser.put("crew", {"posts": [in_lanes]}, etag=etag(stadium))
    a_problem(refused, 422, "malformed")


def test_whoever_is_wanted_at_two_places_during_one_race_is_told_with_the_plan(
    meet: MeetAtHand,
) -> None:
    posts = [a_post(new_id(), meet.umpire.id, take_over=one) for one in (1, 3)]
    told = plan(meet, *posts)["apart"]
    words = f"{meet.umpire.name}: 4x100, take-overs 1, 3"
    assert told == [
        {
            "official": meet.umpire.id,
            "official_name": meet.umpire.name,
            "relay": "4x100",
            "take_overs": [1, 3],
            "heats": [],
            "words": words,
        }
    ]
    assert meet.organiser.get("crew").json()["apart"] == told
    posts[1] |= {"relays": ["4x400"]}
    assert plan(meet, *posts)["apart"] == [], "no race asks for both"


def test_a_relay_that_only_posts_name_is_looked_at_as_well(meet: MeetAtHand) -> None:
    """The crew is often planned before the start lists come."""
    posts = [
        a_post(new_id(), meet.umpire.id, take_over=one, relays=["4x200", "4x400"]) for one in (1, 2)
    ]
    told = plan(meet, *posts)["apart"]
    assert [(one["relay"], one["take_overs"]) for one in told] == [("4x200", [1, 2])]
