"""The water of every pot, carried from when it was last counted to any moment.

Arrays are (pot,) over the cohorts of a scene that have a pot. Time goes by hour, over all pots at
once.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array, filled
from sillward_rules.chore import ChoreKind
from sillward_rules.physics.air import vapour_pressure
from sillward_rules.physics.evapotranspiration import (
    GRASS_ALBEDO,
    reference_evapotranspiration,
    stress_coefficient,
)
from sillward_rules.physics.surface import ABSORPTANCE, GROUND_ALBEDO
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.scene.whereabouts import Whereabouts
from sillward_rules.plants.care import FILLS, Care
from sillward_rules.plants.pot_water import (
    LATE_LOOK_SD,
    LOOKS,
    MOST_SD,
    TEACHING,
    UNSEEN_SD,
    WAKING_SHARE,
    WEATHER_H,
    WEATHER_SD,
    Buckets,
    PotWater,
)
from sillward_rules.plants.state import PlantState
from sillward_rules.plants.water_use import IN_SEASON, Pots
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.season import Season
from sillward_rules.weather.spot_columns import NO_SPOT

INDOOR_LIGHT, INDOOR_TEMP_C, INDOOR_RH_PCT = 0.1, 20.0, 50.0
"""In a room: the share of the sunlight outside that reaches plants, and the air where the grower
has not said. Judgement: 5 to 20 % of the light outside reaches a place near a window."""

UNANSWERED_H = 40.0
"""A watering that was told so long ago, of which nobody has said more and after which nobody has
looked, leaves nothing known of a pot [h]. Judgement: on the next morning it is told again, as in
doubt; by the third it was watered without a word or it is dry, and nobody knows which."""

FORGOTTEN_H = 72.0
"""After so many hours without weather nothing is known of a pot [h]. Judgement: in summer it is dry
by then or was watered, and which of these nobody has said."""

LOOK_HOLDS = timedelta(hours=30)
"""A look that is older than the last morning by more than this says nothing of the water now.
Judgement: what was seen on the day before a morning, but not what is entered from old notes."""

UNKNOWN_MM_H = 4.0 / 24.0
"""Reference evapotranspiration where nothing is known of the weather [mm/h]. Judgement: a mean day
of the warm half of the year."""


@dataclass(frozen=True, slots=True, eq=False)
class Demand:
    """What the air at each spot asks for, and the rain there: arrays (time, spot), hour by hour.

    - times (time,): the ends of the hours [unix s].
    - reference_mm: reference evapotranspiration [mm]; the spot's mean where it is not known.
    - rain_mm: rain that reaches the plants [mm]; none where it is not known.
    """

    times: np.ndarray
    reference_mm: Array
    rain_mm: Array

    @property
    def mean_mm(self) -> Array:
        """(spot,) the mean reference evapotranspiration of an hour [mm]."""
        if not self.times.size:
            return np.full(self.reference_mm.shape[1], UNKNOWN_MM_H)
        return np.asarray(self.reference_mm.mean(axis=0))


def demand_of(scene: Scene) -> Demand:
    """Return what the air at the spots of a scene asks for.

    Air, wind and light are those of the spot, so that shade and shelter need no factor. The wind is
    that at the plants, which is within a tenth of the wind at 2 m there.
    """
    climate, held, weather = scene.climate, scene.holds_itself, scene.weather
    temp = np.where(held & np.isnan(climate.temp_c), INDOOR_TEMP_C, climate.temp_c)
    moist = vapour_pressure(temp, INDOOR_RH_PCT)
    vapour = np.where(held & np.isnan(climate.vapour_kpa), moist, climate.vapour_kpa)
    wind = np.where(held, 0.0, climate.wind_m_s)
    outside = (weather.direct_w_m2 + weather.diffuse_w_m2)[:, None]
    light = np.where(held, INDOOR_LIGHT * outside, climate.light_w_m2)
    # The net radiation of wetted leaves holds what a face loses to the sky.
    lost = np.where(
        held, 0.0, ABSORPTANCE * (1 + GROUND_ALBEDO) * climate.light_w_m2 - 2 * climate.net_w_m2
    )
    reference = reference_evapotranspiration(
        temp,
        vapour,
        wind,
        (1.0 - GRASS_ALBEDO) * light - lost,
        pressure_kpa=climate.pressure_kpa,
        night=climate.night[:, None],
    )
    known = np.isfinite(reference)
    total = np.where(known, reference, 0.0).sum(axis=0)
    mean = np.where(known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), UNKNOWN_MM_H)
    rain = filled(climate.rain_mm, 0.0)
    return Demand(climate.times, np.where(known, reference, mean), rain)


def levels_of(scene: Scene) -> "PotLevels | None":
    """Return the water of the pots of a scene, worked out once; None if no plant has a pot."""
    if not Pots.of(scene.traits).plants.size:
        return None
    levels: PotLevels = scene.memo.of("pots", lambda: PotLevels(scene))
    return levels


class PotLevels:
    """The water of the pots of a scene, at its moment and on from there.

    - cohorts (pot,): the cohorts that have a pot; pots: what their water depends on.
    - seen (pot,): when each was last filled or looked at [unix s]; minus infinity if not known.
    - waking (pot,): whether it has come out of a dry rest only lately, and is given little.
    - now: their water at the moment of the scene.
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.pots = Pots.of(scene.traits)
        self.cohorts = self.pots.plants
        self.demand = demand_of(scene)
        self.waking = _waking(scene, self.cohorts)
        seasons = scene.seasons[self.cohorts]
        seasons[self.waking] = Season.REST
        growing = [IN_SEASON[season] for season in seasons.tolist()]
        self._leaves = self.pots.canopy_l * np.array(growing) / self.pots.capacity_l
        self._surface = self.pots.surface_l / self.pots.capacity_l
        self._catch = self.pots.catch_l / self.pots.capacity_l
        self._closing = 1.0 / self.lowest
        self.now = self._carried()

    @property
    def unknown_since(self) -> list[datetime | None]:
        """(pot,) since when nothing is known of its water; None where something is."""
        now, cohorts = self.scene.now, self.scene.cohorts
        water = [cohorts[cohort].state.care.water for cohort in self.cohorts.tolist()]
        return [
            None if known else one.at if one and one.lost else now
            for known, one in zip(self.known.tolist(), water, strict=True)
        ]

    @property
    def known(self) -> np.ndarray:
        """(pot,) whether anything is known of its water."""
        return np.isfinite(self.now.share)

    @property
    def lowest(self) -> Array:
        """(pot,) the share of its water below which a plant begins to want."""
        return np.asarray(1.0 - self.pots.depletion)

    def gained(self, pot: int, share: float) -> float:
        """Return what a watering adds to a pot of which a share is left, as a share."""
        most = WAKING_SHARE if self.waking[pot] else 1.0
        return min(most, 1.0 - share)

    def water(self, buckets: Buckets, pots: np.ndarray) -> None:
        """Water these pots (indices) as is told: until it runs through, or with a little."""
        buckets.fill(pots[~self.waking[pots]])
        buckets.pour(pots[self.waking[pots]], WAKING_SHARE)

    def early(self, buckets: Buckets) -> Array:
        """(pot,) the share that a pot still has if it loses rather more than expected."""
        return np.asarray(buckets.share - self.pots.margin_sd * buckets.sd)

    def ahead(self, columns: np.ndarray, until: datetime) -> Iterator[tuple[float, Buckets]]:
        """Yield the end of each hour to come [unix s] and the water then, from the scene's moment.

        columns (pot,) : the spots at which the pots stand. The buckets change with the next hour.
        """
        now = self.scene.now.timestamp()
        return self.between(columns, now, until.timestamp(), self.now.copy())

    def between(
        self, columns: np.ndarray, begin: float, end: float, buckets: Buckets
    ) -> Iterator[tuple[float, Buckets]]:
        """Yield the same between two moments [unix s], from this water on, which is changed."""
        times, at = self.demand.times, begin
        there = np.where(columns == NO_SPOT, 0, columns)
        while at < end:
            row = int(np.searchsorted(times, at, side="right"))
            seen = row < times.size and times[row] - HOUR_S <= at
            until = min(float(times[row]) if seen else at + HOUR_S, end)
            part = (until - at) / HOUR_S
            if seen:
                self._pass_hour(buckets, row, there, part)
            else:
                self._lose(buckets, part * self.demand.mean_mm[there], UNSEEN_SD**2)
            at = until
            yield at, buckets

    def reference_mm(self, at: float, column: int) -> float:
        """Return the reference evapotranspiration of the hour up to a moment [unix s] at a spot."""
        row = int(np.searchsorted(self.demand.times, at))
        known = row < self.demand.times.size
        mean = self.demand.mean_mm[column]
        return float(self.demand.reference_mm[row, column] if known else mean)

    def _pass_hour(
        self, buckets: Buckets, row: int, there: np.ndarray, part: Array | float
    ) -> None:
        """Let an hour of the climate pass.

        there (pot,) : where the pots stand, never `NO_SPOT`. part : how much of the hour counts
        (0..1), for all or (pot,).
        """
        reference = self.demand.reference_mm[row, there] * part
        self._lose(buckets, reference, WEATHER_SD**2 * WEATHER_H)
        if self.demand.rain_mm[row].any():
            rain = self.demand.rain_mm[row, there] * part * self._catch
            if rain.any():
                buckets.gain(rain)

    def _lose(self, buckets: Buckets, reference_mm: Array, noise: float) -> None:
        """Take what a reference evapotranspiration (pot,) [mm] takes from each pot.

        noise: the variance of the loss, as a multiple of its square.
        """
        left = np.where(np.isnan(buckets.share), 1.0, buckets.share)
        stress = stress_coefficient(left, self.pots.depletion)
        nominal = reference_mm * (self._leaves * stress + self._surface * left)
        closing = np.where(stress < 1.0, self._closing, 0.0)  # of the stress, by what is left
        slope = reference_mm * (self._leaves * closing + self._surface)
        buckets.lose(nominal, noise * (buckets.factor * nominal) ** 2, slope)

    # -- from when it was last counted

    def _carried(self) -> Buckets:
        scene, times = self.scene, self.demand.times
        states = [scene.cohorts[cohort].state for cohort in self.cohorts.tolist()]
        buckets = Buckets.of([state.care.water for state in states])
        now = scene.now.timestamp()
        told = sorted(
            (event for pot, state in enumerate(states) for event in _told(pot, state)),
            key=lambda event: event.at,
        )
        water = [state.care.water for state in states]
        begin = np.array([now if one is None or one.lost else one.at.timestamp() for one in water])
        self.seen = np.array([_second(one and one.seen_at) for one in water])
        for event in told:
            begin[event.pot] = min(begin[event.pot], event.at)
        first, last = (times[0] - HOUR_S, times[-1]) if times.size else (now, now)
        self._pass_before(min(first, now), begin, told, buckets)
        places = Whereabouts(scene, self.cohorts, states)
        rows = np.flatnonzero((times > begin.min(initial=now)) & (times - HOUR_S < now)).tolist()
        for row in rows:
            while told and told[0].at < times[row]:
                told.pop(0).happen(self, buckets)
            seconds = min(times[row], now) - np.maximum(begin, times[row] - HOUR_S)
            part = np.maximum(seconds, 0.0) / HOUR_S
            columns = places.at(times[row] - HOUR_S / 2)
            self._pass_hour(buckets, row, np.where(columns == NO_SPOT, 0, columns), part)
        for event in told:
            event.happen(self, buckets)
        self._pass_unseen(buckets, np.maximum(now - np.maximum(begin, last), 0.0) / HOUR_S)
        unanswered = [
            any(seen < one <= now - UNANSWERED_H * HOUR_S for one in _not_confirmed(state))
            for seen, state in zip(self.seen.tolist(), states, strict=True)
        ]
        buckets.share[unanswered] = np.nan
        return buckets

    def _pass_before(
        self, first: float, begin: Array, told: list["_Told"], buckets: Buckets
    ) -> None:
        """Let the time before the weather begins [unix s] pass, with what was told of it.

        begin (pot,) : from when on each is followed [unix s]. told : in order; what has happened is
        taken out.
        """
        reached = np.minimum(begin, first)
        while told and told[0].at < first:
            event = told.pop(0)
            hours = np.zeros(reached.shape)
            hours[event.pot] = (event.at - reached[event.pot]) / HOUR_S
            self._pass_unseen(buckets, hours)
            reached[event.pot] = event.at
            event.happen(self, buckets)
        self._pass_unseen(buckets, (first - reached) / HOUR_S)

    def _pass_unseen(self, buckets: Buckets, hours: Array) -> None:
        """Let so many hours (pot,) pass of whose weather nothing is known.

        After more than `FORGOTTEN_H` of them nothing is known of a pot any more.
        """
        if hours.any():
            home = self.demand.mean_mm[self.scene.home[self.cohorts]]
            self._lose(buckets, hours * home, UNSEEN_SD**2)
            buckets.share[hours > FORGOTTEN_H] = np.nan


@dataclass(frozen=True, slots=True)
class _Told:
    """What the grower has said of a pot since its water was last counted.

    - at: when it happened [unix s]. kind: that of a watering, else None.
    - look: the share that a look showed and its standard deviation. teaches, all_told: as in
      `Buckets.look`.
    """

    pot: int
    at: float
    kind: ChoreKind | None = None
    look: tuple[float, float] | None = None
    teaches: bool = False
    all_told: bool = True

    def happen(self, levels: PotLevels, buckets: Buckets) -> None:
        """Change the water of the pot by it."""
        pot = np.array([self.pot])
        levels.seen[pot] = np.maximum(levels.seen[pot], self.at)
        if self.kind is ChoreKind.WATER:
            levels.water(buckets, pot)
        elif self.look is None:
            buckets.fill(pot)
        else:
            share, sd = (np.array([value]) for value in self.look)
            buckets.look(pot, share, sd, teaches=self.teaches, all_told=self.all_told)


def _told(pot: int, state: PlantState) -> Iterator[_Told]:
    """Yield what was said of a pot since its water was counted. What was only told is not done."""
    care, counted = state.care, state.care.water
    for one in care.wettings:
        if one.fills and (counted is None or one.known_at > counted.at):
            yield _Told(pot, one.at.timestamp(), one.kind)
    for look in care.looks:
        if counted is not None and (
            look.told_at <= counted.at or look.at < counted.at - LOOK_HOLDS
        ):
            continue
        share, sd = LOOKS[look.word]
        at = look.at
        if counted is not None and at < counted.at:
            at, sd = counted.at, sd + LATE_LOOK_SD
        all_told = not any(one <= look.at.timestamp() for one in _not_confirmed(state))
        yield _Told(pot, at.timestamp(), None, (share, sd), look.word in TEACHING, all_told)


def _not_confirmed(state: PlantState) -> list[float]:
    """Return the deadlines of waterings that were told, of which nobody has said more [unix s]."""
    wettings = state.care.wettings
    return [one.at.timestamp() for one in wettings if one.kind in FILLS and not one.confirmed]


def _second(at: datetime | None) -> float:
    return -np.inf if at is None else at.timestamp()


def _waking(scene: Scene, cohorts: np.ndarray) -> np.ndarray:
    """(pot,) whether each has come out of a dry rest only lately."""
    today = scene.site.local_date(scene.now)
    memories = [scene.season_memories[cohort] for cohort in cohorts.tolist()]
    wakes = np.array([one is not None and one.wakes(today) for one in memories], dtype=bool)
    return np.asarray(wakes & (scene.traits.rest[cohorts] == "dry"))


def after_last_day(scene: Scene, states: Sequence[PlantState]) -> list[PlantState]:
    """(cohort,) these states with the water of each pot counted up to the moment of the scene."""
    after_day = list(states)
    levels = levels_of(scene)
    if levels is None:
        return after_day
    at = scene.now.replace(second=0, microsecond=0)
    for pot, (number, water) in enumerate(
        zip(levels.cohorts.tolist(), levels.now.at(at), strict=True)
    ):
        state = states[number]
        if water is None:
            care = _without_old_looks(state.care, at)
            after = (care.water or _NEVER_KNOWN).lost_at(at)
        else:
            seen = levels.seen[pot]
            care, after = state.care, replace(water, seen_at=moment(seen) if seen > 0 else None)
        if after is not care.water:
            care = care.counted(after)
        if care is not state.care:
            after_day[number] = replace(state, care=care)
    return after_day


_NEVER_KNOWN = PotWater(datetime.min.replace(tzinfo=UTC), 0.0, MOST_SD)


def _without_old_looks(care: Care, now: datetime) -> Care:
    """Return the care of a plant whose pot is not known, without looks that tell nothing more."""
    left = tuple(one for one in care.looks if one.at > now - timedelta(hours=FORGOTTEN_H))
    return care if left == care.looks else replace(care, looks=left)
