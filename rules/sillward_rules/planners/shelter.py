"""Shelters: what each spot holds in a night, and where a plant is safe."""

from dataclasses import replace

import numpy as np

from sillward_rules.air import Array
from sillward_rules.remark import (
    NoShelter,
    Remark,
    ShelterChosen,
    ShelterTooCold,
    ShelterUnknown,
)
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


def warnings(scene: Scene, lows: Array, cohorts: np.ndarray, spots: Standing) -> list[Remark]:
    """Spots that do not hold what the plants need that will spend the night there.

    cohorts : who is meant; spots (cohort,) : where they spend the night, -1 where there is none.
    Each remark names a better spot if there is one.
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
    said: dict[_OfShelter, list[int]] = {}
    for number, index in enumerate(failing[first].tolist()):
        found = _found(
            scene, lows, index, int(spots[index]), int(best[index]), held=bool(held[index])
        )
        if found is not None:
            said.setdefault(found, []).extend(failing[groups == number].tolist())
    return [replace(one, plants=scene.names(sorted(which))) for one, which in said.items()]


_OfShelter = NoShelter | ShelterChosen | ShelterTooCold | ShelterUnknown


def _found(
    scene: Scene, lows: Array, cohort: int, spot: int, best: int, *, held: bool
) -> _OfShelter | None:
    """What is wrong with a spot for the night, without the plants; None if nothing is."""
    if spot < 0:
        return NoShelter(())
    name, low = scene.spot_name(spot), float(lows[spot])
    if held:
        return ShelterChosen((), name, low) if spot == best else None
    better = (scene.spot_name(best), float(lows[best])) if best >= 0 else (None, None)
    if np.isnan(low):
        return ShelterUnknown((), name, *better)
    limit = float(scene.traits.limits["night_low"][cohort])
    return ShelterTooCold((), name, low, limit, *better)
