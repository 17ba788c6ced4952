"""The alarm that the server of the ledger is away, told without the ledger.

A ledger on a server never goes to memory, so that nothing is told while it is away. Nobody must
take that silence for a quiet night.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.service.context import ALARM, ServiceContext
from sillward.wording import alarms
from sillward.wording.push import Message

TOLD_AFTER = timedelta(minutes=15)
"""A server that is away for so long is told of. Judgement: a failover or an update takes minutes,
and an order leaves more time than this."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class ServerAlarm:
    """Tells once that the server is away, and once that it is back.

    What it knows is lost with the process: after a restart it may tell again.
    """

    context: ServiceContext
    _since: datetime | None = None
    _told: bool = False

    def note_failure(self, now: datetime) -> None:
        """Note that the ledger could not be used; tell of it after a while."""
        if self._since is None or now < self._since:
            self._since = now
        if not self._told and now - self._since >= TOLD_AFTER:
            self._told = self._tell(alarms.server_away(self._since, self.context.voice))

    def note_success(self) -> None:
        """Note that it could be used; tell of it if its absence was told."""
        self._since = None
        if self._told:
            self._told = not self._tell(alarms.server_back(self.context.voice))

    def _tell(self, message: Message) -> bool:
        """Send to the channels of alarms. Return whether any took it; else it is tried again."""
        context, reached = self.context, False
        for channel in self._channels():
            try:
                context.sender(channel, context.fitted(channel, message))
            except DeliveryError as error:
                log.error("alarm.failed channel=%s reason=%s", channel.name, error)
            else:
                reached = True
        return reached

    def _channels(self) -> list[Channel]:
        """Return the channels of the collection that are told alarms: phones of the page, and who
        helps, are in the ledger."""
        channels = self.context.household.channels
        told = [channel for channel in channels if ALARM in channel.rounds]
        return told or [channel for channel in channels if channel.rounds]
