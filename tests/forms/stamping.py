"""A time-stamp authority on this machine: openssl answers, over HTTP; or one that misbehaves."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Event, Thread
from typing import Any

from asn1crypto import keys, tsp
from asn1crypto import x509 as asn1_x509
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
)
from pyhanko.sign.timestamps.dummy_client import DummyTimeStamper

from tests.forms.seal_builders import a_private_key, a_stamping_certificate

CONFIGURATION = """
[tsa]
default_tsa = ours
[ours]
serial = serial
signer_digest = sha256
default_policy = 1.3.6.1.4.1.99999.1
digests = sha256
accuracy = secs:1
ess_cert_id_alg = sha256
"""
Answer = Callable[[bytes], bytes]


class Openssl:
    """Answers questions with `openssl ts -reply`."""

    def __init__(self, folder: Path, kind: str = "P-256") -> None:
        self.folder = folder
        key = a_private_key(kind)
        self.certificate = a_stamping_certificate(key)
        (folder / "clock.pem").write_bytes(self.certificate.public_bytes(Encoding.PEM))
        (folder / "clock.key").write_bytes(
            key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        )
        (folder / "ts.conf").write_text(CONFIGURATION)
        (folder / "serial").write_text("01\n")

    def __call__(self, question: bytes) -> bytes:
        (self.folder / "question").write_bytes(question)
        command = "openssl ts -reply -config ts.conf -queryfile question -signer clock.pem"
        command += " -inkey clock.key -out answer"
        subprocess.run(command.split(), cwd=self.folder, check=True, capture_output=True)
        return (self.folder / "answer").read_bytes()

    def verify(self, token: bytes, stamped: bytes) -> tuple[bool, str]:
        """Whether `openssl ts -verify` finds that a token is about these bytes."""
        (self.folder / "token").write_bytes(token)
        (self.folder / "stamped").write_bytes(stamped)
        command = "openssl ts -verify -data stamped -in token -token_in -CAfile clock.pem"
        done = subprocess.run(
            command.split(), cwd=self.folder, check=False, capture_output=True, text=True
        )
        return done.returncode == 0, done.stdout + done.stderr


def stamps_at(instant: datetime | None, certificate: Any = None, key: Any = None) -> Answer:
    """An authority whose clock stands still at an instant, or whose certificate is another's."""
    key = key or a_private_key("RSA 2048")
    certificate = certificate or a_stamping_certificate(key)
    stamper = DummyTimeStamper(
        asn1_x509.Certificate.load(certificate.public_bytes(Encoding.DER)),
        keys.PrivateKeyInfo.load(
            key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
        ),
        fixed_dt=instant or datetime.now(UTC).replace(microsecond=0),
    )
    return lambda question: stamper.request_tsa_response(tsp.TimeStampReq.load(question)).dump()


@contextmanager
def an_authority(answer: Answer, status: int = 200) -> Iterator[str]:
    """The address of a server that answers so, until the block ends."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            question = self.rfile.read(int(self.headers["Content-Length"]))
            content = answer(question)
            self.send_response(status)
            self.send_header("Content-Type", "application/timestamp-reply")
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *_: object) -> None:
            pass

    with served(Handler) as url:
        yield url


@contextmanager
def a_slow_authority(pause: float) -> Iterator[str]:
    """One that gives a byte, waits, gives the next, and never ends by itself."""
    ended = Event()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(200)
            self.send_header("Content-Length", "5000")
            self.end_headers()
            try:
                while not ended.wait(pause):
                    self.wfile.write(b"0")
                    self.wfile.flush()
            except OSError:
                pass  # whoever asked has gone

        def log_message(self, *_: object) -> None:
            pass

    with served(Handler) as url:
        yield url
        ended.set()


@contextmanager
def served(handler: type[BaseHTTPRequestHandler]) -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
