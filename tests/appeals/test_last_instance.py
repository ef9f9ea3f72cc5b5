"""The referee does not pass over the jury, whether it ordered something or let it stand.

The jury's decision is final: World Athletics TR8.11 (published summary); NFHS 3-5, the jury is the
last instance (a state association's slides).
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import httpx
import pytest

from app.ids import new_id
from tests.appeals.desk import (
    a_panel,
    a_protest,
    an_announced_disqualification,
    an_appeal,
    announced,
    appeal,
    cast,
    decide,
    decided,
    jury_decides,
    lodge,
    set_aside,
    team,
)
from tests.appeals.test_final_word import a_dismissal_the_jury_let_stand
from tests.builders import Json, MeetAtHand, Service, a_meet, a_problem
from tests.rounds.builders import Event, by_name, two_heats


def the_jury(meet: MeetAtHand, lodged: Json, verdict: str, **decision: Any) -> Json:
    """Three who are not concerned vote, and the chair signs."""
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name, verdict).status_code == 201
    answer = jury_decides(meet, lodged, names[0], verdict, **decision)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


@pytest.fixture
def cleared(meet: MeetAtHand) -> Json:
    """The referee set a disqualification aside; a rival appealed, and the jury let it stand."""
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    announced(meet)
    the_jury(meet, appeal(meet, protest, team=team(meet, 5)), "rejected")
    return {**ruling, "decision": out["decision"]["id"]}


def ordered_by_referee(meet: MeetAtHand, order: Json, lane: int = 6) -> httpx.Response:
    """What the referee orders on a protest of another team."""
    protest = lodge(meet, a_protest(meet, team=team(meet, lane)))
    return decide(meet, protest, "upheld", orders=[order])


def refused(answer: httpx.Response, rule: str = "TR8.11") -> None:
    told = a_problem(answer, 409, "conflict")
    assert "final" in told["detail"]
    assert rule in told["detail"]


def test_what_the_jury_let_be_set_aside_is_not_put_back_by_a_fresh_report(
    meet: MeetAtHand, cleared: Json
) -> None:
    report = meet.report(by="second")
    answer = meet.rule(report["case"], infringement=report["finding"]["infringement"])
    refused(answer)
    assert "let stand that the referee has set this disqualification aside" in answer.text


def test_the_referee_does_not_restore_what_the_jury_let_be_set_aside(
    meet: MeetAtHand, cleared: Json
) -> None:
    order = {"order": "restore", "disqualification": cleared["disqualification"]}
    refused(ordered_by_referee(meet, order))


def test_the_referee_does_not_disqualify_for_what_the_jury_cleared_a_team_of(
    meet: MeetAtHand, cleared: Json
) -> None:
    order = {
        "order": "disqualify",
        "team": team(meet, 4),
        "infringement": "pass_completed_beyond_zone",
        "take_over": 1,
    }
    refused(ordered_by_referee(meet, order))
    other = {**order, "infringement": "help_given"}
    assert ordered_by_referee(meet, other, lane=7).status_code == 201, "that is another matter"


def test_the_referee_does_not_undo_the_decision_that_the_jury_let_stand(
    meet: MeetAtHand, cleared: Json
) -> None:
    refused(ordered_by_referee(meet, {"order": "undo", "decision": cleared["decision"]}))


def test_the_referee_does_not_set_aside_what_the_jury_let_be_ordered(meet: MeetAtHand) -> None:
    meet.start()
    assert meet.load_result().status_code == 201
    announced(meet)
    protest = lodge(meet, a_protest(meet, team=team(meet, 5)))
    order = {"order": "disqualify", "team": team(meet, 4), "infringement": "help_given"}
    decided(meet, protest, "upheld", orders=[order])
    announced(meet)
    the_jury(meet, appeal(meet, protest, team=team(meet, 4)), "rejected")
    (out,) = meet.desk.get("disqualifications").json()
    back = {"order": "set aside", "disqualification": out["id"]}
    refused(ordered_by_referee(meet, back))


def test_the_referee_does_not_disqualify_for_what_the_jury_let_be_dismissed(
    meet: MeetAtHand,
) -> None:
    a_dismissal_the_jury_let_stand(meet)
    order = {"order": "disqualify", "team": team(meet, 4), "take_over": 1}
    same = {**order, "infringement": "pass_completed_beyond_zone"}
    refused(ordered_by_referee(meet, same))
    elsewhere = {**same, "take_over": 3}
    assert ordered_by_referee(meet, elsewhere, lane=7).status_code == 201


def test_what_was_set_aside_and_nobody_appealed_is_restored_by_the_referee(
    meet: MeetAtHand,
) -> None:
    """World Athletics CR18.6 (from memory): the referee may look at a decision again."""
    ruling = an_announced_disqualification(meet)
    decided(meet, lodge(meet, a_protest(meet, ruling)), "upheld", orders=set_aside(ruling))
    order = {"order": "restore", "disqualification": ruling["disqualification"]}
    assert ordered_by_referee(meet, order).status_code == 201


def test_a_result_amended_after_the_jury_is_final_with_the_time_for_protests(
    service: Service,
) -> None:
    """Nobody can appeal any more, so it does not wait an hour for it."""
    meet = a_meet(service, terms={"protest_minutes": 5, "appeal_minutes": 60})
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    the_jury(meet, appeal(meet, protest, team=team(meet, 5)), "rejected")
    told = announced(meet)
    assert [one["remedy"] for one in told["windows"]] == ["protest"]
    service.clock.move(timedelta(minutes=6))
    now = meet.desk.get(f"heats/{meet.heat()}/result").json()["announced"]
    assert (now["pending"], now["final_since"] is not None) == ([], True)


@pytest.fixture
def event(meet: MeetAtHand) -> Event:
    """Two heats that lead to a final with room, both announced."""
    event = two_heats(meet)
    event.set(lanes=6)
    event.run("heats 1", "42.10", "42.50", "43.00")
    event.run("heats 2", "42.20", "42.60", "43.10")
    return event


def a_protest_of(event: Event, name: str) -> Json:
    sent = {"heat": event.heat(), "team": event.team(name), "about": "other"}
    return lodge(event.meet, {**sent, "lodged_by": "Mira Anchor"})


def the_jury_orders(event: Event, order: Json) -> Json:
    """Gull protests in vain, and the jury orders this."""
    protest = a_protest_of(event, "Gull")
    decided(event.meet, protest)
    assert event.meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    return the_jury(event.meet, appeal(event.meet, protest), "upheld", orders=[order])


def letters(event: Event) -> dict[str, str]:
    return {name: one["letter"] for name, one in by_name(event.now()).items()}


def test_a_line_that_the_jury_corrected_is_not_corrected_by_the_referee(event: Event) -> None:
    tern = event.team("Tern")
    the_jury_orders(event, {"order": "correct", "team": tern, "status": "DNF"})
    was = letters(event)
    order = {"order": "correct", "team": tern, "time": "42.10"}
    refused(decide(event.meet, a_protest_of(event, "Tern"), "upheld", orders=[order]))
    assert letters(event) == was
    other = {"order": "correct", "team": event.team("Heron"), "time": "42.90"}
    answer = decide(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[other])
    assert answer.status_code == 201, "of another line the jury has said nothing"


def test_a_line_of_a_race_that_is_run_again_is_corrected_by_the_referee(event: Event) -> None:
    tern = event.team("Tern")
    the_jury_orders(event, {"order": "correct", "team": tern, "status": "DNF"})
    event.hand("heats 1").hold_back()
    event.start("heats 1")
    event.load("heats 1", "42.10", "42.50", "43.00")
    order = {"order": "correct", "team": tern, "time": "42.20"}
    answer = decide(event.meet, a_protest_of(event, "Tern"), "upheld", orders=[order])
    assert answer.status_code == 201, answer.text


def heron_goes_on(event: Event) -> Json:
    """The referee lets Heron go on; Gull appeals, and the jury lets it stand."""
    protest = a_protest_of(event, "Heron")
    order = {"order": "advance", "team": event.team("Heron")}
    decided(event.meet, protest, "upheld", orders=[order])
    event.announce("heats 1")
    return appeal(event.meet, protest, team=event.team("Gull"))


def test_who_goes_on_as_the_jury_let_stand_is_not_recalled_by_the_referee(event: Event) -> None:
    the_jury(event.meet, heron_goes_on(event), "rejected")
    order = {"order": "recall", "team": event.team("Heron")}
    refused(decide(event.meet, a_protest_of(event, "Gull"), "upheld", orders=[order]))
    assert letters(event)["Heron"] == "qR"


def test_whom_the_jury_recalled_the_referee_does_not_let_go_on(event: Event) -> None:
    order = {"order": "recall", "team": event.team("Heron")}
    the_jury(event.meet, heron_goes_on(event), "upheld", orders=[order])
    again = {"order": "advance", "team": event.team("Heron")}
    refused(decide(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[again]))


def test_a_re_run_that_the_jury_let_stand_is_not_called_off_by_the_referee(event: Event) -> None:
    protest = a_protest_of(event, "Heron")
    order = {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.50"}
    decided(event.meet, protest, "upheld", orders=[order])
    event.announce("heats 1")
    the_jury(event.meet, appeal(event.meet, protest, team=event.team("Gull")), "rejected")
    event.read_again()
    (run,) = [name for name in event.heats if name not in {"heats 1", "heats 2"}]
    order = {"order": "call off", "heat": event.heat(run)}
    refused(decide(event.meet, a_protest_of(event, "Gull"), "upheld", orders=[order]))


def heron_asked_in_vain(event: Event, order: Json) -> None:
    """Heron's protest was rejected, and so was its appeal that asked for this."""
    protest = a_protest_of(event, "Heron")
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    the_jury(event.meet, appeal(event.meet, protest, sought=[order]), "rejected")


@pytest.mark.parametrize(
    "order",
    [
        {"order": "advance"},
        {"order": "correct", "time": "42.15"},
        {"order": "run again", "time_to_beat": "42.50"},
    ],
)
def test_what_the_jury_has_refused_a_team_the_referee_does_not_order_for_it(
    event: Event, order: Json
) -> None:
    heron = event.team("Heron")
    whom = {"teams": [heron]} if order["order"] == "run again" else {"team": heron}
    sought = {**order, **whom}
    heron_asked_in_vain(event, sought)
    for name in ("Heron", "Gull"):
        refused(decide(event.meet, a_protest_of(event, name), "upheld", orders=[sought]))
    how = {"time": "42.05"} if "time" in order else {}
    refused(decide(event.meet, a_protest_of(event, "Gull"), "upheld", orders=[{**sought, **how}]))


def test_what_the_jury_refused_one_team_binds_nobody_about_another_nor_in_a_new_race(
    event: Event,
) -> None:
    order = {"order": "advance", "team": event.team("Heron")}
    heron_asked_in_vain(event, order)
    other = {"order": "advance", "team": event.team("Puffin")}
    done = decide(event.meet, a_protest_of(event, "Gull"), "upheld", orders=[other])
    assert done.status_code == 201, done.text
    whole = [{"order": "run again"}]
    decided(event.meet, a_protest_of(event, "Gull"), "upheld", orders=whole)
    event.read_again()
    event.start("heats 1")
    event.load("heats 1", "42.10", "42.50", "43.00")
    done = decide(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[order])
    assert done.status_code == 201, done.text


def test_a_whole_heat_that_was_not_run_again_by_the_jurys_word_binds_no_other_reason(
    event: Event,
) -> None:
    heron_asked_in_vain(event, {"order": "run again"})
    whole = [{"order": "run again"}]
    done = decide(event.meet, a_protest_of(event, "Gull"), "upheld", orders=whole)
    assert done.status_code == 201, done.text


def test_what_was_to_be_set_aside_beside_a_placing_is_not_ruled_on_again(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet))
    decided(meet, protest)
    meet.desk.put(f"protests/{protest['id']}/advice", {})
    the_jury(meet, appeal(meet, protest, sought=set_aside(ruling)), "rejected")
    refused(ordered_by_referee(meet, set_aside(ruling)[0]))
    again = meet.rule(ruling["case"], verdict="dismissed", reconsiders=ruling["id"])
    told = a_problem(again, 409, "conflict")
    assert "The jury has decided about this ruling" in told["detail"]


def rejected_by_jury(event: Event, sought: list[Json], name: str = "Heron") -> None:
    """A team's protest was rejected, and so was its appeal that asked for this."""
    protest = a_protest_of(event, name)
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    the_jury(event.meet, appeal(event.meet, protest, sought=sought), "rejected")


def test_what_the_jury_refused_is_not_brought_about_by_undoing_something_else(
    event: Event,
) -> None:
    advance = {"order": "advance", "team": event.team("Heron")}
    recall = {"order": "recall", "team": event.team("Heron")}
    given = decided(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[advance])
    undo = {"order": "undo", "decision": given["decision"]["id"]}
    rejected_by_jury(event, [recall], "Gull")
    refused(decide(event.meet, a_protest_of(event, "Puffin"), "upheld", orders=[undo]))


def test_what_the_jury_was_asked_in_vain_to_undo_is_not_taken_back_by_another_order(
    event: Event,
) -> None:
    advance = {"order": "advance", "team": event.team("Heron")}
    given = decided(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[advance])
    rejected_by_jury(event, [{"order": "undo", "decision": given["decision"]["id"]}], "Gull")
    recall = {"order": "recall", "team": event.team("Heron")}
    refused(decide(event.meet, a_protest_of(event, "Puffin"), "upheld", orders=[recall]))


def test_what_the_jury_did_not_give_of_what_was_sought_is_refused_too(event: Event) -> None:
    heron = event.team("Heron")
    sought = [
        {"order": "correct", "team": heron, "time": "42.85"},
        {"order": "advance", "team": heron},
    ]
    protest = a_protest_of(event, "Heron")
    decided(event.meet, protest)
    event.meet.desk.put(f"protests/{protest['id']}/advice", {})
    the_jury(event.meet, appeal(event.meet, protest, sought=sought), "upheld", orders=sought[:1])
    refused(decide(event.meet, a_protest_of(event, "Gull"), "upheld", orders=sought[1:]))


def test_a_team_that_the_jury_did_not_let_run_again_does_not_do_so_among_others(
    event: Event,
) -> None:
    rejected_by_jury(event, [{"order": "run again", "teams": [event.team("Heron")]}])
    both = [event.team("Heron"), event.team("Gull")]
    order = {"order": "run again", "teams": both, "added_places": 1}
    refused(decide(event.meet, a_protest_of(event, "Gull"), "upheld", orders=[order]))


@pytest.mark.parametrize("again", ["undo", "disqualify", "restore"])
def test_a_team_that_the_jury_did_not_put_out_again_stays_in(meet: MeetAtHand, again: str) -> None:
    ruling = an_announced_disqualification(meet)
    out = decided(meet, lodge(meet, a_protest(meet, ruling)), "upheld", orders=set_aside(ruling))
    rival = lodge(meet, a_protest(meet, team=team(meet, 5)))
    decided(meet, rival)
    meet.desk.put(f"protests/{rival['id']}/advice", {})
    restore = {"order": "restore", "disqualification": ruling["disqualification"]}
    the_jury(meet, appeal(meet, rival, sought=[restore]), "rejected")
    known = next(
        one
        for one in meet.referee.get("disqualifications").json()
        if one["id"] == ruling["disqualification"]
    )
    order = {
        "undo": {"order": "undo", "decision": out["decision"]["id"]},
        "restore": restore,
        "disqualify": {
            "order": "disqualify",
            "team": team(meet, 4),
            "infringement": known["infringement"],
            "take_over": None,
        },
    }[again]
    refused(ordered_by_referee(meet, order))
    report = meet.report(by="second")
    a_problem(meet.rule(report["case"]), 409, "conflict")


@pytest.mark.parametrize("again", ["restore", "undo"])
def test_whom_the_jury_did_not_disqualify_is_not_put_out_by_what_was_set_aside(
    meet: MeetAtHand, again: str
) -> None:
    ruling = an_announced_disqualification(meet)
    out = decided(meet, lodge(meet, a_protest(meet, ruling)), "upheld", orders=set_aside(ruling))
    known = meet.referee.get("disqualifications").json()[0]
    sought = {
        "order": "disqualify",
        "team": team(meet, 4),
        "infringement": known["infringement"],
        "take_over": None,
    }
    rival = lodge(meet, a_protest(meet, team=team(meet, 5)))
    decided(meet, rival)
    meet.desk.put(f"protests/{rival['id']}/advice", {})
    the_jury(meet, appeal(meet, rival, sought=[sought]), "rejected")
    order = {
        "restore": {"order": "restore", "disqualification": ruling["disqualification"]},
        "undo": {"order": "undo", "decision": out["decision"]["id"]},
    }[again]
    refused(ordered_by_referee(meet, order))


def test_a_mistaken_correction_is_undone_though_the_jury_refused_another_one(
    event: Event,
) -> None:
    gull = event.team("Gull")
    rejected_by_jury(event, [{"order": "correct", "team": gull, "time": "42.30"}], "Gull")
    wrong = {"order": "correct", "team": gull, "status": "DNF"}
    out = decided(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[wrong])
    undo = {"order": "undo", "decision": out["decision"]["id"]}
    done = decide(event.meet, a_protest_of(event, "Gull"), "upheld", orders=[undo])
    assert done.status_code == 201, done.text


def test_a_team_that_the_jury_did_not_disqualify_is_not_ruled_on_for_the_same(
    meet: MeetAtHand,
) -> None:
    meet.start()
    report = meet.report(lane=4)
    assert meet.load_result().status_code == 201
    announced(meet)
    rival = lodge(meet, a_protest(meet, team=team(meet, 5)))
    decided(meet, rival)
    meet.desk.put(f"protests/{rival['id']}/advice", {})
    finding = meet.referee.get(f"cases/{report['case']}").json()["reports"][0]["finding"]
    sought = {
        "order": "disqualify",
        "team": team(meet, 4),
        "infringement": finding["infringement"],
        "take_over": None,
    }
    the_jury(meet, appeal(meet, rival, sought=[sought]), "rejected")
    told = a_problem(meet.rule(report["case"]), 409, "conflict")["detail"]
    assert "has not disqualified the team for this" in told
    refused(ordered_by_referee(meet, {**sought, "take_over": 2}))


def test_what_the_jury_refused_in_a_heat_is_free_in_its_re_run(event: Event) -> None:
    heron = event.team("Heron")
    help_given = {"order": "disqualify", "team": heron, "infringement": "help_given"}
    rejected_by_jury(event, [{**help_given, "take_over": None}], "Gull")
    again = {"order": "run again", "teams": [heron], "added_places": 1}
    decided(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[again])
    event.read_again()
    (name,) = [name for name in event.heats if name not in {"heats 1", "heats 2"}]
    event.run(name, "42.00")
    sent = {"heat": event.heat(name), "team": heron, "about": "other", "lodged_by": "A coach"}
    done = decide(event.meet, lodge(event.meet, sent), "upheld", orders=[help_given])
    assert done.status_code == 201, done.text


def test_a_race_run_anew_is_another_one_also_where_nobody_started_it_on_the_screen(
    event: Event,
) -> None:
    order = {"order": "advance", "team": event.team("Heron")}
    rejected_by_jury(event, [order])
    decided(event.meet, a_protest_of(event, "Gull"), "upheld", orders=[{"order": "run again"}])
    event.load("heats 1", "42.10", "42.50", "43.00")
    done = decide(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[order])
    assert done.status_code == 201, done.text


@pytest.mark.parametrize("whole", [True, False])
def test_a_race_that_the_jury_did_not_let_be_run_again_is_not_ordered_anew(
    event: Event, *, whole: bool
) -> None:
    teams = [] if whole else [event.team("Heron")]
    order = {"order": "run again", **({"teams": teams} if teams else {})}
    protest = a_protest_of(event, "Heron")
    out = decided(event.meet, protest, "upheld", orders=[order])
    undo = {"order": "undo", "decision": out["decision"]["id"]}
    lodged = appeal(event.meet, protest, team=event.team("Gull"))
    the_jury(event.meet, lodged, "upheld", orders=[undo])
    refused(decide(event.meet, a_protest_of(event, "Heron"), "upheld", orders=[order]))


@pytest.fixture
def school(service: Service) -> MeetAtHand:
    """A meet by NFHS rules, which ask for no deposit."""
    return a_meet(service, edition="nfhs-2019")


def a_school_appeal(school: MeetAtHand) -> Json:
    """An appeal on a disqualification that the referee let stand; its ruling under `ruled`."""
    ruling = an_announced_disqualification(school)
    protest = lodge(school, a_protest(school, ruling, ground="misapplication of rules"))
    decided(school, protest)
    assert school.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    return {**appeal(school, protest, deposit=None), "ruled": ruling, "protested": protest}


def test_the_refusals_name_the_rule_of_the_meets_own_edition(school: MeetAtHand) -> None:
    lodged = a_school_appeal(school)
    ruling = lodged["ruled"]
    the_jury(school, lodged, "upheld", orders=set_aside(ruling))
    report = school.report(by="second")
    for answer in (
        school.rule(report["case"], infringement=report["finding"]["infringement"]),
        school.rule(ruling["case"], verdict="dismissed", reconsiders=ruling["id"]),
    ):
        refused(answer, rule="(3-5)")
        assert "World Athletics" not in answer.text
    sent = an_appeal(school, lodged["protested"], deposit=None)
    second = school.desk.put(f"appeals/{new_id()}", sent)
    told = a_problem(second, 409, "not-protestable")
    assert "(3-5)" in told["detail"]
    assert "TR8" not in told["detail"]


def test_a_deposit_by_the_meets_own_terms_is_returned_without_another_codes_rule(
    service: Service,
) -> None:
    school = a_meet(
        service, edition="nfhs-2019", terms={"appeal_deposit": {"amount": 50, "currency": "USD"}}
    )
    lodged = a_school_appeal(school)
    paid = {"amount": 50, "currency": "USD", "receipt": "R-1"}
    assert school.desk.put(f"appeals/{lodged['id']}/deposit", paid).status_code == 200
    names = a_panel(school, lodged)
    for name in names:
        assert cast(school, lodged, name).status_code == 201
    orders = set_aside(lodged["ruled"])
    answer = jury_decides(school, lodged, names[0], orders=orders, deposit="forfeited")
    told = a_problem(answer, 422, "malformed")
    assert told["detail"] == "The appeal is upheld, so its deposit is returned (common practice)."
