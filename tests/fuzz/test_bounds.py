"""The bounds hold: a reader that takes too much is found, and one that catches all it can too."""

from __future__ import annotations

import resource
from contextlib import suppress

import pytest

from tests.fuzz.bounds import MIB, TookTooLong, within


def test_what_never_ends_is_ended_though_it_catches_every_error() -> None:
    def read_for_ever() -> None:
        while True:
            with suppress(Exception):
                int("no number")

    with pytest.raises(AssertionError, match="more than"), within(0.05, 64):
        read_for_ever()


def test_what_never_ends_is_ended_though_the_first_word_of_it_was_lost() -> None:
    """As one is that comes while the interpreter runs a finaliser."""
    lost: list[BaseException] = []

    def read_for_ever() -> None:
        try:
            while True:
                pass
        except TookTooLong as first:
            lost.append(first)
        while True:
            pass

    with pytest.raises(AssertionError, match="more than"), within(0.05, 64):
        read_for_ever()
    assert lost


def test_what_takes_too_much_memory_is_found_and_the_next_may_take_it() -> None:
    before = resource.getrlimit(resource.RLIMIT_AS)
    with pytest.raises(AssertionError, match="more than 64 MiB"), within(60, 64):
        bytearray(256 * MIB)
    with within(60, 512):
        assert len(bytearray(256 * MIB)) == 256 * MIB
    assert resource.getrlimit(resource.RLIMIT_AS) == before
