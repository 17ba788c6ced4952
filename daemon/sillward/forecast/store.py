"""The forecast store: the last good forecasts in the ledger, and the one that is used.

The first of the grower's sources with a sound forecast is used, else the freshest forecast. What it
lacks is filled from the others, and the weather's remarks say what the grower must know about it.
"""

import logging
from collections.abc import Callable, Mapping, MutableMapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

from sillward.errors import SourceError
from sillward.forecast import doubt_wording
from sillward.forecast.cells import HasCells, cell_of
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.source import Source
from sillward.ledger import Ledger, Mark, SavedForecast
from sillward.ledger.tables.forecasts import ForecastStamp
from sillward_rules.remark import ForecastDoubted, Plain
from sillward_rules.weather import sun
from sillward_rules.weather.doubt import Doubt, Jump
from sillward_rules.weather.height import at_height
from sillward_rules.weather.hourly import (
    EXPIRED_AFTER,
    UNCHANGED_AFTER,
    Freshness,
    Weather,
    covers,
    no_weather,
    with_past,
    withheld,
)
from sillward_rules.weather.learned_error import LearnedError, ReadNight, learned_error
from sillward_rules.weather.night_summary import nights_of
from sillward_rules.weather.past_lows import PastLows
from sillward_rules.weather.plausibility import doubts_about
from sillward_rules.weather.second_opinion import second_opinion, unjudged_where_colder
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import Spread

Clock = Callable[[], datetime]

ReadNightsOf = Callable[[Site, str, datetime, datetime], Mapping[int, ReadNight]]
"""A function that returns what was read of nights at a site, by the night's ordinal: of those that
a source had forecast, from a moment until now."""

SPREAD_GOOD_FOR = timedelta(hours=36)
"""Members older than this are not used. Judgement: three calls in a row have failed by then."""

PLACE_MARK = "place"
"""The mark in the ledger that says where a site is, by its name, and since when."""

CLOCK_MARK = "clock"
"""The mark in the ledger that says by how much this machine's clock is off."""

_EVER = datetime(1970, 1, 1, tzinfo=UTC)

log = logging.getLogger(__name__)


def utc_now() -> datetime:
    """Return the time of this machine's clock."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True, eq=False)
class HeldForecast:
    """The last good forecast of a source, as it is saved and as it reads."""

    source: Source
    saved: SavedForecast
    weather: Weather

    def is_sound(self, site: Site, now: datetime) -> bool:
        """Whether it suffices by itself: it is fresh, and knows all of the coming night."""
        night = sun.night_at_or_after(site, now)
        fresh = self.weather.freshness(now) is Freshness.FRESH
        return fresh and covers(self.weather, now, night.cold_until)


@dataclass(frozen=True, slots=True, eq=False)
class DoubtedForecast:
    """The last forecast of a source that cannot be believed. It is never used.

    `saved.changed_at` is the time since which the source has been giving much the same.
    """

    source: Source
    saved: SavedForecast
    weather: Weather
    doubts: tuple[Doubt, ...]

    @property
    def may_be_true(self) -> bool:
        """Whether the only doubt is that it is unlike the forecast before."""
        return all(isinstance(doubt, Jump) for doubt in self.doubts)


def doubted_key(source: Source) -> str:
    """Return the name under which the ledger keeps the doubted forecast of a source."""
    return f"{source.name}, doubted"


def credit(sources: Sequence[Source], name: str) -> str:
    """Return the credit that is due for a forecast of the source of this name."""
    return next((known for known in sources if known.name == name), sources[0]).attribution


@dataclass(slots=True)
class ForecastStore:
    """The forecasts in the ledger, of some sources in the grower's order."""

    sources: Sequence[Source]
    ledger: Ledger
    clock: Clock = utc_now
    ensemble: Ensemble | None = None
    second_opinion_k: float | None = None
    """Where a second source differs from the first by more than this, the colder is used [K]. With
    None no second source is asked."""
    read_nights: ReadNightsOf | None = None
    """What thermometers at the spots have shown, if there may be any."""
    shares_cells: bool = False
    """Whether sites share the forecasts of the cells that they lie in, as those of many households
    do; else each has its own."""
    read: MutableMapping[tuple[str, str], tuple[ForecastStamp, HeldForecast]] = field(
        default_factory=dict
    )
    """Forecasts as they were read, by source and place; may forget some. Stores that share cells
    may share it."""
    spreads: MutableMapping[str, tuple[ForecastStamp, object, datetime, Spread]] = field(
        default_factory=dict
    )
    """What members were read as last, by place: when they were fetched, and at which hours."""
    _at_site: dict[tuple[str, str], tuple[HeldForecast, HeldForecast]] = field(default_factory=dict)
    """The forecasts of cells, each beside what it is at the height of a site."""
    _doubted: dict[tuple[str, str], tuple[ForecastStamp, DoubtedForecast]] = field(
        default_factory=dict
    )
    _learned: dict[tuple[str, Site], tuple[tuple[date, int], LearnedError | None]] = field(
        default_factory=dict
    )

    def weather(self, site: Site) -> Weather:
        """Return the best forecast for a site, with a second opinion, the past and its spread.

        The spread is that of the members, else what past nights have taught, else None. If there is
        no forecast, return weather of which nothing is known. What a grower must know about its
        origin is in the remarks.
        """
        now = self.clock()
        best = self.best(site)
        doubt = self.clock_doubt()
        first = () if doubt is None else (Plain(doubt),)
        doubted = self.doubted(site)
        if best is None and doubted:
            said = [_doubted_remark(forecast, None, site) for forecast in doubted]
            return replace(withheld(doubted[0].weather), remarks=(*first, *said))
        if best is None:
            nothing = no_weather(self.sources[0].name, now)
            return replace(nothing, remarks=(*first, *nothing.remarks))
        weather, others = best.weather, [other for other in self.held(site) if other is not best]
        remarks = self._why_not_the_first(best, site, doubted)
        for other in others:
            weather = with_past(weather, other.weather)
        if self.second_opinion_k is not None:
            able = [
                other for other in others if other.weather.freshness(now) is not Freshness.EXPIRED
            ]
            if able:
                weather = second_opinion(site, weather, able[0].weather, now, self.second_opinion_k)
            elif best.source is self.sources[0]:
                remarks = (*remarks, self._no_opinion())
        weather = self.spread_over(site, weather)
        if weather.spread is None:
            weather = self._with_learned_error(site, weather, best.saved.changed_at)
        used = None if weather.freshness(now) is Freshness.EXPIRED else best
        said = []
        for forecast in doubted:
            known = weather
            if forecast.may_be_true:
                weather = unjudged_where_colder(site, weather, forecast.weather, now)
            said.append(_doubted_remark(forecast, used, site, colder=weather is not known))
        return replace(weather, remarks=(*first, *said, *map(Plain, remarks), *weather.remarks))

    def best(self, site: Site) -> HeldForecast | None:
        """Return the forecast to use: the first in the list that is sound, else the freshest."""
        now = self.clock()
        held = self.held(site)
        sound = [forecast for forecast in held if forecast.is_sound(site, now)]
        if sound:
            return sound[0]
        night = sun.night_at_or_after(site, now)

        def rank(forecast: HeldForecast) -> tuple[bool, timedelta]:
            weather = forecast.weather
            return not covers(weather, now, night.cold_until), weather.age(now)

        usable = [
            forecast
            for forecast in held
            if forecast.weather.freshness(now) is not Freshness.EXPIRED
        ]
        return min(usable or held, key=rank, default=None)

    def is_usable(self, site: Site) -> bool:
        """Whether there is a forecast for the present hour that is not too old to judge by."""
        best, now = self.best(site), self.clock()
        if best is None or best.weather.freshness(now) is Freshness.EXPIRED:
            return False
        return best.weather.reaches(now)

    def edition(self, site: Site) -> object:
        """Return a value that stays equal while no forecast of a site changes."""
        held = [(known.source.name, known.saved.changed_at) for known in self.held(site)]
        held += [
            (doubted_key(doubted.source), doubted.saved.changed_at)
            for doubted in self.doubted(site)
        ]
        members = None
        if self.ensemble is not None:
            place = self.place_of(self.ensemble, site)
            members = self.ledger.forecasts.stamp(place.name, self.ensemble.name)
        return held, members

    def place_of(self, provider: HasCells, site: Site) -> Site:
        """Return the place for which a provider is asked, and what it says kept: the site, or the
        cell that it lies in."""
        return cell_of(provider, site) if self.shares_cells else site

    def attribution(self, source: str) -> str:
        """Return the credit that is due for a forecast of this source."""
        return credit(self.sources, source)

    def held(self, site: Site) -> list[HeldForecast]:
        """Return the last good forecast of each source that has one, in the grower's order."""
        held = (self.forecast_of(source, site) for source in self.sources)
        return [forecast for forecast in held if forecast is not None]

    def doubted(self, site: Site) -> list[DoubtedForecast]:
        """Return the forecasts that are doubted at present, in the grower's order."""
        doubted = (self.doubted_of(source, site) for source in self.sources)
        return [forecast for forecast in doubted if forecast is not None]

    def doubted_of(self, source: Source, site: Site) -> DoubtedForecast | None:
        """Return the last forecast of a source, if it was doubted and is not too old to matter.

        The doubts are worked out again from what is held now, for the time at which it was fetched.
        """
        place = self.place_of(source, site)
        stamp = self.ledger.forecasts.stamp(place.name, doubted_key(source))
        read, known = self._doubted.get((source.name, site.name), (None, None))
        if known is not None and stamp == read:
            return known if self._matters(known.saved) else None
        saved = self.ledger.forecasts.get(place.name, doubted_key(source))
        if saved is None or stamp is None or not self._matters(saved):
            return None
        try:
            weather = source.read(saved.body, place, saved.fetched_at)
            weather = at_height(weather, place.elevation_m, site.elevation_m)
            found = self.doubts_about(source, site, weather, saved.fetched_at)
        except Exception as error:  # of any kind: the body cannot be used
            log.warning("forecast.unreadable source=%s reason=%s", saved.source, error)
            return None
        if not found:  # what was held then has changed: the next one will be believed
            return None
        doubted = DoubtedForecast(source, saved, weather, found)
        self._doubted[source.name, site.name] = stamp, doubted
        return doubted

    def _matters(self, saved: SavedForecast) -> bool:
        return abs(self.clock() - saved.fetched_at) <= EXPIRED_AFTER

    def doubts_about(
        self, source: Source, site: Site, weather: Weather, now: datetime
    ) -> tuple[Doubt, ...]:
        """Return the doubts about a forecast, from its own numbers and from all that is held.

        The last good forecast of a source that is now doubted is not compared with: where two
        sources agree that it has become warmer, the older forecast of one must not speak against
        the newer forecast of the other.
        """
        able = [
            other.weather
            for other in self.held(site)
            if other.source.name != source.name
            and other.weather.freshness(now) is not Freshness.EXPIRED
            and self.ledger.forecasts.stamp(
                self.place_of(other.source, site).name, doubted_key(other.source)
            )
            is None
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
        """Return when and why the last call to the source at this index failed, if it did."""
        name = self.sources[place].name
        plan = self.ledger.call_schedules.get(name)
        return (
            self.ledger.provider_marks.get(f"fetch failed, {name}")
            if plan and plan.failures
            else None
        )

    def trouble(self, place: int = 0) -> str | None:
        """Return why the last call to the source at this index failed; None if it did not."""
        failed = self.failure(place)
        return None if failed is None else failed.text

    def today(self) -> date:
        """Return today's date in UTC, by which calls are counted."""
        return self.clock().astimezone(UTC).date()

    def clock_doubt(self) -> str | None:
        """Return in words that this machine's clock is wrong; None while it is right."""
        mark = self.ledger.provider_marks.get(CLOCK_MARK)
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
        """Return why another source than the first is used.

        Nothing is returned if the first is used, or if its forecast is doubted, as another remark
        says so.
        """
        first = self.sources[0]
        if best.source is first or any(forecast.source is first for forecast in doubted):
            return ()
        held = self.forecast_of(first, site)
        fresh = held is not None and held.weather.freshness(self.clock()) is Freshness.FRESH
        lacks = f"{first.name} has {'gaps tonight' if fresh else 'nothing new'}"
        return (f"forecast by {best.source.name}; {self.trouble() or lacks}",)

    def _no_opinion(self) -> str:
        """Return in words that the second opinion is missing, and why."""
        why = self.trouble(1) or f"{self.sources[1].name} has nothing new"
        return f"no second opinion; {why}"

    def spread_over(self, site: Site, weather: Weather) -> Weather:
        """Return the weather with the members' spread, if there is one that is not too old."""
        if self.ensemble is None:
            return weather
        place = self.place_of(self.ensemble, site)
        stamp = self.ledger.forecasts.stamp(place.name, self.ensemble.name)
        hours = weather.times[:1].tobytes(), weather.times.size
        known = self.spreads.get(place.name)
        if known is None or known[:2] != (stamp, hours):
            saved = self.ledger.forecasts.get(place.name, self.ensemble.name)
            if saved is None or stamp is None:
                return weather
            try:
                spread = self.ensemble.read(saved.body, place, weather.times)
            except SourceError as error:
                log.warning("forecast.unreadable source=%s reason=%s", self.ensemble.name, error)
                return weather
            known = self.spreads[place.name] = stamp, hours, saved.fetched_at, spread
        *_, fetched_at, spread = known
        if not abs(self.clock() - fetched_at) <= SPREAD_GOOD_FOR:
            return weather
        return replace(weather, spread=spread)

    def _with_learned_error(self, site: Site, weather: Weather, since: datetime) -> Weather:
        """Return the weather with the error that past nights have taught, if they have.

        since: when these numbers were first fetched. The archive of nights counts from there too.
        """
        learned = self.learned_error(site, weather.source)
        if learned is None:
            return weather
        return replace(weather, spread=learned.spread(weather.times, since))

    def learned_error(self, site: Site, source: str) -> LearnedError | None:
        """Return how far off the forecasts of a source have been at a site; None if too few.

        It is worked out once a day, as there is one more night then, and when past readings have
        changed.
        """
        today = self.today(), self.ledger.readings.edition(site.name)
        known, learned = self._learned.get((source, site), (None, None))
        if known != today:
            told, read = self.past_lows(site, source), self.read_nights
            since, now = self.here_since(site), self.clock()
            learned = learned_error(told, read and read(site, source, since, now))
            self._learned[source, site] = today, learned
        return learned

    def past_lows(self, site: Site, source: str) -> PastLows:
        """Return what a source said of past nights, since forecasts are for where a site is now."""
        since = self.here_since(site)
        return self.ledger.nights.past_lows(site.name, source, self.clock(), since)

    def keep_nights(self, source: str, site: Site, weather: Weather, at: datetime) -> None:
        """Put what a forecast that came at this time says of the nights into the archive."""
        nights = nights_of(site, self.spread_over(site, weather), at)
        self.note_place(site, at)
        self.ledger.nights.keep(site.name, source, at, nights)
        self.ledger.nights.prune(at)

    def has_nights_of(self, source: str, site: Site, weather: Weather, at: datetime) -> bool:
        """Whether the archive has the nights of a forecast that came at this time."""
        first = next(iter(nights_of(site, weather, at)), None)
        return first is None or self.ledger.nights.has(site.name, source, first.night, at)

    def note_place(self, site: Site, now: datetime) -> None:
        """Remember since when forecasts are for where a site is now.

        Of nights before the first such note it is taken that they were for the same place.
        """
        name, place = f"{PLACE_MARK}, {site.name}", _place(site)
        mark = self.ledger.marks.get(name)
        if mark is None or mark.text != place:
            self.ledger.marks.set(name, _EVER if mark is None else now, place)

    def here_since(self, site: Site) -> datetime:
        """Return since when forecasts are for where a site is now."""
        mark = self.ledger.marks.get(f"{PLACE_MARK}, {site.name}")
        if mark is None:
            return _EVER
        return mark.at if mark.text == _place(site) else self.clock()

    def forget(self, site: Site) -> None:
        """Drop what was read and learned for a site, because its coordinates may have changed."""
        self.spreads.pop(site.name, None)
        for source in self.sources:
            self.read.pop((source.name, site.name), None)
            self._at_site.pop((source.name, site.name), None)
            self._doubted.pop((source.name, site.name), None)
            self._learned.pop((source.name, site), None)

    def forecast_of(self, source: Source, site: Site) -> HeldForecast | None:
        """Return the last good forecast of a source for a site. Its body is read once."""
        place = self.place_of(source, site)
        held = self._held_for(source, place)
        if held is None or place is site:
            return held
        of, known = self._at_site.get((source.name, site.name), (None, None))
        if known is None or of is not held:
            weather = at_height(held.weather, place.elevation_m, site.elevation_m)
            known = replace(held, weather=weather)
            self._at_site[source.name, site.name] = held, known
        return known

    def _held_for(self, source: Source, site: Site) -> HeldForecast | None:
        """Return the last good forecast for a place for which the source is asked."""
        stamp = self.ledger.forecasts.stamp(site.name, source.name)
        read, known = self.read.get((source.name, site.name), (None, None))
        if known is not None and stamp == read:
            return known
        saved = self.ledger.forecasts.get(site.name, source.name)
        if saved is None or stamp is None:
            return None
        try:
            weather = source.read(saved.body, site, saved.fetched_at)
        except Exception as error:  # of any kind: the body cannot be used
            log.warning("forecast.unreadable source=%s reason=%s", source.name, error)
            return None
        if weather.issued_at is None and saved.fetched_at - saved.changed_at > UNCHANGED_AFTER:
            # The same numbers for so long: the provider has not worked out new ones.
            weather = replace(weather, issued_at=saved.changed_at)
        if known is not None:  # a source that gives no past hours gave them as a forecast before
            weather = with_past(weather, known.weather)
        if self.shares_cells:  # many are held, and the body is needed no more
            saved = replace(saved, body=b"")
        held = HeldForecast(source, saved, weather)
        self.read[source.name, site.name] = stamp, held
        return held


def _place(site: Site) -> str:
    """Return where a site is, to a kilometre and 10 m of height, within which forecasts are alike
    (judgement)."""
    return f"{site.latitude:.2f} {site.longitude:.2f} {round(site.elevation_m, -1):.0f} m"


def _doubted_remark(
    doubted: DoubtedForecast, best: HeldForecast | None, site: Site, *, colder: bool = False
) -> ForecastDoubted:
    """Return the remark on a doubted forecast: why it is doubted, and what is used instead."""
    fetched = None if best is None else best.saved.fetched_at.astimezone(site.zone)
    return ForecastDoubted(
        source=doubted.source.name,
        why=doubt_wording.reason(doubted.doubts),
        used=None if best is None else best.source.name,
        fetched=fetched,
        colder=colder,
    )
