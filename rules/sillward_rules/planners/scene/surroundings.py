"""Surroundings: the collection, its weather and the moment, before any plant's history is known."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sillward_rules.arrays import Array
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Traits
from sillward_rules.plants.rule_firing import Classes, Firing, classify, evaluate
from sillward_rules.weather import sun
from sillward_rules.weather.climate import Climate, climate_by_night, climate_of
from sillward_rules.weather.hourly import Freshness, Weather, covers_hours, rows_from_to
from sillward_rules.weather.indoor_nights import IndoorNights, indoor_nights
from sillward_rules.weather.spot_columns import NO_SPOT, SpotColumns
from sillward_rules.weather.spot_doubt import doubt_factor
from sillward_rules.weather.sun import Night
from sillward_rules.weather.uncertainty import USUAL_ERROR_K, Spread, usual_spread

EARLY_SHARE = 0.1
"""Plants are in before this share of the possible courses of the night is under the limit, and out
when no more than that is under it still. Judgement: with the lead time before it, that keeps 19
deadlines of 20."""


class Surroundings:
    """The climate at the spots of a collection, and its rules, at a moment.

    What follows from the arguments is computed when it is first asked for, and kept.
    """

    def __init__(self, collection: Collection, weather: Weather, now: datetime) -> None:
        self.collection = collection
        self.weather = weather
        self.now = now
        self.site = collection.site
        self.habits = collection.habits
        self.climate: Climate = climate_of(
            collection.site, collection.spots, weather, axil_factor=self.habits.axil_factor
        )
        self.by_night: Climate = climate_by_night(collection.site, self.climate, weather)
        """The climate in the finer steps that nights are judged by."""
        self.columns = {spot.name: index for index, spot in enumerate(collection.spots)}

    @cached_property
    def forecast_expired(self) -> bool:
        """Whether the forecast is too old to judge by."""
        return self.weather.freshness(self.now) is Freshness.EXPIRED

    @cached_property
    def sunrises(self) -> tuple[datetime, datetime, datetime]:
        """The sunrise that ends the coming or present night, after the two before it."""
        tonight = sun.night_at_or_after(self.site, self.now)
        last, before = (
            sun.night_of(self.site, tonight.day - timedelta(days=days)).end for days in (1, 2)
        )
        return before, last, tonight.end

    @cached_property
    def early_k(self) -> Array:
        """(moment, spot) how far the early side of the forecast is below it, in steps by night [K].

        A tenth of the possible courses are colder (`EARLY_SHARE`). Never above zero.
        """
        times, weather, at = self.climate.times, self.weather, self.by_night.times
        if not times.size:
            return np.zeros((at.size, len(self.climate.spots)))

        def early_side(spread: Spread) -> Array:
            decided = self.when_decided(spread)
            departure = decided.quantile(EARLY_SHARE)[:, None]
            usual_k = self.usual_k(times, when_decided=True)
            return np.asarray(departure * doubt_factor(self.climate, times, decided, usual_k))

        early = early_side(self._usual_spread)
        if weather.spread is not None:
            own = early_side(weather.spread)
            early = np.where(np.isfinite(own), own, early)
        columns = [np.interp(at, times, column) for column in early.T]
        return np.asarray(np.minimum(np.array(columns).T, 0.0))

    @cached_property
    def _usual_spread(self) -> Spread:
        weather = self.weather
        return usual_spread(self.climate.times, weather.issued_at or weather.fetched_at)

    def usual_k(self, at: np.ndarray, *, when_decided: bool = False) -> Array:
        """Return the usual error of the forecast at moments (time,) [unix s]: (time,) [K].

        when_decided: as it will be when a night is decided.
        """
        usual = self._usual_spread
        if when_decided:
            usual = self.when_decided(usual)
        return np.asarray(np.interp(at, self.climate.times, usual.error_k))

    def when_decided(self, spread: Spread) -> Spread:
        """Return a spread over the hours of the climate as it will be when a night is decided.

        For the coming night that is the spread itself. Later nights are decided by the forecast of
        their own evening, which is off by no more than is usual for a first night.
        """
        sd = spread.sd_k
        tonight = sun.night_at_or_after(self.site, self.now)
        later = self.climate.times > tonight.cold_until.timestamp()
        share = np.where(later, USUAL_ERROR_K[0] / np.fmax(sd, USUAL_ERROR_K[0]), 1.0)
        if not (share < 1.0).any():
            return spread
        return replace(spread, deviations=spread.deviations * share, error_k=spread.error_k * share)

    # -- spots

    @cached_property
    def holds_itself(self) -> np.ndarray:
        """(spot,) whether a spot has a climate of its own."""
        return np.array([spot.holds_itself for spot in self.climate.spots], dtype=bool)

    @cached_property
    def indoor_nights(self) -> IndoorNights:
        """What was learned of the indoor spots for the nights of the forecast."""
        return indoor_nights(self.site, self.climate.spots, self.weather)

    @cached_property
    def indoors(self) -> np.ndarray:
        """(spot,) whether a spot is indoors."""
        return np.array([spot.indoors for spot in self.climate.spots], dtype=bool)

    def columns_of(self, spots: Iterable[str]) -> SpotColumns:
        """Return the columns of these spots; `NO_SPOT` for a name that is no spot."""
        return np.array([self.columns.get(spot, NO_SPOT) for spot in spots], dtype=np.int64)

    def homes_of(self, traits: Traits) -> SpotColumns:
        """(plant,) the spot columns of the homes of these plants."""
        return traits.memo.of(
            ("homes", *self.columns),
            lambda: self.columns_of(plant.home for plant in traits.plants),
        )

    def shelters_of(self, traits: Traits) -> SpotColumns:
        """(plant,) the spot columns of their shelters; `NO_SPOT` where none is given."""
        return traits.memo.of(
            ("shelters", *self.columns),
            lambda: self.columns_of(plant.shelter or "" for plant in traits.plants),
        )

    def spot_name(self, column: int) -> str:
        """Return the name of a spot."""
        return self.climate.spots[column].name

    # -- rows of the climate

    def rows(self, start: datetime, end: datetime) -> np.ndarray:
        """Return the rows of the hourly climate from start to end, both included."""
        return rows_from_to(self.climate.times, start, end)

    def steps(self, start: datetime, end: datetime) -> np.ndarray:
        """Return the rows of the climate by night from start to end, both included.

        Empty unless every full hour in between is there.
        """
        if not covers_hours(self.climate.times, start, end):
            return np.arange(0)
        return rows_from_to(self.by_night.times, start, end)

    def rows_of_day(self, day: date) -> np.ndarray:
        """Return the rows of the 24 hours around the sun's noon of a local date.

        Fewer than 24 if they are not all there.
        """
        noon = self.site.middle_of_day(day)
        return self.rows(
            noon - timedelta(hours=12) + timedelta(seconds=1), noon + timedelta(hours=12)
        )

    # -- rules

    def classes_asking(
        self,
        asks: str,
        traits: Traits,
        columns: np.ndarray,
        seasons: NDArray[np.object_] | None = None,
    ) -> list[Classes]:
        """Return the classes of plants for every rule that asks for this chore.

        columns (plant,) : the spot column at which each plant stands; `NO_SPOT` leaves it out.
        seasons (plant,) : as in `classify`.
        """
        return [
            classify(rule, traits, columns, self.climate, seasons)
            for rule in self.collection.rules
            if rule.asks == asks
        ]

    def evaluate(
        self,
        classes: Sequence[Classes],
        climate: Climate,
        span: tuple[datetime, datetime] | None = None,
    ) -> list[Firing]:
        """Evaluate rules against a climate in a span, or in all of it.

        What must last is seen as far beyond the span as it must last.
        """
        firings = []
        for of_rule in classes:
            part = slice(None)
            if span is not None:
                part = part_of(climate.times, span, of_rule.rule.lasting)
            margin = self.habits.wet_margin_k
            firings.append(evaluate(of_rule, self.site, climate, part, wet_margin_k=margin))
        return firings

    def day_and_night(self, night: Night) -> tuple[datetime, datetime]:
        """Return the span of a night and its day.

        From an hour before that day's sunrise until the night's cold is over.
        """
        sunrise = sun.day_events(self.site, night.day).sunrise
        return sunrise - timedelta(hours=1), night.cold_until


def part_of(times: np.ndarray, span: tuple[datetime, datetime], around: timedelta) -> slice:
    """Return the rows of moments in a span, and in so much time before and after it."""
    rows = rows_from_to(times, span[0] - around, span[1] + around)
    return slice(int(rows[0]), int(rows[-1]) + 1) if rows.size else slice(0, 0)
