"""A mail that looks like one: text, HTML and pictures, by the connection that Apprise would make.

Apprise makes the text of an HTML mail itself, and names pictures by files; here the text is
written by hand and the pictures never lie on a disk. So the mail is made here, with the standard
library, and everything else is left to the plugin: how it reads the URL (host, port, TLS, login,
sender, recipient), its controller that connects, its time limits. `wire_monitor` watches smtplib,
by which both speak. Where this cannot be done (PGP, several recipients, another version of
Apprise), the plugin sends the text.
"""

import logging
import smtplib
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import formatdate, make_msgid
from typing import Any

from sillward.wording.push import Message

log = logging.getLogger(__name__)


def send_html_instead(service: Any, message: Message) -> None:
    """Have this plugin send the HTML mail of a message when it is told to send.

    If anything stands in the way the plugin is left as it is: it sends title and body. The message
    holds nothing that could end a header or a line (see `apprise_sender`).
    """
    try:
        send = _sender(service, message)
    except Exception as error:  # whatever a plugin lacks, the text must go out
        # The error itself may hold an address.
        log.warning("mail.as_text reason=%s", type(error).__name__)
        return
    if send is not None:
        service.send = send  # Apprise offers no other way to send a mail of our own


def _sender(service: Any, message: Message) -> Any:
    """Return what replaces the plugin's own `send`, or None if it is to send the text."""
    from apprise.plugins.email.smtp import AppriseSMTPController

    if not _is_plain(service):
        return None
    content = compose(service, message).as_bytes()
    sender, recipient = service.from_addr[1], service.targets[0][1]
    connection: Any = AppriseSMTPController(
        host=service.smtp_host,
        port=service.port,
        secure_mode=service.secure_mode,
        user=service.user,
        password=service.password,
        verify_certificate=service.verify_certificate,
        socket_connect_timeout=service.socket_connect_timeout,
    )

    def send(*_: object, **__: object) -> bool:
        try:
            with connection as smtp:
                return bool(smtp.sendmail(sender, [recipient], content))
        except (OSError, smtplib.SMTPException, RuntimeError):
            return False  # the wire monitor has seen why

    return send


def _is_plain(service: Any) -> bool:
    """Whether the plugin sends a mail over SMTP, not encrypted by PGP, to one recipient."""
    from apprise.plugins.email import NotifyEmail

    if type(service) is not NotifyEmail or service.pgp_mode != "no":
        return False
    return len(service.targets) == 1 and not (service.cc or service.bcc)


def compose(service: Any, message: Message) -> EmailMessage:
    """Return the mail: text, and HTML with its pictures as the alternative.

    Raise ValueError for a header that cannot be one.
    """
    mail = EmailMessage(policy=SMTP)
    # The library would decode a word that looks encoded, with whatever may be in it.
    mail["Subject"] = " ".join(message.title.replace("=?", "= ?").split())
    mail["From"] = _address(service.from_addr)
    mail["To"] = _address(service.targets[0])
    if service.reply_to:
        names = service.names
        mail["Reply-To"] = [
            _address((names.get(address), address)) for address in sorted(service.reply_to)
        ]
    mail["Date"] = formatdate()
    mail["Message-ID"] = make_msgid(domain=service.smtp_host)
    mail["X-Application"] = service.app_id
    for name, value in service.headers.items():
        del mail[name]
        mail[name] = value
    mail.set_content(message.body)
    mail.add_alternative(message.html, subtype="html")
    page = list(mail.iter_parts())[-1]
    assert isinstance(page, EmailMessage)
    for name, image in message.images:
        page.add_related(
            image, "image", "png", cid=f"<{name}>", disposition="inline", filename=f"{name}.png"
        )
    return mail


def _address(named: tuple[str | bool | None, str]) -> Address:
    name, address = named
    return Address(name or "", addr_spec=address)  # type: ignore[arg-type]
