"""The readings of sensors that live: what came over MQTT since the last tick goes to the ledger.

Listening begins at the first tick. It begins anew when the collection names another broker or other
sensors; nothing is connected while it names none.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field

from sillward.config.household import Broker, Household, TopicSensor
from sillward.forecast.store import Clock
from sillward.readings.live_intake import LiveIntake
from sillward.readings.mqtt_listener import LinkState, MqttListener
from sillward.service import sensor_status
from sillward.service.context import ServiceContext

log = logging.getLogger(__name__)

Listen = Callable[[Broker, tuple[TopicSensor, ...], Clock], MqttListener]


@dataclass(slots=True)
class SensorReadings:
    """Takes what the sensors of one household send."""

    context: ServiceContext
    listen: Listen = MqttListener
    intake: LiveIntake = field(init=False)
    """Takes what comes in other ways too, between two ticks."""
    _listener: MqttListener | None = field(default=None, init=False)
    _noted: LinkState | None = field(default=None, init=False)
    """How the connection stood when that was noted last."""

    def __post_init__(self) -> None:
        """Make the intake."""
        self.intake = LiveIntake(self.context.site.name)

    def look(self) -> None:
        """Take what came, write what is due, note how the connection stands."""
        self._listen_to(self.context.household)
        if self._listener is not None:
            self._listener.ensure_running()
            self._take(self._listener)
        self.intake.write(self.context.ledger.readings, self.context.clock())
        self._note_link()

    def close(self) -> None:
        """Stop listening, and write what is left."""
        if self._listener is not None:
            self._stop_listening(self._listener)

    def _listen_to(self, household: Household) -> None:
        wanted = (household.broker, household.sensors) if household.sensors else None
        listener, site = self._listener, household.collection.site.name
        if listener is not None:
            if wanted == (listener.broker, listener.sensors) and site == self.intake.site:
                return
            self._stop_listening(listener)
        if self.intake.site != site:
            self.intake = LiveIntake(site)
        if wanted is not None and wanted[0] is not None:
            self._listener = self.listen(wanted[0], wanted[1], self.context.clock)

    def _stop_listening(self, listener: MqttListener) -> None:
        ledger, intake = self.context.ledger, self.intake
        listener.close()
        self._listener = self._noted = None
        self._take(listener)
        intake.write(ledger.readings, self.context.clock(), last=True)
        sensor_status.forget_link(ledger, intake.site)

    def _take(self, listener: MqttListener) -> None:
        """Take what came; while the clock is known to be wrong nobody knows when that was."""
        came = listener.take().came
        if self.context.forecasts.clock_doubt() is None:
            self.intake.take(came)
        elif came:
            log.warning("reading.undated count=%d: the clock is wrong", len(came))

    def _note_link(self) -> None:
        if self._listener is None or self._listener.state == self._noted:
            return
        state = self._listener.state
        sensor_status.note_link(self.context.ledger, self.intake.site, state, self.context.clock())
        self._noted = state
