"""What brings a message to a channel, and what checks the URL of one: protocols of this folder."""

from collections.abc import Callable, Sequence
from typing import Protocol

from sillward.config.channel import Channel
from sillward.wording.push import Message

SEND_S = 60
"""Longest time for one attempt [s]."""


class Sender(Protocol):
    """Brings a message to a channel."""

    def __call__(self, channel: Channel, message: Message) -> None:
        """Send once. Raise DeliveryError if it failed, or may have."""


Problems = Callable[[Sequence[Channel]], list[str | None]]
"""Returns what is wrong with the URL of each of these channels, or None where nothing is."""
