"""Who is concerned by what an appeal is about, also where nobody knows yet how it ends.

World Athletics CR12, read by its consequence; from memory.
"""

from __future__ import annotations

from app.ids import new_id
from tests.appeals.desk import (
    a_protest,
    a_rejected_protest,
    announced,
    appeal,
    cast,
    decide,
    decided,
    jurors,
    jury_decides,
    lodge,
    name_panel,
    team,
)
from tests.builders import Json, MeetAtHand, a_post, a_problem, add_official
from tests.rounds.builders import Event, two_heats


def two_heats_run(meet: MeetAtHand, third: str = "42.30") -> Event:
    """Both heats are announced: only the first of each goes on, so Gull and Heron are out."""
    event = two_heats(meet)
    event.set(by_time=0, lanes=8)
    event.run("heats 1", "42.10", "42.20", third)
    event.run("heats 2", "42.15", "42.25", "42.35")
    return event


def an_appeal_of(event: Event, name: str, **changes: object) -> tuple[MeetAtHand, Json]:
    """A protest of a team of the first heat was rejected, and it appeals; gives the heat's hand."""
    hand = event.hand("heats 1")
    protest = lodge(
        hand,
        {
            "heat": event.heat(),
            "team": event.team(name),
            "about": "placing",
            "lodged_by": "Mira Anchor",
        },
    )
    protest = decided(hand, protest)
    hand.desk.put(f"protests/{protest['id']}/advice", {})
    return hand, appeal(hand, protest, **changes)


def states(meet: MeetAtHand, lodged: Json) -> dict[str, str]:
    told = meet["jury"].get(f"appeals/{lodged['id']}").json()
    return {one["affiliation"]: one["state"] for one in told["panel"]["members"]}


def test_who_would_run_again_is_touched_though_nobody_moves_yet(meet: MeetAtHand) -> None:
    event = two_heats_run(meet)
    teams = [event.team("Heron"), event.team("Gull")]
    orders = [{"order": "run again", "teams": teams, "added_places": 1}]
    hand, lodged = an_appeal_of(event, "Heron", sought=orders)
    names = jurors(meet, "Gull Club", "Far Club", "")
    name_panel(meet, lodged, names)
    assert states(meet, lodged)["Gull Club"] == "asked to withdraw"
    a_problem(cast(hand, lodged, names[0]), 403, "affected")


def test_who_is_ordered_to_run_again_is_touched_though_nobody_asked_for_it(
    meet: MeetAtHand,
) -> None:
    event = two_heats_run(meet)
    wanted = [{"order": "correct", "team": event.team("Heron"), "time": "42.25"}]
    hand, lodged = an_appeal_of(event, "Heron", sought=wanted)
    names = jurors(meet, "Gull Club", "Far Club", "")
    name_panel(meet, lodged, names)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    orders = [{"order": "run again", "teams": [event.team("Gull")], "added_places": 1}]
    told = a_problem(jury_decides(hand, lodged, names[0], orders=orders), 403, "affected")
    assert "Gull Club" in told["detail"]


def test_whoever_is_concerned_by_what_is_ordered_and_does_not_go_holds_nothing_up(
    meet: MeetAtHand,
) -> None:
    """The chair strikes nobody out by an order; the organiser, who has no vote, takes the role:
    common practice.
    """
    event = two_heats_run(meet)
    wanted = [{"order": "correct", "team": event.team("Heron"), "time": "42.25"}]
    hand, lodged = an_appeal_of(event, "Heron", sought=wanted)
    names = jurors(meet, "Far Club", "Gull Club", "", "Other Club")
    name_panel(meet, lodged, names[:3], names[3:])
    for name in names[:3]:
        assert cast(hand, lodged, name).status_code == 201
    orders = [{"order": "run again", "teams": [event.team("Gull")], "added_places": 1}]
    told = a_problem(jury_decides(hand, lodged, names[0], orders=orders), 403, "affected")
    assert "the organiser takes the role jury" in told["detail"]
    concerned = hand[names[1]].id
    seen = hand.organiser.get(f"officials/{concerned}")
    document = {**seen.json(), "roles": ["umpire"]}
    sent = {key: document[key] for key in ("name", "affiliation", "roles")}
    took = hand.organiser.put(f"officials/{concerned}", sent, etag=seen.headers["ETag"])
    assert took.status_code == 200, took.text
    named = name_panel(hand, lodged, [names[0], names[2], names[3]])
    assert named.status_code == 200, named.text
    assert cast(hand, lodged, names[3]).status_code == 201
    assert jury_decides(hand, lodged, names[0], orders=orders).status_code == 201


def test_where_the_whole_heat_runs_again_all_its_teams_are_touched(meet: MeetAtHand) -> None:
    event = two_heats_run(meet, third="DNF")
    hand, lodged = an_appeal_of(event, "Gull", sought=[{"order": "run again"}])
    names = jurors(meet, "Heron Club", "Far Club", "")
    name_panel(meet, lodged, names)
    a_problem(cast(hand, lodged, names[0]), 403, "affected")


def test_a_decision_lists_whom_it_names_among_those_affected(meet: MeetAtHand) -> None:
    event = two_heats_run(meet, third="DNF")
    orders = [{"order": "run again"}]
    hand, lodged = an_appeal_of(event, "Gull", sought=orders)
    names = jurors(meet, "Far Club", "Near Club", "")
    name_panel(meet, lodged, names)
    for name in names:
        assert cast(hand, lodged, name).status_code == 201
    out = jury_decides(hand, lodged, names[0], orders=orders)
    assert out.status_code == 201, out.text
    decision = out.json()["decision"]
    assert {one["team_name"] for one in decision["affected"]} >= {"Tern", "Gull", "Heron"}
    assert [one["name"] for one in decision["consequences"]["named"]] == ["Gull", "Heron", "Tern"]


def a_juror_who(meet: MeetAtHand, *roles: str) -> str:
    """A member of the jury who holds other roles as well; gives the name."""
    name = " and ".join(("juror", *roles))
    if name not in meet.people:
        add_official(meet, name, "jury", *roles)
    return name


def a_post_for(meet: MeetAtHand, name: str, *lanes: int) -> None:
    """An umpire stands at the second take-over, beside the one who is there."""
    meet.posts[name] = new_id()
    posts = [
        a_post(meet.posts["umpire"], meet["umpire"].id),
        a_post(meet.posts[name], meet[name].id, lanes=list(lanes), take_over=2),
    ]
    seen = meet.organiser.get("crew").headers.get("ETag")
    put = meet.organiser.put("crew", {"posts": posts}, etag=seen)
    assert put.status_code == 200, put.text


def reported_and_dismissed(meet: MeetAtHand, by: str, lane: int) -> None:
    report = meet.report(by=by, lane=lane, post=meet.posts[by])
    assert meet.rule(report["case"], verdict="dismissed").status_code == 201


def out_of(meet: MeetAtHand, lane: int) -> list[Json]:
    infringement = "pass_completed_beyond_zone"
    return [{"order": "disqualify", "team": team(meet, lane), "infringement": infringement}]


def test_nobody_disqualifies_on_their_own_report_by_deciding_anothers_protest(
    meet: MeetAtHand,
) -> None:
    """Common practice: nobody decides on their own report."""
    add_official(meet, "both", "umpire", "referee")
    a_post_for(meet, "both", 5, 6)
    meet.start(0)
    meet.load_result(0)
    reported_and_dismissed(meet, "both", 6)
    announced(meet)
    protest = lodge(meet, a_protest(meet, team=team(meet, 5), about="other"))
    orders = out_of(meet, 6)
    answer = decide(meet, protest, "upheld", by="both", orders=orders)
    a_problem(answer, 403, "own-report")
    assert decide(meet, protest, "upheld", orders=orders).status_code == 201


def test_who_reported_the_team_that_an_appeal_is_to_put_out_does_not_sit(meet: MeetAtHand) -> None:
    juror = a_juror_who(meet, "umpire")
    a_post_for(meet, juror, 5, 6, 7)
    meet.start(0)
    meet.load_result(0)
    reported_and_dismissed(meet, juror, 7)
    announced(meet)
    protest = decided(meet, lodge(meet, a_protest(meet, team=team(meet, 5), about="other")))
    meet.desk.put(f"protests/{protest['id']}/advice", {})
    lodged = appeal(meet, protest, sought=out_of(meet, 7))
    told = a_problem(name_panel(meet, lodged, [*jurors(meet, "", ""), juror]), 422, "malformed")
    assert "wrote a report in this matter" in told["detail"]


def test_who_reports_or_rules_after_the_panel_was_named_has_no_vote(meet: MeetAtHand) -> None:
    reporter, ruler = a_juror_who(meet, "umpire"), a_juror_who(meet, "referee")
    a_post_for(meet, reporter, 4, 5, 6)
    lodged = appeal(meet, a_rejected_protest(meet))
    chair, substitute = jurors(meet, "", "")
    assert name_panel(meet, lodged, [chair, reporter, ruler], [substitute]).status_code == 200
    report = meet.report(by=reporter, lane=4, post=meet.posts[reporter])
    assert meet.rule(report["case"], by=ruler).status_code == 201
    for name, why in ((reporter, "wrote a report"), (ruler, "ruled")):
        told = a_problem(cast(meet, lodged, name), 403, "not-yours")
        assert why in told["detail"]
        assert "substitute" in told["detail"]
    seen = meet["jury"].get(f"appeals/{lodged['id']}")
    shown = {one["name"]: one["state"] for one in seen.json()["panel"]["members"]}
    assert shown[ruler] == shown[reporter] == "asked to withdraw"
    # The chair asks aside who does not go.
    sent = {"reasons": "Has ruled since.", "replaced_by": meet[substitute].id}
    address = f"appeals/{lodged['id']}/panel/{meet[ruler].id}/withdraw"
    assert meet[chair].post(address, sent, etag=seen.headers["ETag"]).status_code == 200


def test_who_rules_after_voting_makes_the_decision_refused(meet: MeetAtHand) -> None:
    ruler = a_juror_who(meet, "referee")
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    names = [*jurors(meet, "", ""), ruler]
    assert name_panel(meet, lodged, names).status_code == 200
    for name in names:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    assert meet.rule(meet.report(lane=4)["case"], by=ruler, verdict="dismissed").status_code == 201
    told = a_problem(jury_decides(meet, lodged, names[0], "rejected"), 403, "not-yours")
    assert "ruled in this matter" in told["detail"]


def test_who_decided_another_protest_about_the_same_ruling_does_not_sit(meet: MeetAtHand) -> None:
    juror = a_juror_who(meet, "referee")
    protest = a_rejected_protest(meet)
    other = lodge(meet, a_protest(meet, protest["ruled"], team=team(meet, 5)))
    assert decide(meet, other, by=juror).status_code == 201
    lodged = appeal(meet, protest)
    told = a_problem(name_panel(meet, lodged, [*jurors(meet, "", ""), juror]), 422, "malformed")
    assert "decided a protest in this matter" in told["detail"]
