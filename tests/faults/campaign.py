"""Rounds of load and sudden death over one database, which lives on through all of them.

A round: the server starts, what it holds is judged, what was unknown is sent again, and people send
until something is killed at a random moment. After each round the meet's whole record is checked,
and at the end the whole database.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from sqlalchemy import Connection

from app.checking.database import check_database, check_meet
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.queries import committed_of_kinds
from app.serving import bring_up_to_date
from app.store.engine import open_engines
from tests.bench.databases import seals_in
from tests.bench.plan import EngineName
from tests.faults.acts import PHONES, UMPIRES, Act, Crowd, a_crowd
from tests.faults.cluster import Cluster, a_cluster
from tests.faults.figures import Fault, Figures
from tests.faults.history import COMPARED, Entry, History
from tests.faults.phones import Line, Phones, mistake_in, settle
from tests.faults.served import Served, Serving, wait_until
from tests.running import a_service

ALL_SEND_EVERY = 4
"""In the rounds between umpires send alone: a fork makes its routes when the first request comes
that is not theirs, and that takes longer than all the rest of a round."""
ROUNDS_A_MEET = 20
"""The whole record of the meet is checked after each round, so it may not grow for ever."""
LONGEST_LOAD_S = 0.1
MOST_ANSWERS = 40
LONGEST_START_S = 0.2
REPEATED = 2
LONGEST_RESTART_S = 45.0
"""No goal: far more than it takes on a machine that does a great deal else."""


ON_SQLITE = {Fault.SERVER: 8, Fault.STARTING: 2}
ON_POSTGRESQL = {Fault.SERVER: 4, Fault.STARTING: 1, Fault.BACKEND: 3, Fault.POSTMASTER: 2}
BY_COMMAND_EVERY = 100

OnMeet = Callable[[Figures], None]


class Campaign:
    """One database, a server over it, and the history of what was sent."""

    def __init__(self, serving: Serving, crowds: list[Crowd], url: str, seed: int) -> None:
        self._serving, self._crowds = serving, crowds
        self._chance = Random(seed)
        self._engines = open_engines(url)
        self._server: Served | None = None
        self.figures = Figures()

    def run(self, rounds: int, cluster: Cluster | None, on_meet: OnMeet) -> None:
        """All rounds; AssertionError where a promise was broken."""
        began = time.monotonic()
        try:
            for number in range(rounds):
                if number % ROUNDS_A_MEET == 0:
                    self._begin_meet(self._crowds[number // ROUNDS_A_MEET])
                self._round(number, cluster)
                if (number + 1) % ROUNDS_A_MEET == 0 or number + 1 == rounds:
                    self._end_meet()
                    on_meet(self.figures)
            self._check_all()
        finally:
            self.figures.seconds = time.monotonic() - began
            self._kill_server()
            self._engines.dispose()

    def _begin_meet(self, crowd: Crowd) -> None:
        self._crowd, self._history = crowd, History()

    def _round(self, number: int, cluster: Cluster | None) -> None:
        fault = self._choose(number, cluster)
        server = self._serve_by_command() if fault is Fault.COMMAND else self._serve()
        self._load(server, fault, cluster)
        if fault is Fault.STARTING:
            self._serving.fork(killed_after=self._chance.uniform(0, LONGEST_START_S))
        self._look_and_settle(self._serve())
        self.figures.rounds += 1

    def _choose(self, number: int, cluster: Cluster | None) -> Fault:
        if number % BY_COMMAND_EVERY == BY_COMMAND_EVERY // 2:
            return Fault.COMMAND
        odds = ON_POSTGRESQL if cluster else ON_SQLITE
        return self._chance.choices(list(odds), list(odds.values()))[0]

    def _serve(self) -> Served:
        """A server that answers: the one that runs already, or a fork."""
        if self._server is None:
            began = time.monotonic()
            server = self._serving.fork()
            assert server is not None
            self._server = server
            self._await_answer("the server", began)
        return self._server

    def _serve_by_command(self) -> Served:
        self._kill_server()
        began = time.monotonic()
        self._server = self._serving.by_command()
        self._await_answer("the server by the command line", began)
        return self._server

    def _await_answer(self, what: str, began: float) -> None:
        """Wait until an umpire who sends what is known already is told so, and note how long it
        took since something began to start, or was killed.
        """
        assert self._server is not None
        with closing(Line(self._server.host)) as line:
            wait_until(lambda: _is_taken(line, self._crowd.known), f"{what} answers")
        took = time.monotonic() - began
        assert took < LONGEST_RESTART_S, f"{what} answered after {took:.1f} s"
        self.figures.restarts.setdefault(what, []).append(took)

    def _load(self, server: Served, fault: Fault, cluster: Cluster | None) -> None:
        """People send, and at some moment something is killed under them."""
        number = PHONES if self.figures.rounds % ALL_SEND_EVERY == 0 else len(UMPIRES)
        phones = Phones(server.host, self._crowd, self._history, self._chance, number)
        kill = self._aim(fault, cluster)
        self._wait_for_the_moment(phones)
        killed_at = time.monotonic()
        kill()
        phones.stop()
        if self._server is not None:  # it lives, and finds its database again without a hand
            self._await_answer(fault, killed_at)
        assert not phones.mistakes, phones.mistakes
        self.figures.unknown += len(self._history.unknown)

    def _aim(self, fault: Fault, cluster: Cluster | None) -> Callable[[], None]:
        """What kills, with nothing left to look up in the moment in which it is to happen."""
        if cluster is not None and fault is Fault.BACKEND:
            return cluster.aim_at_one(self._chance)
        if cluster is not None and fault is Fault.POSTMASTER:
            return cluster.aim_at_postmaster()
        return self._kill_server

    def _wait_for_the_moment(self, phones: Phones) -> None:
        """Any moment; or that of an answer, which has been given and may not be forgotten."""
        if self._chance.random() < 0.5:
            time.sleep(self._chance.uniform(0, LONGEST_LOAD_S))
        else:
            phones.wait_for_answers(self._chance.randint(1, MOST_ANSWERS), 2 * LONGEST_LOAD_S)

    def _kill_server(self) -> None:
        if self._server is not None:
            self._server.kill()
        self._server = None

    def _look_and_settle(self, server: Served) -> None:
        """What was acknowledged is there; then all whose outcome is unknown is sent again, and so
        is some of what is known: it stays one.
        """
        self._look()
        with closing(Line(server.host)) as line:
            for act in self._history.unknown:
                told = settle(line, self._history, act)
                assert not (mistake := mistake_in(act, told)), mistake
            self._repeat_some(line)

    def _look(self) -> None:
        """Judge the meet as the database has it, and check its record."""
        with self._engines.reading.connect() as conn:
            entries = list(_entries(conn, self._crowd))
            found = check_meet(conn, MeetId(self._crowd.meet))
        # A reader that stayed would keep SQLite's log in order for the server that is killed next.
        self._engines.reading.dispose()
        verdict = self._history.judge(entries)
        assert not verdict.amiss, verdict.amiss
        assert not found.mismatches, found.mismatches
        self.figures.recovered += len(verdict.recovered)

    def _repeat_some(self, line: Line) -> None:
        known = [key for key in self._history.acknowledged if key[0] is not Kind.REPORT_WITHDRAWN]
        for key in self._chance.sample(known, min(REPEATED, len(known))):
            act = self._history.attempted[key]
            told = line.send(act)
            assert told is not None, act
            assert (told.status, mistake_in(act, told)) == (200, ""), (act, told)

    def _end_meet(self) -> None:
        """Nothing of the meet is unknown any more: all is there that was acknowledged, once."""
        self._look()
        history, figures = self._history, self.figures
        assert not history.unknown, history.unknown
        figures.attempted += len(history.attempted)
        figures.acknowledged += len(history.acknowledged)
        figures.refused += len(history.refused)

    def _check_all(self) -> None:
        with self._engines.reading.connect() as conn:
            found = check_database(conn)
        assert not found.mismatches, found.mismatches


def _is_taken(line: Line, act: Act) -> bool:
    told = line.send(act)
    return told is not None and told.status == 200


def _entries(conn: Connection, crowd: Crowd) -> Iterator[Entry]:
    """What was done at the meet since its people began to send."""
    for one in committed_of_kinds(conn, MeetId(crowd.meet), list(COMPARED)):
        if one.seq > crowd.size:
            yield Entry(Kind(one.kind), one.subject, one.body or {})


def run_campaign(
    engine: EngineName, rounds: int, seed: int, on_meet: OnMeet = lambda _figures: None
) -> Figures:
    """So many rounds on an engine; its own database, and of PostgreSQL its own server. `on_meet`
    hears how far it is, each time a meet is through.
    """
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="zd-killed-")))
        stack.enter_context(seals_in(folder / "seal"))
        cluster = None
        if engine is EngineName.SQLITE:
            url = f"sqlite:///{folder / 'meets.db'}"
        else:
            cluster = stack.enter_context(a_cluster())
            url = cluster.databases.make()
        bring_up_to_date(url)
        with a_service(url) as service:
            crowds = [a_crowd(service) for _ in range(0, rounds, ROUNDS_A_MEET)]
        serving = Serving(url, folder)
        serving.fork(killed_after=0)  # the first one waits until the program is read
        campaign = Campaign(serving, crowds, url, seed)
        try:
            campaign.run(rounds, cluster, on_meet)
        except BaseException as error:
            done = campaign.figures.rounds
            error.add_note(
                f"In round {done + 1} on {engine}. Again, as far as chance is ours: "
                f"python -m tests.faults --rounds {rounds} --engine {engine} --seed {seed}\n"
                f"The servers' log ends:\n{serving.last_logged()}"
            )
            raise
        return campaign.figures
