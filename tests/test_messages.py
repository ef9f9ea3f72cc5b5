"""What somebody is told who does not know the service yet: each refusal names the way out."""

from __future__ import annotations

import httpx
import pytest

from app.ids import new_id
from tests.builders import (
    PIN,
    Json,
    MeetAtHand,
    a_meet,
    a_meet_document,
    a_problem,
    a_ruling,
    founder,
)
from tests.running import Service
from tests.sendings import DOCUMENTS


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    return stadium


def bearing(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def a_link(meet: MeetAtHand) -> str:
    official = new_id()
    meet.organiser.put(f"officials/{official}", {"name": "Nora", "roles": ["umpire"]})
    link = meet.organiser.put(f"officials/{official}/join-links/{new_id()}").json()
    return f"https://zone.example/join#{link['token']}"


def join(meet: MeetAtHand, token: str, pin: str = PIN) -> httpx.Response:
    document = {"token": token, "session": new_id(), "pin": pin}
    return meet.service.http.post("/api/join", json=document)


def test_a_wrong_setup_key_is_told_where_the_right_one_stands(service: Service) -> None:
    sent = a_meet_document()
    address = f"/api/meets/{new_id()}"
    wrong = service.http.put(address, json=sent, headers=bearing("not-the-key"))
    told = a_problem(wrong, 401, "not-joined")["detail"]
    assert "ZONEDOCKET_SETUP_KEY" in told
    none = service.http.put(address, json=sent)
    assert "setup key" in a_problem(none, 401, "not-joined")["detail"]


def test_the_setup_key_in_place_of_a_session_is_told_what_it_is_for(meet: MeetAtHand) -> None:
    address = f"/api/meets/{meet.id}/docket"
    told = a_problem(
        meet.service.http.get(address, headers=founder(meet.service)), 401, "not-joined"
    )
    assert "makes meets" in told["detail"]
    assert "Join with a personal link" in told["detail"]


def test_the_whole_link_joins_as_well_as_its_token(meet: MeetAtHand) -> None:
    link = a_link(meet)
    look = meet.service.http.post("/api/join/look", json={"token": link})
    assert look.json()["name"] == "Nora"
    assert join(meet, link).status_code == 200
    a_problem(join(meet, link), 403, "join-refused")


@pytest.mark.parametrize("part", ["link", "token"])
def test_a_link_in_place_of_a_session_is_told_where_it_belongs(meet: MeetAtHand, part: str) -> None:
    link = a_link(meet)
    sent = link if part == "link" else link.split("#")[1]
    answer = meet.service.http.get("/api/me", headers=bearing(sent))
    told = a_problem(answer, 401, "not-joined")
    assert "POST /api/join" in told["detail"]
    assert sent not in answer.text


@pytest.mark.parametrize("pin", ["123", "1234567890123", "48 02", "four", "४८०२१३"])
def test_a_pin_of_another_form_is_told_its_form_and_not_a_pattern(
    meet: MeetAtHand, pin: str
) -> None:
    answer = join(meet, a_link(meet), pin)
    told = a_problem(answer, 422, "malformed")
    assert told["detail"] == "/pin: a PIN is 4 to 12 figures, without blanks. Nothing was stored."


def test_a_pin_that_is_easy_to_guess_is_told_what_makes_it_so(meet: MeetAtHand) -> None:
    told = a_problem(join(meet, a_link(meet), "1234"), 422, "malformed")
    assert "count up or down" in told["detail"]


def test_a_field_that_is_missing_is_told_in_plain_words(meet: MeetAtHand) -> None:
    answer = meet.organiser.put(f"officials/{new_id()}", {"name": "Nora"})
    told = a_problem(answer, 422, "malformed")
    assert told["detail"] == "/roles: this is missing. Nothing was stored."


@pytest.mark.parametrize("day", ["13.06.2026", "13/06/2026", "2026-6-13", "June", 20260613.5, []])
def test_a_day_in_another_form_is_told_its_form(service: Service, day: object) -> None:
    document = a_meet_document(first_day=day)
    answer = service.http.put(f"/api/meets/{new_id()}", json=document, headers=founder(service))
    told = a_problem(answer, 422, "malformed")
    assert "YYYY-MM-DD" in told["detail"]


@pytest.mark.parametrize("at", ["yesterday", "2026-06-13T12:00:00", "14:03", []])
def test_a_time_in_another_form_is_told_its_form(meet: MeetAtHand, at: object) -> None:
    sending = DOCUMENTS["call"](meet).changed(clock={"at": at})
    told = a_problem(sending.send(meet.service.http), 422, "malformed")
    assert "+02:00" in told["detail"]


@pytest.mark.parametrize("kind", ["", "text/plain", "application/x-www-form-urlencoded"])
def test_a_document_without_its_content_type_is_told_the_header_to_send(
    meet: MeetAtHand, kind: str
) -> None:
    for name, build in DOCUMENTS.items():
        told = a_problem(build(meet).send(meet.service.http, kind=kind), 415, "media-type")
        assert "Content-Type: application/json" in told["detail"], name


def test_whoever_may_not_rule_is_told_who_may(meet: MeetAtHand) -> None:
    address = f"cases/{new_id()}/rulings/{new_id()}"
    told = a_problem(meet.umpire.put(address, a_ruling(), etag='"v1"'), 403, "role-missing")
    assert "the role of chief umpire or referee (the chief umpire only where" in told["detail"]
    assert "organiser" in told["detail"]
    chief = meet["chief_umpire"].put(
        f"cases/{meet.report()['case']}/rulings/{new_id()}", a_ruling(), etag='"v1"'
    )
    setting = "“The chief umpire may rule, as the referee may” in the settings of the meet"
    assert setting in a_problem(chief, 403, "role-missing")["detail"]


def test_only_what_could_have_stored_something_says_that_nothing_was(meet: MeetAtHand) -> None:
    reads = [
        meet.referee.get("docket", params={"after": "x" * 81}),
        meet.referee.get("cases/none"),
        meet.service.http.get("/api/meets/none"),
    ]
    for answer in reads:
        assert "stored" not in a_problem(answer, 422, "malformed")["detail"]
    written = meet.umpire.put(f"reports/{new_id()}", {})
    assert a_problem(written, 422, "malformed")["detail"].endswith("Nothing was stored.")


@pytest.mark.parametrize(
    "path", ["heats", "announcements", "windows.ics", "record/head", "", "nothing"]
)
def test_a_look_at_the_head_of_an_answer_is_the_answer_without_its_content(
    meet: MeetAtHand, path: str
) -> None:
    # RFC 9110, 9.3.2.
    address = f"/api/meets/{meet.id}/{path}".rstrip("/")
    whole, head = meet.service.http.get(address), meet.service.http.head(address)
    assert head.status_code == whole.status_code
    assert head.content == b""
    for name in ("content-type", "content-length", "etag"):
        assert head.headers.get(name) == whole.headers.get(name), name


def test_a_look_at_the_head_asks_for_the_same_rights_and_does_nothing(meet: MeetAtHand) -> None:
    http = meet.service.http
    assert http.head(f"/api/meets/{meet.id}/docket").status_code == 401
    assert meet.referee.send("HEAD", "docket").status_code == 200
    assert http.head("/api/join").status_code == 405
    assert http.head("/healthz").status_code == 200


def test_a_look_at_the_head_of_the_feed_ends(meet: MeetAtHand) -> None:
    answer = meet.referee.send("HEAD", "feed")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/event-stream")
    assert streams(meet) == 0.0


def streams(meet: MeetAtHand) -> float:
    lines = meet.service.http.get("/metrics").text.splitlines()
    return float(
        next(line for line in lines if line.startswith("zonedocket_open_streams")).split()[1]
    )


def test_a_body_that_is_refused_names_its_first_fault(meet: MeetAtHand) -> None:
    document: Json = {"name": "Nora", "roles": ["umpire"], "role": "umpire"}
    told = a_problem(meet.organiser.put(f"officials/{new_id()}", document), 422, "malformed")
    assert told["detail"] == "/role: this is not known here. Nothing was stored."


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        ("official", {"name": "x" * 121}, "/name: write 120 characters at most."),
        ("official", {"name": ""}, "/name: write 1 or more characters."),
        ("official", {"roles": []}, "/roles: this list must have 1 or more entries."),
        ("official", {"roles": ["umpire"] * 7}, "/roles: this list may have 6 entries at most."),
        ("official", {"roles": "umpire"}, "/roles: this must be a list."),
        ("official", {"name": 7}, "/name: this must be a text."),
        ("official", {"active": "yes"}, "/active: write true or false."),
        (
            "official",
            {"roles": ["king"]},
            "/roles/0: write one of these: umpire, chief_umpire, referee, results, jury or "
            "organiser.",
        ),
        ("call", {"flag": "red"}, "/flag: write one of these: white or yellow."),
        ("call", {"clock": 3}, "/clock: this must be a JSON object."),
        ("report", {"lane": 11}, "/lane: write a number that is 10 or less."),
        (
            "call",
            {"clock": {"at": "2026-06-13T12:00:00Z", "offset_ms": 10**12}},
            "/clock/offset_ms: write a number that is 86,400,000,000 or less.",
        ),
        ("report", {"lane": 0}, "/lane: write a number that is 1 or more."),
        ("report", {"lane": "4"}, "/lane: write a whole number."),
        ("report", {"lane": 1.5}, "/lane: write a whole number."),
        ("report", {"observation": {"seen": "nope"}}, "/observation: “seen” is none of these: "),
        ("report", {"observation": {}}, "/observation: “seen” is missing: "),
        ("report", {"observation": 3}, "/observation: this must be a JSON object."),
        (
            "report",
            {
                "observation": {
                    "seen": "pass_completed_beyond_zone",
                    "baton": {"metres": 61, "uncertainty": 0.1},
                }
            },
            "/observation/baton: A position lies within 60 m of its mark: check the metres. N",
        ),
        ("meet", {"track": {"radius_m": 0}}, "/track/radius_m: write a number above 0."),
        (
            "meet",
            {"track": {"lane_width_m": 0.5}},
            "/track/lane_width_m: write a number that is 0.9 or more.",
        ),
        ("meet", {"track": {"radius_m": "36"}}, "/track/radius_m: write a number."),
        ("look", {"token": "x" * 201}, "/token: write 200 characters at most."),
    ],
)
def test_what_is_wrong_with_a_field_is_told_in_plain_words(
    meet: MeetAtHand, name: str, changes: Json, words: str
) -> None:
    answer = DOCUMENTS[name](meet).changed(**changes).send(meet.service.http)
    assert a_problem(answer, 422, "malformed")["detail"].startswith(words)


def test_a_query_that_is_no_number_is_told_in_plain_words(meet: MeetAtHand) -> None:
    answer = meet.referee.get("heats", params={"after": "first"})
    told = a_problem(answer, 422, "malformed")
    assert told["detail"] == "query after: write a whole number."
