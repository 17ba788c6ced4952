"""Sending through Apprise (general-purpose notification library): the only module that knows it.

Left to itself it would follow redirects (a POST becomes a GET and is lost), sleep between sends on
a reused object, count an optional target's failure as success, retry on its own, take a login page
for success, split a long message into several, and print URLs. So every attempt gets a fresh
object, `wire_monitor` watches what goes over the wire, and nothing of a URL is ever logged.

One URL is one target: of two, one may have the message when the other fails, and each try would
send it there again.
"""

import logging
import re
from collections.abc import Sequence
from dataclasses import replace
from types import ModuleType
from typing import Any

from sillward.channels import answering, mail
from sillward.channels.sender import SEND_S, Problems
from sillward.channels.wire_monitor import WireMonitor
from sillward.config.channel import Channel
from sillward.errors import ConfigError, DeliveryError
from sillward.text import printable
from sillward.wording.message_length import with_line, within_bytes
from sillward.wording.push import Message

WIRE_S = 50
"""Connections are cut after this [s]; the rest is for what cannot be cut, such as a name look-up.

A mail server that is slow to look at a mail may need half a minute. Judgement.
"""


def problems(channels: Sequence[Channel]) -> list[str | None]:
    """Return what is wrong with the URL of each of these channels, or None where nothing is."""
    return [_problem(channel) for channel in channels]


def ways_to_answer(channels: Sequence[Channel]) -> list[answering.Way | None]:
    """Return how messages to each of these channels can be answered; None for one without a URL
    that can be used."""
    return [_way(channel) for channel in channels]


def _way(channel: Channel) -> answering.Way | None:
    service = _service(channel)
    if service is None or channel.url is None:
        return None
    if _is_mail(service):
        return answering.Way.MAIL
    return answering.way_of(service, channel.url.get_secret_value())


def check_channels(
    channels: Sequence[Channel], file: str, problems_of: Problems = problems
) -> None:
    """Raise ConfigError, with a line for each channel whose URL cannot be used.

    file: the name of the file that lists the channels.
    """
    lines = [
        f'{file}: channels[{index}] "{channel.name}": {problem}'
        for index, (channel, problem) in enumerate(
            zip(channels, problems_of(channels), strict=True)
        )
        if problem
    ]
    if lines:
        raise ConfigError(lines)


def send(channel: Channel, message: Message, *, limited: bool = True) -> None:
    """Send one message through Apprise. Raise DeliveryError unless the channel took it.

    limited: whether Apprise waits no longer than SEND_S. It works then in one of a few threads that
        all calls share, and those that hang starve the others.
    """
    apprise = _apprise()
    linked = message.links is not None
    service, message = _service_for(channel, clean(message))
    if service is None:
        msg = f"channel {channel.name}: its url cannot be used"
        raise DeliveryError(msg)
    message = _fitting(service, message, linked=linked)
    if message.html is not None:
        mail.send_html_instead(service, message)
    notifier = apprise.Apprise(asset=_asset())
    notifier.add(service)
    with WireMonitor(channel.name, WIRE_S) as wire:
        try:
            result = notifier.notify(
                body=message.body,
                title=message.title,
                body_format=apprise.NotifyFormat.TEXT,
                timeout=SEND_S if limited else 0,
            )
        except Exception as error:  # a defect in a plugin must not end the process
            msg = f"channel {channel.name}: failed ({type(error).__name__})"
            raise DeliveryError(msg, perhaps_sent=wire.seen) from None
    outcome = result.status.name
    is_wrong_page = wire.page and not _answers_with_pages(service)
    if outcome == "SUCCESS" and not is_wrong_page:
        return
    # A plugin that uses other libraries than those watched may still be sending.
    perhaps_sent = wire.unanswered or (outcome == "TIMEOUT" and not wire.seen)
    msg = f"channel {channel.name}: {wire.why(perhaps_sent=perhaps_sent)}"
    raise DeliveryError(msg, perhaps_sent=perhaps_sent, wait=wire.wait)


def _answers_with_pages(service: Any) -> bool:
    """Whether a page is a regular answer: a server that takes a web form replies with one."""
    return bool(getattr(service, "protocol", None) == "form")


# -- what is sent


def clean(message: Message) -> Message:
    """Return the message without characters that end a header or line, or cannot be encoded."""
    html = None if message.html is None else _lines(message.html)
    links = message.links
    if links is not None:
        buttons = tuple(replace(one, text=_one_line(one.text)) for one in links.buttons)
        links = replace(links, buttons=buttons, lines=tuple(map(_one_line, links.lines)))
    title, body = _one_line(message.title), _lines(message.body)
    return replace(message, title=title, body=body, html=html, links=links)


def _lines(text: str) -> str:
    return "\n".join(_one_line(line) for line in text.replace("\r\n", "\n").split("\n"))


def _one_line(text: str) -> str:
    return printable.blanked(text)  # marks of direction stay: names in Hebrew or Arabic need them


def _fitting(service: Any, message: Message, *, linked: bool) -> Message:
    """Return the message cut to what its service takes; a mail is not cut.

    Its links, where it still has any, become lines at its end. linked: whether it had links.
    """
    lines = () if message.links is None else message.links.lines
    if _is_mail(service):
        return replace(message, body="\n".join([message.body, *(("", *lines) if lines else ())]))
    body = message.body
    if lines:
        body = with_line(body, message.title, lines[0], service.body_maxlen)
    title, body = within_bytes(message.title, body, service.body_maxlen, linked=linked)
    return replace(message, title=title, body=body)


def _is_mail(service: Any) -> bool:
    """Whether a plugin has recipients of copies, as all for mail have and none for pushes has."""
    return hasattr(service, "cc") and hasattr(service, "bcc")


# -- urls


def _problem(channel: Channel) -> str | None:
    """Return what is wrong with the URL of a channel, in words that do not show it."""
    if channel.url is None:
        return (
            f"has no url; give one, set SILLWARD_CHANNELS__{channel.name.upper()} "
            f"or provide the credential channel-{channel.name}"
        )
    service = _service(channel)
    if service is None:
        return "its url is not one that Apprise understands (the url is not shown)"
    if getattr(service, "optional", False):
        return "optional=yes would hide failures; remove it from the url"
    if getattr(service, "cc", None) or getattr(service, "bcc", None):
        return f"its url has copies (cc, bcc); {_ONE_EACH}"
    # A plugin that sends to many targets in one call has a length of one.
    targets = getattr(service, "targets", ())
    many = len(targets) if isinstance(targets, (list, tuple, set)) else 1
    if max(len(service), many) > 1:
        return f"its url reaches more than one target; {_ONE_EACH}"
    return None


_ONE_EACH = (
    "give each a channel of its own, so that a repeat does not go to those who already have it"
)


def _service(channel: Channel) -> Any:
    """Return the plugin for a channel, or None if its URL cannot be used."""
    if channel.url is None:
        return None
    return _instantiated(channel.url.get_secret_value())


URGENT = "priority=high"
"""In a URL, as most services that have priorities take it: above the usual one, but below one that
rings until it is answered."""


def _service_for(channel: Channel, message: Message) -> tuple[Any, Message]:
    """Return the plugin set for a message, or None if its URL cannot be used.

    The message comes back without its links if the plugin has them now.
    """
    usual = _service(channel)
    if usual is None or channel.url is None:
        return None, message
    url = channel.url.get_secret_value()
    urgent = _urgent_query(usual, url) if message.urgent else ""
    links = answering.query_for(usual, url, message.links) if message.links else ""
    if links and (service := _with_query(url, urgent, links)) is not None:
        return service, replace(message, links=None)
    return (_with_query(url, urgent) if urgent else usual), message


def _urgent_query(usual: Any, url: str) -> str:
    """Return what sets a high priority.

    Return nothing if the service has no priorities, or the grower has chosen one.
    """
    # Some know the word and mean something else by it.
    has_one = hasattr(usual, "priority") and "priority" in getattr(usual, "template_args", {})
    if not has_one or re.search(r"[?&]priority=", url, re.IGNORECASE):
        return ""
    urgent = _with_query(url, URGENT)
    return URGENT if getattr(urgent, "priority", None) != usual.priority else ""


def _with_query(url: str, *queries: str) -> Any:
    query = "&".join(filter(None, queries))
    return _instantiated(f"{url}{'&' if '?' in url else '?'}{query}")


def _instantiated(url: str) -> Any:
    """Return the plugin for a URL, set to try once and to keep a message whole; None if there is
    none."""
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
        service_timeout=0,  # the limit is given with each call
    )


def _apprise() -> ModuleType:
    """Import Apprise when it is first needed: commands that send nothing stay quick and small."""
    import apprise

    # Its lines hold addresses, keys and bodies.
    logging.getLogger("apprise").disabled = True
    return apprise
