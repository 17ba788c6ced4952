"""A child process that sends for the daemon, and that ends when there is nothing left to send.

Apprise with its hundred plugins takes 20 MB, and threads of a plugin that hangs cannot be ended. A
daemon that sends three notices a day keeps neither.
"""

import base64
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import timedelta
from typing import Any

from pydantic import SecretStr

from sillward.channels import apprise_sender, sending
from sillward.channels.sender import SEND_S
from sillward.child_process import ChildError, ChildProcess, serve
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.wording.push import Button, Links, Message

COMMAND = (sys.executable, "-m", "sillward.channels.sender_process")

START_S = 20.0
"""Longest time for the child to start, on a slow machine [s]. Judgement."""


class SenderProcess:
    """Sends through a child process, which is started when it is needed."""

    def __init__(self, command: Sequence[str] = COMMAND, limit_s: float = SEND_S + START_S) -> None:
        self._child = ChildProcess(command, limit_s)

    def __call__(self, channel: Channel, message: Message) -> None:
        """Send one message. Raise DeliveryError unless the channel took it."""
        try:
            reply = self._child.ask(to_send(channel, message))
        except OSError:  # no memory for another process: then in this one
            sending.send(channel, message)
            return
        except ChildError as error:
            raise lost(channel, perhaps_sent=error.heard) from None
        require_sent(reply)

    def problems(self, channels: Sequence[Channel]) -> list[str | None]:
        """Return what is wrong with the URL of each of these channels, if anything is."""
        try:
            found: list[str | None] = self._child.ask(to_check(channels))["problems"]
        except (OSError, ChildError):
            return apprise_sender.problems(channels)
        return found

    @property
    def pid(self) -> int | None:
        """The process id of the child, or None if there is none."""
        return self._child.pid

    def close(self) -> None:
        """Let the child end; the next message starts another."""
        self._child.close()


# -- requests and replies


def to_send(channel: Channel, message: Message) -> dict[str, Any]:
    """Return the request to send a message."""
    message_, channel_ = _message_to_json(message), _channel_to_json(channel)
    return {"do": "send", "message": message_, "channel": channel_}


def to_check(channels: Sequence[Channel]) -> dict[str, Any]:
    """Return the request to check the URLs of channels; the reply has `problems`."""
    return {"do": "check", "channels": [_channel_to_json(one) for one in channels]}


def require_sent(reply: Mapping[str, Any]) -> None:
    """Raise DeliveryError if the reply to a request to send says that it failed."""
    if "error" in reply:
        wait_s = reply["wait_s"]
        wait = None if wait_s is None else timedelta(seconds=wait_s)
        raise DeliveryError(
            reply["error"], perhaps_sent=reply["perhaps_sent"], wait=wait, gone=reply["gone"]
        )


def lost(channel: Channel, *, perhaps_sent: bool) -> DeliveryError:
    """Return the error for a message whose child gave no reply."""
    return DeliveryError(f"channel {channel.name}: its courier was lost", perhaps_sent=perhaps_sent)


# -- messages and channels as JSON


def _message_to_json(message: Message) -> dict[str, Any]:
    images = [[name, base64.b64encode(image).decode()] for name, image in message.images]
    return {
        "title": message.title,
        "body": message.body,
        "html": message.html,
        "images": images,
        "urgent": message.urgent,
        "links": None if message.links is None else asdict(message.links),
    }


def _message_from_json(fields: dict[str, Any]) -> Message:
    images = tuple((name, base64.b64decode(image)) for name, image in fields["images"])
    links = None if fields["links"] is None else _links_from_json(fields["links"])
    return Message(fields["title"], fields["body"], fields["html"], images, fields["urgent"], links)


def _links_from_json(fields: dict[str, Any]) -> Links:
    buttons = tuple(Button(**button) for button in fields["buttons"])
    return Links(buttons, fields["address"], tuple(fields["lines"]))


def _channel_to_json(channel: Channel) -> dict[str, Any]:
    return {
        "name": channel.name,
        "url": None if channel.url is None else channel.url.get_secret_value(),
        "full_length": channel.full_length,
    }


def _channel_from_json(fields: dict[str, Any]) -> Channel:
    url = None if fields["url"] is None else SecretStr(fields["url"])
    return Channel(fields["name"], url, (), all_clear=False, full_length=fields["full_length"])


# -- in the child


def answer(request: dict[str, Any], *, limited: bool = True) -> dict[str, Any]:
    """Send a message, or check the URLs of channels.

    limited: see `apprise_sender.send`.
    """
    if request["do"] == "check":
        channels = [_channel_from_json(fields) for fields in request["channels"]]
        return {"problems": apprise_sender.problems(channels)}
    try:
        channel, message = (
            _channel_from_json(request["channel"]),
            _message_from_json(request["message"]),
        )
        sending.send(channel, message, limited=limited)
    except DeliveryError as error:
        wait_s = None if error.wait is None else error.wait.total_seconds()
        return {
            "error": str(error),
            "perhaps_sent": error.perhaps_sent,
            "wait_s": wait_s,
            "gone": error.gone,
        }
    return {}


if __name__ == "__main__":
    serve(answer)
