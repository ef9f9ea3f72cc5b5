"""The command `erase`: what it asks for, what is due, and a run that was cut off."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from app.clock import SystemClock
from app.erasing import afterwards
from app.ids import MeetId, new_id
from app.record.queries import head_of, was_erased_since
from app.serving import bring_up_to_date
from app.store.engine import only_process
from tests.builders import MeetAtHand, a_bare_meet, a_meet, add_official
from tests.conftest import NewDatabase
from tests.erasing.played import erase, files_of
from tests.running import Service, a_service

BO = "Bo Halyard"
WHY = ("--because", "asked for it", "--by", "the organiser")


@pytest.fixture
def made(new_database: NewDatabase) -> MeetAtHand:
    """A meet with one further official; its service has been stopped."""
    with a_service(new_database("sqlite")) as service:
        meet = a_bare_meet(service, terms={"keep_days": 30})
        add_official(meet, BO, "umpire")
    return meet


def content(service: Service) -> bytes:
    return b"".join(path.read_bytes() for path in files_of(service.database_url))


def told_by(service: Service) -> list[str]:
    """Everything that the database says, however its pages lie."""
    path = service.database_url.removeprefix("sqlite:///")
    with closing(sqlite3.connect(path)) as conn:
        return sorted(conn.iterdump())


def test_looking_tells_what_would_go_and_changes_nothing(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    before = content(made.service)
    assert erase(made.service, made.id, "--all", *WHY, "--look") == 0
    told = capsys.readouterr().out
    assert "nothing was changed" in told
    assert "officials: names" in told
    assert content(made.service) == before


def test_looking_tells_texts_that_name_a_person_in_part(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    assert erase(made.service, made.id, "--name", "Olive Halyard", *WHY, "--look") == 0
    told = capsys.readouterr().out
    assert "nobody and nothing has this name" in told
    assert "a word of the name only" in told
    assert "officials: names" in told


@pytest.fixture
def named_after(new_database: NewDatabase) -> MeetAtHand:
    """A meet in which a team and a club are called after an official."""
    with a_service(new_database("sqlite")) as service:
        meet = a_meet(service)
        add_official(meet, BO, "umpire")
        rows = f"event,round,heat,lane,team,affiliation\nMen 4x100 m,heats,1,3,Team {BO},{BO} AC"
        assert meet.organiser.post("start-lists", content=rows.encode()).status_code == 200
    return meet


@pytest.mark.parametrize("who", [("--name", "bo-HALYARD"), ("--all",)], ids=["person", "meet"])
def test_what_stays_and_tells_the_name_is_listed(
    named_after: MeetAtHand, who: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever erases decides whether a team's name means the person; nothing erases it."""
    for look in (("--look",), ()):
        assert erase(named_after.service, named_after.id, *who, *WHY, *look) == 0
        _goes, stays = capsys.readouterr().out.split("which stay:")
        assert "2  teams: names" in stays  # of the team, and of its club
        assert "officials" not in stays
    assert f"Team {BO}".encode() in content(named_after.service)


def test_a_name_that_nobody_has_is_told_and_ends_as_failed(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever has typed it wrongly must not go home with "erased"."""
    before = told_by(made.service)
    assert erase(made.service, made.id, "--name", "Bo Halliard", *WHY) == 1
    told = capsys.readouterr()
    assert "Nobody and nothing here has this name. Nothing was erased." in told.err
    assert not told.out
    assert BO.encode() in content(made.service)
    assert told_by(made.service) == before


@pytest.mark.parametrize("look", [("--look",), ()], ids=["look", "erase"])
def test_which_of_several_names_nobody_has_is_told(
    made: MeetAtHand, look: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("--name", BO, "--name", "Bo Halliard", *WHY, *look)
    assert erase(made.service, made.id, *asked) == 0
    told = capsys.readouterr().out
    assert "Nobody and nothing here has the name Bo Halliard." in told
    assert f"the name {BO}" not in told


def test_whoever_was_erased_by_id_is_not_there_any_more(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    for _ in range(2):
        assert erase(made.service, made.id, "--official", made[BO].id, *WHY) == 0
    assert "nothing of it was there (any more)" in capsys.readouterr().out


def test_nothing_is_said_to_stay_where_no_team_is_called_so(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    for look in (("--look",), ()):
        assert erase(made.service, made.id, "--name", BO, *WHY, *look) == 0
        assert "which stay" not in capsys.readouterr().out


def test_whoever_is_meant_among_the_officials_is_told(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    """A name may be that of another one, who would be let in no more."""
    assert erase(made.service, made.id, "--name", "BO  HALYARD", *WHY, "--look") == 0
    assert f"official {made[BO].id}, and would be let in no more" in capsys.readouterr().out
    assert erase(made.service, made.id, "--name", "Nora Newcomer", *WHY, "--look") == 0
    assert "official" not in capsys.readouterr().out


def test_that_a_meet_is_closed_with_its_people_is_told(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    assert erase(made.service, made.id, "--name", BO, *WHY, "--look") == 0
    assert "closed" not in capsys.readouterr().out
    assert erase(made.service, made.id, "--all", *WHY, "--look") == 0
    assert "The meet would be closed" in capsys.readouterr().out
    assert erase(made.service, made.id, "--all", *WHY) == 0
    assert "The meet is closed now" in capsys.readouterr().out
    assert erase(made.service, made.id, "--all", *WHY) == 0
    assert "closed" not in capsys.readouterr().out


def test_a_paper_that_tells_the_name_goes_and_others_stay(made: MeetAtHand) -> None:
    """A drawn paper is packed: nothing in it can be looked for, so its facts are."""
    told, other = new_id(), new_id()
    path = next(files_of(made.service.database_url))
    with closing(sqlite3.connect(path)) as conn, conn:
        conn.execute(
            "INSERT INTO seals VALUES (?, ?, 0, 'PEM', 'print', 'key', '2026-06-13T12:00:00Z')",
            (seal := new_id(), made.id),
        )
        for paper, facts in ((told, f'{{"grounds": [["by", "{BO}"]]}}'), (other, '{"by": "Nora"}')):
            conn.execute(
                "INSERT INTO papers VALUES (?, ?, 'form', ?, 'A4', 1, '', ?, ?, '', ?, 1, "
                "'B-B', '2026-06-13T12:00:00Z')",
                (paper, made.id, new_id(), facts, f"%PDF of {paper}".encode(), seal),
            )
    assert erase(made.service, made.id, "--name", BO, *WHY) == 0
    assert f"%PDF of {told}".encode() not in content(made.service)
    assert f"%PDF of {other}".encode() in content(made.service)


@pytest.mark.parametrize("told", ["because", "by"])
def test_neither_the_reason_nor_who_asked_names_whom_it_is_about(
    made: MeetAtHand, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = {"because": "asked for it", "by": "the organiser", told: f"by {BO.upper()} himself"}
    asked = ("--because", words["because"], "--by", words["by"])
    before = content(made.service)
    for who in (("--all",), ("--name", BO), ("--official", made[BO].id)):
        assert erase(made.service, made.id, *who, *asked) == 1
        assert "without the name" in capsys.readouterr().err
    assert content(made.service) == before


@pytest.mark.parametrize("who", [("--name", "Nora Newcomer"), ("--all",)])
def test_a_person_named_in_an_earlier_reason_is_erased_from_that_too(
    new_database: NewDatabase, who: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """Also where it stands in place of a text; what the earlier one erased is named again."""
    with a_service(new_database("sqlite")) as service:
        made = a_meet(service)
        add_official(made, "Nora Newcomer", "umpire")
        made.report(words=f"{BO} let go of it.")
    asked = ("--because", "Nora Newcomer asked for it", "--by", "the committee")
    assert erase(service, made.id, "--name", BO, *asked) == 0
    assert content(service).count(b"Nora Newcomer asked") > 1
    assert erase(service, made.id, *who, "--because", "as asked", "--by", "the committee") == 0
    assert b"Nora Newcomer" not in content(service)
    assert checks(made, capsys)


def test_a_name_of_one_word_counts_in_a_reason_as_it_is_written(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    with a_service(made.service.database_url) as service:
        made.service = service
        for person in made.people.values():
            person.http = service.http
        add_official(made, "Asked", "umpire")
    assert (
        erase(service, made.id, "--all", "--because", "Asked for it", "--by", "the committee") == 1
    )
    assert "without the name" in capsys.readouterr().err
    assert erase(service, made.id, "--all", *WHY) == 0


def checks(made: MeetAtHand, capsys: pytest.CaptureFixture[str]) -> bool:
    """Whether `check --database` finds all records good."""
    from app.cli import main

    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("DATABASE_URL", made.service.database_url)
        ended = main(["check", "--database"])
    return ended == 0 and "agree with their heads" in capsys.readouterr().out


def test_check_says_when_by_whom_and_for_what(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    from app.cli import main

    day = datetime.now(UTC).date().isoformat()
    assert erase(made.service, made.id, "--all", *WHY) == 0
    capsys.readouterr()
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("DATABASE_URL", made.service.database_url)
        assert main(["check", "--database"]) == 0
    assert f"erased on {day}, by the organiser, for: asked for it" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--all", "--by", "the organiser"), "--because is missing"),
        (WHY, "whom?"),
        (("--all", "--name", BO, *WHY), "--all is everybody"),
        (("--due", "--all", "--by", "its terms"), "not allowed with argument"),
        (("--all", "--because", "asked for it", "--by", "\u202e"), "U+202E"),
        (("--name", ".", *WHY), "no name to look for"),
        (("--name", "J", *WHY), "no name to look for"),
        (("--official", "nobody", *WHY), "an id is a UUID"),
        (("--official", new_id(), *WHY), "no such official"),
        (("--picture", new_id(), *WHY), "no picture"),
        (("--due", *WHY), "not allowed with argument"),
    ],
)
def test_a_call_that_cannot_be_meant_says_so_and_changes_nothing(
    made: MeetAtHand, arguments: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = content(made.service)
    assert ended(made.service, made.id, *arguments) in {1, 2}
    assert told in capsys.readouterr().err
    assert content(made.service) == before


def ended(service: Service, *arguments: str) -> object:
    try:
        return erase(service, *arguments)
    except SystemExit as end:
        return end.code


def test_an_unknown_meet_is_told(made: MeetAtHand, capsys: pytest.CaptureFixture[str]) -> None:
    assert erase(made.service, new_id(), "--all", *WHY) == 1
    assert "no such meet" in capsys.readouterr().err


def test_nothing_is_erased_beside_a_server(
    made: MeetAtHand, capsys: pytest.CaptureFixture[str]
) -> None:
    from sqlalchemy import make_url

    with only_process(make_url(made.service.database_url)):
        assert erase(made.service, made.id, "--all", *WHY) == 1
    assert "Another process" in capsys.readouterr().err
    assert BO.encode() in content(made.service)


def test_a_database_of_an_older_schema_is_to_be_brought_up_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], made: MeetAtHand
) -> None:
    from app.migrating import migrate
    from app.store.engine import open_engines

    url = f"sqlite:///{tmp_path / 'old.db'}"
    engines = open_engines(url)
    migrate(engines.writing, "0007")
    engines.dispose()
    made.service.database_url = url
    assert erase(made.service, made.id, "--all", *WHY) == 1
    assert "`migrate`" in capsys.readouterr().err
    bring_up_to_date(url)


DUE = ("--due", "--by", "the organiser")


@pytest.mark.parametrize(("days", "is_due"), [(29, False), (30, True), (400, True)])
def test_meets_are_due_by_their_own_terms(
    made: MeetAtHand,
    days: int,
    is_due: bool,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The meet's last day is 14 June 2026 in Paris; it was not said when it ended."""
    now = datetime(2026, 6, 14, 22, tzinfo=UTC) + timedelta(days=days)
    monkeypatch.setattr(SystemClock, "now", lambda _self: now)
    assert erase(made.service, *DUE) == 0
    told = capsys.readouterr().out
    assert (made.id in told) is is_due
    assert (BO.encode() in content(made.service)) is not is_due
    if is_due:
        assert b"the 30 days for which this meet keeps names are over" in content(made.service)
        assert erase(made.service, *DUE) == 0
        assert "No meet" in capsys.readouterr().out


def test_what_is_due_beside_a_meet_that_is_refused_is_gone_from_the_file(
    new_database: NewDatabase, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The second one has an official who is called like whoever asks."""
    with a_service(new_database("sqlite")) as service:
        for name in (BO, "the organiser"):
            add_official(a_bare_meet(service, terms={"keep_days": 1}), name, "umpire")
    later = datetime(2099, 1, 1, tzinfo=UTC)
    monkeypatch.setattr(SystemClock, "now", lambda _self: later)
    assert erase(service, *DUE) == 1
    assert "without the name" in capsys.readouterr().err
    assert BO.encode() not in content(service)
    assert erase(service, "--due", "--by", "its terms") == 0


def test_a_meet_without_days_of_keeping_is_never_due(
    new_database: NewDatabase, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with a_service(new_database("sqlite")) as service:
        a_bare_meet(service)
    later = datetime(2099, 1, 1, tzinfo=UTC)
    monkeypatch.setattr(SystemClock, "now", lambda _self: later)
    assert erase(service, *DUE) == 0
    assert "No meet" in capsys.readouterr().out


def test_what_lay_in_freed_pages_since_before_is_gone_too(made: MeetAtHand) -> None:
    """A name that was changed, or a start list that was loaded anew, long before."""
    path = next(files_of(made.service.database_url))
    freed = "pin:long-since-freed"
    with closing(sqlite3.connect(path)) as conn, conn:
        conn.execute("PRAGMA secure_delete=OFF")
        many = [(f"{freed}-{number}", number) for number in range(500)]
        conn.executemany("INSERT INTO tries (key, count) VALUES (?, ?)", many)
        conn.commit()
        conn.execute("DELETE FROM tries")
    assert freed.encode() in content(made.service)
    assert erase(made.service, made.id, "--all", *WHY) == 0
    assert freed.encode() not in content(made.service)


def test_a_run_that_was_cut_off_before_the_file_was_written_anew_is_made_up_for(
    made: MeetAtHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it had erased was overwritten already; the rest of the file was not written anew."""
    written: list[str] = []
    real = afterwards._write_file_anew

    def fail(_path: str) -> None:
        raise OSError(28, "No space left on device")

    def write(path: str) -> None:
        written.append(path)
        real(path)

    monkeypatch.setattr(afterwards, "_write_file_anew", fail)
    assert erase(made.service, made.id, "--all", *WHY) == 1
    assert BO.encode() not in content(made.service)
    monkeypatch.setattr(afterwards, "_write_file_anew", write)
    assert erase(made.service, made.id, "--all", *WHY) == 0
    assert len(written) == 1


def test_it_is_known_whether_something_was_erased_since_a_size(made: MeetAtHand) -> None:
    """Whatever is drawn beside the writer is not kept when what it tells was erased meanwhile."""
    meet = MeetId(made.id)
    with a_service(made.service.database_url) as service:
        size = service.store.read_now(lambda conn: head_of(conn, meet)).size
    assert erase(made.service, made.id, "--all", *WHY) == 0
    with a_service(made.service.database_url) as service:
        read = service.store.read_now
        assert read(lambda conn: was_erased_since(conn, meet, size))
        now = read(lambda conn: head_of(conn, meet)).size
        assert not read(lambda conn: was_erased_since(conn, meet, now))
