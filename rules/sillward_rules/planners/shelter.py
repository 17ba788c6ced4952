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
from sillward_rules.scene import Scene, Standing
from sillward_rules.sun import Night


def spot_lows(scene: Scene, night: Night) -> Array:
    """(spot,) lowest leaf temperature of each spot in a night [°C]; NaN where it is not known.

    Until its cold no longer counts.
    """
    rows = scene.steps(night.start, night.cold_until)
    held = [np.nan if s.night_low_c is None else s.night_low_c for s in scene.climate.spots]
    lows = np.full(len(held), np.nan)
    if rows.size:
        lows = scene.by_night.leaf_c[rows].min(axis=0)  # NaN if a moment is
    # What holds itself does so whatever the forecast reaches.
    return np.asarray(np.where(scene.holds_itself, held, lows))


def holds(scene: Scene, lows: Array, spots: Standing) -> np.ndarray:
    """(cohort,) whether a spot is known to stay at the plants' night limit or above.

    Without a limit: whether what it holds is known.
    """
    limit = scene.traits.limits["night_low"]
    low = lows[spots]
    return np.asarray((low >= limit) | (np.isnan(limit) & np.isfinite(low)))


MOVE_ON_K = 0.5
"""Who is under cover where no spot holds its limit is not carried on to one that is warmer by less
than this [K]. Judgement: a trip at dusk for what no thermometer of a household tells apart."""


def shelter_for(scene: Scene, lows: Array) -> Standing:
    """(cohort,) the spot to which each is carried for the night; -1 where there is none.

    Its own shelter, if that is known to hold the limit, or if the plant has none. Else another
    indoor spot that holds it: of those that keep a temperature of their own the coolest, which
    leaves the warm ones to the tender and is the same whatever the forecast (judgement); after
    these, of those that follow the weather, the warmest. Where none holds it, the warmest that is
    known; its own at equal warmth, and where nobody knows what its own holds. Without a shelter of
    its own a plant has none where nothing is known to be warmer than its home.
    """
    limit, own = scene.traits.limits["night_low"], scene.shelter
    fine = (own >= 0) & (np.isnan(limit) | (lows[own] >= limit))
    seeks = np.flatnonzero(~fine)
    to = own.copy()
    if seeks.size:
        to[seeks] = _elsewhere(scene, lows, seeks)
    return to


def _elsewhere(scene: Scene, lows: Array, cohorts: np.ndarray) -> Standing:
    """As `shelter_for`, of those of the cohorts whose own shelter is not known to hold."""
    limit = scene.traits.limits["night_low"][cohorts, None]
    home, own = scene.home[cohorts], scene.shelter[cohorts]
    low = np.nan_to_num(lows, nan=-np.inf)
    there = scene.indoors & np.isfinite(lows) & (np.arange(low.size) != home[:, None])
    coolest = scene.holds_itself & np.isfinite(limit)
    found = _best(there & ~(low < limit), np.where(coolest, _ITSELF_C - low, low))
    warmest = _best(there, np.broadcast_to(low, there.shape))
    unknown_home = (own < 0) & np.isnan(lows[home])
    beaten = (low[warmest] > np.where(own >= 0, lows[own], lows[home])) | unknown_home
    return np.where(found >= 0, found, np.where((warmest >= 0) & beaten, warmest, own))


_ITSELF_C = 1000.0
"""Ranks spots that keep a temperature of their own before those that follow the weather."""


def _best(candidates: np.ndarray, worth: Array) -> Standing:
    """(cohort,) the spot of the highest worth among candidates (cohort, spot), the first of equals;
    -1 where there is none."""
    best = np.argmax(np.where(candidates, worth, -np.inf), axis=1)
    return np.asarray(np.where(candidates.any(axis=1), best, -1))


def stands_well(scene: Scene, lows: Array, standing: Standing, to: Standing) -> np.ndarray:
    """(cohort,) whether who is under cover may stay there: it holds, or going on to gains nothing.

    to : as `shelter_for` gives it.
    """
    gain = lows[to] - lows[standing]
    better = holds(scene, lows, to) | (gain >= MOVE_ON_K)
    stays = (to < 0) | (to == standing) | ~better
    return np.asarray(holds(scene, lows, standing) | stays)


def warnings(scene: Scene, lows: Array, cohorts: np.ndarray, spots: Standing) -> list[Remark]:
    """Where plants spend a night other than in a shelter of their own that holds: what is not
    enough first, the worst first of all, then who goes elsewhere for that, then who has none.

    cohorts : who is meant; spots (cohort,) : where they spend the night, -1 where that is outside.
    """
    held = holds(scene, lows, spots) & (spots >= 0)
    fine = held & ((spots == scene.shelter) | holds(scene, lows, scene.shelter))
    meant = cohorts[~(fine & (scene.shelter >= 0))[cohorts]]
    if not meant.size:
        return []
    limit = scene.traits.limits["night_low"][meant]
    first, groups = alike(spots[meant], scene.shelter[meant], limit)
    said: dict[_OfShelter, list[int]] = {}
    for number, index in enumerate(meant[first].tolist()):
        found = _found(scene, lows, index, int(spots[index]), held=bool(held[index]))
        said.setdefault(found, []).extend(meant[groups == number].tolist())
    told = [replace(one, plants=scene.names(sorted(which))) for one, which in said.items()]
    return [*sorted(told, key=_urgency)]


_OfShelter = NoShelter | ShelterChosen | ShelterTooCold | ShelterUnknown


def _found(scene: Scene, lows: Array, cohort: int, spot: int, *, held: bool) -> _OfShelter:
    """What is to be said of a spot for the night, without the plants."""
    if spot < 0:
        return NoShelter(())
    own, low = int(scene.shelter[cohort]), float(lows[spot])
    name, limit = scene.spot_name(spot), float(scene.traits.limits["night_low"][cohort])
    if held and own < 0:
        return ShelterChosen((), name, low)
    failing, better = (own, (name, low)) if held else (spot, (None, None))
    its_low = float(lows[failing])
    if np.isnan(its_low) or np.isnan(limit):
        return ShelterUnknown((), scene.spot_name(failing), *better)
    return ShelterTooCold((), scene.spot_name(failing), its_low, limit, *better)


def _urgency(remark: _OfShelter) -> tuple[int, float]:
    """What is not enough before what is; how far short it falls, unknown lows furthest of all."""
    if isinstance(remark, ShelterChosen):
        return 2, 0.0
    if isinstance(remark, NoShelter):
        return 0, -np.inf
    short_k = np.inf if isinstance(remark, ShelterUnknown) else remark.limit_c - remark.low_c
    return int(remark.better_spot is not None), -short_k
