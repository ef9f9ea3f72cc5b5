"""The crew plan from a file: names become posts, and what nobody watches is told before."""

from __future__ import annotations

from tests.builders import Json, MeetAtHand


def names(meet: MeetAtHand) -> dict[str, str]:
    return {one["id"]: one["name"] for one in meet.organiser.get("officials").json()}


def etag(meet: MeetAtHand) -> str:
    return str(meet.organiser.get("crew").headers["ETag"])


def posts(meet: MeetAtHand) -> list[Json]:
    return list(meet.organiser.get("crew").json()["posts"])


def as_list(meet: MeetAtHand) -> str:
    """The plan in force, written down."""
    rows = [
        f"{post['official_name']},{post['take_over']},{post['edge']},"
        f'"{",".join(map(str, post["lanes"]))}",{post["side"]},"{",".join(post["relays"])}"'
        for post in posts(meet)
    ]
    return "\n".join(["official,take_over,edge,lanes,side,relays", *rows])


def test_the_plan_in_force_written_down_and_sent_again_is_the_same_plan(meet: MeetAtHand) -> None:
    before, head = posts(meet), meet.head()
    answer = meet.organiser.post("crew-list", content=as_list(meet), etag=etag(meet))
    assert answer.status_code == 200, answer.text
    assert posts(meet) == before
    assert meet.head()["size"] - head["size"] <= 1


def test_a_list_says_before_what_it_leaves_unwatched(meet: MeetAtHand) -> None:
    umpire = names(meet)[meet.umpire.id]
    told = meet.organiser.post(
        "crew-list",
        content=f"official,take over,edge,lanes\n{umpire},1,end,1-4\n",
        params={"check": "true"},
    ).json()
    assert (told["posts"], told["people"], told["problems"]) == (1, 1, [])
    assert "4x100, take-over 1, start, lanes 1–8" in told["unwatched"]
    assert "4x100, take-over 1, end, lanes 5–8" in told["unwatched"]
    assert len(posts(meet)) != 1


def test_a_list_says_before_whom_it_wants_at_two_places_during_one_race(meet: MeetAtHand) -> None:
    umpire = names(meet)[meet.umpire.id]
    rows = [f"{umpire},{take_over},end,1-4" for take_over in (1, 2)]
    told = meet.organiser.post(
        "crew-list",
        content="\n".join(["official,take over,edge,lanes", *rows]),
        params={"check": "true"},
    ).json()
    assert told["apart"] == [f"{umpire}: 4x100, take-overs 1, 2"]


def test_a_post_that_stays_keeps_its_id_and_the_rest_is_new(meet: MeetAtHand) -> None:
    kept = posts(meet)[0]
    lanes = "+".join(map(str, kept["lanes"]))
    content = (
        "official,take_over,edge,lanes\n"
        f"{kept['official_name'].upper()},{kept['take_over']},{kept['edge']},{lanes}\n"
        f"{kept['official_name']},3,START,8\n"
    )
    answer = meet.organiser.post("crew-list", content=content, etag=etag(meet))
    assert answer.status_code == 200, answer.text
    ids = [post["id"] for post in posts(meet)]
    assert len(ids) == 2
    assert kept["id"] in ids


def test_all_that_is_wrong_is_told_by_row_and_column_and_the_plan_stays(meet: MeetAtHand) -> None:
    umpire, before = names(meet)[meet.umpire.id], posts(meet)
    desk = names(meet)[meet.desk.id]
    bad = (
        "official,take_over,edge,lanes,side,relays\n"
        f"{umpire},4,end,1-4,,\nNobody Known,1,end,1-4,,\n{umpire},1,middle,1-4,,\n"
        f"{umpire},1,end,4-1,,\n{umpire},1,end,1-10,,\n{desk},1,end,1,,\n"
        f"{umpire},1,end,1,above,\n{umpire},1,end,1,,sack race\n"
    )
    answer = meet.organiser.post("crew-list", content=bad, etag=etag(meet))
    assert answer.status_code == 422
    places = {(one["row"], one["column"]) for one in answer.json()["problems"]}
    assert places == {
        (2, "take_over"),
        (3, "official"),
        (4, "edge"),
        (5, "lanes"),
        (6, "lanes"),
        (7, "official"),
        (8, "side"),
        (9, "relays"),
    }
    assert posts(meet) == before


def test_a_plan_is_replaced_only_by_whoever_has_seen_it(meet: MeetAtHand) -> None:
    content = as_list(meet).rsplit("\n", 1)[0]
    assert meet.organiser.post("crew-list", content=content).status_code == 428
    assert meet.organiser.post("crew-list", content=content, etag='"v999"').status_code == 412


def test_a_row_that_stands_there_twice_is_told_and_makes_no_post(meet: MeetAtHand) -> None:
    umpire = names(meet)[meet.umpire.id]
    rows = [f"{umpire},1,end,1-4", f"{umpire.upper()},1,END,1–4", f"{umpire},1,end,1-3"]
    text = "\n".join(["official,take over,edge,lanes", *rows])
    told = meet.organiser.post("crew-list", content=text, params={"check": "true"}).json()
    assert [(one["row"], one["problem"]) for one in told["problems"]] == [
        (3, "This post stands in row 2 already. Keep one of both.")
    ]


def test_posts_are_counted_as_they_are_made_and_not_by_rows(meet: MeetAtHand) -> None:
    """One place through two heats is one post; one row of two take-overs makes two."""
    umpire = names(meet)[meet.umpire.id]
    lists = (
        "event,round,heat,lane,team\nMixed 4x100 m,final,1,4,Tern\nMixed 4x100 m,final,2,4,Gull\n"
    )
    assert meet.organiser.post("start-lists", content=lists).status_code == 200
    rows = [f"{umpire},1,end,1-4,Mixed 4x100 m,final,{heat}" for heat in (1, 2)]
    rows.append(f'{umpire},"2, 3",end,5,Mixed 4x100 m,final,1')
    text = "\n".join(["official,take over,edge,lanes,event,round,heat", *rows])
    told = meet.organiser.post("crew-list", content=text, etag=etag(meet))
    assert told.status_code == 200, told.text
    assert told.json()["posts"] == len(posts(meet)) == 3
