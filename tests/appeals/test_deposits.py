"""Lodging an appeal: its window, its deposit, late ones, and who may not appeal again."""

from __future__ import annotations

from datetime import timedelta

import httpx
import pytest
from sqlalchemy import update

from app.appeals.tables import appeals
from app.clock import rfc3339
from app.ids import MeetId, new_id
from app.store.action import Actor, Done, Unit
from tests.appeals.desk import (
    DEPOSIT,
    a_panel,
    a_protest,
    a_rejected_protest,
    an_announced_disqualification,
    an_appeal,
    an_upheld_appeal,
    announced,
    appeal,
    cast,
    decided,
    jurors,
    jury_decides,
    lodge,
    name_panel,
    set_aside,
    team,
)
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_meet_document, a_problem
from tests.running import Service

FIFTY_EUROS = {"amount": 50, "currency": "EUR"}


def pay(meet: MeetAtHand, lodged: Json, **changes: object) -> httpx.Response:
    return meet.desk.put(f"appeals/{lodged['id']}/deposit", {**DEPOSIT, **changes})


def admit(meet: MeetAtHand, lodged: Json, **changes: object) -> httpx.Response:
    """The chair of the panel says the jury's word; the panel is named where none is yet."""
    if read(meet, lodged)["panel"] is None:
        a_panel(meet, lodged)
    seen = meet["juror 1"].get(f"appeals/{lodged['id']}").headers["ETag"]
    sent = {"admit": True, "reasons": "The desk was closed.", "pin": PIN, **changes}
    return meet["juror 1"].put(f"appeals/{lodged['id']}/admission", sent, etag=seen)


def withdraw(meet: MeetAtHand, lodged: Json) -> httpx.Response:
    seen = meet.desk.get(f"appeals/{lodged['id']}").headers["ETag"]
    return meet.desk.post(f"appeals/{lodged['id']}/withdraw", {"by": "Mira Anchor"}, etag=seen)


def read(meet: MeetAtHand, lodged: Json) -> Json:
    return dict(meet.desk.get(f"appeals/{lodged['id']}").json())


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [({"currency": "EUR"}, "/currency"), ({"amount": 99}, "/amount"), ({"amount": 101}, "/amount")],
)
def test_a_deposit_in_another_currency_or_amount_is_refused_with_the_rule(
    meet: MeetAtHand, wrong: Json, pointer: str
) -> None:
    protest = a_rejected_protest(meet)
    sent = an_appeal(meet, protest, deposit={**DEPOSIT, **wrong})
    told = a_problem(meet.desk.put(f"appeals/{new_id()}", sent), 422, "malformed")
    # World Athletics TR8.7: USD 100, by a published summary.
    assert "100 USD (TR8.7)" in told["detail"]
    assert told["errors"][0]["pointer"] == f"/deposit{pointer}"
    lodged = appeal(meet, protest, deposit=None)
    told = a_problem(pay(meet, lodged, **wrong), 422, "malformed")
    assert told["errors"][0]["pointer"] == pointer


def test_a_deposit_that_comes_later_completes_the_appeal(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest, deposit=None)
    assert (lodged["state"], lodged["marks"]) == ("lodged", ["no deposit"])
    assert lodged["deposit"]["outcome"] == "to come"
    meet.service.clock.move(timedelta(minutes=5))
    out = pay(meet, lodged)
    assert out.status_code == 200, out.text
    assert (out.json()["state"], out.json()["deposit"]["outcome"]) == ("admitted", "held")
    again = pay(meet, lodged)
    assert (again.status_code, again.json()["version"]) == (200, out.json()["version"])
    a_problem(pay(meet, lodged, receipt="R-18"), 409, "conflict")
    ahead = rfc3339(meet.service.clock.now() + timedelta(minutes=1))
    told = a_problem(pay(meet, lodged, received_at=ahead), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/received_at"


def test_a_deposit_after_the_window_makes_the_appeal_late(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest, deposit=None)
    meet.service.clock.move(timedelta(minutes=31))
    out = pay(meet, lodged).json()
    assert (out["state"], out["marks"]) == ("late", ["late"])
    a_problem(cast(meet, out, "jury"), 409, "conflict")
    admitted = admit(meet, lodged)
    assert admitted.status_code == 200, admitted.text
    assert admitted.json()["state"] == "admitted"
    assert admitted.json()["admitted"]["reasons"] == "The desk was closed."


def test_admitting_a_late_one_needs_a_reason_and_turning_away_gives_the_deposit_back(
    meet: MeetAtHand,
) -> None:
    protest = a_rejected_protest(meet)
    meet.service.clock.move(timedelta(minutes=40))
    lodged = appeal(meet, protest)
    assert lodged["state"] == "late"
    assert lodged["possible"] == ["withdraw"], "nobody admits it before a panel is named"
    a_problem(admit(meet, lodged, reasons=""), 422, "malformed")
    out = admit(meet, lodged, admit=False, reasons="Ten minutes late without excuse.")
    assert out.status_code == 200, out.text
    assert out.json()["state"] == "rejected"
    assert out.json()["deposit"]["outcome"] == "returned"
    again = meet.desk.put(f"appeals/{new_id()}", an_appeal(meet, protest))
    assert "turned away" in a_problem(again, 409, "conflict")["detail"]
    seen = meet["juror 1"].get(f"appeals/{lodged['id']}").headers["ETag"]
    reopen = {"evidence": "A camera.", "allowed_by": "Ines", "reasons": "New.", "pin": PIN}
    told = meet["juror 1"].post(f"appeals/{lodged['id']}/reopen", reopen, etag=seen)
    assert "turned away" in a_problem(told, 409, "conflict")["detail"]
    printed = meet["jury"].get(f"appeals/{lodged['id']}/form.pdf")
    assert printed.status_code == 200
    assert read(meet, lodged)["possible"] == ["admit"]
    back = admit(meet, lodged, reasons="Its window was longer than we thought.")
    assert back.json()["state"] == "admitted"
    assert back.json()["deposit"]["outcome"] == "held"


def test_nobody_turns_an_appeal_away_for_a_deposit_that_can_still_come(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet), deposit=None)
    soon = admit(meet, lodged, admit=False, reasons="Without deposit.")
    assert "can still come" in a_problem(soon, 409, "conflict")["detail"]
    meet.service.clock.move(timedelta(minutes=31))
    assert admit(meet, lodged, admit=False, reasons="Without deposit.").status_code == 200


def test_nobody_but_the_chair_of_its_panel_admits_an_appeal(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet), deposit=None)
    sent = {"admit": True, "reasons": "The desk was closed.", "pin": PIN}
    address = f"appeals/{lodged['id']}/admission"
    seen = meet["jury"].get(f"appeals/{lodged['id']}").headers["ETag"]
    a_problem(meet["jury"].put(address, sent, etag=seen), 409, "conflict")  # no panel yet
    name_panel(meet, lodged, jurors(meet, "Far Club", "Near Club", ""))
    seen = meet["jury"].get(f"appeals/{lodged['id']}").headers["ETag"]
    for name in ("jury", "juror 2"):
        a_problem(meet[name].put(address, sent, etag=seen), 403, "not-yours")


def test_an_appeal_in_time_needs_no_admission(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    a_problem(admit(meet, lodged), 409, "not-possible")


def test_the_last_instant_of_an_appeal_is_in_time(meet: MeetAtHand) -> None:
    now = meet.service.clock.now().replace(microsecond=0)
    meet.service.clock.stand_at(now)
    protest = a_rejected_protest(meet)
    # World Athletics TR8.7: within 30 minutes of the advice; inclusive by the handbook, section 5.
    meet.service.clock.stand_at(now + timedelta(minutes=30))
    last = appeal(meet, protest)
    assert (last["state"], last["timeliness"]["margin_seconds"]) == ("admitted", 0)
    meet.service.clock.stand_at(now + timedelta(minutes=30, microseconds=1))
    late = appeal(meet, protest, team=team(meet, 5))
    assert late["state"] == "late"


def test_a_corrected_announcement_makes_an_appeal_late_and_admitted_again(
    meet: MeetAtHand,
) -> None:
    now = meet.service.clock.now().replace(microsecond=0)
    meet.service.clock.stand_at(now)
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    meet.service.clock.move(timedelta(minutes=10))
    told = announced(meet)
    meet.service.clock.move(timedelta(minutes=25))
    lodged = appeal(meet, out, team=team(meet, 5))
    assert lodged["state"] == "admitted"

    def correct(minutes: int) -> Json:
        at = rfc3339(now + timedelta(minutes=minutes))
        sent = {"announced_at": at, "reasons": "Typed wrongly.", "remark": "Heard", "pin": PIN}
        address = f"announcements/{told['id']}/time-corrections/{new_id()}"
        answer = meet.desk.put(address, sent)
        assert answer.status_code == 201, answer.text
        return read(meet, lodged)

    assert correct(2)["state"] == "late"
    assert correct(9)["state"] == "admitted"


def test_an_appeal_before_the_amended_announcement_is_in_time(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    lodged = appeal(meet, out, team=team(meet, 5))
    assert lodged["timeliness"]["words"] == "in time: no window had opened yet"
    announced(meet)
    assert read(meet, lodged)["state"] == "admitted"


def test_an_appeal_is_measured_by_its_own_advice_not_by_another_decisions_window(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    first = lodge(meet, a_protest(meet, about="placing", team=team(meet, 6)))
    second = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, first)
    decided(meet, second, "upheld", orders=set_aside(ruling))
    announced(meet)
    meet.service.clock.move(timedelta(minutes=40))
    meet.desk.put(f"protests/{first['id']}/advice", {})
    meet.service.clock.move(timedelta(minutes=10))
    lodged = appeal(meet, out)
    assert lodged["state"] == "admitted"
    assert lodged["timeliness"]["opened_by"] == "advice on protest 1"


def test_a_withdrawn_appeal_gives_the_deposit_back_and_one_may_appeal_again(
    meet: MeetAtHand,
) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    out = withdraw(meet, lodged)
    assert out.status_code == 200, out.text
    assert (out.json()["state"], out.json()["deposit"]["outcome"]) == ("withdrawn", "returned")
    a_problem(withdraw(meet, lodged), 409, "not-possible")
    again = appeal(meet, protest)
    twice = meet.desk.put(f"appeals/{new_id()}", an_appeal(meet, protest))
    told = a_problem(twice, 409, "conflict")
    assert told["detail"] == f"This team has appealed already: appeal {again['number']}."


def test_against_a_decision_of_the_jury_there_is_no_appeal(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    protest = meet.desk.get(f"protests/{heard['protest']}").json()
    for sent in (
        an_appeal(meet, protest),
        an_appeal(meet, {**protest, "id": heard["id"]}),
        an_appeal(meet, {**protest, "id": heard["decision"]["id"]}),
    ):
        answer = meet.desk.put(f"appeals/{new_id()}", sent)
        told = a_problem(answer, 409, "not-protestable")
        assert "final" in told["detail"]
        assert "TR8.11" in told["detail"]


def test_there_is_no_appeal_before_a_decision(meet: MeetAtHand) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    early = meet.desk.put(f"appeals/{new_id()}", an_appeal(meet, protest))
    assert "not decided" in a_problem(early, 409, "conflict")["detail"]
    a_problem(
        meet.desk.put(f"appeals/{new_id()}", an_appeal(meet, {**protest, "id": new_id()})),
        404,
        "not-found",
    )


def test_the_meets_own_deposit_goes_before_the_editions(service: Service) -> None:
    meet = a_meet(service, terms={"appeal_deposit": {"amount": 50, "currency": "EUR"}})
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest, deposit={"amount": 50, "currency": "EUR", "receipt": "R-2"})
    assert lodged["deposit"]["asked"] == "50 EUR"
    assert lodged["state"] == "admitted"


def test_an_upheld_appeal_never_forfeits_and_a_rejected_one_may_be_returned(
    meet: MeetAtHand,
) -> None:
    protest = a_rejected_protest(meet)
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        cast(meet, lodged, name)
    orders = set_aside(protest["ruled"])
    refused = jury_decides(meet, lodged, names[0], orders=orders, deposit="forfeited")
    assert "TR8.7" in a_problem(refused, 422, "malformed")["detail"]
    second = appeal(meet, protest, team=team(meet, 6))
    a_panel(meet, second)
    for name in names:
        cast(meet, second, name, "rejected")
    out = jury_decides(meet, second, names[0], "rejected", deposit="returned")
    assert out.status_code == 201, out.text
    assert out.json()["deposit"]["outcome"] == "returned"


def test_the_same_appeal_again_is_the_same(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    ident, sent = new_id(), an_appeal(meet, protest)
    first, again = meet.desk.put(f"appeals/{ident}", sent), meet.desk.put(f"appeals/{ident}", sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    other = meet.desk.put(f"appeals/{ident}", {**sent, "words": "Other words."})
    a_problem(other, 409, "id-taken")


def set_terms(meet: MeetAtHand, edition: str = "world-athletics-2025", **terms: object) -> None:
    """The organiser changes the meet's terms."""
    organiser = {"id": meet.organiser.id, "name": meet.organiser.name}
    document = a_meet_document(organiser=organiser, edition=edition, terms=terms)
    address = f"/api/meets/{meet.id}"
    seen = meet.organiser.get(address).headers["ETag"]
    put = meet.organiser.put(address, document, etag=seen)
    assert put.status_code == 200, put.text


def test_a_running_appeal_is_asked_for_the_deposit_of_the_terms_when_it_was_lodged(
    meet: MeetAtHand,
) -> None:
    protest = a_rejected_protest(meet)
    complete = appeal(meet, protest)
    without = appeal(meet, protest, team=team(meet, 5), deposit=None)
    set_terms(meet, appeal_deposit=FIFTY_EUROS)
    assert read(meet, without)["deposit"]["asked"] == "100 USD"
    refused = pay(meet, without, **FIFTY_EUROS, receipt="R-50")
    assert "100 USD (TR8.7)" in a_problem(refused, 422, "malformed")["detail"]
    again = meet.desk.put(f"appeals/{complete['id']}/deposit", complete_deposit(complete))
    assert (again.status_code, again.json()["version"]) == (200, complete["version"])
    paid = pay(meet, without, receipt="R-51")
    assert (paid.status_code, paid.json()["state"]) == (200, "admitted")
    later = appeal(meet, protest, team=team(meet, 6), deposit={**FIFTY_EUROS, "receipt": "R-52"})
    assert later["deposit"]["asked"] == "50 EUR"


def complete_deposit(lodged: Json) -> Json:
    """The deposit of an appeal as it was sent."""
    amount, currency = lodged["deposit"]["received"].split()
    return {"amount": int(amount), "currency": currency, "receipt": lodged["deposit"]["receipt"]}


def test_an_appeal_that_was_asked_for_no_deposit_misses_none_when_the_terms_change(
    service: Service,
) -> None:
    meet = a_meet(service, edition="nfhs-2019")
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling, ground="misapplication of rules"))
    out = decided(meet, protest)
    lodged = appeal(meet, out, deposit=None)
    assert (lodged["deposit"]["outcome"], lodged["marks"]) == ("not asked", [])
    set_terms(meet, edition="nfhs-2019", appeal_deposit=FIFTY_EUROS)
    after = read(meet, lodged)
    assert (after["deposit"]["outcome"], after["marks"]) == ("not asked", [])
    told = a_problem(pay(meet, lodged, **FIFTY_EUROS), 422, "malformed")
    assert "asks for no deposit for this appeal" in told["detail"]


def test_an_appeal_of_before_deposits_were_kept_goes_by_the_present_terms(
    meet: MeetAtHand,
) -> None:
    lodged = appeal(meet, a_rejected_protest(meet), deposit=None)

    def as_before(unit: Unit) -> Done[None]:
        unit.conn.execute(update(appeals).where(appeals.c.id == lodged["id"]).values(asked=None))
        return Done(None, None)

    meet.service.store.act_now(MeetId(meet.id), Actor("test"), as_before)
    assert read(meet, lodged)["deposit"]["asked"] == "100 USD"
    set_terms(meet, appeal_deposit=FIFTY_EUROS)
    assert read(meet, lodged)["deposit"]["asked"] == "50 EUR"
    assert pay(meet, lodged, **FIFTY_EUROS).json()["state"] == "admitted"


def test_one_receipt_stands_for_one_appeal(meet: MeetAtHand) -> None:
    """A receipt is given for a sum that was paid once (common practice)."""
    protest = a_rejected_protest(meet)
    first = appeal(meet, protest)
    receipt = first["deposit"]["receipt"]
    copied = an_appeal(meet, protest, team=team(meet, 5), deposit={**DEPOSIT, "receipt": "r - 17"})
    told = a_problem(meet.desk.put(f"appeals/{new_id()}", copied), 409, "conflict")
    assert f"appeal {first['number']}" in told["detail"]
    assert (told["appeal"], receipt) == (first["id"], "R-17")
    second = appeal(meet, protest, team=team(meet, 5), deposit=None)
    told = a_problem(pay(meet, second, receipt=receipt), 409, "conflict")
    assert told["appeal"] == first["id"]
    # Taken back and lodged anew, it comes with the money that is there.
    assert withdraw(meet, first).status_code == 200
    assert pay(meet, second, receipt=receipt).status_code == 200


def test_a_deposit_that_says_otherwise_than_before_is_refused(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    earlier = rfc3339(meet.service.clock.now() - timedelta(minutes=1))
    told = a_problem(pay(meet, lodged, received_at=earlier), 409, "conflict")
    assert "received already, receipt R-17" in told["detail"]
    same = pay(meet, lodged, received_at=lodged["deposit"]["received_at"])
    assert (same.status_code, same.json()["version"]) == (200, lodged["version"])


def test_a_deposit_that_never_came_is_not_to_come_once_the_appeal_is_closed(
    meet: MeetAtHand,
) -> None:
    """Heard without it by the jury's word, it is asked for no more (common practice)."""
    lodged = appeal(meet, a_rejected_protest(meet), deposit=None)
    meet.service.clock.move(timedelta(minutes=40))
    admitted = admit(meet, lodged).json()
    assert admitted["deposit"]["outcome"] == "to come", "it still takes it"
    for name in ("juror 1", "juror 2", "juror 3"):
        assert cast(meet, lodged, name, "rejected").status_code == 201
    out = jury_decides(meet, lodged, "juror 1", "rejected")
    assert out.status_code == 201, out.text
    assert out.json()["deposit"]["outcome"] == "not received"
    a_problem(pay(meet, lodged), 409, "conflict")


def test_an_appeal_taken_back_without_its_deposit_awaits_none(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet), deposit=None)
    assert withdraw(meet, lodged).json()["deposit"]["outcome"] == "not received"
    a_problem(pay(meet, lodged), 409, "conflict")
