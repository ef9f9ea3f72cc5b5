"""A line that takes a request to the service and loses what it answers."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import httpx

from tests.running import Service
from tests.sendings import Sending


@contextmanager
def a_dropping_line(service: Service) -> Iterator[str]:
    """The address of a line to the service. Of each connection it passes on what is asked; once the
    answer begins to come the work is done, and then both ends are closed.
    """
    listener = socket.create_server(("127.0.0.1", 0))
    to = ("127.0.0.1", int(service.address.rpartition(":")[2]))

    def serve() -> None:
        while True:
            try:
                asker, _ = listener.accept()
            except OSError:  # closed: the test is done
                return
            with asker, socket.create_connection(to) as line:
                asking = threading.Thread(target=_pass_on, args=(asker, line))
                asking.start()
                line.recv(1)
                asker.shutdown(socket.SHUT_RDWR)
                asking.join()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join()


def _pass_on(asker: socket.socket, line: socket.socket) -> None:
    while asked := asker.recv(65_536):
        line.sendall(asked)


def lose_answer(address: str, sending: Sending) -> None:
    """Send by a line that loses the answer."""
    try:
        with httpx.Client(base_url=address, timeout=30, verify=False) as http:
            answer = sending.send(http)
    except httpx.RemoteProtocolError:
        return
    raise AssertionError(f"the line should have lost {answer}")


def hang_up_after(service: Service, sending: Sending) -> None:
    """Send a request and be gone with its last byte: nobody is there for an answer."""
    host, port = service.address.removeprefix("http://").split(":")
    head = [f"{sending.method} {sending.path} HTTP/1.1", f"Host: {host}:{port}"]
    headers = sending.headers | {"Content-Length": str(len(sending.content))}
    headers |= {"Content-Type": "application/json"} if isinstance(sending.body, dict) else {}
    head += [f"{name}: {value}" for name, value in headers.items()]
    with socket.create_connection((host, int(port))) as line:
        line.sendall("\r\n".join([*head, "", ""]).encode() + sending.content)
