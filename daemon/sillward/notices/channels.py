"""Channels: the one place that knows Apprise (general-purpose notification library).

What it would do by itself and must not: follow redirects (a POST becomes a GET and is lost),
sleep between sends on a reused object, count an optional target's failure as success, retry on
its own, and print URLs. So every attempt gets a fresh object and nothing of a URL is ever logged.
"""

import logging
from types import ModuleType
from typing import Any, Protocol

from sillward.collection import Channel
from sillward.errors import ConfigError, DeliveryError
from sillward.notices.short import Message

SEND_S = 60
"""Longest that one attempt may take [s]."""


class Sender(Protocol):
    """Brings a message to a channel."""

    def __call__(self, channel: Channel, message: Message) -> None:
        """Send once. Raise DeliveryError if it failed or if nobody can say."""


def check_channels(channels: tuple[Channel, ...], file: str) -> None:
    """Raise ConfigError naming every channel whose URL cannot be used."""
    lines = [
        f'{file}: channels[{index}] "{channel.name}": {problem}'
        for index, channel in enumerate(channels)
        if (problem := _problem(channel))
    ]
    if lines:
        raise ConfigError(lines)


def send(channel: Channel, message: Message) -> None:
    """Send one message through Apprise. Raise DeliveryError unless the channel took it."""
    apprise = _apprise()
    service = _service(channel)
    if service is None:
        msg = f"channel {channel.name}: its url cannot be used"
        raise DeliveryError(msg)
    courier = apprise.Apprise(asset=_asset())
    courier.add(service)
    try:
        result = courier.notify(
            body=message.body,
            title=message.title,
            body_format=apprise.NotifyFormat.TEXT,
            timeout=SEND_S,
            log_level=logging.DEBUG,
        )
    except Exception as error:  # a defect in a plugin must not take the daemon along
        msg = f"channel {channel.name}: failed ({type(error).__name__})"
        raise DeliveryError(msg, perhaps_sent=True) from None
    outcome = result.status.name
    if outcome == "SUCCESS":
        return
    perhaps = outcome == "TIMEOUT" or _taken_and_unanswered(result)
    reason = "no answer in time; perhaps it arrived all the same" if perhaps else _REFUSED
    msg = f"channel {channel.name}: {reason}"
    raise DeliveryError(msg, perhaps_sent=perhaps)


_REFUSED = "the other side did not take it"


def _taken_and_unanswered(result: Any) -> bool:
    """Whether the other side fell silent after the message had gone out.

    Apprise calls that a failure like any other; only its log tells, and `_OnlyTimeouts` lets
    just that through.
    """
    return any(entry.message == _TIMED_OUT for service in result for entry in service.logs())


_TIMED_OUT = "timed out"


class _OnlyTimeouts(logging.Filter):
    """Lets nothing of Apprise's log through but the bare word of an answer that never came.

    Its lines hold addresses, keys and bodies.
    """

    def filter(self, record: logging.LogRecord) -> bool:
        """Pass a timeout after sending, stripped of everything else."""
        line = record.getMessage().lower()
        record.msg, record.args = _TIMED_OUT, ()
        silent = _TIMED_OUT in line and "connect timeout" not in line
        return silent and line.startswith("socket exception")


def _problem(channel: Channel) -> str | None:
    if channel.url is None:
        return (
            f"has no url; give one, set SILLWARD_CHANNELS__{channel.name.upper()} "
            f"or provide the credential channel-{channel.name}"
        )
    service = _service(channel)
    if service is None:
        return "its url is none that Apprise understands (the url is not shown)"
    if getattr(service, "optional", False):
        return "optional=yes would hide that it fails; take it out of the url"
    return None


def _service(channel: Channel) -> Any:
    if channel.url is None:
        return None
    service = _apprise().Apprise.instantiate(channel.url.get_secret_value(), asset=_asset())
    if service is not None:
        service.redirects = False
        service.retry = 0
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

    logger = logging.getLogger("apprise")
    if not any(isinstance(one, _OnlyTimeouts) for one in logger.filters):
        logger.addFilter(_OnlyTimeouts())
        logger.addHandler(logging.NullHandler())
        logger.propagate = False
        logger.setLevel(logging.DEBUG)
    return apprise
