"""Shelters: what each spot holds in a night, and where a plant is safe."""

from dataclasses import replace

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.planners.scene import Scene, Standing
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

    That of injury where they have no other; without either: whether what it holds is known.
    """
    limit = scene.lowest_limit_c
    low = lows[spots]
    return np.asarray((low >= limit) | (np.isnan(limit) & np.isfinite(low)))


MOVE_ON_K = 0.5
"""Who is under cover where no spot holds its limit is not carried on to one that is warmer by less
than this [K]. Judgement: a trip at dusk for what no thermometer of a household tells apart."""

FORECAST_MARGIN_K = 1.0
"""Where another spot holds by itself, one that follows the weather counts as holding only if it
stays this far above the limit [K]; who is told to go or stands there keeps it by `MOVE_ON_K` less.
Judgement: the low of a night is forecast about a degree off as often as not. By 2 K the shelter
that its grower gave a plant would be passed over on most nights of a mild autumn."""

UNKNOWN_AIR_C = -50.0
"""Stands in for air that nobody knows where spots are compared [°C]: colder than any that keeps a
temperature of its own, and the same for all that follow the weather, so that between these what
the spots add to it decides."""


def shelter_for(scene: Scene, night: Night, lows: Array) -> Standing:
    """(cohort,) the spot to which each is carried for the night; -1 where there is none.

    Its own shelter, if that is known to hold the limit, or if the plant has none: by a margin if
    it follows the weather. Else another indoor spot that holds it: of those that keep a
    temperature of their own the coolest, which leaves the warm ones to the tender and is the same
    whatever the forecast (judgement); after these its own without the margin; then, of those that
    follow the weather, the warmest. Where none holds it, the one that is the warmest over the
    night, known or not; its own at equal warmth, and where nobody knows what its own holds.
    Without a shelter of its own a plant has none where nothing is warmer than its home.
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
    """(cohort,) whether a spot holds the limit, but follows the weather, and by less than this."""
    near = lows[spots] < scene.lowest_limit_c + margin_k
    return np.asarray(holds(scene, lows, spots) & near & ~scene.holds_itself[spots])


def _elsewhere(scene: Scene, night: Night, lows: Array, cohorts: np.ndarray) -> Standing:
    """As `shelter_for`, of those of the cohorts whose own shelter does not surely hold."""
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
    """(cohort,) the spot of the highest worth among candidates (cohort, spot), the first of equals;
    -1 where there is none."""
    best = np.argmax(np.where(candidates, worth, -np.inf), axis=1)
    return np.asarray(np.where(candidates.any(axis=1), best, -1))


def _warmth(scene: Scene, night: Night, limit: Array) -> Array:
    """(cohort, spot) how warm each spot is over a night for a plant of a limit [°C], both by their
    cohorts; NaN for what keeps a temperature that nobody knows.

    The mean of leaf temperatures until the cold no longer counts, each no higher than the limit: so
    it falls short of that by the degree-hours under it, shared out. Of hours without a forecast
    only what the spots add to the air counts.
    """
    spots = scene.climate.spots
    held = [np.nan if spot.night_low_c is None else spot.night_low_c for spot in spots]
    # Without wind and cloud a cold offset counts in full, and a warm one under a roof alone.
    adds = np.array([spot.night_offset_k or 0.0 for spot in spots])
    adds *= night_offset_shares(spots, np.array([np.nan]))[0]
    rows = rows_from_to(scene.by_night.times, night.start, night.cold_until)
    leaf = scene.by_night.leaf_c[rows] if rows.size else np.full((1, len(spots)), np.nan)
    leaf = np.where(np.isnan(leaf), UNKNOWN_AIR_C + adds, leaf)
    leaf = np.where(scene.holds_itself, held, leaf)
    first, groups = group_rows(limit)
    means = [np.minimum(leaf, np.nan_to_num(one, nan=np.inf)).mean(axis=0) for one in limit[first]]
    return np.asarray(np.stack(means)[groups])


def stays_told(
    scene: Scene, night: Night, lows: Array, standing: Standing, to: Standing
) -> np.ndarray:
    """(cohort,) whether who stands under cover, or was told to go there, may leave it at that: it
    holds, or another spot gains nothing.

    standing : that cover. to : as `shelter_for` gives it.
    """
    holding, other = holds(scene, lows, standing), holds(scene, lows, to)
    least = FORECAST_MARGIN_K - MOVE_ON_K
    narrowly = _narrowly_holds(scene, lows, standing, least) & scene.holds_itself[to] & other
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
    """Where plants spend a night other than in a shelter of their own that holds: what is not
    enough first, the worst first of all, then who goes elsewhere for that, then who has none.

    cohorts : who is meant; spots (cohort,) : where they spend the night, -1 where that is outside.
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
    name, limit = scene.spot_name(spot), float(scene.lowest_limit_c[cohort])
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
