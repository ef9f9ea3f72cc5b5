"""Whatever the schema can hold is declared, so that a new column or key cannot be forgotten."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from app.erasing.plan import RECORD, of_meet, texts_in_bodies, texts_in_rows
from app.erasing.what import COLUMNS, declared, is_id_or_instant, undeclared
from app.ids import MeetId
from app.schema import all_tables
from tests.conftest import NewDatabase
from tests.erasing.played import Played, a_stopped_service, afterwards


@pytest.fixture(scope="module")
def story(new_database: NewDatabase) -> Iterator[Played]:
    with a_stopped_service(new_database, "sqlite") as played, afterwards(played) as again:
        yield again


def test_every_column_that_can_hold_a_text_or_a_file_says_what_it_holds() -> None:
    assert undeclared(all_tables()) == set()


def test_what_is_declared_is_there() -> None:
    columns = {
        f"{table.name}.{column.name}"
        for table in all_tables().sorted_tables
        for column in table.columns
    }
    assert COLUMNS.keys() <= columns


def test_the_rows_of_every_table_are_found_by_their_meet() -> None:
    """Tries are counted by ids alone, and belong to no meet."""
    lost = {
        table.name
        for table in all_tables().sorted_tables
        if table.name not in RECORD and of_meet(table, MeetId("")) is None
    }
    assert lost == {"tries"}


def test_every_text_of_a_document_says_what_it_is(story: Played) -> None:
    """In a meet in which everything was done: a key that nobody declared would be taken for words,
    and go where it should stay."""
    meet = MeetId(story.meet.id)

    def read(conn: object) -> set[str]:
        found = (*texts_in_rows(conn, meet), *texts_in_bodies(conn, meet))  # type: ignore[arg-type]
        return {place for place, text in found if text and not is_id_or_instant(text)}

    places = story.service.store.read_now(read)
    assert len(places) > 150
    assert {place for place in places if declared(place) is None} == set()


APART = {
    # Ids.
    *("team", "heat", "protest", "post", "report", "event", "ruling", "reconsiders", "decision"),
    *("disqualification", "chair", "official", "id", "against", "replaced_by", "session"),
    # What has a form, or is of a list that the edition keeps.
    *("token", "time", "time_to_beat", "ground", "time_zone", "edition"),
    # Of keys and signatures: numbers that a device made.
    *("key", "secretary_official", "attestation_object", "client_data_json", "public_key", "x"),
    *("y", "authenticator_data", "signature"),
    # Of a judgement call under another edition than that of the meet that is played.
    "allowed_because",
}


def test_the_meet_that_is_played_has_a_mark_in_every_text_that_a_request_can_carry(
    story: Played,
) -> None:
    """So that a text that is added later is looked for after an erasure, too."""
    schemas = story.service.http.get("/openapi.json").json()["components"]["schemas"]
    texts = {
        name
        for title, schema in schemas.items()
        if title.endswith("In")
        for name, one in schema.get("properties", {}).items()
        if any(is_any_text(kind) for kind in (one, *one.get("anyOf", [])))
    }
    marked = {field.rpartition("/")[2] for field in story.marks.values()}
    assert texts - APART - marked == {"round"}  # its name is that of a round that is there


def is_any_text(schema: dict[str, object]) -> bool:
    """Whether a text is of no list and has no form (JSON Schema, 6.1 and 6.3)."""
    return schema.get("type") == "string" and not {"enum", "const", "format", "pattern"} & {*schema}
