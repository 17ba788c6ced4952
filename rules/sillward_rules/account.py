"""The account: hour by hour, the numbers behind the decisions for one plant."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from sillward_rules import sun
from sillward_rules.collection import Collection, State
from sillward_rules.planners.wetting import DayFilms
from sillward_rules.plant import Plant
from sillward_rules.rule import fire
from sillward_rules.scene import Scene
from sillward_rules.weather import Weather, moment_of

HOURS = 24


@dataclass(frozen=True, slots=True)
class AccountHour:
    """One hour at a plant's outdoor place. None: not known.

    forecast_c, temp_c, leaf_c [°C]; rh_pct [%]; vpd_kpa [kPa]; wind_m_s [m/s]; light_w_m2
    [W/m2]; film_min: life of a film on a leaf wetted at that hour [min], inf if it outlasts the
    next morning. rules: names of the rules that fire. deciding: lowest leaf of the night.
    """

    at: datetime
    night: bool
    forecast_c: float | None
    temp_c: float | None
    leaf_c: float | None
    rh_pct: float | None
    vpd_kpa: float | None
    wind_m_s: float | None
    light_w_m2: float | None
    film_min: float | None
    rules: tuple[str, ...]
    deciding: bool


@dataclass(frozen=True, slots=True)
class Account:
    """The coming hours of a plant, at its home spot."""

    plant: Plant
    spot: str
    stands_at: str
    assumed: bool
    hours: tuple[AccountHour, ...]
    notes: tuple[str, ...]


def account_for(
    plant: Plant, collection: Collection, weather: Weather, state: State, now: datetime
) -> Account:
    """Work out the account of one plant from now on for a day and a night."""
    scene = Scene(collection, weather, state, now)
    index = collection.plants.index(plant)
    column = int(scene.home[index])
    rows = scene.rows(now - timedelta(hours=1), now + timedelta(hours=HOURS))
    firing = [
        fire(rule, [plant], np.array([column]), scene.site, scene.climate)
        for rule in collection.rules
    ]
    names = {
        int(row): tuple(one.rule.name for one in firing if one.fires.shape[1] and one.fires[row, 0])
        for row in rows
    }
    deciding = _deciding_row(scene, column)
    films = _films(scene, column, rows)
    hours = [
        _hour(scene, column, int(row), films[int(row)], names[int(row)], bool(row == deciding))
        for row in rows
    ]
    standing = scene.state[plant.name]
    return Account(
        plant=plant,
        spot=plant.home,
        stands_at=standing.spot,
        assumed=standing.assumed,
        hours=tuple(hours),
        notes=collection.spot(plant.home).open_questions(),
    )


def _deciding_row(scene: Scene, column: int) -> int | None:
    night = sun.night_at_or_after(scene.site, scene.now)
    rows = scene.rows(night.start, night.end)
    leaf = scene.climate.leaf_c[rows, column]
    return int(rows[np.nanargmin(leaf)]) if np.isfinite(leaf).any() else None


def _films(scene: Scene, column: int, rows: np.ndarray) -> dict[int, float]:
    """Film life [min] for each row; a row before sunrise belongs to the day before."""
    days: dict[object, DayFilms] = {}
    lives = {}
    for row in rows:
        at = moment_of(scene.climate.times, int(row))
        day = scene.site.local_date(at)
        if at < sun.day_events(scene.site, day).sunrise:
            day -= timedelta(days=1)
        films = days.setdefault(day, DayFilms(scene, day, column))
        lives[int(row)] = films.at(films.leaf, at) * 60
    return lives


def _hour(
    scene: Scene, column: int, row: int, film: float, rules: tuple[str, ...], deciding: bool
) -> AccountHour:
    climate = scene.climate

    def known(series: np.ndarray) -> float | None:
        value = float(series[row, column] if series.ndim == 2 else series[row])
        return value if np.isfinite(value) else None

    return AccountHour(
        at=moment_of(climate.times, row),
        night=bool(climate.night[row]),
        forecast_c=known(scene.weather.temp_c),
        temp_c=known(climate.temp_c),
        leaf_c=known(climate.leaf_c),
        rh_pct=known(climate.rh_pct),
        vpd_kpa=known(climate.vpd_kpa),
        wind_m_s=known(climate.wind_m_s),
        light_w_m2=known(climate.light_w_m2),
        film_min=None if np.isnan(film) else film,
        rules=rules,
        deciding=deciding,
    )
