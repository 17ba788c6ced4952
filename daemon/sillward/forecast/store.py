"""The forecast store: the last good forecasts as they stand in the ledger, and what one goes by.

The first source of the grower's list that is sound, else the freshest; what it lacks is filled from
the others, and what the grower must know of all that stands in the weather's remarks.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

from sillward.errors import SourceError
from sillward.forecast import doubt_wording
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.source import Source
from sillward.ledger import Ledger, Mark, StoredForecast
from sillward.ledger.tables.forecasts import ForecastStamp
from sillward_rules.remark import ForecastDoubted, Plain
from sillward_rules.weather import sun
from sillward_rules.weather.doubt import Doubt, Jump
from sillward_rules.weather.hourly import (
    STALE,
    UNMOVED,
    Freshness,
    Weather,
    covers,
    no_weather,
    with_past,
    withheld,
)
from sillward_rules.weather.plausibility import doubts_about
from sillward_rules.weather.second_opinion import second_opinion, unjudged_where_colder
from sillward_rules.weather.site import Site

Clock = Callable[[], datetime]

SPREAD_GOOD_FOR = timedelta(hours=36)
"""Members older than this say nothing of the nights to come. Judgement."""

CLOCK_MARK = "clock"
"""Under this name the ledger remembers by how much this machine's clock is off."""

log = logging.getLogger(__name__)


def utc_now() -> datetime:
    """The clock of the shell."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True, eq=False)
class HeldForecast:
    """The last good forecast of one source, as it was kept and as it reads."""

    source: Source
    stored: StoredForecast
    weather: Weather

    def is_sound(self, site: Site, now: datetime) -> bool:
        """Whether one can go by it alone: fresh, and the coming night is wholly known."""
        night = sun.night_at_or_after(site, now)
        fresh = self.weather.freshness(now) is Freshness.FRESH
        return fresh and covers(self.weather, now, night.cold_until)


@dataclass(frozen=True, slots=True, eq=False)
class DoubtedForecast:
    """The last forecast of a source, which cannot be believed. It is never gone by.

    stored.changed_at : since when the source has been saying much the same.
    """

    source: Source
    stored: StoredForecast
    weather: Weather
    doubts: tuple[Doubt, ...]

    @property
    def may_be_true(self) -> bool:
        """Whether nothing speaks against it but that it is unlike the one before."""
        return all(isinstance(one, Jump) for one in self.doubts)


def doubted_key(source: Source) -> str:
    """The name under which the ledger keeps what a source gave and nobody believes."""
    return f"{source.name}, doubted"


def credit(sources: Sequence[Source], name: str) -> str:
    """The credit that is due for a weather of the source of this name."""
    return next((one for one in sources if one.name == name), sources[0]).attribution


@dataclass(slots=True)
class ForecastStore:
    """The forecasts that are held, from some sources in the grower's order."""

    sources: Sequence[Source]
    ledger: Ledger
    clock: Clock = utc_now
    ensemble: Ensemble | None = None
    second_opinion_k: float | None = None
    """A second source is asked, and the colder taken where they are further apart [K]."""
    _read: dict[tuple[str, str], tuple[ForecastStamp, HeldForecast]] = field(default_factory=dict)
    _doubted: dict[tuple[str, str], tuple[ForecastStamp, DoubtedForecast]] = field(
        default_factory=dict
    )

    def weather(self, site: Site) -> Weather:
        """The best forecast for a site, with a second opinion, the past and a spread.

        Weather of which nothing is known if there is none. What a grower must know of where it
        comes from stands in its remarks.
        """
        now = self.clock()
        best = self.best(site)
        doubt = self.clock_doubt()
        first = () if doubt is None else (Plain(doubt),)
        doubted = self.doubted(site)
        if best is None and doubted:
            said = [_doubted_remark(one, None, site) for one in doubted]
            return replace(withheld(doubted[0].weather), remarks=(*first, *said))
        if best is None:
            nothing = no_weather(self.sources[0].name, now)
            return replace(nothing, remarks=(*first, *nothing.remarks))
        weather, others = best.weather, [one for one in self.held(site) if one is not best]
        told = self._why_not_the_first(best, site, doubted)
        for other in others:
            weather = with_past(weather, other.weather)
        if self.second_opinion_k is not None:
            able = [one for one in others if one.weather.freshness(now) is not Freshness.EXPIRED]
            if able:
                weather = second_opinion(site, weather, able[0].weather, now, self.second_opinion_k)
            elif best.source is self.sources[0]:
                told = (*told, self._no_opinion())
        weather = self.spread_over(site, weather)
        used = None if weather.freshness(now) is Freshness.EXPIRED else best
        said = []
        for one in doubted:
            known = weather
            if one.may_be_true:
                weather = unjudged_where_colder(site, weather, one.weather, now)
            said.append(_doubted_remark(one, used, site, colder=weather is not known))
        return replace(weather, remarks=(*first, *said, *map(Plain, told), *weather.remarks))

    def best(self, site: Site) -> HeldForecast | None:
        """The forecast to go by: the first in the list that is sound, else the freshest."""
        now = self.clock()
        held = self.held(site)
        sound = [one for one in held if one.is_sound(site, now)]
        if sound:
            return sound[0]
        night = sun.night_at_or_after(site, now)

        def rank(one: HeldForecast) -> tuple[bool, timedelta]:
            return not covers(one.weather, now, night.cold_until), one.weather.age(now)

        usable = [one for one in held if one.weather.freshness(now) is not Freshness.EXPIRED]
        return min(usable or held, key=rank, default=None)

    def is_usable(self, site: Site) -> bool:
        """Whether there is a forecast for the present hour that is not too old to judge by."""
        best, now = self.best(site), self.clock()
        if best is None or best.weather.freshness(now) is Freshness.EXPIRED:
            return False
        return best.weather.reaches(now)

    def edition(self, site: Site) -> object:
        """What tells one state of what is held from another: equal while nothing has changed."""
        held = [(one.source.name, one.stored.changed_at) for one in self.held(site)]
        held += [(doubted_key(one.source), one.stored.changed_at) for one in self.doubted(site)]
        members = None
        if self.ensemble is not None:
            members = self.ledger.forecasts.stamp(site.name, self.ensemble.name)
        return held, members

    def attribution(self, source: str) -> str:
        """The credit that is due for a weather of this source."""
        return credit(self.sources, source)

    def held(self, site: Site) -> list[HeldForecast]:
        """The last good forecast of each source that has one, in the grower's order."""
        return [one for one in (self.forecast_of(source, site) for source in self.sources) if one]

    def doubted(self, site: Site) -> list[DoubtedForecast]:
        """What of the sources is not believed at present, in the grower's order."""
        return [one for one in (self.doubted_of(source, site) for source in self.sources) if one]

    def doubted_of(self, source: Source, site: Site) -> DoubtedForecast | None:
        """The last forecast of a source, if it was not believed and is not too old to matter.

        Why not is worked out anew from what is held, as of when it was fetched.
        """
        stamp = self.ledger.forecasts.stamp(site.name, doubted_key(source))
        read, known = self._doubted.get((source.name, site.name), (None, None))
        if known is not None and stamp == read:
            return known if self._matters(known.stored) else None
        stored = self.ledger.forecasts.get(site.name, doubted_key(source))
        if stored is None or stamp is None or not self._matters(stored):
            return None
        try:
            weather = source.read(stored.body, site, stored.fetched_at)
            found = self.doubts_about(source, site, weather, stored.fetched_at)
        except Exception as error:  # it is of no use, whatever is wrong with it
            log.warning("forecast.unreadable source=%s reason=%s", stored.source, error)
            return None
        if not found:  # what was held then has changed: the next one will be believed
            return None
        doubted = DoubtedForecast(source, stored, weather, found)
        self._doubted[source.name, site.name] = stamp, doubted
        return doubted

    def _matters(self, stored: StoredForecast) -> bool:
        return abs(self.clock() - stored.fetched_at) <= STALE

    def doubts_about(
        self, source: Source, site: Site, weather: Weather, now: datetime
    ) -> tuple[Doubt, ...]:
        """What speaks against a forecast of a source, by itself and by all that is held.

        A source that is itself in doubt speaks for and against nobody: where both say that it
        has become warmer, the last good one of neither may stand in the way.
        """
        able = [
            one.weather
            for one in self.held(site)
            if one.source.name != source.name
            and one.weather.freshness(now) is not Freshness.EXPIRED
            and self.ledger.forecasts.stamp(site.name, doubted_key(one.source)) is None
        ]
        before = self.forecast_of(source, site)
        return doubts_about(
            site,
            weather,
            None if before is None else before.weather,
            able[0] if able else None,
            now=now,
        )

    def failure(self, place: int = 0) -> Mark | None:
        """When and why the source at this place gave nothing; None if it did the last time."""
        name = self.sources[place].name
        plan = self.ledger.calls.get(name)
        return self.ledger.marks.get(f"fetch failed, {name}") if plan and plan.failures else None

    def trouble(self, place: int = 0) -> str | None:
        """Why the source at this place gave nothing the last time; None if it did."""
        failed = self.failure(place)
        return None if failed is None else failed.text

    def today(self) -> date:
        """The UTC day by which calls are counted."""
        return self.clock().astimezone(UTC).date()

    def clock_doubt(self) -> str | None:
        """That this machine's clock is wrong, in words; None while it is right."""
        mark = self.ledger.marks.get(CLOCK_MARK)
        if mark is None:
            return None
        seconds, _, name = mark.text.partition(" by ")
        minutes = abs(float(seconds)) / 60
        size = f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.0f} h"
        if minutes >= 48 * 60:
            size = f"{minutes / 1440:.0f} days"
        way = "behind" if float(seconds) > 0 else "ahead of"
        return f"this machine's clock is {size} {way} {name}'s: mind the hours"

    def _why_not_the_first(
        self, best: HeldForecast, site: Site, doubted: Sequence[DoubtedForecast]
    ) -> tuple[str, ...]:
        """That the forecast is not the first source's, and why; a doubt is told by itself."""
        first = self.sources[0]
        if best.source is first or any(one.source is first for one in doubted):
            return ()
        held = self.forecast_of(first, site)
        fresh = held is not None and held.weather.freshness(self.clock()) is Freshness.FRESH
        lacks = f"{first.name} has {'gaps tonight' if fresh else 'nothing new'}"
        return (f"forecast by {best.source.name}; {self.trouble() or lacks}",)

    def _no_opinion(self) -> str:
        """That the second opinion a grower asked for is missing, and why."""
        why = self.trouble(1) or f"{self.sources[1].name} has nothing new"
        return f"no second opinion; {why}"

    def spread_over(self, site: Site, weather: Weather) -> Weather:
        """The weather with the members' spread, if there is one that is not too old."""
        if self.ensemble is None:
            return weather
        stored = self.ledger.forecasts.get(site.name, self.ensemble.name)
        if stored is None or not abs(self.clock() - stored.fetched_at) <= SPREAD_GOOD_FOR:
            return weather
        try:
            spread = self.ensemble.read(stored.body, site, weather.times)
        except SourceError as error:
            log.warning("forecast.unreadable source=%s reason=%s", self.ensemble.name, error)
            return weather
        return replace(weather, spread=spread)

    def forget(self, site: Site) -> None:
        """Read what is held for a site anew: it may be for another place now."""
        for source in self.sources:
            self._read.pop((source.name, site.name), None)
            self._doubted.pop((source.name, site.name), None)

    def forecast_of(self, source: Source, site: Site) -> HeldForecast | None:
        """The stored forecast of a source, if it is for this place. Read once."""
        stamp = self.ledger.forecasts.stamp(site.name, source.name)
        read, known = self._read.get((source.name, site.name), (None, None))
        if known is not None and stamp == read:
            return known
        stored = self.ledger.forecasts.get(site.name, source.name)
        if stored is None or stamp is None:
            return None
        try:
            weather = source.read(stored.body, site, stored.fetched_at)
        except Exception as error:  # whatever is wrong with it: it is no forecast
            log.warning("forecast.unreadable source=%s reason=%s", source.name, error)
            return None
        if weather.issued_at is None and stored.fetched_at - stored.changed_at > UNMOVED:
            # The same numbers for so long: the provider has not worked out new ones.
            weather = replace(weather, issued_at=stored.changed_at)
        if known is not None:  # what a source without a past has told before is its past
            weather = with_past(weather, known.weather)
        held = HeldForecast(source, stored, weather)
        self._read[source.name, site.name] = stamp, held
        return held


def _doubted_remark(
    doubted: DoubtedForecast, best: HeldForecast | None, site: Site, *, colder: bool = False
) -> ForecastDoubted:
    """What the grower must know of a doubt: why, and what is gone by instead."""
    fetched = None if best is None else best.stored.fetched_at.astimezone(site.zone)
    return ForecastDoubted(
        source=doubted.source.name,
        why=doubt_wording.reason(doubted.doubts),
        used=None if best is None else best.source.name,
        fetched=fetched,
        colder=colder,
    )
