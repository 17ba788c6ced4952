"""Shelters: what each spot holds in a night, and where a plant is safe."""

from collections.abc import Iterable

import numpy as np

from sillward_rules.plant import Limit, Plant
from sillward_rules.scene import Cohort, Scene, full_hours
from sillward_rules.sun import Night

Lows = dict[str, float | None]
"""Lowest leaf temperature of each spot in a night [°C]; None where it is not known."""


def spot_lows(scene: Scene, night: Night) -> Lows:
    """What every spot goes down to in a night."""
    rows = scene.rows(night.start, night.end)
    whole = rows.size >= max(full_hours(night.start, night.end), 1)
    lows: Lows = {}
    for column, spot in enumerate(scene.climate.spots):
        if spot.holds_itself:  # whatever the forecast reaches
            lows[spot.name] = spot.night_low_c
            continue
        leaf = scene.climate.leaf_c[rows, column]
        known = whole and bool(np.isfinite(leaf).all())
        lows[spot.name] = float(leaf.min()) if known else None
    return lows


def holds(lows: Lows, spot: str, plant: Plant) -> bool:
    """Whether a spot is known to stay at the plant's night limit or above."""
    return _stays_above(lows[spot], plant.limits.night_low)


def _stays_above(low: float | None, limit: Limit | None) -> bool:
    return low is not None and (limit is None or low >= limit.value)


def best_shelter(lows: Lows, plant: Plant) -> str | None:
    """The warmest spot other than home that is known to hold the plant's limit."""
    held = {
        spot: low
        for spot, low in lows.items()
        if spot != plant.home and _stays_above(low, plant.limits.night_low)
    }
    return max(held, key=lambda spot: held[spot] or 0.0) if held else None


def shelter_for(lows: Lows, plant: Plant) -> str | None:
    """Where the plant is carried: its own shelter, or else the best there is."""
    return plant.shelter or best_shelter(lows, plant)


def warnings(lows: Lows, nights_at: Iterable[tuple[Cohort, str | None]]) -> list[str]:
    """Spots that do not hold what the plants need that will spend the night there.

    nights_at: each cohort with its spot for the night, None if there is none. Each warning names
    a better spot if there is one.
    """
    said: dict[str, list[str]] = {}
    for cohort, spot in nights_at:
        text = _warning(lows, cohort.plant, spot)
        if text is not None:
            said.setdefault(text, []).extend(cohort.names)
    return [f"{', '.join(names)}: {text}" for text, names in said.items()]


def _warning(lows: Lows, plant: Plant, spot: str | None) -> str | None:
    if spot is not None and plant.shelter and holds(lows, spot, plant):
        return None
    limit = plant.limits.night_low
    best = best_shelter(lows, plant)
    better = "no spot here is known to hold it"
    if best is not None:
        better = f"better {best}, {_degrees(lows[best])} °C"
    if spot is None:
        return "must go in, but no shelter is given and no spot here is known to hold its limit"
    if holds(lows, spot, plant):
        return None if spot != best else f"no shelter is given; {better}"
    if lows[spot] is None:
        return f"what {spot} holds tonight is not known; {better}"
    bound = f", limit {limit.value:g}" if limit else ""
    return f"{spot} holds {_degrees(lows[spot])} °C{bound}; {better}"


def _degrees(value: float | None) -> str:
    return "?" if value is None else f"{round(value, 1):g}"
