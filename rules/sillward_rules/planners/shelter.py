"""Shelters: what each spot holds in a night, and where a plant is safe."""

from dataclasses import replace

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.remark import (
    NoShelter,
    Remark,
    ShelterChosen,
    ShelterTooCold,
    ShelterUnknown,
)
from sillward_rules.weather.hourly import rows_from_to
from sillward_rules.weather.offset import night_offset_shares
from sillward_rules.weather.sun import Night


def spot_lows(scene: Scene, night: Night) -> Array:
    """(spot,) lowest leaf temperature of each spot in a night [°C]; NaN where it is not known.

    Until the night's cold no longer counts.
    """
    rows = scene.steps(night.start, night.cold_until)
    held = _held_by_night(scene)
    lows = np.full(held.shape, np.nan)
    if rows.size:
        lows = scene.by_night.leaf_c[rows].min(axis=0)  # NaN if a moment is
    # A spot with a climate of its own has it however far the forecast reaches.
    return np.asarray(np.where(scene.holds_itself, held, lows))


def holds(scene: Scene, lows: Array, spots: Standing) -> np.ndarray:
    """(cohort,) whether a spot is known to stay at the plants' night limit or above.

    The limit of injury counts where they have no other. Without either, it is whether the spot's
    low is known.
    """
    limit = scene.lowest_limit_c
    low = lows[spots]
    return np.asarray((low >= limit) | (np.isnan(limit) & np.isfinite(low)))


MOVE_ON_K = 0.5
"""A plant under cover is not carried on to a spot that does not hold its limit either and is warmer
by less than this [K]. Judgement: no household thermometer tells the two apart."""

FORECAST_MARGIN_K = 1.0
"""Where a spot with a climate of its own holds the limit, one that follows the weather counts as
holding only if it stays this far above the limit [K]. A plant that stands there, or was told to go
there, keeps it with `MOVE_ON_K` less. Judgement: the low of a night is forecast about a degree off
as often as not. With 2 K the shelter that a grower gave a plant would be passed over on most nights
of a mild autumn."""

UNKNOWN_AIR_C = -50.0
"""Stands in for unknown air where spots are compared [°C]: colder than any spot that keeps a
temperature of its own, and the same for all that follow the weather, so that their offsets decide
between these."""


def shelter_for(scene: Scene, night: Night, lows: Array) -> Standing:
    """(cohort,) the spot to which each is carried for the night; -1 where there is none.

    In this order:

    1. its own shelter, if that is known to hold the limit, by a margin where it follows the
       weather, or if the plant has no limit;
    2. the coolest indoor spot that keeps a temperature of its own and holds the limit, which leaves
       the warm ones to the tender and is the same whatever the forecast (judgement);
    3. its own shelter without the margin;
    4. the warmest indoor spot that follows the weather and holds the limit;
    5. where none holds it, the spot that is warmest over the night, known or not: its own at equal
       warmth, and where its own is not known.

    A plant without a shelter of its own has none where nothing is warmer than its home.
    """
    limit, own = scene.lowest_limit_c, scene.shelter
    surely = holds(scene, lows, own) & ~_narrowly_holds(scene, lows, own)
    fine = (own >= 0) & (np.isnan(limit) | surely)
    seeks = np.flatnonzero(~fine)
    to = own.copy()
    if seeks.size:
        to[seeks] = _elsewhere(scene, night, lows, seeks)
    return to


def _narrowly_holds(
    scene: Scene, lows: Array, spots: Standing, margin_k: float = FORECAST_MARGIN_K
) -> np.ndarray:
    """(cohort,) whether a spot holds the limit by less than a margin, and follows the weather."""
    near = lows[spots] < scene.lowest_limit_c + margin_k
    return np.asarray(holds(scene, lows, spots) & near & ~scene.holds_itself[spots])


def _elsewhere(scene: Scene, night: Night, lows: Array, cohorts: np.ndarray) -> Standing:
    """Return `shelter_for` of these cohorts, whose own shelter does not surely hold."""
    limit = scene.lowest_limit_c[cohorts, None]
    home, own = scene.home[cohorts], scene.shelter[cohorts]
    low = np.nan_to_num(lows, nan=-np.inf)
    there = scene.indoors & (np.arange(low.size) != home[:, None])
    holding = there & np.isfinite(lows) & ~(low < limit)
    coolest = scene.holds_itself & np.isfinite(limit)
    found = _best(holding, np.where(coolest, _ITSELF_C - low, low))
    own_holds = (own >= 0) & holds(scene, lows, scene.shelter)[cohorts]
    found = np.where(own_holds & ((found < 0) | ~scene.holds_itself[found]), own, found)
    if (found >= 0).all():
        return found
    warmth, places = _warmth(scene, night, limit[:, 0]), np.arange(cohorts.size)
    warmest = _best(there & np.isfinite(warmth), warmth)
    than = np.where(own >= 0, own, home)
    gain = warmth[places, warmest] - warmth[places, than]
    # A cover that does no better over the night may still spare a plant the worst of it.
    beaten = np.where(own >= 0, gain > 0, (gain > 0) | (lows[warmest] > lows[home]))
    beaten &= (own < 0) | np.isfinite(lows[own])
    beaten |= (own < 0) & np.isnan(warmth[places, home])
    return np.where(found >= 0, found, np.where((warmest >= 0) & beaten, warmest, own))


_ITSELF_C = 1000.0
"""Ranks spots that keep a temperature of their own before those that follow the weather."""


def _best(candidates: np.ndarray, worth: Array) -> Standing:
    """(cohort,) the spot of the highest worth among candidates (cohort, spot).

    The first of equals; -1 where there is none.
    """
    best = np.argmax(np.where(candidates, worth, -np.inf), axis=1)
    return np.asarray(np.where(candidates.any(axis=1), best, -1))


def _warmth(scene: Scene, night: Night, limit: Array) -> Array:
    """(cohort, spot) how warm each spot is over a night for plants of these limits [°C].

    limit (cohort,) : [°C]. The mean of leaf temperatures until the cold no longer counts, each no
    higher than the limit, so that it falls short of the limit by the degree-hours under it divided
    by the hours. Of hours without a forecast only the offsets of the spots count. NaN for a spot
    that keeps a temperature that is not known.
    """
    spots = scene.climate.spots
    # Without wind and cloud a cold offset counts in full, and a warm one only under a roof.
    adds = np.array([spot.night_offset_k or 0.0 for spot in spots])
    adds *= night_offset_shares(spots, np.array([np.nan]))[0]
    rows = rows_from_to(scene.by_night.times, night.start, night.cold_until)
    leaf = scene.by_night.leaf_c[rows] if rows.size else np.full((1, len(spots)), np.nan)
    leaf = np.where(np.isnan(leaf), UNKNOWN_AIR_C + adds, leaf)
    leaf = np.where(scene.holds_itself, _held_by_night(scene), leaf)
    first, groups = group_rows(limit)
    means = [
        np.minimum(leaf, np.nan_to_num(bound, nan=np.inf)).mean(axis=0) for bound in limit[first]
    ]
    return np.asarray(np.stack(means)[groups])


def _held_by_night(scene: Scene) -> Array:
    """(spot,) the temperature that each spot keeps by night [°C]; NaN where none is given."""
    spots = scene.climate.spots
    return np.array([np.nan if spot.night_low_c is None else spot.night_low_c for spot in spots])


def stays_told(
    scene: Scene, night: Night, lows: Array, standing: Standing, to: Standing
) -> np.ndarray:
    """(cohort,) whether plants may stay where they stand under cover, or were told to go.

    They may if it holds, or if another spot gains nothing. standing : that cover. to : the result
    of `shelter_for`.
    """
    holding, other = holds(scene, lows, standing), holds(scene, lows, to)
    margin = FORECAST_MARGIN_K - MOVE_ON_K
    narrowly = _narrowly_holds(scene, lows, standing, margin) & scene.holds_itself[to] & other
    same = (to < 0) | (to == standing)
    open_ = np.flatnonzero(~holding & ~same & ~other)
    gains = other.copy()
    if open_.size:
        warmth = _warmth(scene, night, scene.lowest_limit_c[open_])
        places = np.arange(open_.size)
        gain = warmth[places, to[open_]] - warmth[places, standing[open_]]
        gains[open_] = gain >= MOVE_ON_K
    return np.asarray((holding & ~narrowly) | same | ~gains)


def warnings(scene: Scene, lows: Array, cohorts: np.ndarray, spots: Standing) -> list[Remark]:
    """Return remarks on plants that spend a night other than in their own shelter that holds.

    First the spots that do not hold, the worst first; then those passed over for a better one; then
    spots chosen for plants without a shelter.

    cohorts : those that must be under cover. spots (cohort,) : where they spend the night, -1 where
    that is outside.
    """
    held = holds(scene, lows, spots) & (spots >= 0)
    passed_over = _narrowly_holds(scene, lows, scene.shelter) & scene.holds_itself[spots]
    own_holds = holds(scene, lows, scene.shelter) & ~passed_over
    fine = held & ((spots == scene.shelter) | own_holds)
    meant = cohorts[~(fine & (scene.shelter >= 0))[cohorts]]
    if not meant.size:
        return []
    limit = scene.lowest_limit_c[meant]
    first, groups = group_rows(spots[meant], scene.shelter[meant], limit)
    members: dict[_ShelterRemark, list[int]] = {}
    for number, index in enumerate(meant[first].tolist()):
        remark = _remark_on(scene, lows, index, int(spots[index]), held=bool(held[index]))
        members.setdefault(remark, []).extend(meant[groups == number].tolist())
    remarks = [
        replace(remark, plants=scene.names(sorted(whose))) for remark, whose in members.items()
    ]
    return [*sorted(remarks, key=_urgency)]


_ShelterRemark = NoShelter | ShelterChosen | ShelterTooCold | ShelterUnknown


def _remark_on(scene: Scene, lows: Array, cohort: int, spot: int, *, held: bool) -> _ShelterRemark:
    """Return what is to be said of a spot for the night, without the plants."""
    if spot < 0:
        return NoShelter(())
    own, low = int(scene.shelter[cohort]), float(lows[spot])
    name, limit = scene.spot_name(spot), float(scene.lowest_limit_c[cohort])
    if held and own < 0:
        return ShelterChosen((), name, low)
    failing, better = (own, (name, low)) if held else (spot, (None, None))
    its_low = float(lows[failing])
    if np.isnan(its_low) or np.isnan(limit):
        return ShelterUnknown((), scene.spot_name(failing), *better)
    return ShelterTooCold((), scene.spot_name(failing), its_low, limit, *better)


def _urgency(remark: _ShelterRemark) -> tuple[int, float]:
    """Sort spots that do not hold first, by how far they fall short; unknown lows before all."""
    if isinstance(remark, ShelterChosen):
        return 2, 0.0
    if isinstance(remark, NoShelter):
        return 0, -np.inf
    short_k = np.inf if isinstance(remark, ShelterUnknown) else remark.limit_c - remark.low_c
    return int(remark.better_spot is not None), -short_k
