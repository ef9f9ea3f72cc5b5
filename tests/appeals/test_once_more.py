"""A protest that was rejected as late, and was in time, is decided by the referee once more.

Windows: World Athletics TR8.2 and TR8.7 (30 minutes), numbers of sub-clauses from memory. That a
refusal which rested on a slip of the pen is put right by who made it, and that a decision which was
signed is replaced and never changed, is common practice.
"""

from __future__ import annotations

from datetime import datetime

import pytest

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import (
    a_panel,
    a_protest,
    an_announced_disqualification,
    appeal,
    decide,
    decided,
    lodge,
    name_panel,
    set_aside,
)
from tests.appeals.test_put_right import NOON, a_late_protest, at_noon, done, minutes, put_right
from tests.builders import PIN, Json, MeetAtHand, a_problem, add_official
from tests.forms.pdf_reading import read_text

AGAIN = ["uphold", "reject", "refer to the jury"]


def put_right_to_in_time(meet: MeetAtHand, lodged: Json) -> Json:
    at_noon(meet, 100)
    address = f"protests/{lodged['id']}/time-corrections"
    return done(put_right(meet, address, lodged_at=NOON + minutes(20)))


def rejected_as_late(meet: MeetAtHand) -> Json:
    """Rejected at 12:50 for it, and told; then it turns out that it was lodged at 12:20."""
    lodged = a_late_protest(meet)
    first = decided(meet, lodged, reasons="It came late.")
    assert first["possible"] == []
    assert meet.desk.put(f"protests/{lodged['id']}/advice", {}).status_code == 200
    out = put_right_to_in_time(meet, lodged)
    assert (out["state"], out["marks"], out["possible"]) == ("rejected", [], AGAIN)
    return {**out, "ruled": lodged["ruled"], "first": first["decision"]["id"]}


def test_a_protest_rejected_as_late_that_was_in_time_is_decided_on_its_merits(
    meet: MeetAtHand,
) -> None:
    lodged = rejected_as_late(meet)
    out = decided(meet, lodged, "upheld", orders=set_aside(lodged["ruled"]))
    assert (out["state"], out["possible"]) == ("upheld", [])
    assert out["decision"]["id"] != lodged["first"]
    assert out["decision"]["ordered"] != []
    again = decide(meet, lodged, "rejected")
    told = a_problem(again, 412, "stale")
    assert told["decision"] == out["decision"]["id"]


def test_a_result_waits_for_a_protest_that_was_in_time_after_all(meet: MeetAtHand) -> None:
    lodged = rejected_as_late(meet)
    at_noon(meet, 200)
    waits = f"Protest {lodged['number']} was in time, and awaits the referee once more."
    seen = meet.desk.get(f"heats/{meet.heat()}/result").json()["announced"]
    assert (seen["pending"], seen["final_since"]) == ([waits], None)
    decided(meet, lodged, reasons="Two umpires saw it.", advised_at=rfc3339(NOON + minutes(200)))
    at_noon(meet, 231)
    seen = meet.desk.get(f"heats/{meet.heat()}/result").json()["announced"]
    assert datetime.fromisoformat(seen["final_since"]) == NOON + minutes(230)


def test_both_papers_say_which_decision_replaces_which(meet: MeetAtHand) -> None:
    lodged = rejected_as_late(meet)
    out = decided(meet, lodged, "upheld", orders=set_aside(lodged["ruled"]))
    papers = {
        ident: " ".join(read_text(meet.referee.get(f"decisions/{ident}/form.pdf").content).split())
        for ident in (lodged["first"], out["decision"]["id"])
    }
    old, new = papers.values()
    assert "This decision no longer stands: the protest had been rejected as late" in old
    assert "of the referee, 2026-06-13 13:40:00 CEST (Europe/Paris): upheld" in old
    assert "The decision that this replaces" in new
    assert "of the referee, 2026-06-13 12:50:00 CEST (Europe/Paris): rejected" in new
    assert "in time by 10 min (opened by announcement 1" in new


def test_a_correction_of_an_advice_stands_on_the_paper_of_its_own_decision_alone(
    meet: MeetAtHand,
) -> None:
    """Each of the two was told for itself (common practice)."""
    lodged = rejected_as_late(meet)
    advice = f"protests/{lodged['id']}/advice/time-corrections"
    done(put_right(meet, advice, advised_at=NOON + minutes(51)))
    out = decided(meet, lodged, reasons="Two umpires saw it.")
    meet.desk.put(f"protests/{lodged['id']}/advice", {})
    at_noon(meet, 120)
    done(put_right(meet, advice, advised_at=NOON + minutes(101)))
    corrected = {
        ident: meet.referee.get(f"decisions/{ident}/form.pdf").content
        for ident in (lodged["first"], out["decision"]["id"])
    }
    old, new = (" ".join(read_text(one).split()) for one in corrected.values())
    assert ("12:51:00" in old, "13:41:00" in old) == (True, False)
    assert ("12:51:00" in new, "13:41:00" in new) == (False, True)


def test_rejected_on_its_merits_it_is_told_and_appealed_anew(meet: MeetAtHand) -> None:
    lodged = rejected_as_late(meet)
    out = decided(meet, lodged, reasons="Two umpires saw it.")
    assert (out["state"], out["possible"]) == ("rejected", [])
    assert out["decision"]["advised_at"] is None
    meet.desk.put(f"protests/{lodged['id']}/advice", {})
    at_noon(meet, 120)
    made = appeal(meet, lodged)
    assert (made["state"], made["timeliness"]["words"]) == ("admitted", "in time by 10 min")
    dossier = meet["jury"].get(f"appeals/{made['id']}/dossier").json()
    assert [one["replaced_by"] for one in dossier["decisions"]] == [out["decision"]["id"], None]


def test_the_same_words_once_more_are_a_decision_of_their_own(meet: MeetAtHand) -> None:
    lodged = rejected_as_late(meet)
    out = decided(meet, lodged, reasons="It came late.")
    assert out["decision"]["id"] != lodged["first"]
    assert out["possible"] == []


def test_whoever_decided_it_the_first_time_does_not_sit_on_its_appeal(meet: MeetAtHand) -> None:
    lodged = rejected_as_late(meet)
    add_official(meet, "second", "referee", "jury")
    decided(meet, lodged, by="second", reasons="Two umpires saw it.")
    meet.desk.put(f"protests/{lodged['id']}/advice", {})
    made = appeal(meet, lodged)
    seats = a_panel(meet, made)
    barred = name_panel(meet, made, ["second", *seats[1:]])
    assert "decided the protest" in a_problem(barred, 422, "malformed")["detail"]


def test_what_was_sent_first_is_still_the_same_once_it_is_replaced(meet: MeetAtHand) -> None:
    lodged = rejected_as_late(meet)
    out = decided(meet, lodged, "upheld", orders=set_aside(lodged["ruled"]))
    first = {"verdict": "rejected", "reasons": "It came late.", "pin": PIN}
    head = meet.head()
    same = meet.referee.put(f"protests/{lodged['id']}/decision", first, etag='"v1"')
    assert (same.status_code, same.json()["decision"]["id"]) == (200, out["decision"]["id"])
    assert meet.head() == head


def test_the_time_for_an_appeal_against_a_replaced_decision_runs_no_longer(
    meet: MeetAtHand,
) -> None:
    """An appeal lies from the decision that stands (TR8.7), so the time that counts is of that."""
    lodged = rejected_as_late(meet)
    meet.service.clock.stand_at(NOON + minutes(75))
    (first,) = appeal_windows(meet)
    assert (first["state"], first["does_not_count"]) == ("open", "")
    out = decided(meet, lodged, reasons="Two umpires saw it.")
    (first,) = appeal_windows(meet)
    assert first["state"] == "void"
    assert "was replaced: the later one can be appealed" in first["does_not_count"]
    assert "STATUS:CANCELLED" in meet.desk.get("windows.ics").text
    seen = meet.desk.get(f"heats/{meet.heat()}/result").json()["announced"]
    assert seen["pending"] == [
        f"The decision on protest {lodged['number']} is to be told to those who protested."
    ]
    assert meet.desk.put(f"protests/{lodged['id']}/advice", {}).status_code == 200
    states = {one["decision"]: one["state"] for one in appeal_windows(meet)}
    assert states == {lodged["first"]: "void", out["decision"]["id"]: "open"}


def appeal_windows(meet: MeetAtHand) -> list[Json]:
    found = meet.desk.get("windows.json").json()["windows"]
    return [one for one in found if one["remedy"] == "appeal"]


def test_a_correction_of_a_replaced_decisions_advice_sent_again_is_the_same(
    meet: MeetAtHand,
) -> None:
    lodged = rejected_as_late(meet)
    advice, ident = f"protests/{lodged['id']}/advice/time-corrections", new_id()
    changes = {"ident": ident, "advised_at": NOON + minutes(55)}
    done(put_right(meet, advice, **changes))
    out = decided(meet, lodged, reasons="Two umpires saw it.")
    head = meet.head()
    again = put_right(meet, advice, **changes)
    assert (again.status_code, again.json()["version"]) == (200, out["version"])
    assert meet.head() == head
    other = put_right(meet, advice, ident=ident, advised_at=NOON + minutes(56))
    a_problem(other, 409, "id-taken")


def test_what_was_corrected_of_a_replaced_decisions_advice_stays_readable(
    meet: MeetAtHand,
) -> None:
    lodged = rejected_as_late(meet)
    advice = f"protests/{lodged['id']}/advice/time-corrections"
    done(put_right(meet, advice, advised_at=NOON + minutes(55)))
    out = decided(meet, lodged, reasons="Two umpires saw it.")
    assert [one["about"] for one in out["corrections"]] == [
        "time of a protest",
        "time of an advice",
    ]


def test_a_replaced_decision_is_not_waited_for_to_be_told(meet: MeetAtHand) -> None:
    lodged = a_late_protest(meet)
    decided(meet, lodged, reasons="It came late.")
    put_right_to_in_time(meet, lodged)
    decided(meet, lodged, reasons="Two umpires saw it.", advised_at=rfc3339(NOON + minutes(100)))
    told = meet.desk.get("announcements").json()["announcements"][0]
    assert [one for one in told["pending"] if "to be told" in one] == []


@pytest.mark.parametrize("what", ["it was heard", "it is late still", "it was in time before"])
def test_nothing_else_that_was_rejected_is_decided_once_more(meet: MeetAtHand, what: str) -> None:
    if what == "it was in time before":
        at_noon(meet)
        lodged = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    else:
        lodged = a_late_protest(meet)
    heard = {"heard_because": "The board was dark."} if what == "it was heard" else {}
    decided(meet, lodged, **heard)
    if what == "it was heard":
        put_right_to_in_time(meet, lodged)
    assert meet.desk.get(f"protests/{lodged['id']}").json()["possible"] == []
    a_problem(decide(meet, lodged, "upheld", orders=[]), 422, "malformed")
    a_problem(decide(meet, lodged, reasons="Once more."), 412, "stale")


def test_once_it_was_appealed_it_lies_with_the_jury_unless_that_is_taken_back(
    meet: MeetAtHand,
) -> None:
    lodged = rejected_as_late(meet)
    made = appeal(meet, lodged)
    assert meet.desk.get(f"protests/{lodged['id']}").json()["possible"] == []
    a_problem(decide(meet, lodged, reasons="Once more."), 412, "stale")
    seen = meet.desk.get(f"appeals/{made['id']}").headers["ETag"]
    sent = {"by": "Mira Anchor", "reason": "The referee hears us."}
    assert meet.desk.post(f"appeals/{made['id']}/withdraw", sent, etag=seen).status_code == 200
    assert decided(meet, lodged, reasons="Once more.")["state"] == "rejected"


def test_it_is_decided_once_more_too_where_the_announcements_time_was_wrong(
    meet: MeetAtHand,
) -> None:
    lodged = a_late_protest(meet)
    decided(meet, lodged, reasons="It came late.")
    at_noon(meet, 60)
    (told,) = meet.desk.get("announcements").json()["announcements"]
    sent = {"announced_at": rfc3339(NOON + minutes(25)), "reasons": "The log says so.", "pin": PIN}
    moved = meet.desk.put(f"announcements/{told['id']}/time-corrections/{new_id()}", sent)
    assert moved.status_code == 201, moved.text
    assert meet.desk.get(f"protests/{lodged['id']}").json()["possible"] == AGAIN
    out = decided(meet, lodged, "referred", reasons="I ruled on it myself.")
    assert out["state"] == "referred"
    assert datetime.fromisoformat(out["decision"]["decided_at"]) == NOON + minutes(60)
