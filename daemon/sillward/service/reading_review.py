"""Once an hour the readings of the last days are looked at again (`sillward.readings.review`)."""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.readings.review import lately_heard, review
from sillward.service.context import ServiceContext

LOOK_EVERY = timedelta(hours=1)
"""How often. Readings are kept by the hour."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class ReadingReview:
    """Sets readings of one household aside that are seen to be wrong by now."""

    context: ServiceContext
    _looked_at: datetime | None = None

    def look(self) -> None:
        """Look, if it is time to."""
        context, now = self.context, self.context.clock()
        if self._looked_at is not None and timedelta(0) <= now - self._looked_at < LOOK_EVERY:
            return
        self._looked_at = now
        if not lately_heard(context.ledger, context.household.collection, now):
            return
        count = review(context.ledger, context.collection, context.weather(), now)
        if count:
            log.info("reading.set_aside site=%s count=%d", context.site.name, count)
