"""Channels: the one place that knows Apprise (general-purpose notification library).

What it would do by itself and must not: follow redirects (a POST becomes a GET and is lost),
sleep between sends on a reused object, count an optional target's failure as success, retry on
its own, take a login page for success, split a long message into several, and print URLs. So
every attempt gets a fresh object, `exchange` watches what goes over the wire, and nothing of a
URL is ever logged.

One URL is one target: of two, one may have it when the other fails, and each try would send it
there again.
"""

import logging
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from types import ModuleType
from typing import Any, Protocol

from sillward.channels import mail
from sillward.channels.wire_monitor import WireMonitor
from sillward.config.household import Channel
from sillward.errors import ConfigError, DeliveryError
from sillward.text import printable
from sillward.wording.message_length import within_bytes
from sillward.wording.push import Message

SEND_S = 60
"""Longest that one attempt may take [s]."""

WIRE_S = 50
"""After this, connections are cut [s]; the rest is for what cannot be cut, such as a name look-up.

A mail server that is slow to look at a mail may need half a minute. Judgement.
"""


class Sender(Protocol):
    """Brings a message to a channel."""

    def __call__(self, channel: Channel, message: Message) -> None:
        """Send once. Raise DeliveryError if it failed or if nobody can say."""


Problems = Callable[[Sequence[Channel]], list[str | None]]
"""What is wrong with the URL of each of these channels, if anything is."""


def problems(listed: Sequence[Channel]) -> list[str | None]:
    """What is wrong with the URL of each of these channels, if anything is."""
    return [_problem(channel) for channel in listed]


def check_channels(listed: Sequence[Channel], file: str, problems_of: Problems = problems) -> None:
    """Raise ConfigError naming every channel whose URL cannot be used."""
    lines = [
        f'{file}: channels[{index}] "{channel.name}": {problem}'
        for index, (channel, problem) in enumerate(zip(listed, problems_of(listed), strict=True))
        if problem
    ]
    if lines:
        raise ConfigError(lines)


def send(channel: Channel, message: Message) -> None:
    """Send one message through Apprise. Raise DeliveryError unless the channel took it."""
    apprise = _apprise()
    service = (_urgent(channel) if message.urgent else None) or _service(channel)
    if service is None:
        msg = f"channel {channel.name}: its url cannot be used"
        raise DeliveryError(msg)
    message = _fitting(service, _clean(message))
    if message.html is not None:
        mail.instead(service, message)
    courier = apprise.Apprise(asset=_asset())
    courier.add(service)
    with WireMonitor(WIRE_S) as exchange:
        try:
            result = courier.notify(
                body=message.body,
                title=message.title,
                body_format=apprise.NotifyFormat.TEXT,
                timeout=SEND_S,
            )
        except Exception as error:  # a defect in a plugin must not take the daemon along
            msg = f"channel {channel.name}: failed ({type(error).__name__})"
            raise DeliveryError(msg, perhaps_sent=True) from None
    outcome = result.status.name
    believed = exchange.page and not _answers_with_pages(service)
    if outcome == "SUCCESS" and not believed:
        return
    # A plugin that speaks by other means may still be at it.
    perhaps = exchange.unanswered or (outcome == "TIMEOUT" and not exchange.seen)
    msg = f"channel {channel.name}: {_reason(exchange, perhaps=perhaps)}"
    raise DeliveryError(msg, perhaps_sent=perhaps, wait=exchange.wait)


def _reason(exchange: WireMonitor, *, perhaps: bool) -> str:
    if perhaps:
        return "no answer in time; perhaps it arrived all the same"
    if exchange.page:
        return "answered with a web page; a login page in between?"
    if exchange.reason is not None:
        return exchange.reason
    number = "" if exchange.status is None else f" ({exchange.status})"
    return f"the other side did not take it{number}"


def _answers_with_pages(service: Any) -> bool:
    """Whether a page is an honest answer: what takes a web form thanks for it with one."""
    return bool(getattr(service, "protocol", None) == "form")


# -- what is sent


def _clean(message: Message) -> Message:
    """Without what could end a header or a line, or cannot be encoded; lines of the body stay."""
    html = None if message.html is None else _lines(message.html)
    return replace(message, title=_one_line(message.title), body=_lines(message.body), html=html)


def _lines(text: str) -> str:
    return "\n".join(_one_line(line) for line in text.replace("\r\n", "\n").split("\n"))


def _one_line(text: str) -> str:
    return printable.blanked(text)  # marks of direction stay: names in Hebrew or Arabic need them


def _fitting(service: Any, message: Message) -> Message:
    """The message no longer than its service takes it; a mail is not cut."""
    if _is_mail(service):
        return message
    title, body = within_bytes(message.title, message.body, service.body_maxlen)
    return replace(message, title=title, body=body)


def _is_mail(service: Any) -> bool:
    """Whether it has recipients of copies, as every plugin for mail has and none for pushes."""
    return hasattr(service, "cc") and hasattr(service, "bcc")


# -- urls


def _problem(channel: Channel) -> str | None:
    if channel.url is None:
        return (
            f"has no url; give one, set SILLWARD_CHANNELS__{channel.name.upper()} "
            f"or provide the credential channel-{channel.name}"
        )
    service = _service(channel)
    if service is None:
        return "its url is not one that Apprise understands (the url is not shown)"
    if getattr(service, "optional", False):
        return "optional=yes would hide that it fails; take it out of the url"
    if getattr(service, "cc", None) or getattr(service, "bcc", None):
        return f"its url has copies (cc, bcc); {_ONE_EACH}"
    # A plugin that sends to many at once counts as one.
    targets = getattr(service, "targets", ())
    many = len(targets) if isinstance(targets, (list, tuple, set)) else 1
    if max(len(service), many) > 1:
        return f"its url reaches more than one target; {_ONE_EACH}"
    return None


_ONE_EACH = (
    "give each a channel of its own, so that a repeat does not go to those who have it already"
)


def _service(channel: Channel) -> Any:
    if channel.url is None:
        return None
    return _made(channel.url.get_secret_value())


URGENT = "priority=high"
"""As most services that know a priority take it in their URLs: above the usual one, and still
nothing that rings until somebody answers."""


def _urgent(channel: Channel) -> Any:
    """The service with a high priority; None if it has none, or the grower has chosen one."""
    usual = _service(channel)
    # Some know the word and mean something else by it.
    has_one = hasattr(usual, "priority") and "priority" in getattr(usual, "template_args", {})
    if channel.url is None or not has_one:
        return None
    url = channel.url.get_secret_value()
    if re.search(r"[?&]priority=", url, re.IGNORECASE):
        return None
    urgent = _made(f"{url}{'&' if '?' in url else '?'}{URGENT}")
    return urgent if getattr(urgent, "priority", None) != usual.priority else None


def _made(url: str) -> Any:
    service = _apprise().Apprise.instantiate(url, asset=_asset())
    if service is not None:
        service.redirects = False
        service.retry = 0
        service.overflow_mode = _apprise().OverflowMode.UPSTREAM
    return service


def _asset() -> Any:
    return _apprise().AppriseAsset(
        app_id="sillward",
        app_desc="sillward",
        app_url="",
        http_redirects=False,
        async_mode=False,
        secure_logging=True,
    )


def _apprise() -> ModuleType:
    """Apprise, imported when first needed: commands that send nothing stay quick and small."""
    import apprise

    # Its lines hold addresses, keys and bodies.
    logging.getLogger("apprise").disabled = True
    return apprise
