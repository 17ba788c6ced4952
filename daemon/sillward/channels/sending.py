"""Sends a message by what its channel needs: Web Push for a phone of the page, else Apprise."""

from sillward.channels import apprise_sender, web_push
from sillward.channels.push_address import is_push
from sillward.config.channel import Channel
from sillward.wording.push import Message


def send(channel: Channel, message: Message, *, limited: bool = True) -> None:
    """Send one message. Raise DeliveryError unless the channel took it.

    limited: see `apprise_sender.send`.
    """
    if is_push(channel.url):
        web_push.send(channel, message)
    else:
        apprise_sender.send(channel, message, limited=limited)
