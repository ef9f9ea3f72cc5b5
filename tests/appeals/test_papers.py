"""Protest form, decision form, appeal form and jury decision: PDF, and the words that matter."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import httpx

from app.appeals.decision_papers import PAPER
from app.clock import in_zone, rfc3339
from app.forms.record_head import UNKNOWN_HEAD
from app.ids import new_id
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
from tests.appeals.test_reopening import reopen
from tests.builders import PIN, Json, MeetAtHand, a_meet
from tests.forms.pdf_reading import read_text
from tests.forms.remedy_builders import a_jury_decision
from tests.running import Service

ZONE = "Europe/Paris"
SINCE = "After the signature, and no part of what was signed"
FOOT = "Windows and consequences are worked out by"


def pdf(meet: MeetAtHand, address: str, by: str = "referee", **query: str) -> httpx.Response:
    answer = meet[by].get(f"{address}/form.pdf", params=query)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert ".pdf" in answer.headers["content-disposition"]
    return answer


def words(meet: MeetAtHand, address: str) -> str:
    return " ".join(read_text(pdf(meet, address).content).split())


def test_a_protest_form_tells_who_about_what_and_whether_in_time(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    told = words(meet, f"protests/{protest['id']}")
    for word in (
        "Protest",
        "Plover 1",
        "Mira Anchor",
        "The baton was inside the zone.",
        "in time by",
        "TR8.2",
        "awaits the referee",
    ):
        assert word in told
    assert "LATE" not in told
    for paper in ("A4", "letter"):
        pdf(meet, f"protests/{protest['id']}", by="results", paper=paper)


def test_late_and_from_outside_is_printed(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    meet.service.clock.move(timedelta(minutes=34, seconds=10))
    protest = lodge(meet, a_protest(meet, ruling))
    assert "LATE by 4 min" in words(meet, f"protests/{protest['id']}")
    why = "The desk was closed."
    out = decided(meet, protest, "upheld", orders=set_aside(ruling), heard_because=why)
    told = words(meet, f"decisions/{out['decision']['id']}")
    assert "LATE by 4 min" in told
    assert why in told


def test_a_decision_form_tells_what_was_ordered_and_what_it_moves(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    told = words(meet, f"decisions/{out['decision']['id']}")
    for word in (
        "Decision of the referee",
        "upheld",
        "The disqualification of Plover 1",
        "is set aside",
        "Seen by two umpires.",
        "from the announcement of the amended result",
        "100 USD",
        out["decision"]["statement_digest"][:16],
    ):
        assert word in told
    for move in out["decision"]["consequences"]["moves"]:
        assert move["sentence"] in told


def test_an_appeal_form_tells_of_its_deposit_and_the_decision_it_is_against(
    meet: MeetAtHand,
) -> None:
    lodged = appeal(meet, a_rejected_protest(meet))
    told = words(meet, f"appeals/{lodged['id']}")
    for word in (
        "Appeal to the jury",
        "100 USD",
        "receipt R-17",
        "The video was not looked at.",
        "The referee's decision",
        "Seen by two umpires.",
        "awaits the jury",
    ):
        assert word in told.replace("’", "'")


def test_an_appeal_without_its_deposit_is_printed_so(meet: MeetAtHand) -> None:
    lodged = appeal(meet, a_rejected_protest(meet), deposit=None)
    told = words(meet, f"appeals/{lodged['id']}")
    assert "WITHOUT DEPOSIT" in told


def test_a_jury_decision_tells_the_votes_the_panel_and_that_it_is_final(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    told = words(meet, f"decisions/{heard['decision']['id']}")
    for word in (
        "Decision of the jury of appeal",
        "3 for, 0 against; quorum 3",
        "juror 1",
        "juror 2",
        "Noor Quill",
        "is final",
        "The deposit is returned.",
    ):
        assert word in told


def test_a_paper_after_reopening_says_which_sitting_did_what_with_the_deposit(
    meet: MeetAtHand,
) -> None:
    """World Athletics TR8.7: returned where the appeal succeeds, forfeited where it does not."""
    heard = an_upheld_appeal(meet)
    assert reopen(meet, heard, heard["names"][0]).status_code == 200
    waiting = words(meet, f"appeals/{heard['id']}")
    assert "returned by sitting 1" in waiting
    for name in heard["names"]:
        cast(meet, heard, name, "rejected")
    out = jury_decides(meet, heard, heard["names"][0], "rejected")
    told = words(meet, f"decisions/{out.json()['decision']['id']}")
    assert "returned by sitting 1" in told
    due = "The deposit is forfeited. Sitting 1 had it returned, so it is due again."
    assert due in told
    assert "by sitting" not in words(meet, f"appeals/{heard['id']}")


def test_a_decisions_paper_does_not_change_afterwards(meet: MeetAtHand) -> None:
    meet.service.clock.stand_at(meet.service.clock.now())
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    address = f"decisions/{out['decision']['id']}"

    def lines() -> list[str]:
        """All that was signed, but for the record's head, which goes on."""
        signed = read_text(pdf(meet, address, by="results").content).partition(SINCE)[0]
        return [line for line in signed.splitlines() if "entries" not in line]

    before = lines()
    announced(meet)
    official = {"name": "Another Name", "roles": ["referee"]}
    seen = meet.organiser.get(f"officials/{meet.referee.id}").headers.get("ETag")
    renamed = meet.organiser.put(f"officials/{meet.referee.id}", official, etag=seen)
    assert renamed.status_code == 200, renamed.text
    other = lodge(meet, a_protest(meet, team=team(meet, 6)))
    undo = [{"order": "undo", "decision": out["decision"]["id"]}]
    decided(meet, other, "upheld", orders=undo)
    heads = [line for line in lines() if line not in before]
    assert len(heads) <= 1, heads
    assert not [line for line in heads if "Another" in line]


def parts(meet: MeetAtHand, decision: Json) -> tuple[str, str]:
    """A decision's paper: what was signed with its signatures, and what became known later."""
    told = words(meet, f"decisions/{decision['id']}")
    signed, _, later = told.partition(SINCE)
    return signed.partition(FOOT)[0].strip(), later


def test_advice_that_follows_is_printed_apart_with_the_window_that_it_opened(
    meet: MeetAtHand,
) -> None:
    """World Athletics TR8.7: an appeal is made within 30 minutes of the referee's advice."""
    meet.service.clock.stand_at(meet.service.clock.now())
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decision = decided(meet, protest)["decision"]
    signed, later = parts(meet, decision)
    assert later == "", "nobody was told yet"
    assert "runs from when the protesters are told" in signed
    meet.service.clock.move(timedelta(minutes=7))
    told = meet.desk.put(f"protests/{protest['id']}/advice", {}).json()["decision"]
    still, later = parts(meet, decision)
    assert without_head(still) == without_head(signed), "what was signed is printed as it was"
    advised = datetime.fromisoformat(told["advised_at"])
    assert f"Told to those who protested at {in_zone(advised, ZONE)}." in later
    closes = in_zone(advised + timedelta(minutes=30), ZONE)
    assert f"Appeals until {closes}: 30 minutes (TR8.7.2), opened by advice on protest 1" in later


def test_the_window_of_advice_given_with_the_decision_is_printed_too(meet: MeetAtHand) -> None:
    meet.service.clock.stand_at(meet.service.clock.now())
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    now = meet.service.clock.now()
    decision = decided(meet, protest, advised_at=now.isoformat())["decision"]
    signed, later = parts(meet, decision)
    assert f"advice given: {in_zone(now, ZONE)}" in signed
    assert "Told to those who protested" not in later, "that was signed"
    assert f"Appeals until {in_zone(now + timedelta(minutes=30), ZONE)}" in later
    truly = now + timedelta(minutes=3)
    meet.service.clock.move(timedelta(minutes=5))
    put_right(meet, f"protests/{protest['id']}/advice", advised_at=truly.isoformat())
    signed, later = parts(meet, decision)
    assert f"advice given: {in_zone(now, ZONE)}" in signed
    assert f"Told to those who protested at {in_zone(truly, ZONE)}." in later, "put right since"
    assert (
        f"Time of an advice: {in_zone(truly, ZONE)}, given before as {in_zone(now, ZONE)}. "
        f"Corrected by results at {in_zone(meet.service.clock.now(), ZONE)}. "
        "Reason: Typed wrongly; the slip says so."
    ) in later


def put_right(meet: MeetAtHand, address: str, by: str = "results", **changes: str) -> None:
    sent = {"reasons": "Typed wrongly; the slip says so.", "pin": PIN, **changes}
    answer = meet[by].put(f"{address}/time-corrections/{new_id()}", sent)
    assert answer.status_code == 201, answer.text


def test_papers_tell_what_was_corrected_and_what_came_to_be_in_time_by_it(
    meet: MeetAtHand,
) -> None:
    """That a correction leaves readable what it corrects is common practice."""
    meet.service.clock.stand_at(meet.service.clock.now())
    ruling = an_announced_disqualification(meet)
    opened = meet.service.clock.now()
    meet.service.clock.move(timedelta(minutes=50))
    late, truly = meet.service.clock.now(), opened + timedelta(minutes=20)
    protest = lodge(meet, a_protest(meet, ruling))
    decision = decided(meet, protest)["decision"]
    meet.desk.put(f"protests/{protest['id']}/advice", {})
    before, _ = parts(meet, decision)
    put_right(meet, f"protests/{protest['id']}", lodged_at=truly.isoformat())
    said = (
        f"Time of a protest: {in_zone(truly, ZONE)}, given before as {in_zone(late, ZONE)}. "
        f"Corrected by results at {in_zone(late, ZONE)}. Reason: Typed wrongly; the slip says so. "
        f"Protest {protest['number']}: in time by 10 min, before LATE by 20 min."
    )
    signed, later = parts(meet, decision)
    assert without_head(signed) == without_head(before), "what was signed is printed as it was"
    assert said in later
    assert "measured anew: in time by 10 min." in later
    assert said in words(meet, f"protests/{protest['id']}")
    lodged = appeal(meet, protest)
    assert said in words(meet, f"appeals/{lodged['id']}")


def test_what_was_corrected_before_a_decision_is_part_of_what_is_signed(meet: MeetAtHand) -> None:
    """So is, for the jury's, what was corrected of the appeal; what follows stands apart."""
    meet.service.clock.stand_at(meet.service.clock.now())
    protest = a_rejected_protest(meet)
    told = meet.service.clock.now()
    meet.service.clock.move(timedelta(minutes=40))
    lodged = appeal(meet, protest)
    truly = (told + timedelta(minutes=20)).isoformat()
    address = f"appeals/{lodged['id']}"
    put_right(meet, address, lodged_at=truly)
    put_right(meet, f"{address}/deposit", received_at=truly)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    orders = set_aside(protest["ruled"])
    answer = jury_decides(meet, lodged, names[0], orders=orders)
    assert answer.status_code == 201, answer.text
    out = answer.json()["decision"]
    signed, later = parts(meet, out)
    assert "Time of an appeal: " in signed
    assert "Time of a deposit: " in signed
    assert f"Appeal {lodged['number']}: in time by 10 min, before LATE by 10 min." in signed
    assert later == ""
    put_right(meet, f"{address}/deposit", received_at=told.isoformat())
    still, later = parts(meet, out)
    assert without_head(still) == without_head(signed)
    assert later.count("Time of a deposit: ") == 1


def retimed(meet: MeetAtHand, announcement: str, at: datetime) -> None:
    """The time of an announcement is put right by the desk."""
    put_right(meet, f"announcements/{announcement}", announced_at=at.isoformat())


def test_papers_tell_by_the_window_that_the_time_of_its_announcement_was_corrected(
    meet: MeetAtHand,
) -> None:
    """World Athletics TR8.2: the time of announcements is recorded, and protests count from it."""
    meet.service.clock.stand_at(meet.service.clock.now())
    ruling = an_announced_disqualification(meet)
    meet.service.clock.move(timedelta(minutes=10))
    typed = meet.service.clock.now()
    told = announced(meet, remark="Said once more.")
    meet.service.clock.move(timedelta(minutes=35))
    now, truly = meet.service.clock.now(), typed - timedelta(minutes=4)
    protest = lodge(meet, a_protest(meet, ruling))
    retimed(meet, told["id"], truly)
    said = (
        f"corrected Time of announcement 2: {in_zone(truly, ZONE)}, given before as "
        f"{in_zone(typed, ZONE)}. Corrected by results at {in_zone(now, ZONE)}. Reason: Typed "
        "wrongly; the slip says so."
    )
    assert said in words(meet, f"protests/{protest['id']}")
    assert "(opened by announcement 2, " in words(meet, f"protests/{protest['id']}")
    shown = meet.referee.get(f"protests/{protest['id']}").json()["timeliness"]
    (one,) = shown["time_corrections"]
    assert (one["announcement"], one["number"], one["was"]) == (told["id"], 2, rfc3339(typed))


def test_an_announcements_time_that_is_corrected_after_a_decision_stands_below_its_signatures(
    meet: MeetAtHand,
) -> None:
    """And one that made the protest timely is told, whichever window measures it now."""
    meet.service.clock.stand_at(meet.service.clock.now())
    ruling = an_announced_disqualification(meet)
    typed = meet.service.clock.now()
    first = meet.desk.get("announcements").json()["announcements"][0]["id"]
    meet.service.clock.move(timedelta(minutes=40))
    protest = lodge(meet, a_protest(meet, ruling))
    decision = decided(meet, protest)["decision"]
    before, _ = parts(meet, decision)
    said = f"Time of announcement 1: {in_zone(typed + timedelta(minutes=15), ZONE)}, given before"
    retimed(meet, first, typed + timedelta(minutes=15))
    signed, later = parts(meet, decision)
    assert without_head(signed) == without_head(before)
    assert said in later
    assert f"Protest {protest['number']}: in time by 5 min, before LATE by 10 min." in later
    meet.desk.put(f"protests/{protest['id']}/advice", {})
    lodged = appeal(meet, protest)
    dossier = meet["jury"].get(f"appeals/{lodged['id']}/dossier").json()
    assert len(dossier["protest"]["timeliness"]["time_corrections"]) == 1
    assert dossier["appeal"]["timeliness"]["time_corrections"] == []
    told = words(meet, f"appeals/{lodged['id']}")
    assert told.count(said) == 1
    assert told.index(f"Protest {protest['number']} lodged for") < told.index(said)


def test_an_amended_result_and_the_jurys_word_are_later_than_the_referees_paper(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    assert parts(meet, out["decision"])[1] == ""
    amended = announced(meet)
    made = datetime.fromisoformat(amended["announced_at"])
    _, later = parts(meet, out["decision"])
    assert f"Appeals until {in_zone(made + timedelta(minutes=30), ZONE)}" in later
    assert "opened by announcement 2" in later


def test_the_referees_paper_tells_what_the_jury_has_decided_since(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    protest = meet.desk.get(f"protests/{heard['protest']}").json()
    _, later = parts(meet, protest["decision"])
    assert f"on appeal 1 at {heard['decision']['decided_at_local']}: upheld." in later


def without_head(text: str) -> str:
    """The words of a paper but for what is read at each sealing."""
    without = re.sub(r"(Sealed:?|sealed) [0-9: -]+ [A-Z]+ \(\S+\)", "", text)
    return re.sub(r"Record head \d+ · (\w{4} ?){4}", "", without)


def test_the_papers_of_a_replaced_decision_say_so(meet: MeetAtHand) -> None:
    heard = an_upheld_appeal(meet)
    first = f"decisions/{heard['decision']['id']}"
    assert "no longer stands" not in words(meet, first)
    assert reopen(meet, heard, heard["names"][0]).status_code == 200
    assert "no longer stands" not in words(meet, first), "it stands until it is replaced"
    told = words(meet, f"appeals/{heard['id']}")
    assert "A second camera shows lane 4 from the side." in told
    for name in heard["names"]:
        cast(meet, heard, name, "rejected")
    second = jury_decides(meet, heard, heard["names"][0], "rejected").json()["decision"]
    told = words(meet, first)
    assert "This decision no longer stands: the jury reopened it" in told
    instead = f"of the jury on appeal 1, sitting 2, {second['decided_at_local']}: rejected"
    assert f"replaced by the decision {instead}" in told
    later = words(meet, f"decisions/{second['id']}")
    assert "appeal 1, sitting 2" in later
    assert "The decision that this replaces" in later
    earlier = f"of the jury on appeal 1, sitting 1, {heard['decision']['decided_at_local']}: upheld"
    assert earlier in later
    for why in ("A second camera shows", "Ines Compass, chair", "has not been run yet"):
        assert why in later


def test_a_jury_decision_has_a_line_of_ink_for_all_who_voted_and_the_secretary(
    meet: MeetAtHand,
) -> None:
    heard = an_upheld_appeal(meet)
    told = words(meet, f"decisions/{heard['decision']['id']}")
    ink = told.partition("Signatures in ink")[2]
    assert "juror 1 · Chair of the jury" in ink
    for name in heard["names"][1:]:
        assert f"{name} · Member of the jury" in ink
    assert "Noor Quill · Secretary, no vote" in ink
    assert "Team, for receipt" in ink


def test_who_sat_and_did_not_vote_has_no_line_of_ink(service: Service) -> None:
    meet = a_meet(service, terms={"jury": {"size": 3, "quorum": 2}})
    lodged = appeal(meet, a_rejected_protest(meet))
    names = a_panel(meet, lodged)
    for name in names[:2]:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    out = jury_decides(meet, lodged, names[0], "rejected").json()
    ink = words(meet, f"decisions/{out['decision']['id']}").partition("Signatures in ink")[2]
    assert "juror 2" in ink
    assert "juror 3" not in ink


def test_an_appeal_form_tells_what_is_asked_for(meet: MeetAtHand) -> None:
    protest = a_rejected_protest(meet)
    again = {"order": "correct", "team": team(meet, 5), "time": "42.51"}
    lodged = appeal(meet, protest, sought=[*set_aside(protest["ruled"]), again])
    told = words(meet, f"appeals/{lodged['id']}")
    assert "What is asked for" in told
    assert "Set aside: Plover 1 (DQ TR24.7)" in told
    assert "Correct: Curlew 1, 42.51" in told


def test_a_withdrawn_protest_s_form_tells_by_whom_when_and_why(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    address = f"protests/{protest['id']}"
    seen = meet.desk.get(address).headers["ETag"]
    sent = {"by": "Mira Anchor", "reason": "The video is clear."}
    out = meet.desk.post(f"{address}/withdraw", sent, etag=seen).json()
    told = words(meet, address)
    at = in_zone(datetime.fromisoformat(out["withdrawn"]["at"]), ZONE)
    for word in ("Mira Anchor", at, "The video is clear."):
        assert word in told


def test_a_decisions_paper_that_was_kept_when_heads_were_words_can_still_be_printed() -> None:
    kept = PAPER.dump_python(a_jury_decision(), mode="json") | {"record_head": ""}
    del kept["head"], kept["further"]
    assert PAPER.validate_python(kept) == a_jury_decision(head=UNKNOWN_HEAD)
