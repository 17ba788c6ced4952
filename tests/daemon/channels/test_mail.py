"""Mails with HTML and pictures, against a real mail server on loopback.

What a server can do wrong is in `test_sender_faults.py`, for these as for mails of text.
"""

import ssl
import sys
from collections.abc import Iterator
from email.message import EmailMessage

import pytest
import trustme
from aiosmtpd.controller import Controller
from pydantic import SecretStr

from sillward.channels import apprise_sender, mail
from sillward.channels.sender_process import SenderProcess
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.wording.push import Message
from tests.support.html_pages import page_of
from tests.support.loopback_server import serving, whole
from tests.support.mailbox import MAIL_QUERY, Mailbox, free_port, mail_server, only_mail

PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 300
PAGE = (
    '<html lang="en"><body><p>Größe &lt; 5 °C</p><img src="cid:chart-1@sillward"></body></html>\n'
)
WEEK = Message(
    "Week: plants to carry in on 2 of 7 nights, 4 trips",
    "NIGHTS            bench\n  Thu 14 May     3.1 °C\n\n< & >\n",
    PAGE,
    (("chart-1@sillward", PNG), ("chart-2@sillward", PNG[:1_000])),
)
SECRET = "p4ss-Word"


def channel(url: str) -> Channel:
    return Channel("mail", SecretStr(url), ("week",), all_clear=False, full_length=True)


def send(url: str, message: Message = WEEK) -> None:
    apprise_sender.send(channel(url), message)


@pytest.fixture
def mailbox() -> Iterator[Mailbox]:
    with mail_server() as box:
        yield box


def parts(sent: EmailMessage) -> list[EmailMessage]:
    return [part for part in sent.iter_parts() if isinstance(part, EmailMessage)]


def text_of(sent: EmailMessage) -> str:
    text = sent.get_body(("plain",))
    assert text is not None
    return str(text.get_content()).replace("\r\n", "\n")


def test_it_has_the_text_and_the_page_to_choose_from(mailbox: Mailbox) -> None:
    send(mailbox.url(MAIL_QUERY))

    sent = only_mail(mailbox)
    assert mailbox.mails[0][:2] == ("desk@court.example", ["grower@court.example"])
    assert sent.get_content_type() == "multipart/alternative"
    # The last is the richest (RFC 2046, 5.1.4).
    plain, related = parts(sent)
    assert (plain.get_content_type(), related.get_content_type()) == (
        "text/plain",
        "multipart/related",
    )
    page = sent.get_body(("html",))
    assert page is not None
    assert page.get_content().replace("\r\n", "\n") == PAGE
    assert text_of(sent) == WEEK.body
    assert (sent["Subject"], sent["To"]) == (WEEK.title, "grower@court.example")
    assert "desk@court.example" in sent["From"]
    assert sent["X-Application"] == "sillward"
    assert sent["Date"].datetime is not None
    assert sent["Message-ID"]
    assert sent.defects == []


def test_every_content_id_leads_to_its_picture(mailbox: Mailbox) -> None:
    send(mailbox.url(MAIL_QUERY))

    sent = only_mail(mailbox)
    images = {
        part["Content-ID"]: part for part in sent.walk() if part.get_content_type() == "image/png"
    }
    assert {name: image.get_payload(decode=True) for name, image in images.items()} == {
        f"<{name}>": content for name, content in WEEK.images
    }
    assert {image.get_content_disposition() for image in images.values()} == {"inline"}
    (shown,) = page_of(PAGE).all("img")
    assert f"<{(shown['src'] or '').removeprefix('cid:')}>" in images


def test_it_comes_through_the_child_as_it_was(mailbox: Mailbox) -> None:
    sender = SenderProcess()
    large = Message(WEEK.title, WEEK.body, PAGE, (("chart-1@sillward", PNG * 5),))
    try:
        sender(channel(mailbox.url(MAIL_QUERY)), large)
    finally:
        sender.close()

    sent = only_mail(mailbox)
    (image,) = [part for part in sent.walk() if part.get_content_type() == "image/png"]
    assert image.get_payload(decode=True) == PNG * 5
    assert text_of(sent) == WEEK.body


def test_a_child_that_takes_nothing_of_a_large_mail_is_ended_in_time() -> None:
    """The line is longer than a pipe holds; it has not been heard, so nothing was sent."""
    sender = SenderProcess((sys.executable, "-c", "import time; time.sleep(600)"), limit_s=0.5)
    large = Message("t", "b", PAGE, (("a@b", PNG * 10),))

    with pytest.raises(DeliveryError) as caught:
        sender(channel("mailto://127.0.0.1:9"), large)

    assert not caught.value.perhaps_sent
    assert sender.pid is None


HOSTILE = "Fern\r\nBcc: x@y.example\r\n\r\nbody\x00\x1b[31m\u2028\x85"


def test_a_name_cannot_end_a_header_or_a_part(mailbox: Mailbox) -> None:
    boundary = "--===============0000000000000000000==--\r\nContent-Type: text/html\r\n\r\n<script>"
    body = f"{HOSTILE}\n{boundary}"

    send(mailbox.url(MAIL_QUERY), Message(HOSTILE, body, f"<p>{HOSTILE}</p>\n", WEEK.images))

    sent = only_mail(mailbox)
    assert sent["Bcc"] is None
    assert mailbox.mails[0][1] == ["grower@court.example"]
    assert sent["Subject"] == "Fern Bcc: x@y.example body [31m"
    assert [part.get_content_type() for part in sent.walk()] == [
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/png",
        "image/png",
    ]
    assert "x@y.example" in text_of(sent)
    assert "<script>" in text_of(sent)


@pytest.mark.parametrize(
    ("title", "subject"),
    [("", ""), ("Größe 蘭 🪴 " * 40, "Größe 蘭 🪴 " * 40), ("\u202eneerG", "neerG")],
    ids=["empty", "long", "turned"],
)
def test_any_title_is_a_subject(mailbox: Mailbox, title: str, subject: str) -> None:
    """Characters that turn the text around them reach no list of mails."""
    send(mailbox.url(MAIL_QUERY), Message(title, "b", PAGE))

    assert str(only_mail(mailbox)["Subject"]).split() == subject.split()
    assert "\u202e" not in str(only_mail(mailbox)["Subject"])


def test_a_title_that_looks_encoded_is_not_decoded(mailbox: Mailbox) -> None:
    send(mailbox.url(MAIL_QUERY), Message("=?utf-8?q?a=0D=0ABcc:_x@y.example?=", "b", PAGE))

    sent = only_mail(mailbox)
    assert sent["Bcc"] is None
    assert sent["Subject"] == "= ?utf-8?q?a=0D=0ABcc:_x@y.example?="


def test_names_of_sender_and_recipient_and_own_headers_are_kept(mailbox: Mailbox) -> None:
    query = "from=Court%20%C3%91and%C3%BA%3Cdesk@court.example%3E&to=grower@court.example"

    send(mailbox.url(f"{query}&reply=back@court.example&%2BX-Court=yes"))

    sent = only_mail(mailbox)
    assert str(sent["From"]) == "Court Ñandú <desk@court.example>"
    assert str(sent["Reply-To"]) == "back@court.example"
    assert sent["X-Court"] == "yes"


# -- connections are as Apprise makes them


def test_the_login_of_the_url_is_used(mailbox: Mailbox) -> None:
    send(mailbox.url(MAIL_QUERY, user=f"desk:{SECRET}@"))

    assert mailbox.logins == [SECRET.encode()]
    assert only_mail(mailbox).is_multipart()


def test_nothing_goes_in_the_clear_when_tls_is_asked_for(mailbox: Mailbox) -> None:
    url = mailbox.url(MAIL_QUERY, user=f"desk:{SECRET}@").replace("mailto:", "mailtos:")

    with pytest.raises(DeliveryError) as caught:
        send(url)

    assert not caught.value.perhaps_sent
    assert (mailbox.mails, mailbox.logins) == ([], [])


@pytest.fixture
def secure() -> Iterator[tuple[Mailbox, trustme.CA]]:
    """A server that wants STARTTLS, with a certificate of its own authority."""
    authority = trustme.CA()
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("localhost").configure_cert(context)
    box = Mailbox(free_port())
    controller = Controller(
        box, hostname="localhost", port=box.port, tls_context=context, require_starttls=True
    )
    controller.start()
    yield box, authority
    controller.stop()


def secure_url(box: Mailbox) -> str:
    return f"mailtos://localhost:{box.port}/?{MAIL_QUERY}&mode=starttls"


def test_it_goes_over_tls_to_whom_one_can_trust(
    secure: tuple[Mailbox, trustme.CA], monkeypatch: pytest.MonkeyPatch
) -> None:
    box, authority = secure
    with authority.cert_pem.tempfile() as file:
        monkeypatch.setenv("SSL_CERT_FILE", file)
        send(secure_url(box))

    assert only_mail(box).get_content_type() == "multipart/alternative"


def test_a_certificate_of_nobody_is_refused(secure: tuple[Mailbox, trustme.CA]) -> None:
    box, _ = secure

    with pytest.raises(DeliveryError) as caught:
        send(secure_url(box))

    assert not caught.value.perhaps_sent
    assert box.mails == []


def test_a_refused_recipient_is_an_error(mailbox: Mailbox) -> None:
    with pytest.raises(DeliveryError, match=r"the service refused it \(550\)"):
        send(mailbox.url("from=desk@court.example&to=nobody@court.example"))


def test_a_closed_port_is_an_error() -> None:
    with pytest.raises(DeliveryError, match="cannot be reached") as caught:
        send(f"mailto://127.0.0.1:{free_port()}/?{MAIL_QUERY}")

    assert not caught.value.perhaps_sent


# -- where the text goes alone


def test_a_push_gets_the_text() -> None:
    with serving(whole(b"{}"), ends=b"}") as server:
        send(server.address.replace("http:", "json:"), Message("t", "the body", PAGE, WEEK.images))

    (asked,) = server.asked
    assert b"the body" in asked
    assert b"<html" not in asked
    assert b"PNG" not in asked


def test_a_message_without_a_page_goes_as_before(mailbox: Mailbox) -> None:
    send(mailbox.url(MAIL_QUERY), Message(WEEK.title, WEEK.body))

    assert only_mail(mailbox).get_content_type() == "text/plain"


def test_two_recipients_get_the_text(mailbox: Mailbox) -> None:
    """No such channel passes the check; what is sent by hand all the same reaches both."""
    send(mailbox.url("from=desk@court.example&to=grower@court.example,other@court.example"))

    assert [to for _, to, _ in mailbox.mails] == [["grower@court.example"], ["other@court.example"]]
    assert all(b"<html" not in content for _, _, content in mailbox.mails)


def test_a_mail_that_cannot_be_made_goes_as_text(
    mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object) -> EmailMessage:
        raise ValueError(SECRET)

    monkeypatch.setattr(mail, "compose", broken)

    send(mailbox.url(MAIL_QUERY))

    sent = only_mail(mailbox)
    assert sent.get_content_type() == "text/plain"
    assert text_of(sent).rstrip() == WEEK.body.rstrip()
    assert "mail.as_text reason=ValueError" in caplog.text
    assert SECRET not in caplog.text
