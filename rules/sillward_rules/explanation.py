"""The explanation that `why` prints: hour by hour, the numbers behind the decisions for a plant."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.chore import Weighing
from sillward_rules.planners import open_orders
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.nights import find_night_needs
from sillward_rules.planners.pot_days import PotExplained, explain_pot
from sillward_rules.planners.scene.night_risk import chance_of, exposure_of, spread_of
from sillward_rules.planners.scene.salts import SaltNow, salt_now
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.strength import too_strong_for
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant, Traits
from sillward_rules.plants.rule_firing import Firing, evaluate_rule
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.plants.state import State
from sillward_rules.remark import Remark
from sillward_rules.weather import light, sun
from sillward_rules.weather.cloud import warming_cover
from sillward_rules.weather.hourly import (
    CLOUD_LAYERS,
    SERIES,
    Weather,
    at_moments,
    moment,
    rows_from_to,
)
from sillward_rules.weather.season import Season, day_length_h
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night

HOURS = 24


@dataclass(frozen=True, slots=True)
class ExplainedHour:
    """One hour at a plant's home, or the moment of the night's low. None means not known.

    - forecast: the forecast's own numbers, by the field names of `Weather`.
    - temp_c, leaf_c: the air and the leaf [°C]; rh_pct [%]; wind_m_s [m/s]; rain_mm [mm].
    - vpd_kpa: the deficit of the air; leaf_vpd_kpa: that from the leaf to the air [kPa].
    - light_w_m2 [W/m2], ppfd [umol m-2 s-1]: the light that reaches the plant.
    - crown_wet_h: how long crowns have been wet [h].
    - film_min: how long the film on a leaf wetted at that hour lasts [min]; infinite if it outlasts
      the next morning.
    - offset_k: what the spot's offsets, and its thermometer tonight, add to the forecast [K].
    - offset_share: the share of the night offset that wind and cloud leave (0..1).
    - learned_k: what readings have taught to add in full night, beside the night offset [K].
    - warming_cloud: the cover of low cloud that would warm as much as the cloud of the hour (0..1).
    - leaf_wet: whether the leaf is treated as wet with rain.
    - rules: the names of the rules that fire.
    - deciding: whether this is the lowest leaf of the night and of the cold morning after it.
    """

    at: datetime
    night: bool
    forecast: Mapping[str, float | None]
    temp_c: float | None
    leaf_c: float | None
    rh_pct: float | None
    vpd_kpa: float | None
    leaf_vpd_kpa: float | None
    wind_m_s: float | None
    light_w_m2: float | None
    ppfd: float | None
    rain_mm: float | None
    crown_wet_h: float | None
    film_min: float | None
    offset_k: float | None
    offset_share: float | None
    learned_k: float | None
    warming_cloud: float | None
    leaf_wet: bool
    rules: tuple[str, ...]
    deciding: bool


@dataclass(frozen=True, slots=True)
class AppliedRule:
    """A rule that applies to the plant: what it asks for, its bound, and where the bound is from.

    - more: what the rule adds to the plant's limit, in the unit of the bound; 0 where the bound is
      that limit itself or a fixed value.
    - hours: in how many hours of the explanation it fires.
    """

    name: str
    asks: str
    quantity: str
    direction: str
    bound: float
    more: float
    unit: str
    origin: str
    hours: int


@dataclass(frozen=True, slots=True)
class Explanation:
    """The coming hours of a plant at its home spot, and the rules that apply to it.

    - spot, pressure_kpa: what the forecast was corrected with; pressure [kPa]. shelter: its own
      shelter, if it has one.
    - stands_at: the spot where it stands now; assumed: whether that is not confirmed.
    - season: the season that the plant is in; season_memory: what is remembered of it, with this
      day counted, None for nothing; season_today: what day length and warmth alone say.
    - salt: the salts at its roots; None where they are not counted.
    - dli: the light of the day; dli_need: what the plant needs [mol m-2 d-1].
    - sun_h: possible direct sun [h].
    - cold_h, cold_kh: how long and how deep the night is under the night limit [h], [K h].
    - cold_chance: the chance that it falls under that limit at all (0..1).
    - spread: where that chance comes from.
    - weighing: the harm that it is spared under cover, weighed against carrying it in; None where
      it is not known. caution: as in `Habits`.
    - goes_in: what that, the rules and open orders come to; asked_by_rule, is_ordered: whether a
      rule asks for it, and whether it was told to go in; is_in: whether it is under cover already.
    - pot: the water of its pot; None if it has none.
    """

    plant: Plant
    spot: Spot
    shelter: Spot | None
    pressure_kpa: float
    stands_at: str
    assumed: bool
    season: Season
    season_memory: SeasonMemory | None
    season_today: Season
    salt: SaltNow | None
    dli: float | None
    dli_need: float | None
    sun_h: float
    cold_h: float | None
    cold_kh: float | None
    cold_chance: float | None
    spread: str | None
    weighing: Weighing | None
    goes_in: bool
    asked_by_rule: bool
    is_ordered: bool
    is_in: bool
    caution: float
    hours: tuple[ExplainedHour, ...]
    rules: tuple[AppliedRule, ...]
    notes: tuple[str, ...]
    pot: PotExplained | None = None
    too_strong: tuple[Remark, ...] = ()
    """What is too strong to be given to it."""


def explain_plant(
    plant: Plant, collection: Collection, weather: Weather, state: State, now: datetime
) -> Explanation:
    """Explain the decisions for one plant, from now on for a day and a night."""
    scene = Scene(collection, weather, state, now)
    cohort = next(cohort for cohort in scene.cohorts if plant.name in cohort.names)
    column = scene.columns[plant.home]
    hours = scene.climate.times[scene.rows(now - timedelta(hours=1), now + timedelta(hours=HOURS))]
    traits = Traits.of([plant]).resting(scene.surely_at_rest[[cohort.index]])
    (plant,) = traits.plants
    firings = _firings_of(scene, traits, column)
    night = sun.night_at_or_after(scene.site, now)
    spread = spread_of(scene, night)
    cold_h, cold_kh, cold_chance = _cold(scene, firings, night)
    spot = collection.spot(plant.home)
    needs = open_orders.with_open_orders(scene, night, find_night_needs(scene, night))
    weighed = (float(of[cohort.index]) for of in (needs.harm, needs.gain, needs.price))
    return Explanation(
        plant=plant,
        spot=spot,
        shelter=None if plant.shelter is None else collection.spot(plant.shelter),
        pressure_kpa=scene.climate.pressure_kpa,
        stands_at=cohort.state.spot,
        assumed=cohort.state.assumed,
        season=scene.seasons[cohort.index],
        season_memory=scene.season_memories[cohort.index],
        season_today=scene.raw_seasons[cohort.index],
        salt=salt_now(plant, collection, cohort.state, now),
        dli=_dli(scene, column),
        dli_need=_dli_need(scene, plant),
        sun_h=light.direct_sun_hours(scene.site, spot.sun_windows, scene.site.local_date(now)),
        cold_h=cold_h,
        cold_kh=cold_kh,
        cold_chance=cold_chance,
        spread=None if spread is None else spread[0].origin,
        weighing=Weighing(*weighed) if np.isfinite(needs.gain[cohort.index]) else None,
        goes_in=bool(needs.must_be_in[cohort.index]),
        asked_by_rule=bool(needs.asked_by_rule[cohort.index]),
        is_ordered=bool(scene.has_order_of(night)[cohort.index]),
        is_in=bool(scene.is_under_cover(scene.standing)[cohort.index]),
        caution=collection.habits.caution,
        hours=tuple(_hours(scene, column, hours, firings)),
        rules=tuple(_applied_rule(firing, plant, hours) for firing in firings),
        notes=(*spot.open_questions(), *weather.notes),
        pot=explain_pot(scene, cohort.index),
        too_strong=_too_strong(plant, collection, now),
    )


def _too_strong(plant: Plant, collection: Collection, now: datetime) -> tuple[Remark, ...]:
    return tuple(
        replace(remark, plants=(plant.name,))
        for remark in too_strong_for(collection, collection.site.local_date(now))
        if plant.name in remark.plants
    )


def pot_of(
    plant: Plant, collection: Collection, weather: Weather, state: State, now: datetime
) -> PotExplained | None:
    """Return the water of a plant's pot; None if it has none."""
    if plant.pot is None:
        return None
    scene = Scene(collection, weather, state, now)
    cohort = next(cohort for cohort in scene.cohorts if plant.name in cohort.names)
    return explain_pot(scene, cohort.index)


def _firings_of(scene: Scene, traits: Traits, column: int) -> list[Firing]:
    """Evaluate the rules that apply to a plant at a spot. traits : of this plant alone."""
    firings = (
        evaluate_rule(
            rule,
            traits,
            np.array([column]),
            scene.site,
            scene.by_night if rule.asks == "carry in" else scene.climate,
            wet_margin_k=scene.habits.wet_margin_k,
        )
        for rule in scene.collection.rules
    )
    return [firing for firing in firings if firing.member[0] >= 0]


def _applied_rule(firing: Firing, plant: Plant, hours: np.ndarray) -> AppliedRule:
    rule = firing.rule
    return AppliedRule(
        name=rule.name,
        asks=rule.asks,
        quantity=rule.quantity,
        direction=rule.direction,
        bound=float(firing.limit[0]),
        more=rule.bound.more,
        unit=QUANTITIES[rule.quantity].unit,
        origin=rule.origin_for(plant),
        hours=int(np.isin(hours, firing.times[firing.fires[:, 0]]).sum()),
    )


def _dli(scene: Scene, column: int) -> float | None:
    """Return the light of the local day at a spot; None where an hour of it is not known."""
    rows = scene.rows_of_day(scene.site.local_date(scene.now))
    total = float(light.daily_light_integral(scene.climate.light_w_m2[rows, column]))
    return total if rows.size == HOURS and np.isfinite(total) else None


def _dli_need(scene: Scene, plant: Plant) -> float | None:
    low, day = plant.limits.light_low, scene.site.local_date(scene.now)
    return None if low is None else float(light.noon_dli(low.value, day_length_h(scene.site, day)))


def _cold(
    scene: Scene, firings: Sequence[Firing], night: Night
) -> tuple[float | None, float | None, float | None]:
    """Return time, depth and chance of a night under the night limit, as carrying counts them."""
    for firing in firings:
        if firing.rule.bound.limit == "night_low" and firing.rule.also is None:
            counted = (*exposure_of(firing, night), chance_of(scene, firing, night))
            hours, degree_hours, chance = (
                float(values[0]) if np.isfinite(values[0]) else None for values in counted
            )
            return hours, degree_hours, chance
    return None, None, None


def _hours(
    scene: Scene, column: int, hours: np.ndarray, firings: Sequence[Firing]
) -> list[ExplainedHour]:
    """Return these full hours [unix s], and the moment of the night's lowest leaf among them."""
    climate, deciding = scene.by_night, _deciding_row(scene, column)
    rows = np.searchsorted(climate.times, hours)
    if deciding is not None and rows.size and rows[0] <= deciding <= rows[-1]:
        rows = np.union1d(rows, deciding)
    forecast = at_moments(scene.weather, climate.times[rows])
    warming = warming_cover(forecast.cloud, *(getattr(forecast, name) for name in CLOUD_LAYERS))
    films = film_life_min(scene, column, climate.times[rows])

    def known(series: np.ndarray, row: int) -> float | None:
        value = float(series[row, column] if series.ndim == 2 else series[row])
        return value if np.isfinite(value) else None

    return [
        ExplainedHour(
            at=moment(climate.times[row]),
            night=bool(climate.night[row]),
            forecast={name: known(getattr(forecast, name), number) for name in SERIES},
            temp_c=known(climate.temp_c, row),
            leaf_c=known(climate.leaf_c, row),
            rh_pct=known(climate.rh_pct, row),
            vpd_kpa=known(climate.vpd_kpa, row),
            leaf_vpd_kpa=known(climate.leaf_vpd_kpa, row),
            wind_m_s=known(climate.wind_m_s, row),
            light_w_m2=known(climate.light_w_m2, row),
            ppfd=known(climate.ppfd, row),
            rain_mm=known(climate.rain_mm, row),
            crown_wet_h=known(climate.crown_wet_h, row),
            film_min=None if np.isnan(films[number]) else films[number],
            offset_k=known(climate.offset_k, row),
            offset_share=known(climate.offset_share, row),
            learned_k=known(climate.learned_k, row),
            warming_cloud=known(warming, number),
            leaf_wet=bool(climate.leaf_wet[row, column]),
            rules=tuple(
                firing.rule.name for firing in firings if _fires_at(firing, climate.times[row])
            ),
            deciding=row == deciding,
        )
        for number, row in enumerate(rows.tolist())
    ]


def _fires_at(firing: Firing, second: float) -> bool:
    row = int(np.searchsorted(firing.times, second))
    there = row < firing.times.size and firing.times[row] == second
    return bool(there and firing.fires[row, 0])


def _deciding_row(scene: Scene, column: int) -> int | None:
    night = sun.night_at_or_after(scene.site, scene.now)
    rows = rows_from_to(scene.by_night.times, night.start, night.cold_until)
    leaf = scene.by_night.leaf_c[rows, column]
    return int(rows[np.nanargmin(leaf)]) if np.isfinite(leaf).any() else None


def film_life_min(scene: Scene, column: int, at_s: np.ndarray) -> list[float]:
    """Return the life of a film on a leaf wetted at each of these moments [min].

    at_s : [unix s]; a moment before sunrise belongs to the day before. Infinite if the film
    outlasts the next morning, NaN where it is not known.
    """
    days: dict[date, DayFilms] = {}
    lives = []
    for second in at_s.tolist():
        at = moment(second)
        day = scene.site.local_date(at)
        if at < sun.day_events(scene.site, day).sunrise:
            day -= timedelta(days=1)
        if day not in days:
            days[day] = DayFilms(scene, day)
        films = days[day].at_spot(column)
        lives.append(films.at(films.leaf, at) * 60)
    return lives
