"""Phones and other browsers that are told by Web Push, each as a channel of its own.

They are told dusk, morning and alarms, like a channel of the collection with these rounds; nobody
else is told less because of them.
"""

import logging
from collections.abc import Collection
from datetime import datetime, timedelta

from sillward.channels.push_address import Subscription
from sillward.errors import UsageError, one_line
from sillward.ledger import Alarm, Deed, Device, Subject
from sillward.service.context import ServiceContext
from sillward.service.device_channel import channel_of
from sillward.wording.push import Message

MAX_DEVICES = 20
"""Of a household. Judgement: a few people with two devices each, and some that were lost."""

MAX_PERSON = 40
"""Characters of a name."""

GREETED_WITHIN = timedelta(minutes=30)
"""How long the first message to a phone is of use: whoever waits for it has put it away by then."""

BEGUN, ENDED = "phone told", "phone not told"
"""The deeds of the log."""

log = logging.getLogger(__name__)


def add(context: ServiceContext, to: Subscription, person: str, by: str | None) -> Device:
    """Have a device told from now on, and greet it: then it is seen whether messages arrive.

    One that is told already keeps its name, unless it is somebody else's now, and is greeted again.
    by: who says so, if that is known. Raise UsageError if there are too many.
    """
    ledger, site, now = context.ledger, context.site.name, context.clock()
    person = one_line(person.strip(), MAX_PERSON)
    with ledger.database.transaction():
        known = ledger.devices.of_site(site)
        same = next((device for device in known if device.endpoint == to.endpoint), None)
        taken = {each.name for each in known if each is not same and each.gone_at is None}
        if len(taken) >= MAX_DEVICES:
            msg = f"{MAX_DEVICES} phones already get messages; remove one first"
            raise UsageError(msg)
        if same is not None and person not in ("", same.person):
            remove(context, same, by)
            same = None
        name = _free_name(person, taken) if same is None else same.name
        owner = person or (same.person if same else None)
        device = Device(name, owner, to.endpoint, to.p256dh, to.auth, now)
        ledger.devices.write(site, device)
        if same is None or same.gone_at is not None:
            ledger.deeds.insert(site, Deed(now, by, BEGUN, {"phone": name}))
        _greet(context, device, now)
    log.info("device.added name=%s", name)
    return device


def _greet(context: ServiceContext, device: Device, now: datetime) -> None:
    voice = context.voice
    subject = str(Subject(Alarm.DEVICE, time=f"{now:%H:%M:%S}"))
    message = Message(voice.say("phone_is_told"), voice.say("phone_gets"))
    channel = channel_of(device, context.push)
    until = now + GREETED_WITHIN
    context.ledger.notices.insert(
        context.notice(channel, subject, context.day, message, until, round_=subject)
    )


def remove(context: ServiceContext, device: Device, by: str | None) -> None:
    """Tell a device nothing more, and forget it."""
    ledger, site = context.ledger, context.site.name
    with ledger.database.transaction():
        ledger.devices.remove(site, device.name)
        ledger.notices.drop_of_channel(site, device.name)
        ledger.deeds.insert(site, Deed(context.clock(), by, ENDED, {"phone": device.name}))
    log.info("device.removed name=%s", device.name)


def _free_name(person: str, taken: Collection[str]) -> str:
    """Return "phone of Inés", or "phone of Inés 2" if there is one already.

    There is a blank in each, so that none is the name of a channel of the collection, now or later.
    A device that is gone gives its name to the next one of the same person.
    """
    first = f"phone of {person}" if person else "a phone"
    names = [first, *(f"{first} {number}" for number in range(2, len(taken) + 3))]
    return next(name for name in names if name not in taken)
