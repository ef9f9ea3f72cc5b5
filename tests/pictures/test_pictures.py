"""Pictures of a report: kept as they came, shown without what they tell besides, read by those who
read the report.

The limits follow OWASP ASVS 5.0: uploaded pictures are written anew (5.2.2), with a limit for their
pixels (5.2.6), and without metadata (14.2.8).
"""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from threading import BoundedSemaphore

import httpx
import pytest
from PIL import Image

from app.ids import new_id
from app.pictures import child, redrawing, routes
from app.pictures.redrawing import LARGEST_PICTURE, redraw
from app.refusals import Malformed
from tests.appeals.desk import (
    a_protest,
    an_announced_disqualification,
    announced,
    appeal,
    decided,
    lodge,
    set_aside,
    team,
)
from tests.builders import Json, MeetAtHand, a_problem, a_ruling
from tests.forms.pdf_reading import read_text
from tests.pictures.photographs import (
    BLUE,
    RED,
    SECRETS,
    a_photograph,
    a_png_that_says,
    drawn,
    is_like,
    opened,
    saved,
)

KINDS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp", "HEIF": "image/heic"}


def address(report: Json, picture: str | None = None) -> str:
    return f"reports/{report['id']}/pictures/{picture or new_id()}"


def send(
    meet: MeetAtHand, where: str, content: bytes, by: str = "umpire", kind: str = "image/jpeg"
) -> httpx.Response:
    return meet[by].put(where, content=content, headers={"Content-Type": kind})


def added(meet: MeetAtHand, report: Json, content: bytes | None = None, **more: str) -> Json:
    answer = send(meet, address(report), content or saved(drawn(), "PNG"), **more)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def copy_of(meet: MeetAtHand, picture: Json, by: str = "referee") -> bytes:
    answer = meet[by].get(f"reports/{picture['report']}/pictures/{picture['id']}/copy.jpg")
    assert answer.headers["Content-Type"] == "image/jpeg"
    return answer.content


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_is_kept_as_it_came_and_shown_as_a_jpeg(meet: MeetAtHand, kind: str) -> None:
    content = saved(drawn(), kind)
    picture = added(meet, meet.report(), content, kind=KINDS[kind])
    assert (picture["media_type"], picture["size"]) == (KINDS[kind], len(content))
    assert picture["sha256"] == sha256(content).hexdigest()
    shown = copy_of(meet, picture)
    assert meet["jury"].get(picture["copy_path"]).content == shown
    assert picture["shown_sha256"] == sha256(shown).hexdigest()
    seen = opened(shown)
    assert (seen.format, seen.size) == ("JPEG", (60, 40))
    assert (picture["width"], picture["height"]) == seen.size
    assert is_like(seen.getpixel((5, 20)), RED)
    assert is_like(seen.getpixel((55, 20)), BLUE)
    where = f"reports/{picture['report']}/pictures/{picture['id']}"
    got = meet["jury"].get(f"{where}/original")
    assert got.content == content
    assert got.headers["Content-Type"] == KINDS[kind]
    assert got.headers["Content-Disposition"].startswith("attachment;")
    for answer in (got, meet.referee.get(f"{where}/copy.jpg")):
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Cache-Control"] == "private, no-store"
    assert meet.umpire.get(where).json() == picture


def test_the_copy_stands_upright_and_tells_neither_place_nor_device(meet: MeetAtHand) -> None:
    content = a_photograph()
    assert all(secret in content for secret in SECRETS)
    shown = copy_of(meet, added(meet, meet.report(), content))
    assert not [secret for secret in SECRETS if secret in shown]
    seen = opened(shown)
    assert seen.size == (40, 60), "turned by a quarter, as its Exif orientation 6 says"
    assert is_like(seen.getpixel((20, 5)), RED)
    assert is_like(seen.getpixel((20, 55)), BLUE)
    assert not seen.getexif()


def test_what_can_be_seen_through_stands_on_white_and_a_large_one_is_shown_smaller(
    meet: MeetAtHand,
) -> None:
    clear = drawn(5_120, 16).convert("RGBA")
    clear.putalpha(0)
    picture = added(meet, meet.report(), saved(clear, "PNG"))
    seen = opened(copy_of(meet, picture))
    assert seen.size == (child.LONGEST_EDGE, 8)
    assert is_like(seen.getpixel((9, 4)), (255, 255, 255))


def test_of_a_jpeg_with_further_pictures_the_first_is_shown(meet: MeetAtHand) -> None:
    content = saved(drawn(), "MPO", save_all=True, append_images=[drawn(6, 4)])
    picture = added(meet, meet.report(), content)
    assert picture["media_type"] == "image/jpeg"
    assert opened(copy_of(meet, picture)).size == (60, 40)


def test_of_sixteen_bits_of_grey_the_upper_eight_are_shown(meet: MeetAtHand) -> None:
    grey = Image.new("I;16", (8, 8), 128 * 256)
    seen = opened(copy_of(meet, added(meet, meet.report(), saved(grey, "PNG"))))
    assert is_like(seen.getpixel((4, 4)), (128, 128, 128))


BADLY = {
    "takes more memory": ("child.redraw = lambda _content: len(bytes(2 * child.MEMORY)) and DONE"),
    "takes more time": (
        "import time; ends = time.monotonic() + 20; child.SECONDS = 1\n"
        "child.redraw = lambda _content: all(time.monotonic() < ends for _ in iter(int, 1)) or DONE"
    ),
    "writes more": (
        "child.redraw = lambda _content: child.told('image/png', (1, 1), bytes(20 * 1024 * 1024))"
    ),
    "waits": "import time; child.redraw = lambda _content: time.sleep(60)",
    "is shot": "import os; os.abort()",
}


@pytest.mark.parametrize("does", BADLY)
def test_whatever_a_file_makes_of_the_decoder_it_ends_at_its_bounds(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, does: str
) -> None:
    lines = (
        f"import sys; sys.path.insert(0, {str(Path(child.__file__).parent)!r}); import child",
        "DONE = child.told('image/png', (1, 1), b'done')",
        BADLY[does],
        "sys.exit(child.main())",
    )
    broken = tmp_path / "broken.py"
    broken.write_text("\n".join(lines))
    monkeypatch.setattr(child, "__file__", str(broken))
    monkeypatch.setattr(redrawing, "LONGEST_WAIT", 2.0 if does == "waits" else 60.0)
    with pytest.raises(Malformed, match="damaged, or takes too much"):
        redraw(WHOLE)


def test_what_follows_a_picture_in_its_file_is_not_in_the_copy(meet: MeetAtHand) -> None:
    content = saved(drawn(), "JPEG") + b"<script>alert(1)</script>PK\x03\x04"
    shown = copy_of(meet, added(meet, meet.report(), content))
    assert b"script" not in shown
    assert b"PK\x03\x04" not in shown


WHOLE = saved(drawn(600, 400), "JPEG")
NO_PICTURES = {
    "nothing": (b"", "no picture"),
    "a text": (b"lane,time\n4,42.10", "no picture"),
    "another kind": (saved(drawn(), "GIF"), "no picture"),
    "a drawing with script": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture"),
    "half of one": (WHOLE[: len(WHOLE) // 2], "damaged"),
    "no pixels": (a_png_that_says(60, 40), "damaged"),
    "a bomb": (a_png_that_says(50_000, 50_000), "million pixels"),
    "64 million and some": (a_png_that_says(8_000, 8_001, bytes(8_001 * 8_001)), "million pixels"),
}


@pytest.mark.parametrize("what", NO_PICTURES)
def test_what_is_no_picture_or_too_large_is_refused_with_a_way_out(
    meet: MeetAtHand, what: str
) -> None:
    content, words = NO_PICTURES[what]
    report = meet.report()
    refused = a_problem(send(meet, address(report), content), 422, "malformed")
    assert words in str(refused["detail"])
    assert str(refused["detail"]).endswith("Nothing was stored.")
    assert meet.umpire.get(f"reports/{report['id']}").json()["pictures"] == []


def test_a_file_that_is_too_large_is_refused(meet: MeetAtHand) -> None:
    answer = send(meet, address(meet.report()), bytes(LARGEST_PICTURE + 1))
    a_problem(answer, 413, "too-large")


def test_a_picture_of_as_many_pixels_as_are_taken_is_drawn(meet: MeetAtHand) -> None:
    side = 8_000
    assert side * side == child.MOST_PIXELS
    content = a_png_that_says(side, side, bytes(side * (side + 1)))
    picture = added(meet, meet.report(), content)
    assert (picture["width"], picture["height"]) == (child.LONGEST_EDGE, child.LONGEST_EDGE)


def test_sent_again_it_is_the_same_and_another_under_its_id_is_refused(meet: MeetAtHand) -> None:
    report, content = meet.report(), saved(drawn(), "PNG")
    where = address(report)
    first = send(meet, where, content)
    again = send(meet, where, content)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    a_problem(send(meet, where, WHOLE), 409, "id-taken")
    elsewhere = address(meet.report(), where.rsplit("/", 1)[1])
    a_problem(send(meet, elsewhere, content), 409, "id-taken")
    assert len(meet.umpire.get(f"reports/{report['id']}").json()["pictures"]) == 1


def test_the_author_and_the_head_official_add_pictures_and_who_reads_the_report_sees_them(
    meet: MeetAtHand,
) -> None:
    report = meet.report()
    own, heads = added(meet, report), added(meet, report, by="referee")
    assert heads["official_name"] == meet.referee.name
    a_problem(send(meet, address(report), WHOLE, by="other umpire"), 403, "not-yours")
    a_problem(send(meet, address(report), WHOLE, by="jury"), 403, "role-missing")
    where = f"reports/{report['id']}/pictures/{own['id']}"
    for path in (where, f"{where}/copy.jpg", f"{where}/original"):
        for reader in ("umpire", "referee", "chief_umpire", "jury"):
            assert meet[reader].get(path).status_code == 200
        a_problem(meet["other umpire"].get(path), 403, "not-yours")
        a_problem(meet.desk.get(path), 403, "role-missing")
    told = meet.referee.get(f"cases/{report['case']}").json()["reports"][0]["pictures"]
    assert [one["id"] for one in told] == [own["id"], heads["id"]]


def test_a_picture_of_another_report_is_not_found_there(meet: MeetAtHand) -> None:
    picture, other = added(meet, meet.report()), meet.report(lane=5)
    a_problem(meet.umpire.get(address(other, picture["id"])), 404, "not-found")
    a_problem(send(meet, address({"id": new_id()}), WHOLE), 404, "not-found")


def test_a_withdrawn_report_and_one_that_has_twenty_take_no_more(meet: MeetAtHand) -> None:
    report = meet.report()
    for _number in range(20):
        added(meet, report, saved(drawn(4, 4), "PNG"))
    refused = a_problem(send(meet, address(report), WHOLE), 409, "conflict")
    assert "takes no more" in str(refused["detail"])
    withdrawn = meet.report(lane=5)
    gone = meet.umpire.post(
        f"reports/{withdrawn['id']}/withdraw", {"reason": "The wrong lane."}, etag='"v1"'
    )
    assert gone.status_code == 200
    a_problem(send(meet, address(withdrawn), WHOLE), 409, "conflict")


def test_what_is_refused_anyway_is_refused_before_it_is_drawn(
    meet: MeetAtHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    def drawn_all_the_same(_content: bytes) -> None:
        raise AssertionError("drawn")

    report = meet.report()
    picture = added(meet, report, WHOLE)
    monkeypatch.setattr(redrawing, "redraw", drawn_all_the_same)
    a_problem(send(meet, address({"id": new_id()}), WHOLE), 404, "not-found")
    a_problem(send(meet, address(report), WHOLE, by="other umpire"), 403, "not-yours")
    again = send(meet, address(report, picture["id"]), WHOLE)
    assert (again.status_code, again.json()) == (200, picture)


def test_the_pictures_of_a_meet_have_a_bound_together(
    meet: MeetAtHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = meet.report()
    added(meet, report)
    most = meet.service.app.state.services.settings
    monkeypatch.setitem(most.__dict__, "picture_mib", 0)
    refused = a_problem(send(meet, address(report), WHOLE), 409, "conflict")
    assert "Keep this one on the telephone" in str(refused["detail"])


def test_as_many_come_at_once_as_the_server_holds_and_the_next_may_come_again(
    meet: MeetAtHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = meet.report()
    monkeypatch.setattr(routes, "_under_way", BoundedSemaphore(1))
    with routes._one_of_few():
        a_problem(send(meet, address(report), WHOLE), 503, "unavailable")
    added(meet, report, WHOLE)


def test_a_ruling_is_signed_on_the_case_with_its_pictures_as_they_were_read(
    meet: MeetAtHand,
) -> None:
    report = meet.report()
    seen = meet.referee.get(f"cases/{report['case']}").headers["ETag"]
    added(meet, report)
    ruling = f"cases/{report['case']}/rulings/{new_id()}"
    a_problem(meet.referee.put(ruling, a_ruling(), etag=seen), 412, "stale")
    assert meet.rule(report["case"]).status_code == 201


def test_the_jury_gets_the_pictures_with_the_dossier_also_those_that_came_after_the_ruling(
    meet: MeetAtHand,
) -> None:
    ruling = an_announced_disqualification(meet)
    report = meet.referee.get(f"cases/{ruling['case']}").json()["reports"][0]
    picture = added(meet, report)
    protest = lodge(meet, a_protest(meet, ruling))
    out = decided(meet, protest, "upheld", orders=set_aside(ruling))
    announced(meet)
    lodged = appeal(meet, out, team=team(meet, 5))
    told = meet["jury"].get(f"appeals/{lodged['id']}/dossier").json()
    (shown,) = told["cases"][0]["reports"][0]["pictures"]
    assert shown == picture
    assert opened(copy_of(meet, shown, by="jury")).size == (60, 40)


def test_the_record_says_that_it_was_added_and_what_it_was(meet: MeetAtHand) -> None:
    picture = added(meet, meet.report())
    entries = meet["jury"].get("record").text.splitlines()
    (entry,) = [line for line in entries if picture["id"] in line]
    kept = json.loads(entry)
    assert json.loads(kept["entry"])["kind"] == "picture added"
    assert {picture["sha256"], picture["shown_sha256"]} <= set(json.loads(kept["body"]).values())


def test_the_form_of_a_ruling_names_the_pictures_that_had_come_with_each_report(
    meet: MeetAtHand,
) -> None:
    report, other = meet.report(), meet.report(by="other umpire")
    shades = [Image.new("RGB", (9, 9), (shade, 0, 0)) for shade in (1, 2)]
    sent = [added(meet, report, saved(one, "PNG")) for one in shades]
    ruled = meet.rule(report["case"])
    assert ruled.status_code == 201, ruled.text
    late = added(meet, other, by="other umpire")

    def form() -> str:
        answer = meet.referee.get(f"rulings/{ruled.json()['id']}/form.pdf")
        return " ".join(read_text(answer.content).split())

    begin = ", ".join(one["sha256"][:12] for one in sent)
    assert f"pictures: 2; SHA-256 begins with {begin}" in form()
    assert form().count("pictures: ") == 1, "the other report had none when it was ruled"
    assert late["sha256"][:12] not in form()
