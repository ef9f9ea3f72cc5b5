"""Bodies changed at random: whatever comes, the server answers, and never with a failure.

RFC 8259 JSON with any value in any place, and JSON, CSV and start lists with any bytes changed.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.access.tries import LONGEST_WAIT
from app.ids import new_id
from tests.builders import MeetAtHand, a_meet
from tests.running import Service
from tests.sendings import DOCUMENTS, SENDINGS, told

JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.sampled_from(["\ud800", "\x00", new_id(), "2026-06-13T12:00:00Z", "9" * 500]),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


@pytest.fixture(scope="module")
def proving_ground(running_service: Service) -> MeetAtHand:
    """Apart, since bodies changed at random also try wrong PINs."""
    return a_meet(running_service)


@given(name=st.sampled_from(sorted(DOCUMENTS)), data=st.data())
@settings(max_examples=80)
def test_whatever_stands_in_a_field_the_server_never_fails(
    proving_ground: MeetAtHand, service: Service, name: str, data: st.DataObject
) -> None:
    service.clock.move(LONGEST_WAIT)
    sending = DOCUMENTS[name](proving_ground)
    document: Any = json.loads(sending.content)
    place, key = data.draw(st.sampled_from(list(places(document))))
    place[key] = data.draw(JUNK)
    never_fails(sending.send(service.http, json.dumps(document).encode()))


def places(document: Any) -> Iterator[tuple[Any, Any]]:
    """Every place in a document where a value stands."""
    for key, value in document.items() if isinstance(document, dict) else enumerate(document):
        yield document, key
        if isinstance(value, dict | list):
            yield from places(value)


@given(name=st.sampled_from(sorted(SENDINGS)), seed=st.integers(0, 2**32))
@settings(max_examples=80)
def test_whichever_bytes_are_changed_the_server_never_fails(
    proving_ground: MeetAtHand, service: Service, name: str, seed: int
) -> None:
    service.clock.move(LONGEST_WAIT)
    sending = SENDINGS[name](proving_ground)
    chance, content = random.Random(seed), bytearray(sending.content)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(content))
        match chance.randrange(4):
            case 0:
                content[at] = chance.randrange(256)
            case 1:
                del content[at : at + chance.randint(1, 9)]
            case 2:
                content[at:at] = chance.choice([b"\x00", b'"', b"{", b",", b"\xff", b"9" * 50])
            case _:
                content[at:at] = content[: chance.randint(1, 40)]
        content = content or bytearray(b"0")
    never_fails(sending.send(service.http, bytes(content)))


def never_fails(answer: httpx.Response) -> None:
    if not answer.is_success:
        told(answer)
