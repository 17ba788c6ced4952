"""Proof of life: a web address that is called while all is well, for something outside to miss.

No notice can tell that the machine, its power or its network is gone. A service that waits for
these calls can: a monitor on another machine, or a watch on scheduled jobs.
"""

import logging
import time
from collections.abc import Callable
from datetime import datetime, timedelta

from pydantic import SecretStr

from sillward.config.settings import Settings, heartbeat_addresses
from sillward.errors import SourceError
from sillward.net.fetch import ask
from sillward.net.http import Query

HEARTBEAT_DEADLINE_S = 10.0
"""Longest time for one call [s]. Judgement: the tick waits for it."""

RETRY_AFTER = timedelta(minutes=1)
"""Pause after a call that failed. Judgement."""

log = logging.getLogger(__name__)


class Heartbeat:
    """Calls one address after good work, or another while there is trouble."""

    def __init__(
        self,
        url: SecretStr | None,
        trouble_url: SecretStr | None,
        every: timedelta,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._addresses = {False: url, True: trouble_url}
        self._every = every
        self._monotonic = monotonic
        self._troubled: bool | None = None
        self._called_at: datetime | None = None
        self._called_s = 0.0
        self._pause = every

    def beat(self, now: datetime, trouble: str | None) -> None:
        """Call if it is time to, or if trouble came or went. Never raise; end by the deadline.

        trouble: what is wrong, or None if nothing is.
        """
        troubled = trouble is not None
        if troubled == self._troubled and not self._is_time(now):
            return
        self._troubled, self._called_at, self._called_s = troubled, now, self._monotonic()
        self._pause = self._every
        address = self._addresses[troubled]
        if address is None:
            return
        try:
            call(address)
        except SourceError as error:
            self._pause = min(RETRY_AFTER, self._every)
            log.warning("heartbeat.failed reason=%s", error)

    def _is_time(self, now: datetime) -> bool:
        """Whether the pause is over by the monotonic clock, or by the wall clock.

        The monotonic clock stands still while the machine is suspended.
        A wall clock that is set back delays nothing; one that is set forward costs an early call.
        """
        steady = timedelta(seconds=self._monotonic() - self._called_s)
        return self._called_at is None or max(steady, now - self._called_at) >= self._pause


def build(settings: Settings) -> Heartbeat | None:
    """Build the heartbeat of the settings, if there is one. Raise ConfigError for a credential."""
    url, trouble_url = heartbeat_addresses(settings)
    if url is None and trouble_url is None:
        return None
    return Heartbeat(url, trouble_url, timedelta(minutes=settings.heartbeat.every))


def call(address: SecretStr) -> None:
    """GET an address once. Raise SourceError unless the answer is a 2xx; it shows no address."""
    query = Query(address.get_secret_value(), {})
    try:
        answer = ask(query, source="heartbeat", deadline_s=HEARTBEAT_DEADLINE_S)
    except SourceError:
        raise
    except Exception as error:  # an address that no parser foresaw; its text may hold it
        msg = f"heartbeat: failed ({type(error).__name__})"
        raise SourceError(msg) from None
    if not 200 <= answer.status < 300:
        msg = f"heartbeat: answered {answer.status}"
        raise SourceError(msg)
