"""What the desk typed wrongly is put right by an act with a reason; what hangs on it follows.

Windows: World Athletics TR8.2 and TR8.7 (30 minutes), numbers of sub-clauses from memory. That a
mistake is corrected by a further entry, which leaves the first one readable, is common practice.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import (
    a_deposit,
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    announced,
    appeal,
    cast,
    decide,
    decided,
    jurors,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
    team,
)
from tests.builders import PIN, Json, MeetAtHand, a_problem, add_official
from tests.forms.pdf_reading import read_text

NOON = datetime(2026, 6, 13, 10, 0, tzinfo=UTC)


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def at_noon(meet: MeetAtHand, later: float = 0) -> datetime:
    meet.service.clock.stand_at(NOON + minutes(later))
    return NOON + minutes(later)


def put_right(
    meet: MeetAtHand, address: str, by: str = "results", ident: str = "", **changes: Any
) -> httpx.Response:
    said = {
        name: rfc3339(value) if isinstance(value, datetime) else value
        for name, value in changes.items()
    }
    sent = {"reasons": "Typed wrongly; the slip says so.", "pin": PIN, **said}
    return meet[by].put(f"{address}/{ident or new_id()}", sent)


def done(answer: httpx.Response) -> Json:
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def a_late_protest(meet: MeetAtHand) -> Json:
    """Announced at noon, and taken in at 12:50 as if lodged then."""
    at_noon(meet)
    ruling = an_announced_disqualification(meet)
    at_noon(meet, 50)
    lodged = lodge(meet, a_protest(meet, ruling))
    assert lodged["marks"] == ["late"]
    return {**lodged, "ruled": ruling}


def test_a_protest_that_was_lodged_earlier_than_typed_is_in_time_after_all(
    meet: MeetAtHand,
) -> None:
    lodged = a_late_protest(meet)
    out = decided(meet, lodged)
    address, ident = f"protests/{lodged['id']}/time-corrections", new_id()
    truly = NOON + minutes(20)
    after = done(put_right(meet, address, ident=ident, lodged_at=truly))
    assert (after["marks"], after["timeliness"]["words"]) == ([], "in time by 10 min")
    assert after["version"] == out["version"] + 1
    (one,) = after["corrections"]
    assert (one["about"], one["was"], one["becomes"]) == (
        "time of a protest",
        rfc3339(NOON + minutes(50)),
        rfc3339(truly),
    )
    assert one["was_local"] == "2026-06-13 12:50:00 CEST (Europe/Paris)"
    assert (one["corrected_by_name"], one["reasons"]) == (
        "results",
        "Typed wrongly; the slip says so.",
    )
    assert [(told["what"], told["before"]) for told in one["now_in_time"]] == [
        ("protest", "LATE by 20 min")
    ]
    head = meet.head()
    again = put_right(meet, address, ident=ident, lodged_at=truly)
    assert (again.status_code, again.json(), meet.head()) == (200, after, head)
    a_problem(put_right(meet, address, ident=ident, lodged_at=NOON), 409, "id-taken")
    page = meet.desk.get("protests").json()["protests"]
    assert page[0]["corrections"] == after["corrections"]
    # The protest as it was first sent is still the same one.
    sent = a_protest(meet, lodged["ruled"])
    assert meet.desk.put(f"protests/{lodged['id']}", sent).status_code == 200


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (51, "first entered at"),
        (50, "nothing to correct"),
        (-30, "before what it is about"),
        (50 - 12 * 60 - 1, "twelve hours"),
    ],
)
def test_a_corrected_time_keeps_the_bounds_of_the_first(
    meet: MeetAtHand, at: int, words: str
) -> None:
    lodged = a_late_protest(meet)
    at_noon(meet, 60)
    wrong = put_right(
        meet, f"protests/{lodged['id']}/time-corrections", lodged_at=NOON + minutes(at)
    )
    told = a_problem(wrong, 422, "malformed")
    assert words in told["detail"]
    assert told["errors"][0]["pointer"] == "/lodged_at"


def test_who_looked_at_a_protest_before_it_was_corrected_looks_again(meet: MeetAtHand) -> None:
    lodged = a_late_protest(meet)
    done(put_right(meet, f"protests/{lodged['id']}/time-corrections", lodged_at=NOON))
    sent = {"verdict": "rejected", "reasons": "It came late.", "pin": PIN}
    stale = meet.referee.put(f"protests/{lodged['id']}/decision", sent, etag='"v1"')
    a_problem(stale, 412, "stale")
    assert decide(meet, lodged).status_code == 201


def a_late_appeal(meet: MeetAtHand, **changes: Any) -> Json:
    """Told at noon that nothing is amended; the appeal is taken in 40 minutes later."""
    at_noon(meet)
    protest = a_rejected_protest(meet)
    at_noon(meet, 40)
    lodged = appeal(meet, protest, **changes)
    return {**lodged, "of": protest}


def test_an_appeal_is_in_time_once_its_time_and_its_deposits_are_put_right(
    meet: MeetAtHand,
) -> None:
    lodged = a_late_appeal(meet)
    assert lodged["state"] == "late"
    address = f"appeals/{lodged['id']}"
    truly = NOON + minutes(20)
    half = done(put_right(meet, f"{address}/time-corrections", lodged_at=truly))
    assert half["state"] == "late", "its deposit came with it, and bears the same wrong time"
    assert half["corrections"][0]["now_in_time"] == []
    times = f"{address}/deposit/time-corrections"
    after = done(put_right(meet, times, by="jury", received_at=truly))
    assert (after["state"], after["timeliness"]["words"]) == ("admitted", "in time by 10 min")
    assert [one["about"] for one in after["corrections"]] == [
        "time of an appeal",
        "time of a deposit",
    ]
    (told,) = after["corrections"][1]["now_in_time"]
    assert (told["what"], told["number"]) == ("appeal", lodged["number"])
    dossier = meet["jury"].get(f"{address}/dossier").json()
    assert dossier["appeal"]["corrections"] == after["corrections"]
    # The deposit as it was first sent is still the same one.
    receipt = lodged["deposit"]["receipt"]
    sent = {"amount": 100, "currency": "USD", "receipt": receipt}
    for at in (rfc3339(NOON + minutes(40)), rfc3339(truly)):
        again = meet.desk.put(f"{address}/deposit", {**sent, "received_at": at})
        assert (again.status_code, again.json()["version"]) == (200, after["version"])


def test_nobody_of_its_panel_puts_an_appeal_right_and_so_admits_it_alone(meet: MeetAtHand) -> None:
    """That who decides a matter does not change the facts that it rests on is common practice."""
    lodged = a_late_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Fourth Club")
    assert name_panel(meet, lodged, names[:3], names[3:]).status_code == 200
    address, truly = f"appeals/{lodged['id']}", NOON + minutes(20)
    head = meet.head()
    for name in names:
        for way, changes in (
            ("time-corrections", {"lodged_at": truly}),
            ("deposit/time-corrections", {"received_at": truly}),
            ("deposit/receipt-corrections", {"receipt": "R-81"}),
        ):
            told = a_problem(
                put_right(meet, f"{address}/{way}", by=name, **changes), 403, "not-yours"
            )
            assert f"of the panel of appeal {lodged['number']}" in told["detail"]
    assert meet.head() == head
    done(put_right(meet, f"{address}/time-corrections", by="jury", lodged_at=truly))


def test_who_sits_on_the_panel_does_not_put_the_protest_right_by_another_role(
    meet: MeetAtHand,
) -> None:
    lodged = a_late_appeal(meet)
    add_official(meet, "clerk", "results", "jury")
    names = jurors(meet, "Far Club", "Near Club")
    assert name_panel(meet, lodged, [*names, "clerk"]).status_code == 200
    protest = lodged["of"]["id"]
    for way, changes in (
        ("time-corrections", {"lodged_at": NOON - minutes(1)}),
        ("advice/time-corrections", {"advised_at": NOON + minutes(15)}),
    ):
        refused = put_right(meet, f"protests/{protest}/{way}", by="clerk", **changes)
        a_problem(refused, 403, "not-yours")


def test_nobody_of_its_panel_makes_an_appeal_timely_by_the_time_of_an_announcement(
    meet: MeetAtHand,
) -> None:
    """The time for an appeal against an amended result runs from its announcement (TR8.7)."""
    at_noon(meet)
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    told = announced(meet)
    at_noon(meet, 40)
    lodged = appeal(meet, protest, team=team(meet, 5), sought=[])
    assert lodged["state"] == "late"
    add_official(meet, "clerk", "results", "jury")
    names = jurors(meet, "Far Club", "Near Club")
    assert name_panel(meet, lodged, [*names, "clerk"]).status_code == 200
    address, head = f"announcements/{told['id']}/time-corrections", meet.head()
    refused = put_right(meet, address, by="clerk", announced_at=NOON + minutes(20))
    assert "of the panel of appeal" in a_problem(refused, 403, "not-yours")["detail"]
    assert meet.head() == head
    # By this it is as late as before, so it is nobody's own matter.
    done(put_right(meet, address, by="clerk", announced_at=NOON + minutes(5)))
    done(put_right(meet, address, announced_at=NOON + minutes(20)))
    assert meet.desk.get(f"appeals/{lodged['id']}").json()["state"] == "admitted"


def test_whoever_made_an_appeal_timely_does_not_sit_on_it_afterwards(meet: MeetAtHand) -> None:
    """The same by another order of acts: a late appeal is admitted by a panel's chair alone."""
    lodged = a_late_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Fourth Club")
    address, truly = f"appeals/{lodged['id']}", NOON + minutes(20)
    for way, changes in (
        ("time-corrections", {"lodged_at": truly}),
        ("deposit/time-corrections", {"received_at": truly}),
    ):
        done(put_right(meet, f"{address}/{way}", by=names[0], **changes))
    barred = name_panel(meet, lodged, names[:3])
    told = a_problem(barred, 422, "malformed")["detail"]
    assert "put right what this is measured by" in told
    assert name_panel(meet, lodged, names[1:]).status_code == 200


def test_whoever_typed_when_an_appeal_was_lodged_does_not_sit_on_it(meet: MeetAtHand) -> None:
    at_noon(meet)
    protest = a_rejected_protest(meet)
    at_noon(meet, 40)
    add_official(meet, "clerk", "results", "jury")
    typed = rfc3339(NOON + minutes(20))
    lodged = appeal(meet, protest, by="clerk", lodged_at=typed, deposit=None)
    names = jurors(meet, "Far Club", "Near Club", "")
    told = a_problem(name_panel(meet, lodged, ["clerk", *names[:2]]), 422, "malformed")["detail"]
    assert "typed when this was lodged" in told
    assert name_panel(meet, lodged, names).status_code == 200


def clerk_barred(meet: MeetAtHand, lodged: Json, said: str) -> None:
    """The clerk does not sit on this appeal, and the answer says why."""
    names = jurors(meet, "Far Club", "Near Club", "")
    told = a_problem(name_panel(meet, lodged, ["clerk", *names[:2]]), 422, "malformed")["detail"]
    assert f"clerk {said}, so somebody else sits" in told
    assert name_panel(meet, lodged, names).status_code == 200


@pytest.mark.parametrize("is_with_appeal", [True, False])
def test_whoever_typed_when_a_deposit_was_received_does_not_sit_on_its_appeal(
    meet: MeetAtHand, *, is_with_appeal: bool
) -> None:
    """Whether an appeal is in time goes by its deposit too (World Athletics TR8.7)."""
    at_noon(meet)
    protest = a_rejected_protest(meet)
    at_noon(meet, 20)
    add_official(meet, "clerk", "results", "jury")
    typed = {**a_deposit(meet), "received_at": rfc3339(NOON + minutes(15))}
    if is_with_appeal:
        lodged = appeal(meet, protest, by="clerk", deposit=typed)
    else:
        lodged = appeal(meet, protest, deposit=None)
        paid = meet["clerk"].put(f"appeals/{lodged['id']}/deposit", typed)
        assert paid.status_code == 200, paid.text
        done(
            put_right(
                meet,
                f"appeals/{lodged['id']}/deposit/time-corrections",
                received_at=NOON + minutes(16),
            )
        )
    clerk_barred(meet, lodged, "typed when the deposit was received")


def test_whoever_typed_when_the_protesters_were_told_does_not_sit_on_the_appeal(
    meet: MeetAtHand,
) -> None:
    """The time for an appeal runs from the advice (World Athletics TR8.7)."""
    at_noon(meet)
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    decided(meet, protest)
    at_noon(meet, 20)
    add_official(meet, "clerk", "results", "jury")
    typed = {"advised_at": rfc3339(NOON + minutes(5))}
    told = meet["clerk"].put(f"protests/{protest['id']}/advice", typed)
    assert told.status_code == 200, told.text
    clerk_barred(meet, appeal(meet, protest), "typed when the protesters were told")


def test_whoever_typed_when_the_amended_result_was_announced_does_not_sit_on_the_appeal(
    meet: MeetAtHand,
) -> None:
    """The time for an appeal runs from that announcement (World Athletics TR8.7.1)."""
    at_noon(meet)
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    at_noon(meet, 20)
    add_official(meet, "clerk", "results", "jury")
    sent = {"announced_at": rfc3339(NOON + minutes(5)), "despite": "The second telephone failed."}
    told = meet.announce(by="clerk", **sent)
    assert told.status_code == 201, told.text
    lodged = appeal(meet, protest, team=team(meet, 5))
    clerk_barred(meet, lodged, "typed when the result was announced")


def test_whoever_took_in_what_the_servers_clock_measures_may_sit(meet: MeetAtHand) -> None:
    at_noon(meet)
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    decided(meet, protest)
    add_official(meet, "clerk", "results", "jury")
    at_noon(meet, 1)
    assert meet["clerk"].put(f"protests/{protest['id']}/advice", {}).status_code == 200
    at_noon(meet, 2)
    lodged = appeal(meet, protest, by="clerk", deposit=None)
    at_noon(meet, 3)
    deposit = meet["clerk"].put(f"appeals/{lodged['id']}/deposit", a_deposit(meet))
    assert deposit.status_code == 200, deposit.text
    names = jurors(meet, "Far Club", "Near Club")
    assert name_panel(meet, lodged, ["clerk", *names]).status_code == 200


def test_nobody_of_its_panel_types_a_time_that_completes_the_appeal_or_starts_its_window(
    meet: MeetAtHand,
) -> None:
    lodged = a_late_appeal(meet, lodged_at=rfc3339(NOON + minutes(20)), deposit=None)
    add_official(meet, "clerk", "results", "jury")
    names = jurors(meet, "Far Club", "Near Club")
    assert name_panel(meet, lodged, [*names, "clerk"]).status_code == 200
    deposit = {"amount": 100, "currency": "USD", "receipt": "R-8"}
    typed = {**deposit, "received_at": rfc3339(NOON + minutes(25))}
    address = f"appeals/{lodged['id']}/deposit"
    a_problem(meet["clerk"].put(address, typed), 403, "not-yours")
    # What comes now, whoever takes it in, is measured by the server's clock.
    assert meet["clerk"].put(address, deposit).status_code == 200


def test_an_advice_by_which_time_that_runs_is_over_at_once_needs_a_word(meet: MeetAtHand) -> None:
    """Nobody can use a window that is over the moment it is moved: common practice."""
    at_noon(meet)
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest)
    at_noon(meet, 20)
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    at_noon(meet, 45)
    address, ident = f"protests/{protest['id']}/advice/time-corrections", new_id()
    head = meet.head()
    refused = a_problem(put_right(meet, address, advised_at=NOON + minutes(10)), 409, "needs-word")
    assert "would be over already (until 2026-06-13 12:40:00" in refused["detail"]
    assert refused["errors"][0]["pointer"] == "/remark"
    assert meet.head() == head
    remark = "They signed at 12:10."
    changes = {"advised_at": NOON + minutes(10), "remark": remark}
    out = done(put_right(meet, address, ident=ident, **changes))
    assert out["corrections"][0]["remark"] == remark
    assert remark in meet.referee.get("record").text
    paper = meet.referee.get(f"decisions/{out['decision']['id']}/form.pdf").content
    assert f"Remark: {remark}" in " ".join(read_text(paper).split())
    assert put_right(meet, address, ident=ident, **changes).status_code == 200


def test_an_appeal_that_was_lodged_later_than_typed_is_late(meet: MeetAtHand) -> None:
    lodged = a_late_appeal(meet, lodged_at=rfc3339(NOON + minutes(20)), deposit=None)
    address = f"appeals/{lodged['id']}"
    early = put_right(meet, f"{address}/time-corrections", lodged_at=NOON - minutes(1))
    assert "before what it is about" in a_problem(early, 422, "malformed")["detail"]
    out = done(put_right(meet, f"{address}/time-corrections", lodged_at=NOON + minutes(35)))
    assert out["state"] == "late"
    assert [one["number"] for one in out["corrections"][0]["now_late"]] == [lodged["number"]]
    nothing = put_right(meet, f"{address}/deposit/time-corrections", received_at=NOON)
    assert "No deposit" in a_problem(nothing, 409, "conflict")["detail"]
    meet.desk.put(f"{address}/deposit", {"amount": 100, "currency": "USD", "receipt": "R-3"})
    for at, words in ((41, "future"), (40, "nothing to correct"), (-12 * 60, "twelve hours")):
        moment = NOON + minutes(at)
        wrong = put_right(meet, f"{address}/deposit/time-corrections", received_at=moment)
        assert words in a_problem(wrong, 422, "malformed")["detail"]


@pytest.mark.parametrize("with_the_appeal", [True, False])
def test_a_deposit_that_is_corrected_twice_keeps_the_bounds_of_the_first(
    meet: MeetAtHand, *, with_the_appeal: bool
) -> None:
    entered = 40 if with_the_appeal else 45
    lodged = a_late_appeal(meet, **({} if with_the_appeal else {"deposit": None}))
    address = f"appeals/{lodged['id']}/deposit"
    if not with_the_appeal:
        at_noon(meet, entered)
        paid = meet.desk.put(address, {"amount": 100, "currency": "USD", "receipt": "R-3"})
        assert paid.status_code == 200, paid.text
    at_noon(meet, 300)
    half_a_day, times = 12 * 60, f"{address}/time-corrections"
    done(put_right(meet, times, received_at=NOON + minutes(entered - half_a_day + 1)))
    for at, words in (
        (entered - half_a_day - 1, "twelve hours before it was first entered"),
        (entered + 1, "first entered at"),
    ):
        wrong = put_right(meet, times, received_at=NOON + minutes(at))
        assert words in a_problem(wrong, 422, "malformed")["detail"]
    done(put_right(meet, times, received_at=NOON + minutes(entered)))


def test_what_the_referee_referred_has_no_time_that_anybody_typed(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    (referred,) = decided(meet, protest, "referred")["appeals"]
    now = meet.service.clock.now()
    refused = put_right(meet, f"appeals/{referred}/time-corrections", lodged_at=now)
    assert "referred" in a_problem(refused, 409, "conflict")["detail"]


def test_a_receipts_number_is_put_right_and_the_first_stays_readable(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    first = appeal(meet, protest)
    second = appeal(meet, protest, team=team(meet, 5))
    address = f"appeals/{second['id']}/deposit/receipt-corrections"
    taken = put_right(meet, address, receipt=first["deposit"]["receipt"])
    assert a_problem(taken, 409, "conflict")["appeal"] == first["id"]
    same = put_right(meet, address, receipt=second["deposit"]["receipt"])
    assert "nothing to correct" in a_problem(same, 422, "malformed")["detail"]
    out = done(put_right(meet, address, receipt="R-81"))
    assert out["deposit"]["receipt"] == "R-81"
    (one,) = out["corrections"]
    assert (one["about"], one["was"], one["becomes"], one["was_local"]) == (
        "receipt of a deposit",
        second["deposit"]["receipt"],
        "R-81",
        "",
    )
    sent = {"amount": 100, "currency": "USD", "receipt": second["deposit"]["receipt"]}
    again = meet.desk.put(f"appeals/{second['id']}/deposit", sent)
    assert (again.status_code, again.json()["version"]) == (200, out["version"])


def test_a_corrected_advice_moves_its_window_and_says_which_appeals_that_makes_timely(
    meet: MeetAtHand,
) -> None:
    lodged = a_late_appeal(meet)
    protest = lodged["of"]
    address, truly = f"protests/{protest['id']}/advice/time-corrections", NOON + minutes(15)
    out = done(put_right(meet, address, by="referee", advised_at=truly))
    assert out["decision"]["advised_at"] == truly.isoformat().replace("+00:00", "Z")
    (one,) = out["corrections"]
    assert (one["about"], one["was"]) == ("time of an advice", rfc3339(NOON))
    assert [told["number"] for told in one["now_in_time"]] == [lodged["number"]]
    assert meet.desk.get(f"appeals/{lodged['id']}").json()["state"] == "admitted"
    (window,) = [
        one
        for one in meet.desk.get("windows.json").json()["windows"]
        if one["opened_by"] == f"advice on protest {protest['number']}"
    ]
    closes = datetime.fromisoformat(window["closes_at"])
    assert (closes, window["time_corrections"]) == (truly + minutes(30), 1)
    calendar = meet.desk.get("windows.ics").text
    assert "SEQUENCE:1" in calendar
    signed = "They signed at 12:01."
    back = done(put_right(meet, address, advised_at=NOON + minutes(1), remark=signed))
    assert [told["number"] for told in back["corrections"][1]["now_late"]] == [lodged["number"]]
    # The advice as it was first given is still the same one.
    for given in (rfc3339(NOON), rfc3339(truly)):
        again = meet.desk.put(f"protests/{protest['id']}/advice", {"advised_at": given})
        assert (again.status_code, again.json()["version"]) == (200, back["version"])
    dossier = meet["jury"].get(f"appeals/{lodged['id']}/dossier").json()
    assert len(dossier["protest"]["corrections"]) == 2


def test_a_corrected_advice_lies_after_its_decision_and_not_in_the_future(
    meet: MeetAtHand,
) -> None:
    at_noon(meet)
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    address = f"protests/{protest['id']}/advice/time-corrections"
    at_noon(meet, 5)
    decided(meet, protest)
    untold = put_right(meet, address, advised_at=NOON + minutes(5))
    assert "told the protesters yet" in a_problem(untold, 409, "conflict")["detail"]
    at_noon(meet, 10)
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    for at, words in ((1, "before the decision"), (11, "future"), (10, "nothing to correct")):
        wrong = put_right(meet, address, advised_at=NOON + minutes(at))
        told = a_problem(wrong, 422, "malformed")["detail"]
        assert words in told
        assert "leave it out" not in told, "a correction cannot leave out what it corrects"
    # Told a minute before the signing, they have the time from the signing: once, then it has it.
    out = done(put_right(meet, address, advised_at=NOON + minutes(4)))
    assert datetime.fromisoformat(out["decision"]["advised_at"]) == NOON + minutes(5)
    same = put_right(meet, address, advised_at=NOON + minutes(4.5))
    told = a_problem(same, 422, "malformed")["detail"]
    assert (
        "from the signing, at 2026-06-13 12:05:00 CEST (Europe/Paris), as it does already" in told
    )


def test_an_advice_from_before_the_first_announcement_counts_from_that_one(
    meet: MeetAtHand,
) -> None:
    at_noon(meet)
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest)
    at_noon(meet, 10)
    meet.desk.put(f"protests/{protest['id']}/advice", {})
    # The announcement was made at 12:05, and the protesters were told at 12:02.
    told = meet.desk.get("announcements").json()["announcements"][0]
    sent = {"announced_at": rfc3339(NOON + minutes(5)), "reasons": "Typed wrongly.", "pin": PIN}
    moved = meet.desk.put(f"announcements/{told['id']}/time-corrections/{new_id()}", sent)
    assert moved.status_code == 201, moved.text
    address = f"protests/{protest['id']}/advice/time-corrections"
    done(put_right(meet, address, advised_at=NOON + minutes(2)))
    (window,) = [
        one for one in meet.desk.get("windows.json").json()["windows"] if one["remedy"] == "appeal"
    ]
    assert datetime.fromisoformat(window["closes_at"]) == NOON + minutes(35)


def test_an_appeal_that_was_turned_away_as_late_can_be_heard_once_it_was_in_time(
    meet: MeetAtHand,
) -> None:
    lodged = a_late_appeal(meet)
    names = a_panel(meet, lodged)
    address = f"appeals/{lodged['id']}"
    seen = meet[names[0]].get(address).headers["ETag"]
    sent = {"admit": False, "reasons": "Ten minutes late.", "pin": PIN}
    assert meet[names[0]].put(f"{address}/admission", sent, etag=seen).status_code == 200
    protest = lodged["of"]
    advice = f"protests/{protest['id']}/advice/time-corrections"
    out = done(put_right(meet, advice, advised_at=NOON + minutes(12)))
    assert out["corrections"][0]["now_in_time"][0]["id"] == lodged["id"]
    seen = meet[names[0]].get(address).headers["ETag"]
    sent = {"admit": True, "reasons": "It was in time.", "pin": PIN}
    assert meet[names[0]].put(f"{address}/admission", sent, etag=seen).status_code == 200
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    orders = set_aside(protest["ruled"])
    assert jury_decides(meet, lodged, names[0], orders=orders).status_code == 201


def test_a_correction_needs_the_pin_a_reason_and_the_role_of_who_does_the_act(
    meet: MeetAtHand,
) -> None:
    lodged = a_late_protest(meet)
    address, truly = f"protests/{lodged['id']}/time-corrections", NOON + minutes(20)
    a_problem(put_right(meet, address, by="jury", lodged_at=truly), 403, "role-missing")
    a_problem(put_right(meet, address, lodged_at=truly, reasons=""), 422, "malformed")
    wrong = put_right(meet, address, lodged_at=truly, pin="111111")
    assert wrong.status_code == 403, wrong.text
    nowhere = put_right(meet, f"protests/{new_id()}/time-corrections", lodged_at=truly)
    a_problem(nowhere, 404, "not-found")
    assert meet.desk.get(f"protests/{lodged['id']}").json()["corrections"] == []
