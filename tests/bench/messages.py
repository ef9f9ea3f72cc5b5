"""Which bytes go over the line? Requests made before the clock runs.

A report's request is made once for each umpire, heat and lane; only its id is fresh every time, a
UUID of version 7 as a phone makes it. The bare endpoint is sent the very same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import cycle, islice

from app.ids import new_id
from tests.bench.meets import MeetUnderLoad, Umpire
from tests.builders import Json, a_report

HOST = "Host: 127.0.0.1\r\n"
# A report that began before the start of the zone is for the posts at the start, and so on.
SEEN_AT = {
    "start": ("pass_begun_before_zone", "The receiver touched it short of the yellow line."),
    "end": ("pass_completed_beyond_zone", "Both hands on the baton at the line."),
}


@dataclass(frozen=True, slots=True)
class PreparedReport:
    """A report's request, whole but for its id."""

    before_id: bytes
    after_id: bytes

    def with_fresh_id(self) -> bytes:
        return b"".join((self.before_id, new_id().encode(), self.after_id))


def a_get(path: str, token: str = "") -> bytes:
    """A GET request."""
    authorization = f"Authorization: Bearer {token}\r\n" if token else ""
    return f"GET {path} HTTP/1.1\r\n{HOST}{authorization}\r\n".encode()


def a_put(path: str, token: str, document: Json) -> bytes:
    """A PUT request with a JSON document."""
    body = json.dumps(document).encode()
    head = (
        f"PUT {path} HTTP/1.1\r\n{HOST}Authorization: Bearer {token}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode() + body


def prepare_reports(meet: MeetUnderLoad) -> list[PreparedReport]:
    """Every report that this crew can write: umpire by umpire, over all heats and their lanes."""
    return [
        _prepare(meet, umpire, a_report(heat, umpire.post, lane=lane, **_facts(umpire)))
        for heat in meet.heats
        for umpire in meet.umpires
        for lane in umpire.lanes
    ]


def _facts(umpire: Umpire) -> Json:
    seen, words = SEEN_AT[umpire.edge]
    baton = {"metres": 1.2 if umpire.edge == "end" else -0.4, "uncertainty": 0.3}
    return {"observation": {"seen": seen, "baton": baton}, "words": words}


def _prepare(meet: MeetUnderLoad, umpire: Umpire, report: Json) -> PreparedReport:
    path = f"/api/meets/{meet.id}/reports/"
    before_id = f"PUT {path}".encode()
    sent = a_put(path, umpire.token, report)
    return PreparedReport(before_id, sent.removeprefix(before_id))


def report_clients(prepared: Sequence[PreparedReport], count: int) -> list[Iterator[bytes]]:
    """So many clients, each beginning at its own place among the reports."""
    step = max(len(prepared) // count, 1)
    return [_send_reports(prepared, number * step) for number in range(count)]


def _send_reports(prepared: Sequence[PreparedReport], first: int) -> Iterator[bytes]:
    for report in islice(cycle(prepared), first, None):
        yield report.with_fresh_id()


def reading_clients(requests: Sequence[bytes], count: int) -> list[Iterator[bytes]]:
    """So many clients that read the same things, each beginning with another."""
    return [islice(cycle(requests), number, None) for number in range(count)]
