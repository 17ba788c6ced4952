"""What is done with an answer: read for each site, checked, and saved if it can be believed."""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.errors import DoubtError, SourceError
from sillward.forecast import doubt_wording
from sillward.forecast.parsing import Reading
from sillward.forecast.source import Source
from sillward.forecast.store import CLOCK_MARK, ForecastStore, HeldForecast, doubted_key
from sillward.ledger import SavedForecast
from sillward.net.http import Answer
from sillward_rules.weather.hourly import Weather, same_forecast
from sillward_rules.weather.plausibility import agree, believed_at_last
from sillward_rules.weather.site import Site

CLOCK_OFF = timedelta(minutes=5)
"""A clock further from a provider's is doubtful."""

CLOCK_RIGHT = CLOCK_OFF / 2
"""A doubtful clock is right again within this. Judgement: half the bound, so that a clock near it
does not change with each call."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ForecastIntake:
    """Checks new forecasts against what is saved, and saves the good ones.

    Args:
        live: whether the answers come from providers now, and not from a recorded file.
        pretending: whether the clock shows another time than now.
    """

    store: ForecastStore
    live: bool
    pretending: bool

    def take(
        self,
        source: Source,
        site: Site,
        body: bytes,
        before: HeldForecast | None,
        answer: Answer,
        now: datetime,
    ) -> None:
        """Read, check and save the forecast of one site. Raise SourceError if it is no good.

        Args:
            before: the last good forecast of the source for the site.
            answer: the answer that the body is from, which may hold those of other sites too.
        """
        # The weather is for the checks alone. `ForecastStore.forecast_of` reads the saved body, as
        # it must after a restart or when another process has saved it; that there is no other way
        # into the store costs a second reading of each new forecast, some milliseconds an hour.
        weather = source.read(body, site, now)
        self._note_clock(source.name, answer)
        self._check_current(source, weather, before, now)
        self._require_plausible(source, site, weather, body, now)
        changed = before is None or not same_forecast(before.weather, weather, now)
        # Of an answer with another status (203) a provider keeps no validators.
        has_validators = answer.status == 200
        self.store.ledger.forecasts.keep(
            site.name,
            SavedForecast(
                source=source.name,
                fetched_at=now,
                changed_at=now if before is None or changed else before.saved.changed_at,
                body=body,
                last_modified=answer.last_modified if has_validators else None,
                etag=answer.etag if has_validators else None,
            ),
        )
        # A cell has no nights of its own: those of its sites are kept for each of them.
        if changed and self.live and not self.store.shares_cells:
            self.store.keep_nights(source.name, site, weather, now)

    def mark_unchanged(self, source: Source, site: Site, answer: Answer, now: datetime) -> None:
        """Note that the source has nothing newer than what is saved."""
        self._note_clock(source.name, answer)
        self.store.ledger.forecasts.mark_unchanged(site.name, source.name, now)
        self.store.ledger.forecasts.forget(site.name, doubted_key(source))
        log.info("forecast.confirmed source=%s", source.name)

    def _check_current(
        self, source: Source, weather: Weather, before: HeldForecast | None, now: datetime
    ) -> None:
        """Raise SourceError unless a forecast is for these days and no older than the last one."""
        if self.live:
            Reading(source.name).check_present(weather, now)
        issued, last = weather.issued_at, None if before is None else before.weather.issued_at
        if issued is not None and last is not None and issued < last:
            # Its servers do not all have the same run; the next may.
            msg = f"{source.name}: gives an older forecast than before"
            raise SourceError(msg, passing=True)

    def _require_plausible(
        self, source: Source, site: Site, weather: Weather, body: bytes, now: datetime
    ) -> None:
        """Raise DoubtError for a forecast that cannot be believed, after saving it apart.

        One that is doubted only for a jump is believed once it has been much the same for long.
        """
        ledger, key = self.store.ledger, doubted_key(source)
        found = self.store.doubts_about(source, site, weather, now)
        last = self.store.doubted_of(source, site)
        since = now
        if last is not None and agree(weather, last.weather, now):
            since = min(last.saved.changed_at, now)
        if not found or believed_at_last(found, since, now):
            if last is not None:
                log.warning("forecast.believed_again source=%s site=%s", source.name, site.name)
            ledger.forecasts.forget(site.name, key)
            return
        ledger.forecasts.keep(site.name, SavedForecast(key, now, since, body))
        msg = f"{source.name}: the forecast looks wrong: {doubt_wording.reason(found)}"
        raise DoubtError(msg)

    def _note_clock(self, name: str, answer: Answer) -> None:
        """Remember how far this machine's clock is from a provider's, as long as it is far."""
        providers, now = answer.date, self.store.clock()
        if providers is None or self.pretending:
            return
        offset = providers - now
        if abs(offset) > CLOCK_OFF:
            log.warning("clock.doubtful behind=%s by=%s", offset, name)
            self.store.ledger.provider_marks.set(
                CLOCK_MARK, now, f"{offset.total_seconds():.0f} by {name}"
            )
        elif abs(offset) <= CLOCK_RIGHT and self.store.clock_doubt() is not None:
            self.store.ledger.provider_marks.remove(CLOCK_MARK)
