"""What is followed where it is measured how much of the program is run."""

from __future__ import annotations

import threading
from types import FrameType
from typing import Any

from tests.following import followed_unless_left_alone, leave_alone


def _thread_with_a_child(name: str) -> threading.Thread:
    def run() -> None:
        child = threading.Thread(name=f"child of {name}", target=lambda: None)
        child.start()
        child.join()

    return threading.Thread(name=name, target=run)


def test_a_thread_left_alone_and_what_it_starts_are_not_followed_and_all_others_are() -> None:
    seen: set[str] = set()

    def follow(frame: FrameType, event: str, arg: Any) -> None:
        seen.add(threading.current_thread().name)

    before = threading.gettrace()
    threading.settrace(follow)
    try:
        with followed_unless_left_alone():
            alone, followed = _thread_with_a_child("alone"), _thread_with_a_child("followed")
            leave_alone(alone)
            for thread in (alone, followed):
                thread.start()
                thread.join()
        assert threading.gettrace() is follow
    finally:
        threading.settrace(before)
    assert seen == {"followed", "child of followed"}
