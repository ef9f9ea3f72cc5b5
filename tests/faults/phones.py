"""People's phones on a line to a server that may be gone at any moment.

Each keeps one line and sends its next act when the last one is answered. An answer that does not
come leaves its act in the history as unknown; it is sent again, under the same id, when the server
is back.
"""

from __future__ import annotations

import http.client
import json
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, suppress
from random import Random

from app.record.kinds import Kind
from tests.faults.acts import Act, Acting, Acts, Crowd, Told
from tests.faults.history import History, says
from tests.faults.served import wait_until

GONE = (OSError, http.client.HTTPException)
TAKEN = {200, 201}
MAY_BE_REFUSED = {409, 412}
"""Two act on one thing at once: an act that comes too late is refused. All else is a mistake."""
ECHOED = {
    Kind.CALL: ("heat", "post", "flag"),
    Kind.REPORT_WRITTEN: ("heat", "post", "lane", "observation", "words", "clock"),
    Kind.RULING: ("verdict", "reasons"),
    Kind.OFFICIAL_NAMED: ("name", "affiliation", "roles"),
    Kind.PROTEST_LODGED: ("heat", "team", "about", "lodged_by", "words"),
}
"""What an answer tells as it was sent."""


class Gone(Exception):
    """No whole answer came."""


class Line:
    """A connection to a server; a new one where the last was lost."""

    def __init__(self, host: str) -> None:
        self._connection = http.client.HTTPConnection(host, timeout=30)

    def ask(self, token: str, path: str) -> Told:
        """Read something; Gone where nobody answers it, or the store cannot."""
        told = self._request("GET", path, token, None, None)
        if told.status != 200:
            raise Gone(told)
        return told

    def send(self, act: Act) -> Told | None:
        """Send an act; None where no whole answer came."""
        with suppress(Gone):
            body = json.dumps(act.body).encode()
            return self._request(act.method, act.path, act.token, body, act.etag)
        return None

    def close(self) -> None:
        self._connection.close()

    def _request(
        self, method: str, path: str, token: str, body: bytes | None, etag: str | None
    ) -> Told:
        headers = {"Authorization": f"Bearer {token}"}
        headers |= {"Content-Type": "application/json"} if body is not None else {}
        headers |= {"If-Match": etag} if etag is not None else {}
        try:
            self._connection.request(method, path, body, headers)
            answer = self._connection.getresponse()
            document = json.loads(answer.read())
        except (*GONE, ValueError) as error:
            self._connection.close()
            raise Gone from error
        return Told(answer.status, document, answer.headers["ETag"])


class Phones:
    """A crowd that sends until it is stopped, or until nobody answers."""

    def __init__(
        self, host: str, crowd: Crowd, history: History, chance: Random, number: int
    ) -> None:
        self._crowd, self._history = crowd, history
        self._stopped = threading.Event()
        self._answered, self._heard = 0, threading.Condition()
        self.mistakes: list[str] = []
        self._threads = ThreadPoolExecutor(number)
        self._using = [
            self._threads.submit(self._use, one, Line(host), Random(chance.random()))
            for one in range(number)
        ]

    def wait_for_answers(self, number: int, most: float) -> None:
        """Return in the moment in which so many have come, or after so many seconds."""
        with self._heard:
            self._heard.wait_for(lambda: self._answered >= number, most)

    def stop(self) -> None:
        """No further act is sent; returns when the last answer has come, or cannot come."""
        self._stopped.set()
        self._threads.shutdown()
        for using in self._using:
            using.result()

    def _use(self, number: int, line: Line, chance: Random) -> None:
        acting = Acting(self._crowd, chance, line.ask)
        with closing(line), suppress(Gone):
            while self._send_all(line, acting.acts_of(number)):
                pass

    def _send_all(self, line: Line, acts: Acts) -> bool:
        """Whether all went through, and more may follow."""
        return all(not self._stopped.is_set() and self._send(line, act) for act in acts)

    def _send(self, line: Line, act: Act) -> bool:
        """Whether the server has answered, and stands."""
        self._history.attempt(act)
        told = line.send(act)
        self._history.hear(act, told)
        with self._heard:
            self._answered += told is not None
            self._heard.notify()
        if told is not None and (mistake := mistake_in(act, told)):
            self.mistakes.append(mistake)
        return told is not None and told.status < 500


def mistake_in(act: Act, told: Told) -> str:
    """What no answer to this act may be, in words; empty where it may."""
    if told.status in TAKEN:
        names = ECHOED.get(act.kind, ())
        return "" if says(act.body, told.document, names) else f"{act} was answered {told}"
    return "" if told.status in MAY_BE_REFUSED or told.status >= 500 else f"{act}: {told}"


def settle(line: Line, history: History, act: Act) -> Told:
    """Send an act of unknown outcome again until the server says what became of it."""
    answers: list[Told] = []

    def is_settled() -> bool:
        history.attempt(act)
        told = line.send(act)
        history.hear(act, told)
        answers.extend([told] if told is not None else [])
        return told is not None and told.status < 500

    wait_until(is_settled, f"{act} is answered; so far: {answers[-1:]}")
    if act.kind is Kind.REPORT_WITHDRAWN and answers[-1].status in MAY_BE_REFUSED:
        return _look_whether_withdrawn(line, history, act, answers[-1])
    return answers[-1]


def _look_whether_withdrawn(line: Line, history: History, act: Act, refused: Told) -> Told:
    """A withdrawal has no id of its own: a phone whose answer was lost looks what has become of the
    report.
    """
    seen = line.ask(act.token, act.path.removesuffix("/withdraw"))
    if seen.document.get("state") != "withdrawn" or seen.document["remark"] != act.body["reason"]:
        return refused
    del history.refused[act.key]
    history.hear(act, seen)
    return seen
