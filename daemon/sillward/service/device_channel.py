"""A device that is told by Web Push, as a channel."""

from sillward.channels.push_address import NOBODY, PushAddress, Subscription
from sillward.channels.push_identity import PushIdentity
from sillward.config.channel import Channel
from sillward.config.models import RoundName
from sillward.ledger import Device

TOLD: tuple[RoundName, ...] = ("dusk", "morning", "alarm")
"""What a phone is told."""


def channel_of(device: Device, identity: PushIdentity | None) -> Channel:
    """Return a device as a channel. identity: signs what is sent to it; without, nothing can be."""
    to = Subscription(device.endpoint, device.p256dh, device.auth)
    url = NOBODY if identity is None else PushAddress(to, identity).url
    return Channel(device.name, url, TOLD, all_clear=False, full_length=False, person=device.person)
