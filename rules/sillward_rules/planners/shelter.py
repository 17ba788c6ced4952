"""Shelters: what each spot holds in a night, and where a plant is safe."""

import numpy as np

from sillward_rules.air import Array
from sillward_rules.rule import alike
from sillward_rules.scene import Scene, Standing, full_hours
from sillward_rules.sun import Night


def spot_lows(scene: Scene, night: Night) -> Array:
    """(spot,) lowest leaf temperature of each spot in a night [°C]; NaN where it is not known."""
    rows = scene.rows(night.start, night.end)
    held = [np.nan if s.night_low_c is None else s.night_low_c for s in scene.climate.spots]
    lows = np.full(len(held), np.nan)
    if rows.size >= max(full_hours(night.start, night.end), 1):
        lows = scene.climate.leaf_c[rows].min(axis=0)  # NaN if an hour is
    # What holds itself does so whatever the forecast reaches.
    return np.asarray(np.where(scene.holds_itself, held, lows))


def holds(scene: Scene, lows: Array, spots: Standing) -> np.ndarray:
    """(cohort,) whether a spot is known to stay at the plants' night limit or above."""
    limit = scene.traits.limits["night_low"]
    low = lows[spots]
    return np.asarray((low >= limit) | (np.isnan(limit) & np.isfinite(low)))


def best_shelter(scene: Scene, lows: Array) -> Standing:
    """(cohort,) the warmest spot other than home that is known to hold the limit; -1 for none."""
    places = np.arange(lows.size)
    limit = np.nan_to_num(scene.traits.limits["night_low"], nan=-np.inf)
    held = (lows >= limit[:, None]) & (places != scene.home[:, None])
    warmest = np.argmax(np.where(held, np.nan_to_num(lows, nan=-np.inf), -np.inf), axis=1)
    return np.asarray(np.where(held.any(axis=1), warmest, -1))


def shelter_for(scene: Scene, lows: Array) -> Standing:
    """(cohort,) where plants are carried: their own shelter, or else the best; -1 for none."""
    return np.asarray(np.where(scene.shelter >= 0, scene.shelter, best_shelter(scene, lows)))


def warnings(scene: Scene, lows: Array, cohorts: np.ndarray, spots: Standing) -> list[str]:
    """Spots that do not hold what the plants need that will spend the night there.

    cohorts : who is meant; spots (cohort,) : where they spend the night, -1 where there is none.
    Each warning names a better spot if there is one.
    """
    held = holds(scene, lows, spots) & (spots >= 0)
    fine = held[cohorts] & (scene.shelter[cohorts] >= 0)
    best = best_shelter(scene, lows)
    failing = cohorts[~fine]
    if not failing.size:
        return []
    limit = scene.traits.limits["night_low"][failing]
    given = scene.shelter[failing] >= 0
    first, groups = alike(spots[failing], best[failing], limit, given)
    said: dict[str, list[int]] = {}
    for number, index in enumerate(failing[first].tolist()):
        text = _warning(
            scene, lows, index, int(spots[index]), int(best[index]), held=bool(held[index])
        )
        if text is not None:
            said.setdefault(text, []).extend(failing[groups == number].tolist())
    return [f"{', '.join(scene.names(sorted(which)))}: {text}" for text, which in said.items()]


def _warning(
    scene: Scene, lows: Array, cohort: int, spot: int, best: int, *, held: bool
) -> str | None:
    limit = scene.traits.plants[cohort].limits.night_low
    better = "no spot here is known to hold it"
    if best >= 0:
        better = f"better {scene.spot_name(best)}, {_degrees(lows[best])} °C"
    if spot < 0:
        return "must go in, but no shelter is given and no spot here is known to hold its limit"
    if held:
        return None if spot != best else f"no shelter is given; {better}"
    if np.isnan(lows[spot]):
        return f"what {scene.spot_name(spot)} holds tonight is not known; {better}"
    bound = f", limit {limit.value:g}" if limit else ""
    return f"{scene.spot_name(spot)} holds {_degrees(lows[spot])} °C{bound}; {better}"


def _degrees(value: float) -> str:
    return "?" if np.isnan(value) else f"{round(float(value), 1) + 0.0:g}"
