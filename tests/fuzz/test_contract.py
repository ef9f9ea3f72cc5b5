"""What the OpenAPI document says, held against the service: everybody asks everything of a meet in
which everything was done, as told, as not told, and with something else in it.

Ids, versions and PINs are those of the meet, so that what is asked gets as far as to what is there.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from schemathesis import GenerationMode

from tests.conftest import ENGINES, NewDatabase
from tests.fuzz.budget import SEED, TIMES
from tests.fuzz.played import CALLERS, played
from tests.fuzz.walking import Walk
from tests.running import Service, a_service

READERS = ("referee", "organiser", "nobody")
"""They may read everything between them."""


@pytest.fixture(params=ENGINES)
def sealing(
    request: pytest.FixtureRequest,
    new_database: NewDatabase,
    tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Service]:
    """A service of its own, whose papers are sealed."""
    monkeypatch.setenv("ZONEDOCKET_SEAL_FOLDER", str(tmp_path_factory.mktemp("seal")))
    monkeypatch.setenv("ZONEDOCKET_SEAL_PASSPHRASE", "for tests")
    with a_service(new_database(request.param)) as service:
        yield service


@pytest.mark.slow
def test_no_answer_to_anybody_is_other_than_the_document_says(sealing: Service) -> None:
    """Every error besides is a problem document of the table, and none is a 500."""
    walk = Walk(played(sealing))
    walk.read_all()
    walk.send_all()
    never = [one.label for one in walk.operations if not walk.good(one.label)]
    walk.send_all_with_changes(2)
    walk.make_up(GenerationMode.POSITIVE, 1)
    walk.make_up(GenerationMode.NEGATIVE, 1)
    walk.read_all(READERS)
    print(
        f"FUZZ_SEED={SEED} FUZZ_TIMES={TIMES}: {len(walk.operations)} operations, {len(CALLERS)} "
        f"callers, {walk.answered.total()} answers: {walk.by_status()}"
    )
    assert not walk.found, "\n\n".join(walk.found.values())
    assert never == [], "nobody was given what these addresses give"
