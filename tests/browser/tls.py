"""What stands before the service where browsers reach it by https: it ends the encryption."""

from __future__ import annotations

import datetime as dt
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from ipaddress import ip_address
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import urlsplit

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


class Front:
    """Takes connections by TLS, and hands on what they say."""

    def __init__(self, listener: socket.socket) -> None:
        self._listener, self._behind = listener, ("", 0)
        self.address = f"https://localhost:{listener.getsockname()[1]}"

    def leads_to(self, address: str) -> None:
        """From now on there is somebody behind it."""
        parts = urlsplit(address)
        self._behind = (str(parts.hostname), int(parts.port or 0))

    def serve(self) -> None:
        """Until the listener is closed."""
        while True:
            try:
                came, _ = self._listener.accept()
            except (ssl.SSLError, ConnectionError):
                continue  # somebody who does not like the certificate, or went away
            except OSError:
                return
            threading.Thread(target=_between, args=(came, self._behind), daemon=True).start()


def _between(came: socket.socket, address: tuple[str, int]) -> None:
    with came, socket.create_connection(address) as behind:
        back = threading.Thread(target=_hand_on, args=(behind, came), daemon=True)
        back.start()
        _hand_on(came, behind)
        back.join()


def _hand_on(one: socket.socket, other: socket.socket) -> None:
    """Until one side has ended, and then both have."""
    with suppress(OSError):
        while data := one.recv(65536):
            other.sendall(data)
    for side in (one, other):
        with suppress(OSError):
            side.shutdown(socket.SHUT_RDWR)


@contextmanager
def over_tls() -> Iterator[Front]:
    """A front with a certificate of its own, on a free port."""
    with TemporaryDirectory() as folder, socket.create_server(("127.0.0.1", 0)) as plain:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(_certificate(Path(folder)))
        with context.wrap_socket(plain, server_side=True, do_handshake_on_connect=True) as listener:
            front = Front(listener)
            threading.Thread(target=front.serve, daemon=True).start()
            yield front


def _certificate(folder: Path) -> Path:
    """A key and its own signature below it, as a server reads them."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "localhost")])
    now = dt.datetime.now(dt.UTC)
    names = [x509.DNSName("localhost"), x509.IPAddress(ip_address("127.0.0.1"))]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(hours=1))
        .not_valid_after(now + dt.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .sign(key, hashes.SHA256())
    )
    path = folder / "server.pem"
    private = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    path.write_bytes(private + made.public_bytes(serialization.Encoding.PEM))
    return path
