"""A push service on loopback, and a browser that has subscribed there and can read what comes."""

import base64
import json
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import http_ece
import trustme
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from sillward.channels.push_address import Subscription
from sillward.channels.push_identity import PushIdentity

IDENTITY = PushIdentity(
    "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw",
    "BP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A8",
    "https://plants.example",
)
"""With the key pair of a server in RFC 8291, appendix A."""


def base64_of(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def bytes_of(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


@dataclass
class Browser:
    """A browser with a key of its own (RFC 8291, section 2)."""

    endpoint: str = "https://push.example.net/push/JzLQ3raZJfFBR0aqvOMsLrt54w4rJUsV"
    secret: bytes = b"sixteen of these"
    key: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(ec.SECP256R1())
    )

    @property
    def given(self) -> dict[str, str]:
        """What its page learns, as the form of the page posts it."""
        point = self.key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        return {
            "endpoint": self.endpoint,
            "p256dh": base64_of(point),
            "auth": base64_of(self.secret),
        }

    @property
    def subscription(self) -> Subscription:
        return Subscription(**self.given)

    def read(self, body: bytes) -> dict[str, Any]:
        """What its service worker is given."""
        plain = http_ece.decrypt(
            body, private_key=self.key, auth_secret=self.secret, version="aes128gcm"
        )
        read: dict[str, Any] = json.loads(plain)
        return read


def claims_of(authorization: str) -> tuple[dict[str, Any], str]:
    """The claims of a header by RFC 8292, sections 2 and 3, and the key that they are signed with.

    Raise InvalidSignature, or AssertionError for what is not as these sections say.
    """
    scheme, _, parameters = authorization.partition(" ")
    assert scheme == "vapid"
    values = dict(part.strip().split("=", 1) for part in parameters.split(","))
    signed, _, signature = values["t"].rpartition(".")
    header, claims = (json.loads(bytes_of(part)) for part in signed.split("."))
    assert header == {"typ": "JWT", "alg": "ES256"}
    raw = bytes_of(signature)
    assert len(raw) == 64
    numbers = int.from_bytes(raw[:32]), int.from_bytes(raw[32:])
    point = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), bytes_of(values["k"]))
    point.verify(encode_dss_signature(*numbers), signed.encode(), ec.ECDSA(hashes.SHA256()))
    return claims, values["k"]


@dataclass
class PushService:
    """What it was sent, and what it says to that."""

    port: int
    status: int = 201
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    sent: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)

    @property
    def origin(self) -> str:
        """By a name: a number that is not public is refused before anything is sent."""
        return f"https://localhost:{self.port}"

    def browser(self, name: str = "one") -> Browser:
        return Browser(f"{self.origin}/push/{name}")


@contextmanager
def push_service(trusted: Path, monkeypatch: Any) -> Iterator[PushService]:
    """A push service by https, whose certificate is trusted while it runs.

    trusted: a folder of its own.
    """
    authority = trustme.CA()
    certificates = trusted / "authorities.pem"
    authority.cert_pem.write_to_path(str(certificates))
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(certificates))
    monkeypatch.setenv("NO_PROXY", "*")
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost", "127.0.0.1").configure_cert(tls)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            service.sent.append((self.path, dict(self.headers), body))
            self.send_response(service.status)
            for name, value in service.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(service.body)))
            self.end_headers()
            self.wfile.write(service.body)

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.socket = tls.wrap_socket(server.socket, server_side=True)
    service = PushService(server.server_address[1])
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield service
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def anywhere(address: str) -> bool:
    """Whether an address may be dialled, where the push service is on loopback."""
    return True
