"""A protest's and an appeal's papers printed later: they say what stands, and who said it."""

from __future__ import annotations

from datetime import timedelta

from app.appeals.which_heat import heat_called
from app.ids import HeatId
from tests.appeals.desk import (
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    announced,
    appeal,
    cast,
    decided,
    jury_decides,
    lodge,
    set_aside,
    team,
)
from tests.appeals.test_affected import a_protest_in, a_round_with_a_disqualification
from tests.appeals.test_papers import put_right, words
from tests.builders import Json, MeetAtHand
from tests.forms.pdf_reading import read_text
from tests.rounds.builders import Event, two_heats


def the_jury_decides(
    meet: MeetAtHand, lodged: Json, verdict: str = "upheld", **changes: object
) -> Json:
    """A panel of three hears what lies before it and decides."""
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name, verdict).status_code == 201
    answer = jury_decides(meet, lodged, names[0], verdict, **changes)
    assert answer.status_code == 201, answer.text
    return dict(answer.json()["decision"])


def a_referred_protest(meet: MeetAtHand) -> tuple[Json, Json]:
    """A protest that the referee has referred to the jury, and what then lies before it."""
    protest = lodge(meet, a_protest(meet, ruled := an_announced_disqualification(meet)))
    out = decided(meet, protest, "referred", reasons="I ruled on it myself.")
    lodged = meet["jury"].get(f"appeals/{out['appeals'][0]}").json()
    return {**out, "ruled": ruled}, lodged


def test_a_referred_protests_form_says_what_the_referee_did_and_what_the_jury_decided(
    meet: MeetAtHand,
) -> None:
    """World Athletics TR8.7: the referee may refer the matter to the jury."""
    protest, lodged = a_referred_protest(meet)
    referred = protest["decision"]["decided_at_local"]
    told = words(meet, f"protests/{protest['id']}")
    assert f"awaits the jury referred: {referred} · by: referee, referee" in told
    assert "decided:" not in told
    out = the_jury_decides(meet, lodged, orders=set_aside(protest["ruled"]))
    told = words(meet, f"protests/{protest['id']}")
    chair, at = "juror 1, chair of the jury", out["decided_at_local"]
    assert f"upheld decided: {at} · by: {chair} · on: appeal 1 What was decided" in told
    assert f"by the referee referred to the jury, {referred}, by referee, referee" in told
    assert f"by the jury appeal 1: upheld, {at}, by {chair}" in told
    assert "The disqualification of Plover 1" in told
    (because,) = announced(meet)["because"]
    of_team = (
        f"Protest {protest['number']} of Plover 1, referred by the referee, was upheld by the jury"
    )
    assert because.startswith(of_team)


def test_a_protests_form_says_that_the_jury_changed_what_the_referee_decided(
    meet: MeetAtHand,
) -> None:
    heard = an_upheld_appeal(meet)
    protest = meet.desk.get(f"protests/{heard['protest']}").json()
    told = words(meet, f"protests/{protest['id']}")
    at, before = heard["decision"]["decided_at_local"], protest["decision"]["decided_at_local"]
    by = f"decided: {at} · by: juror 1, chair of the jury · on: appeal 1 of Plover 1"
    assert f"changed by the jury {by}" in told
    assert f"by the referee rejected, {before}, by referee, referee" in told
    assert f"by the jury appeal 1 of Plover 1: upheld, {at}" in told


def test_a_protests_form_says_so_too_where_another_team_appealed(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    assert "upheld decided: " in words(meet, f"protests/{protest['id']}")
    announced(meet)
    lodged = appeal(meet, protest, team=team(meet, 5))
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    the_jury_decides(meet, lodged, orders=undo)
    told = words(meet, f"protests/{protest['id']}")
    assert "changed by the jury decided: " in told
    assert "appeal 1 of Curlew 1: upheld" in told
    assert "by the referee upheld, " in told


def test_the_referees_decision_stands_on_a_protests_form_where_the_appeal_was_rejected(
    meet: MeetAtHand,
) -> None:
    protest = a_rejected_protest(meet)
    out = the_jury_decides(meet, appeal(meet, protest), "rejected")
    told = words(meet, f"protests/{protest['id']}")
    stands = f"rejected decided: {protest['decision']['decided_at_local']} · by: referee, referee"
    assert f"{stands} What was decided" in told
    assert f"appeal 1 of Plover 1: rejected, {out['decided_at_local']}, by juror 1" in told


def test_a_protests_form_says_that_another_decision_undid_what_was_ordered(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    other = lodge(meet, a_protest(meet, team=team(meet, 6)))
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    then = decided(meet, other, "upheld", orders=undo)["decision"]["decided_at_local"]
    told = words(meet, f"protests/{protest['id']}")
    whose = f"protest {other['number']} of {other['team_name']}"
    assert f"undone since decided: {then} · by: referee, referee · on: {whose}" in told
    assert f"by the referee {whose}: upheld, {then}" in told


def an_appeal_from_heat_2(meet: MeetAtHand) -> tuple[Event, Json, Json, Json]:
    """Both heats tell what the referee decided on heat 1, heat 2 the later; then Curlew of heat 2
    appeals. Gives the decision, what heat 2 announced, and the appeal.
    """
    event, ruling = a_round_with_a_disqualification(meet)
    out = decided(meet, a_protest_in(event, ruling), "upheld", orders=set_aside(ruling))
    event.announce("heats 1")
    meet.service.clock.move(timedelta(minutes=10))
    told = event.announce("heats 2").json()
    lodged = appeal(meet, out, team=event.team("Curlew"))
    return event, out["decision"], told, lodged


def test_what_is_measured_by_another_heats_announcement_names_that_heat(meet: MeetAtHand) -> None:
    """World Athletics TR8.7.1 (number from memory): an appeal within 30 minutes of the announcement
    of the amended result.
    """
    _event, decision, told, lodged = an_appeal_from_heat_2(meet)
    assert lodged["timeliness"]["opened_by"] == f"announcement {told['number']} of heat 2"
    named = f"opened by announcement {told['number']} of heat 2, until "
    assert named in words(meet, f"appeals/{lodged['id']}")
    affected = meet.desk.get(f"protests/{decision['protest']}").json()["decision"]["affected"]
    windows = {one["team_name"]: one["window"]["opened_by"] for one in affected}
    assert windows["Curlew"] == f"announcement {told['number']} of heat 2"
    assert windows["Tern"] == "announcement 2"
    at = meet.service.clock.now() - timedelta(minutes=1)
    put_right(meet, f"announcements/{told['id']}", announced_at=at.isoformat())
    corrected = f"Time of announcement {told['number']} of heat 2: "
    assert corrected in words(meet, f"appeals/{lodged['id']}")


def test_a_re_run_is_named_by_its_own_round(meet: MeetAtHand) -> None:
    event = two_heats(meet)
    event.set()
    event.run("heats 1", "42.10", "42.50", "43.00")
    about = {"heat": event.heat(), "team": event.team("Heron"), "about": "placing"}
    again = {"order": "run again", "teams": [event.team("Heron")], "time_to_beat": "42.60"}
    decided(meet, lodge(meet, {**about, "lodged_by": "Mira Anchor"}), "upheld", orders=[again])
    event.read_again()

    def called(heat: str) -> str:
        return event.read(
            lambda unit: heat_called(unit.conn, unit.meet_id, HeatId(event.heat(heat)))
        )

    assert called("heats 1") == "heat 1"
    assert called("heats, re-run 1") == "heat 1 of the heats, re-run"


def test_papers_about_a_team_of_another_heat_say_where_it_ran(meet: MeetAtHand) -> None:
    event, _decision, _told, lodged = an_appeal_from_heat_2(meet)
    lane = event.lane("Curlew", "heats 2")
    told = words(meet, f"appeals/{lodged['id']}")
    assert f"Women 4x100 m heats 1 {lane} in heat 2 team" in told.replace(
        event.name, "Women 4x100 m"
    )
    assert f"Curlew Club {lane} World" in told
    assert f"lodged for Curlew ran in heat 2, lane {lane} lodged by" in told
    out = the_jury_decides(meet, lodged, "rejected")
    told = words(meet, f"decisions/{out['id']}")
    assert f"ran in heat 2, lane {lane} lodged by" in told
    assert f"heat 1 · lane {lane} in heat 2 · Curlew" in told


def printed(meet: MeetAtHand, told: Json) -> tuple[str, str]:
    """An announcement as it is read aloud, and its sheet, as both are printed now."""
    address = f"/api/meets/{meet.id}/announcements/{told['id']}"
    sheet = read_text(meet.service.http.get(f"{address}.pdf").content)
    return meet.service.http.get(f"{address}.txt").text, " ".join(sheet.split())


def test_nobody_is_told_of_a_time_for_appeals_once_the_jury_has_decided(meet: MeetAtHand) -> None:
    """World Athletics TR8.11: the jury's decision is final."""
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    told = announced(meet)
    assert "Appeals can be lodged until " in printed(meet, told)[0]
    assert "Appeals until " in printed(meet, told)[1]
    assert "Appeals until " in words(meet, f"decisions/{out['decision']['id']}")
    the_jury_decides(meet, appeal(meet, protest, team=team(meet, 5)), "rejected")
    for passed in (timedelta(0), timedelta(minutes=40)):
        meet.service.clock.move(passed)
        aloud, sheet = printed(meet, told)
        assert "Appeals can no longer be lodged: the jury has decided, and that is final." in aloud
        assert "Appeals: none any more, for the jury has decided, and that is final" in sheet
        for text in (aloud, sheet):
            assert "Appeals until" not in text
            assert "Appeals can be" not in text
            assert "Appeals could" not in text
        later = words(meet, f"decisions/{out['decision']['id']}")
        assert "Appeals until" not in later
        assert "No appeal can be lodged any more: the decision of the jury is final" in later
    read = meet.service.http.get(f"/api/meets/{meet.id}/announcements/{told['id']}.json").json()
    assert read["windows"] == told["windows"], "what it said when it was made stays"
    assert "The jury has decided" in read["appeals_void"]


def test_time_for_appeals_goes_on_where_the_jury_has_decided_on_another_protest_alone(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    other = lodge(meet, a_protest(meet, team=team(meet, 6)))
    referred = decided(meet, other, "referred")["appeals"][0]
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    told = announced(meet)
    the_jury_decides(meet, {"id": referred}, "rejected")
    assert "Appeals can be lodged until " in printed(meet, told)[0]
    assert (
        meet.service.http.get(f"/api/meets/{meet.id}/announcements/{told['id']}.json").json()[
            "appeals_void"
        ]
        == ""
    )


def test_what_the_referee_referred_is_no_appeal_of_the_team(meet: MeetAtHand) -> None:
    """World Athletics TR8.7: the referee may refer the matter to the jury."""
    protest, lodged = a_referred_protest(meet)
    at = protest["decision"]["decided_at_local"]
    out = the_jury_decides(meet, lodged, orders=set_aside(protest["ruled"]))
    called = "appeal 1 (protest 1)"
    referred = "Appeal 1 (protest 1, referred) protest of Plover 1 referred by referee, referee "
    for address in (f"appeals/{lodged['id']}", f"decisions/{out['id']}"):
        told = words(meet, address)
        assert called in told
        assert f"{referred}referred at {at}" in told
        assert f"lodged at {protest['lodged_at_local']}" in told, "that is the protest"
        for untrue in ("Appellant", "no window had opened", "deposit received"):
            assert untrue not in told
    form = words(meet, f"appeals/{lodged['id']}")
    assert "Referred to the jury" in form
    assert "referee · Referee date, time" in form.partition("Signatures in ink")[2]
    assert lodged["timeliness"]["words"].startswith("referred by the referee")


def test_a_result_waits_for_what_was_referred_by_its_protest_too(meet: MeetAtHand) -> None:
    a_referred_protest(meet)
    shown = meet.desk.get(f"heats/{meet.heat()}/result").json()["announced"]
    assert "Appeal 1 (protest 1, referred by the referee) awaits the jury." in shown["pending"]


def test_the_last_word_stands_on_a_protests_form_whoever_said_it(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    decided(meet, lodge(meet, a_protest(meet, team=team(meet, 6))), "upheld", orders=undo)
    heard = the_jury_decides(meet, appeal(meet, protest), orders=set_aside(ruling))
    told = words(meet, f"protests/{protest['id']}")
    assert f"changed by the jury decided: {heard['decided_at_local']}" in told
    assert told.index("by the referee protest 2") < told.index("by the jury appeal 1")


def test_the_form_of_a_ruling_says_whose_disqualification_by_which_rule_was_set_aside(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    told = words(meet, f"rulings/{ruling['id']}")
    which = "The disqualification of Plover 1 (DQ TR24.7) was set aside by the decision of the"
    assert f"{which} referee on protest {protest['number']}, " in told
