"""A real mail server on loopback, and what is in its mails."""

import logging
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

MAIL_QUERY = "from=desk@court.example&to=grower@court.example"


@dataclass
class Mailbox:
    """Takes every mail, but refuses the recipient nobody@."""

    port: int = 0
    mails: list[tuple[str, list[str], bytes]] = field(default_factory=list)
    logins: list[bytes] = field(default_factory=list)

    async def handle_RCPT(  # noqa: N802
        self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
    ) -> str:
        if address.startswith("nobody@"):
            return "550 no such box"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        self.mails.append((envelope.mail_from, envelope.rcpt_tos, envelope.content))
        return "250 OK"

    def url(self, query: str, user: str = "") -> str:
        return f"mailto://{user}127.0.0.1:{self.port}/?{query}"


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        port: int = listener.getsockname()[1]
        return port


@contextmanager
def mail_server() -> Iterator[Mailbox]:
    """A server that takes mail in the clear, from anybody who gives a password or none."""
    logging.getLogger("mail.log").setLevel(logging.CRITICAL)  # the server's own, not ours
    box = Mailbox(free_port())

    def authenticator(
        server: Any, session: Any, envelope: Any, mechanism: str, data: Any
    ) -> AuthResult:
        box.logins.append(data.password)
        return AuthResult(success=True)

    controller = Controller(
        box,
        hostname="127.0.0.1",
        port=box.port,
        authenticator=authenticator,
        auth_require_tls=False,
    )
    controller.start()
    yield box
    controller.stop()


def only_mail(box: Mailbox) -> EmailMessage:
    """The only mail, parsed by the standard library."""
    ((_, _, content),) = box.mails
    mail = message_from_bytes(content, policy=policy.default)
    assert isinstance(mail, EmailMessage)
    return mail
