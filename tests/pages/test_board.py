"""The notice board over HTTP: what was announced, and nothing else."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

import pytest

from app.ids import MeetId, new_id
from app.pages.rendering import Written, write
from app.results.changing import next_change
from tests.appeals.desk import an_upheld_appeal
from tests.builders import MeetAtHand, a_report

WORDS = "Seen from the ladder beside the third lane."


def page(meet: MeetAtHand, path: str = "", **headers: str) -> str:
    answer = meet.service.http.get(f"/meets/{meet.id}{path}", headers=headers)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_what_is_reported_and_ruled_shows_only_once_it_is_announced(meet: MeetAtHand) -> None:
    before = page(meet)
    meet.start()
    report = meet.report(words=WORDS)
    assert meet.rule(report["case"], reasons="Nobody but officials reads this.").status_code == 201
    assert meet.load_result().status_code == 201
    assert page(meet) == before
    said = meet.announce(despite="The second post was relieved.")
    assert said.status_code == 201, said.text
    after = page(meet)
    assert "DQ TR24.7" in after
    assert "Tern 1" in after
    shown = after + page(meet, f"/results/{said.json()['id']}") + page(meet, "?screen=hall")
    for hidden in (WORDS, "Nobody but officials", report["id"], meet.umpire.name + "<"):
        assert hidden not in shown


def test_the_board_is_kept_for_seconds_and_told_anew_only_when_it_changed(meet: MeetAtHand) -> None:
    http, address = meet.service.http, f"/meets/{meet.id}"
    first = http.get(address)
    assert first.headers["cache-control"].startswith("public, max-age=")
    told = {one.strip() for one in first.headers["vary"].split(",")}
    assert told == {"Accept-Language", "Accept-Encoding", "Cookie"}
    again = http.get(address, headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    meet.start()
    meet.load_result()
    assert meet.announce(despite="Posts are silent.").status_code == 201
    assert http.get(address, headers={"If-None-Match": first.headers["etag"]}).status_code == 200


@pytest.mark.parametrize("path", ["", "?screen=hall"])
def test_a_window_that_has_closed_is_not_on_the_board_that_was_kept(
    meet: MeetAtHand, path: str
) -> None:
    meet.start()
    meet.load_result()
    told = meet.announce(despite="Posts are silent.").json()
    end, clock = datetime.fromisoformat(told["windows"][0]["closes_at"]), meet.service.clock
    runs = f'data-until="{end:%Y-%m-%dT%H:%M:%S}'
    clock.move(end - clock.now() - timedelta(seconds=10))
    assert runs in page(meet, path)
    clock.move(timedelta(seconds=10))
    assert runs not in page(meet, path)


def test_nothing_changes_by_itself_before_the_very_end_of_a_window(meet: MeetAtHand) -> None:
    meet.start()
    meet.load_result()
    told = meet.announce(despite="Posts are silent.").json()
    end = datetime.fromisoformat(told["windows"][0]["closes_at"])

    def next_end(at: datetime) -> datetime | None:
        return meet.service.store.read_now(lambda conn: next_change(conn, MeetId(meet.id), at))

    assert next_end(end - timedelta(minutes=5)) == end
    assert next_end(end) == end
    assert next_end(end + timedelta(microseconds=1)) is None


def test_a_window_that_opens_a_little_later_is_then_on_the_board_that_was_kept(
    meet: MeetAtHand,
) -> None:
    """After a clock was set back: nothing is announced before what it shows."""
    clock = meet.service.clock
    meet.start()
    meet.load_result()
    clock.move(-timedelta(minutes=2))
    told = meet.announce(despite="Posts are silent.").json()
    opens = datetime.fromisoformat(told["announced_at"])
    assert opens > clock.now()
    clock.move(opens - clock.now() - timedelta(seconds=10))
    assert "data-until" not in page(meet)
    clock.move(timedelta(seconds=10))
    assert "data-until" in page(meet)


def test_a_board_where_nothing_was_done_is_written_twice_a_minute_whoever_asks(
    meet: MeetAtHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    writings: list[str] = []

    def counted(*asked: Any) -> Written:
        writings.append(asked[1])
        return write(*asked)

    monkeypatch.setattr("app.pages.board.write", counted)
    meet.service.clock.stand_at(meet.service.clock.now())  # a busy machine makes no minute longer
    for _ in range(60):
        page(meet, **{"Accept-Language": "de"})
        meet.service.clock.move(timedelta(seconds=1))
    assert writings == ["de"] * 2
    meet.start()
    page(meet, **{"Accept-Language": "de"})
    assert len(writings) == 3


def test_of_two_windows_of_one_heat_board_and_desk_say_which_one_is_from_before(
    meet: MeetAtHand,
) -> None:
    meet.start()
    meet.load_result()
    assert meet.announce(despite="Posts are silent.").status_code == 201
    earlier = "announcement 1 (superseded)"
    assert earlier not in page(meet)
    meet.service.clock.move(timedelta(minutes=5))
    assert meet.announce(despite="Posts are silent.", remark="Lane 3 was misread.").is_success
    for path in ("", "?screen=hall"):
        windows = page(meet, path).split('class="what"')[1:3]
        assert [earlier in one for one in windows] == [True, False], path
    for path in ("desk", f"desk/heats/{meet.heat()}"):
        found = meet.desk.get(f"/meets/{meet.id}/{path}", headers={"Accept": "text/html"}).text
        windows = [one for one in found.split('id="window-')[1:] if "data-until" in one]
        assert [earlier in one for one in windows] == [True, False], path


def test_whoever_has_joined_sees_the_board_that_everybody_sees(meet: MeetAtHand) -> None:
    token = {"Authorization": f"Bearer {meet.referee.token}"}
    assert page(meet, **token) == page(meet)


def test_how_to_protest_is_told_in_the_terms_of_the_meet(meet: MeetAtHand) -> None:
    shown = re.sub(r"\s+", " ", page(meet))
    assert "30 minutes from the announcement of the result (TR8.2)" in shown
    assert "With a deposit of 100 USD (TR8.7)." in shown
    assert "(TR8.11)" in shown


def test_an_announcement_of_nobody_is_a_page_that_says_so(meet: MeetAtHand) -> None:
    address = f"/meets/{meet.id}/results/{new_id()}"
    answer = meet.service.http.get(address, headers={"Accept": "text/html"})
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")


def test_a_rehearsal_shows_nothing_to_the_public(meet: MeetAtHand) -> None:
    before = page(meet)
    made = meet.organiser.put(f"rehearsals/{new_id()}", {"relay": "4x100"})
    assert made.status_code == 201, made.text
    heat = made.json()["id"]
    seen = meet.referee.get(f"heats/{heat}")
    assert meet.referee.post(f"heats/{heat}/start", etag=seen.headers["ETag"]).status_code == 200
    reported = meet.umpire.put(f"reports/{new_id()}", a_report(heat, meet.posts["umpire"]))
    assert reported.status_code == 201, reported.text
    assert page(meet) == before
    assert page(meet, "?screen=hall").count("Women 4x100") == 0


def test_of_a_protest_it_is_told_that_one_waits_and_nothing_that_was_said(meet: MeetAtHand) -> None:
    meet.start()
    meet.load_result()
    said = meet.announce(despite="Posts are silent.")
    assert said.status_code == 201, said.text
    lodged = {
        "heat": meet.heat(),
        "team": meet.heats[0]["lanes"][0]["team"],
        "about": "placing",
        "lodged_by": "Somebody Nobody Sees",
        "capacity": "athlete",
        "words": "We were second, they say third.",
    }
    answer = meet.desk.put(f"protests/{new_id()}", lodged)
    assert answer.status_code == 201, answer.text
    shown = page(meet) + page(meet, f"/results/{said.json()['id']}")
    assert "Protest 1 awaits the referee" in shown
    assert "Somebody Nobody Sees" not in shown
    assert "they say third" not in shown


def test_an_amended_result_says_on_the_board_what_decided_it_and_for_whom(meet: MeetAtHand) -> None:
    an_upheld_appeal(meet)
    assert "Why it was announced again" not in page(meet)
    assert meet.announce(despite="The second post was relieved.").status_code == 201
    board = page(meet)
    (amended,) = (one for one in board.split("<article")[1:] if "Amended result" in one)
    told = amended.split("Why it was announced again")[1].split("</ul>")[0]
    assert "Appeal 1 of" in told
    assert "DQ" in told
    assert 'id="notations"' not in board, "no result that stands shows a sign"
