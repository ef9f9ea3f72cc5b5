"""Statements that PostgreSQL knows by name, run past the driver's cursors, several at a time.

A cursor takes some 60 µs of this process for each statement: it looks the text up, binds, waits
through a generator, describes the columns. And each answer is waited for, which costs twice that
between two processes on one machine. A report takes a dozen statements. So here a statement is
planned once a connection under a name of its own; what is to be written may be owed until the next
question, and what will be asked next can be asked ahead: all of it goes to the server together and
is waited for once (libpq's pipeline mode). Rows that are owed to one table go in one statement.
Where much is owed it is sent off before that, and the server works on it while the next action is
run here. The driver's own converters read what comes.
"""

from __future__ import annotations

import re
import select
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from itertools import chain
from typing import Any

from sqlalchemy import Connection

IDLE = 0
"""`PQTRANS_IDLE` of libpq: no transaction is open."""
CAME = (1, 2)
"""`PGRES_COMMAND_OK`, `PGRES_TUPLES_OK`."""
PIPELINE_SYNC = 10
MOST_VALUES = 64
"""The widest table has some thirty columns."""
MOST_ROWS = 16
"""In one statement. Each power of two up to it is a statement of its own, planned once a line."""
MUCH_OWED = 32
"""So many statements are sent off: what eight reports write."""

VALUES = " VALUES "
NUMBER = re.compile(r"\$(\d+)")

Rows = list[tuple[Any, ...]]
Answers = Mapping[tuple[bytes, tuple[Any, ...]], Rows]


@dataclass(frozen=True, slots=True)
class Reach:
    """What a statement that writes has to do with tables. `tables`: those that it reads or writes,
    and those that its rows refer to. `adds_to`: the table to which it adds one row of its values,
    and no more than that; "" for all others. `place` is that table's: what its rows refer to has a
    lower one.
    """

    tables: frozenset[str]
    adds_to: str = ""
    place: int = 0


class Named:
    """One statement, known to the server by a name. Without its reach it may do anything."""

    def __init__(self, text: str, *, writes: bool, reach: Reach | None = None) -> None:
        self.text = text.encode()
        # Of the text: whoever meets the name on a connection finds the same statement under it.
        self.name = f"zd{sha256(self.text).hexdigest()[:24]}".encode()
        self.writes = writes
        self.reach = reach
        self.adds_to = reach.adds_to if reach else ""
        self._of_rows: dict[int, Named] = {1: self}

    def of_rows(self, number: int) -> Named:
        """The same for so many rows, whose values come one row after the other."""
        if number not in self._of_rows:
            head, _, row = self.text.decode().partition(VALUES)
            width = row.count("$")
            rows = (_numbered_from(row, width * place) for place in range(number))
            self._of_rows[number] = Named(f"{head}{VALUES}{', '.join(rows)}", writes=True)
        return self._of_rows[number]

    def rows(self, conn: Connection, values: Sequence[Any]) -> Rows:
        """All rows, as the driver converts them."""
        return line_of(conn).ask(Sending(self, values))

    def run(self, conn: Connection, values: Sequence[Any]) -> int:
        """Execute for its effect; how many rows it touched."""
        return line_of(conn).tell(Sending(self, values))

    def later(self, conn: Connection, values: Sequence[Any]) -> None:
        """Execute for its effect, before whatever else is asked or committed."""
        line_of(conn).owe(Sending(self, values))


@dataclass(frozen=True, slots=True)
class Sending:
    """A statement with its values."""

    what: Named
    values: Sequence[Any]

    @property
    def key(self) -> tuple[bytes, tuple[Any, ...]]:
        return self.what.name, tuple(self.values)


def rows_together(owed: Sequence[Sending]) -> list[Sending]:
    """The same writing in fewer statements: those that add a row to a table wait for each other.

    One waits behind others as long as they have nothing to do with its table, and rows go before
    those that refer to them. So whatever is done finds what it would have found, and whatever
    fails, fails.
    """
    told: list[Sending] = []
    waiting: dict[Named, list[Sequence[Any]]] = {}
    for one in owed:
        what = one.what
        if what.adds_to:
            waiting.setdefault(what, []).append(one.values)
            continue
        if what.reach is None or any(row.adds_to in what.reach.tables for row in waiting):
            told += _of_one_table_each(waiting)
            waiting = {}
        told.append(one)
    return [*told, *_of_one_table_each(waiting)]


def _of_one_table_each(waiting: Mapping[Named, list[Sequence[Any]]]) -> Iterator[Sending]:
    for what in sorted(waiting, key=lambda one: one.reach.place if one.reach else 0):
        rows = waiting[what]
        while rows:
            number = min(MOST_ROWS, 1 << (len(rows).bit_length() - 1))
            now, rows = rows[:number], rows[number:]
            yield Sending(what.of_rows(number), list(chain.from_iterable(now)))


def _numbered_from(row: str, first: int) -> str:
    return NUMBER.sub(lambda found: f"${int(found[1]) + first}", row)


class Line:
    """One connection to the server: the names it knows, what is owed to it, what it was asked."""

    def __init__(self, connection: Any) -> None:
        from psycopg.adapt import PyFormat, Transformer  # noqa: PLC0415

        self._connection = connection
        self._pgconn = connection.pgconn
        self._converter = Transformer(connection)
        self._as_text = [PyFormat.TEXT] * (MOST_VALUES * MOST_ROWS)
        self._known: set[bytes] = set()
        self._owed: list[Sending] = []
        self._is_talking = False
        """Whether anything was handed over whose answers have not been taken."""
        self._points = 0
        """At how many points on the way both sides will be level again."""
        self._ahead: Answers = {}
        self.strayed = False
        """Whether, since `ask_ahead`, something was or may have been written that was not owed."""
        self._waiting = select.poll()
        self._waiting.register(self._pgconn.socket, select.POLLIN)

    def ask(self, sending: Sending) -> Rows:
        """The rows of an answer: one that was asked ahead, or a new one."""
        if sending.what.writes:
            self._stray()
        elif self._ahead:
            known = self._ahead.get(sending.key)
            if known is not None:
                return known
        return self._rows(self._send([sending])[-1])

    def tell(self, sending: Sending) -> int:
        """Execute for its effect; how many rows it touched."""
        self._stray()
        return self._send([sending])[-1].command_tuples or 0

    def owe(self, sending: Sending) -> None:
        """Send this along with whatever is sent next, or before where much is owed by then."""
        self._ahead = {}
        self._owed.append(sending)
        if len(self._owed) >= MUCH_OWED:
            self._send_off()

    def ask_all(self, sendings: Sequence[Sending]) -> Answers:
        """The answers to questions that are asked at once."""
        answers = self._send(sendings)
        answers = answers[len(answers) - len(sendings) :]
        return {
            sending.key: self._rows(answer)
            for sending, answer in zip(sendings, answers, strict=True)
        }

    def ask_ahead(self, sendings: Sequence[Sending]) -> Answers:
        """The same for a group: good for each of its actions until this line has `strayed`."""
        answers = self.ask_all(sendings)
        self.strayed = False
        return answers

    def know(self, answers: Answers) -> None:
        """What was asked ahead. It is good until something is written through this line."""
        self._ahead = answers

    def settle(self) -> None:
        """See that what is owed is done; the driver's own error where something of it fails."""
        self._stray()
        if self._owed or self._is_talking:
            self._send([])

    def commit(self) -> None:
        """Settle, and commit; where that fails, the whole is undone."""
        try:
            self.settle()
            if self._pgconn.transaction_status != IDLE:
                answer = self._pgconn.exec_(b"COMMIT")
                insist(answer)
                insist_committed(answer)
        finally:
            # Whoever commits takes the transaction for ended, however that went.
            self.forget()
            if self._pgconn.transaction_status != IDLE:
                self._pgconn.exec_(b"ROLLBACK")

    def forget(self) -> None:
        """What was owed to a transaction that is undone is owed no more; what was sent off of it
        comes to its end first.
        """
        self._owed.clear()
        self._ahead = {}
        if self._is_talking:
            with self._unbroken():
                self._finish()  # whatever came of it is undone as well

    def _stray(self) -> None:
        self._ahead, self.strayed = {}, True

    def _send(self, sendings: Sequence[Sending]) -> list[Any]:
        """Answers, the last ones to these; raises the driver's own error, also of what was owed."""
        if len(sendings) == 1 and self._has_nothing_else_to_say():
            return [self._send_alone(sendings[0])]
        self._hand_over(sendings)
        return self._take_answers()

    def _has_nothing_else_to_say(self) -> bool:
        return not (self._owed or self._is_talking or self._must_begin())

    def _must_begin(self) -> bool:
        return self._pgconn.transaction_status == IDLE and not self._connection.autocommit

    def _send_alone(self, sending: Sending) -> Any:
        """One statement, in one call of the driver's library: half of what a pipeline takes."""
        name, values = self._known_as(sending.what), self._as_sent(sending.values)
        with self._unbroken():
            answer = self._pgconn.exec_prepared(name, values)
        insist(answer)
        return answer

    def _send_off(self) -> None:
        """Let the server begin with what is owed, and wait for nothing.

        With a point at which it waits for us: only there does it count how long (`OF_A_GROUP`).
        """
        self._hand_over([])
        with self._unbroken():
            self._set_point()

    def _hand_over(self, sendings: Sequence[Sending]) -> None:
        """Put what is owed on its way, and these behind it; like the driver, begin a transaction
        where none is open.
        """
        together, self._owed = [*rows_together(self._owed), *sendings], []
        if self._is_talking and any(one.what.name not in self._known for one in together):
            self._take_answers()  # a name is made known while nothing else is on its way
        # Whatever may be refused on this side comes first: what was begun must come to its end.
        ready = [(self._known_as(one.what), self._as_sent(one.values)) for one in together]
        pgconn = self._pgconn
        with self._unbroken():
            if not self._is_talking:
                begins = self._must_begin()
                pgconn.enter_pipeline_mode()
                self._is_talking = True
                if begins:
                    pgconn.send_query_params(b"BEGIN", None)
            for name, values in ready:
                pgconn.send_query_prepared(name, values)

    def _set_point(self) -> None:
        self._pgconn.pipeline_sync()
        self._points += 1

    def _take_answers(self) -> list[Any]:
        with self._unbroken():
            answers = self._finish()
        for answer in answers:
            insist(answer)
        return answers

    def _finish(self) -> list[Any]:
        """The answers to all that was handed over, in order; both sides are level again then."""
        self._set_point()
        answers = self._receive()
        self._pgconn.exit_pipeline_mode()
        self._is_talking = False
        return answers

    @contextmanager
    def _unbroken(self) -> Iterator[None]:
        """Where the talk with the server breaks off, it is over: what was on its way would be taken
        for an answer to the next question.
        """
        try:
            yield
        except BaseException:
            self._is_talking, self._points = False, 0
            self._pgconn.finish()
            raise

    def _known_as(self, what: Named) -> bytes:
        if what.name not in self._known:
            insist(self._pgconn.prepare(what.name, what.text))
            self._known.add(what.name)
        return what.name

    def _as_sent(self, values: Sequence[Any]) -> Sequence[Any]:
        return self._converter.dump_sequence(values, self._as_text[: len(values)])

    def _receive(self) -> list[Any]:
        """All answers up to the last point where both sides are level again."""
        self._give_all()
        answers: list[Any] = []
        while self._points:
            while self._pgconn.is_busy():
                self._waiting.poll()
                self._pgconn.consume_input()
            answer = self._pgconn.get_result()
            if answer is None:  # between two statements
                continue
            if answer.status == PIPELINE_SYNC:
                self._points -= 1
            else:
                answers.append(answer)
        return answers

    def _give_all(self) -> None:
        """Hand over what was sent. Neither side holds more than so much: what comes meanwhile is
        taken in with each try.
        """
        while self._pgconn.flush():
            self._waiting.modify(self._pgconn.socket, select.POLLIN | select.POLLOUT)
            self._waiting.poll()
            self._waiting.modify(self._pgconn.socket, select.POLLIN)

    def _rows(self, answer: Any) -> Rows:
        self._converter.set_pgresult(answer)
        rows: Rows = self._converter.load_rows(0, answer.ntuples, tuple)
        return rows


def insist(answer: Any) -> None:
    """The driver's own error where the server refused, or is no longer there."""
    if answer.status not in CAME:
        from psycopg.errors import OperationalError, error_from_result  # noqa: PLC0415
        from psycopg.pq import DiagnosticField  # noqa: PLC0415

        if answer.error_field(DiagnosticField.SQLSTATE) is None:
            raise OperationalError(answer.get_error_message())
        raise error_from_result(answer)


def insist_committed(answer: Any) -> None:
    """A transaction in which something failed is undone by COMMIT, and that is no error."""
    if answer.command_status != b"COMMIT":
        from psycopg.errors import InFailedSqlTransaction  # noqa: PLC0415

        raise InFailedSqlTransaction("what was to be committed was undone")


def line_of(conn: Connection) -> Line:
    """The line that is behind a connection; it was made with it (`engine.py`)."""
    line: Line = conn.connection.dbapi_connection.line  # type: ignore[union-attr]
    return line
