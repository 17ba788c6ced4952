"""Roots that get too hot in dark pots in the sun."""

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.water_use import Pots
from sillward_rules.remark import Remark, RootsHot
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.spot_columns import NO_SPOT

EXCESS_K = 15.0
"""How far the medium on the sunny side of a black container is above the air in full sun of 1000
W/m2 [K]. Container nurseries report 10 to 15 K, and media above 46 and even 50 °C on hot days
(Witcher, Pickens and Blythe 2020, Horticulturae 6:22, count the hours above 38 and 46 °C; the
excess from memory). The higher, since courtyards reflect."""

LAG_H = 3
"""The medium follows the sun of so many hours: the time constant of a moist pot of 1 to 5 L, by its
heat capacity and the exchange at its wall."""

INJURY_C = 46.0
"""Roots of woody ornamentals are injured within half an hour at 46 to 51 °C (Ingram and others on
nursery crops, from memory; the higher bound of Witcher and others 2020)."""

SLOWING_C, SLOWING_H = 40.0, 5
"""They stop growing and are harmed slowly from 40 °C on for five to six hours (growers' press on
nursery studies)."""


def hot_roots(scene: Scene, places: Places, end_s: float) -> list[Remark]:
    """Return a remark on plants whose roots get too hot until an hour [unix s]; nothing else.

    Pots that are not dark are left out: they stay some 5 K cooler, and how light they are is not
    known.
    """
    pots = Pots.of(scene.traits)
    dark = pots.plants[pots.dark]
    if not dark.size:
        return []
    climate, column = scene.climate, places.column[dark]
    ahead = scene.rows(scene.now, moment(end_s))
    rows = np.arange(max(int(ahead[0]) - LAG_H, 0), int(ahead[-1]) + 1) if ahead.size else ahead
    root = root_zone_c(climate.temp_c[rows], climate.light_w_m2[rows])[-ahead.size :][:, column]
    usable = (column != NO_SPOT) & ~scene.holds_itself[column]
    root = np.where(usable & (climate.times[ahead][:, None] >= places.since[dark]), root, np.nan)
    known = np.nan_to_num(root, nan=-np.inf)
    hours_warm = (known >= SLOWING_C).sum(axis=0)
    worst = known.max(axis=0, initial=-np.inf)
    hot = np.flatnonzero((worst >= INJURY_C) | (hours_warm >= SLOWING_H))
    if not hot.size:
        return []
    order = hot[np.lexsort((scene.rank_by_name[dark[hot]], -worst[hot]))]
    first = int(order[0])
    at = moment(climate.times[ahead[int(np.argmax(known[:, first]))]]).astimezone(scene.site.zone)
    return [RootsHot(scene.names(dark[order].tolist()), round(float(worst[first]), 1), at)]


def root_zone_c(temp_c: Array, light_w_m2: Array) -> Array:
    """Return how hot the medium at the sunny side of dark pots is (time, spot) [°C].

    temp_c, light_w_m2 (time, spot) : air and sunlight, hour by hour. NaN in, NaN out. The
    first hours count as if those before them had been like them.
    """
    light = np.asarray(light_w_m2, dtype=np.float64)
    lately = [np.vstack([light[:back], light[: len(light) - back]]) for back in range(LAG_H)]
    return np.asarray(temp_c + EXCESS_K * np.mean(lately, axis=0) / 1000.0)
