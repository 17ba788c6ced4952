"""The shelf: the last good forecasts as they stand in the ledger, and what one goes by.

The first source of the grower's list that is sound, else the freshest; what it lacks is filled from
the others, and what the grower must know of all that stands in the weather's remarks.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

from sillward.errors import SourceError
from sillward.forecast import Source
from sillward.forecast.ensemble import Ensemble
from sillward.ledger import Ledger, Mark, StoredForecast
from sillward.ledger.forecasts import ForecastStamp
from sillward_rules import sun
from sillward_rules.opinion import second_opinion
from sillward_rules.remark import Plain
from sillward_rules.site import Site
from sillward_rules.weather import UNMOVED, Freshness, Weather, covers, no_weather, with_past

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
class Held:
    """The last good forecast of one source, as it was kept and as it reads."""

    source: Source
    stored: StoredForecast
    weather: Weather

    def sound(self, site: Site, now: datetime) -> bool:
        """Whether one can go by it alone: fresh, and the coming night is wholly known."""
        night = sun.night_at_or_after(site, now)
        fresh = self.weather.freshness(now) is Freshness.FRESH
        return fresh and covers(self.weather, now, night.end)


def credit(sources: Sequence[Source], name: str) -> str:
    """The credit that is due for a weather of the source of this name."""
    return next((one for one in sources if one.name == name), sources[0]).attribution


@dataclass(slots=True)
class Shelf:
    """The forecasts that are held, from some sources in the grower's order."""

    sources: Sequence[Source]
    ledger: Ledger
    clock: Clock = utc_now
    ensemble: Ensemble | None = None
    opinion_k: float | None = None
    """A second source is asked, and the colder taken where they are further apart [K]."""
    _read: dict[tuple[str, str], tuple[ForecastStamp, Held]] = field(default_factory=dict)

    def weather(self, site: Site) -> Weather:
        """The best forecast for a site, with a second opinion, the past and a spread.

        Weather of which nothing is known if there is none. What a grower must know of where it
        comes from stands in its remarks.
        """
        now = self.clock()
        best = self.best(site)
        doubt = self.clock_doubt()
        first = () if doubt is None else (Plain(doubt),)
        if best is None:
            nothing = no_weather(self.sources[0].name, now)
            return replace(nothing, remarks=(*first, *nothing.remarks))
        weather, others = best.weather, [one for one in self.held(site) if one is not best]
        told = self._why_not_the_first(best, site)
        for other in others:
            weather = with_past(weather, other.weather)
        if self.opinion_k is not None:
            able = [one for one in others if one.weather.freshness(now) is not Freshness.EXPIRED]
            if able:
                weather = second_opinion(site, weather, able[0].weather, now, self.opinion_k)
            elif best.source is self.sources[0]:
                told = (*told, self._no_opinion())
        weather = self.spread_over(site, weather)
        return replace(weather, remarks=(*first, *map(Plain, told), *weather.remarks))

    def best(self, site: Site) -> Held | None:
        """The forecast to go by: the first in the list that is sound, else the freshest."""
        now = self.clock()
        held = self.held(site)
        sound = [one for one in held if one.sound(site, now)]
        if sound:
            return sound[0]
        night = sun.night_at_or_after(site, now)

        def rank(one: Held) -> tuple[bool, timedelta]:
            return not covers(one.weather, now, night.end), one.weather.age(now)

        usable = [one for one in held if one.weather.freshness(now) is not Freshness.EXPIRED]
        return min(usable or held, key=rank, default=None)

    def usable(self, site: Site) -> bool:
        """Whether there is a forecast for the present hour that is not too old to judge by."""
        best, now = self.best(site), self.clock()
        if best is None or best.weather.freshness(now) is Freshness.EXPIRED:
            return False
        return best.weather.reaches(now)

    def edition(self, site: Site) -> object:
        """What tells one state of what is held from another: equal while nothing has changed."""
        held = [(one.source.name, one.stored.changed_at) for one in self.held(site)]
        members = None
        if self.ensemble is not None:
            members = self.ledger.forecast_stamp(site.name, self.ensemble.name)
        return held, members

    def attribution(self, source: str) -> str:
        """The credit that is due for a weather of this source."""
        return credit(self.sources, source)

    def held(self, site: Site) -> list[Held]:
        """The last good forecast of each source that has one, in the grower's order."""
        return [one for one in (self.of(source, site) for source in self.sources) if one]

    def failure(self, place: int = 0) -> Mark | None:
        """When and why the source at this place gave nothing; None if it did the last time."""
        name = self.sources[place].name
        plan = self.ledger.poll(name)
        return self.ledger.mark_of(f"fetch failed, {name}") if plan and plan.failures else None

    def trouble(self, place: int = 0) -> str | None:
        """Why the source at this place gave nothing the last time; None if it did."""
        failed = self.failure(place)
        return None if failed is None else failed.text

    def today(self) -> date:
        """The UTC day by which calls are counted."""
        return self.clock().astimezone(UTC).date()

    def clock_doubt(self) -> str | None:
        """That this machine's clock is wrong, in words; None while it is right."""
        mark = self.ledger.mark_of(CLOCK_MARK)
        if mark is None:
            return None
        seconds, _, name = mark.text.partition(" by ")
        minutes = abs(float(seconds)) / 60
        size = f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.0f} h"
        if minutes >= 48 * 60:
            size = f"{minutes / 1440:.0f} days"
        way = "behind" if float(seconds) > 0 else "ahead of"
        return f"this machine's clock is {size} {way} {name}'s: mind the hours"

    def _why_not_the_first(self, best: Held, site: Site) -> tuple[str, ...]:
        """That the forecast is not the first source's, and why."""
        first = self.sources[0]
        if best.source is first:
            return ()
        held = self.of(first, site)
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
        stored = self.ledger.forecast(site.name, self.ensemble.name)
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

    def of(self, source: Source, site: Site) -> Held | None:
        """The stored forecast of a source, if it is for this place. Read once."""
        stamp = self.ledger.forecast_stamp(site.name, source.name)
        read, known = self._read.get((source.name, site.name), (None, None))
        if known is not None and stamp == read:
            return known
        stored = self.ledger.forecast(site.name, source.name)
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
        held = Held(source, stored, weather)
        self._read[source.name, site.name] = stamp, held
        return held
