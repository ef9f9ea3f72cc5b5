"""No secret stands where somebody else may read it: logs, answers, exports, copies, printed words.

Secrets are the setup key, the tokens of links and sessions, PINs and the passphrase of the seals.
Each is told once, to whom it is for, and is looked for everywhere else after everything was done.
(OWASP ASVS 5.0.0: 14.2.1, 16.2.5, 16.5.1.)
"""

from __future__ import annotations

import io
import json
import logging
import re
import sqlite3
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import pytest
from pydantic import SecretStr

from app.access.who_may import ROUTES
from app.cli import main
from app.ids import new_id
from app.logs import WithoutData
from app.store.store import Store
from tests.builders import PIN, MeetAtHand, a_meet, a_ruling
from tests.conftest import NewDatabase
from tests.running import SETUP_KEY, Service, a_service
from tests.sendings import SENDINGS

PASSPHRASE = "the-passphrase-of-these-tests"
WRONG = "739105284617"
TOLD_TO_WHOM_IT_IS_FOR = re.compile(r"/join-links/[^/]+$|^/api/join$")
PIN_AS_A_WORD = re.compile(rf"(?<![0-9A-Za-z.]){PIN}(?![0-9A-Za-z])")


@dataclass
class Heard:
    """Everything that a service said to anybody, and all of its secrets."""

    service: Service
    meet: MeetAtHand
    answers: list[httpx.Response] = field(default_factory=list)
    tokens: set[str] = field(default_factory=set)

    @property
    def secrets(self) -> set[str]:
        sessions = {person.token for person in self.meet.people.values()}
        return {SETUP_KEY, PASSPHRASE, WRONG} | sessions | self.tokens

    def insist_not_in(self, text: str, where: str) -> None:
        found = [secret for secret in self.secrets if secret in text]
        assert not found, (where, found)
        assert not PIN_AS_A_WORD.search(text), (where, PIN_AS_A_WORD.search(text))


@pytest.fixture(scope="module")
def log() -> Iterator[io.StringIO]:
    """What the process would log, and what it would if somebody asked it for more."""
    words = io.StringIO()
    handler = logging.StreamHandler(words)
    handler.setFormatter(WithoutData("%(levelname)s %(name)s: %(message)s"))
    root, ours = logging.getLogger(), logging.getLogger("app")
    level = ours.level
    root.addHandler(handler)
    ours.setLevel(logging.DEBUG)
    yield words
    root.removeHandler(handler)
    ours.setLevel(level)


@pytest.fixture(scope="module")
def heard(
    new_database: NewDatabase, tmp_path_factory: pytest.TempPathFactory, log: io.StringIO
) -> Iterator[Heard]:
    """A service at which everything was done, right and wrong."""
    seals = {
        "seal_folder": tmp_path_factory.mktemp("seals"),
        "seal_passphrase": SecretStr(PASSPHRASE),
    }
    with a_service(new_database("sqlite"), **seals) as service:
        heard = Heard(service, a_meet(service))
        service.http.event_hooks["response"] = [lambda answer: _listen(heard, answer)]
        _do_everything(heard)
        yield heard


def _listen(heard: Heard, answer: httpx.Response) -> None:
    if answer.request.url.path.endswith("/feed"):
        return
    answer.read()
    is_told = TOLD_TO_WHOM_IT_IS_FOR.search(answer.request.url.path) and answer.is_success
    if not is_told:
        heard.answers.append(answer)
    elif token := answer.json().get("token"):
        heard.tokens |= {token, token.rpartition(".")[2]}


def _do_everything(heard: Heard) -> None:
    meet, http = heard.meet, heard.service.http
    for build in SENDINGS.values():
        sending = build(meet)
        if isinstance(sending.body, dict):
            sending.send(http, f'{{"pin": "{WRONG}", "token": "{WRONG}'.encode())
            sending.changed(pin=WRONG + "x").send(http)
            sending.changed(nobody_knows=WRONG).send(http)
        assert sending.send(http).is_success
    case = meet.report(lane=2)["case"]
    assert meet.referee.put(
        f"cases/{case}/rulings/{new_id()}", a_ruling(pin=WRONG), etag='"v1"'
    ).is_client_error
    for token in sorted(heard.secrets):
        _show(heard, token)


def _show(heard: Heard, secret: str) -> None:
    """Bring a secret to where it is not asked for."""
    http, meet = heard.service.http, heard.meet
    for accept in ("text/html", "application/json"):
        headers = {"Accept": accept}
        http.get(f"/meets/{meet.id}/head", headers=headers | {"Authorization": f"Bearer {secret}"})
        http.get(f"/meets/{meet.id}/head", headers=headers | {"Authorization": f"Basic {secret}"})
        http.get(f"/meets/{meet.id}/head", headers=headers | {"Cookie": f"session={secret}"})
    http.post("/api/join", json={"token": secret, "session": new_id(), "pin": PIN})
    http.post("/api/join/look", json={"token": secret})


def whatever_is_told(answer: httpx.Response) -> str:
    headers = "\n".join(f"{name}: {value}" for name, value in answer.headers.multi_items())
    return f"{answer.request.url}\n{headers}\n{answer.content.decode('latin-1')}"


def test_no_answer_and_no_address_tells_a_secret(heard: Heard) -> None:
    assert len(heard.answers) > 5 * len(SENDINGS)
    assert len(heard.tokens) > 4
    for answer in list(heard.answers):
        heard.insist_not_in(whatever_is_told(answer), str(answer.request.url))


def test_no_read_of_any_route_tells_a_secret(heard: Heard) -> None:
    everything = [
        heard.meet[role].get(path.replace("{meet}", heard.meet.id))
        for method, path in ROUTES
        if method == "GET" and "{" not in path.replace("{meet}", "") and not path.endswith("/feed")
        for role in ("organiser", "referee")
    ]
    assert sum(answer.status_code == 200 for answer in everything) > 40
    for answer in everything:
        heard.insist_not_in(whatever_is_told(answer), str(answer.request.url))


def test_no_export_tells_a_secret(heard: Heard) -> None:
    exported = heard.meet.referee.get("record.zip")
    assert exported.status_code == 200
    with zipfile.ZipFile(io.BytesIO(exported.content)) as files:
        assert len(files.namelist()) > 5
        for name in files.namelist():
            heard.insist_not_in(files.read(name).decode("latin-1"), name)


def test_an_error_that_nobody_foresaw_tells_no_secret_and_logs_none(
    heard: Heard, log: io.StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def fail(*things: object, **_: object) -> None:
        raise RuntimeError(f"no luck\n{things} {PASSPHRASE} {heard.meet.referee.token}")

    monkeypatch.setattr(Store, "act", fail)
    sent = {"token": next(iter(heard.tokens)), "session": new_id(), "pin": PIN}
    answers = [
        heard.service.http.post("/api/join", json=sent),
        heard.meet.umpire.post("me/keys/options"),
        heard.meet.referee.put("heat-now", {"heat": heard.meet.heat()}),
    ]
    assert 500 in {answer.status_code for answer in answers}
    for answer in answers:
        heard.insist_not_in(whatever_is_told(answer), str(answer.request.url))
    assert "unexpected error" in log.getvalue()
    heard.insist_not_in(log.getvalue(), "the log")


def test_the_log_of_all_that_tells_no_secret(heard: Heard, log: io.StringIO) -> None:
    logging.getLogger("app.somewhere").debug("it is listened to")
    assert "it is listened to" in log.getvalue()
    heard.insist_not_in(log.getvalue(), "the log")


def test_neither_the_database_nor_its_copy_nor_what_commands_print_has_a_secret(
    heard: Heard,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Only digests are kept, so whoever finds a copy joins and signs nothing with it."""
    monkeypatch.setenv("DATABASE_URL", heard.service.database_url)
    monkeypatch.setenv("ZONEDOCKET_SETUP_KEY", SETUP_KEY)
    monkeypatch.setenv("ZONEDOCKET_SEAL_PASSPHRASE", PASSPHRASE)
    copy, folder = tmp_path / "copy.db", str(heard.service.app.state.services.settings.seal_folder)
    monkeypatch.setenv("ZONEDOCKET_SEAL_FOLDER", folder)
    meet = heard.meet.id
    commands: Sequence[Sequence[str]] = (
        ("backup", str(copy)),
        ("check", "--database"),
        ("export", meet, str(tmp_path / "export")),
        ("erase", meet, "--all", "--look", "--because", "over", "--by", "nobody"),
        ("backup", str(copy)),
    )
    ended = [main(list(command)) for command in commands]
    printed = capsys.readouterr()
    assert ended[:2] == [0, 0], printed
    heard.insist_not_in(printed.out + printed.err, "what was printed")
    with closing(sqlite3.connect(copy)) as conn:
        lines = "\n".join(conn.iterdump())
    assert heard.meet.id in lines
    heard.insist_not_in(lines, "the copy")
    heard.insist_not_in(json.dumps([str(one) for one in tmp_path.rglob("*")]), "names of files")
