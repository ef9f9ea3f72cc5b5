"""Who did something is told by the name of then, whatever they are called since."""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import text

from app.access.names import NamesThen, namings_of
from app.ids import MeetId, OfficialId, new_id
from app.record.kinds import Kind
from app.store.engine import open_engines
from tests.appeals.desk import a_protest, an_announced_disqualification, decided, lodge
from tests.builders import MeetAtHand, Person, a_report
from tests.forms.pdf_reading import read_text

NOW = "Quentin Sprit"


def rename(meet: MeetAtHand, person: Person, name: str = NOW) -> None:
    """An organiser enters another name for an official, who stays what they are."""
    meet.service.clock.move(timedelta(minutes=1))
    address = f"officials/{person.id}"
    seen = meet.organiser.get(address)
    sent = {key: seen.json()[key] for key in ("affiliation", "roles")} | {"name": name}
    answer = meet.organiser.put(address, sent, etag=seen.headers["ETag"])
    assert answer.status_code == 200, answer.text


def words(meet: MeetAtHand, address: str) -> str:
    answer = meet.referee.get(address)
    assert answer.status_code == 200, answer.text
    return " ".join(read_text(answer.content).split())


def test_a_reports_form_names_its_umpire_as_they_were_called_when_they_wrote(
    meet: MeetAtHand,
) -> None:
    report = meet.report()
    then = meet.umpire.name
    rename(meet, meet.umpire)
    told = words(meet, f"reports/{report['id']}/form.pdf")
    assert f"{then} · take-over" in told
    assert f"{then} is entered as {NOW} since " in told
    assert told.count(NOW) == 1


def test_what_is_read_of_a_report_a_picture_or_a_ruling_names_who_it_was_then(
    meet: MeetAtHand,
) -> None:
    report = meet.report()
    ruling = meet.rule(report["case"]).json()
    for person in (meet.umpire, meet.referee):
        rename(meet, person)
    assert meet.referee.get(f"reports/{report['id']}").json()["official_name"] == meet.umpire.name
    assert meet.referee.get(f"rulings/{ruling['id']}").json()["official_name"] == meet.referee.name
    standing = meet.referee.get(f"heats/{meet.heat()}/rulings").json()["rulings"]
    assert [one["official_name"] for one in standing] == [meet.referee.name]


def test_what_is_written_after_the_change_has_the_new_name(meet: MeetAtHand) -> None:
    before = meet.report(lane=4)
    rename(meet, meet.umpire)
    after = meet.umpire.put(
        f"reports/{new_id()}", a_report(meet.heat(), meet.posts["umpire"], lane=5)
    ).json()
    told = meet.referee.get(f"reports/{after['id']}").json()
    assert told["official_name"] == NOW
    assert words(meet, f"reports/{before['id']}/form.pdf").count(NOW) == 1
    assert "is entered as" not in words(meet, f"reports/{after['id']}/form.pdf")


def test_a_change_of_roles_is_no_other_name(meet: MeetAtHand) -> None:
    report = meet.report()
    rename(meet, meet.umpire, meet.umpire.name)
    assert "is entered as" not in words(meet, f"reports/{report['id']}/form.pdf")


def test_a_protests_form_names_who_took_it_in_and_who_decided_as_they_were_called_then(
    meet: MeetAtHand,
) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    decided(meet, protest)
    for person in (meet.desk, meet.referee):
        rename(meet, person, f"{NOW} of {person.name}")
    told = words(meet, f"protests/{protest['id']}/form.pdf")
    for person in (meet.desk, meet.referee):
        assert f"{person.name} is entered as {NOW} of {person.name} since " in told
    assert f"by: {meet.referee.name}, referee" in told
    assert f"taken in by {meet.desk.name} " in told
    assert told.count(NOW) == 2


def test_a_case_files_time_line_names_who_acted_as_they_were_called_then(
    meet: MeetAtHand,
) -> None:
    report = meet.report()
    rename(meet, meet.umpire)
    told = words(meet, f"cases/{report['case']}/file.pdf")
    assert meet.umpire.name in told
    assert f"entered as {NOW})" in told


def test_the_meets_first_official_has_the_name_that_it_was_made_with(meet: MeetAtHand) -> None:
    founder = meet.organiser
    rename(meet, founder)
    names = meet.service.store.read_now(
        lambda conn: namings_of(conn, MeetId(meet.id), OfficialId(founder.id))
    )
    assert [one.name for one in names] == [founder.name, NOW]


def test_whose_naming_was_erased_is_told_by_what_stands_in_its_place(meet: MeetAtHand) -> None:
    report = meet.report()
    rename(meet, meet.umpire)
    at = meet.service.clock.now() - timedelta(seconds=30)

    forget = text(
        "DELETE FROM record_bodies WHERE meet_id = :meet AND seq IN (SELECT seq FROM "
        "record_entries WHERE meet_id = :meet AND subject = :who AND kind = :kind)"
    )
    which = {"meet": meet.id, "who": meet.umpire.id, "kind": Kind.OFFICIAL_NAMED.value}
    engines = open_engines(meet.service.database_url)
    with engines.writing.connect() as conn:
        conn.execute(forget, which)
        names = NamesThen(conn, MeetId(meet.id))
        assert names.since(meet.umpire.id, at) is None
        assert names.at(meet.umpire.id, at) == NOW
        conn.rollback()
    engines.dispose()
    assert report["official_name"] == meet.umpire.name
