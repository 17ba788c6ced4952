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
from sillward_rules.weather.spot_columns import NO_SPOT, at_columns
from sillward_rules.weather.spot_offset import night_offset_shares
from sillward_rules.weather.sun import Night


def spot_lows(scene: Scene, night: Night) -> Array:
    """(spot,) lowest leaf temperature of each spot in a night [°C]; NaN where it is not known.

    From sunset until the cold of the night no longer counts.
    """
    rows = scene.steps(night.start, night.cold_until)
    held = held_by_night(scene, night)
    lows = np.full(held.shape, np.nan)
    if rows.size:
        lows = scene.by_night.leaf_c[rows].min(axis=0)  # NaN if a moment is
    # A spot with a climate of its own has it however far the forecast reaches.
    return np.asarray(np.where(scene.holds_itself, held, lows))


def holds(scene: Scene, lows: Array, spots: Standing) -> np.ndarray:
    """(cohort,) whether a spot is known to stay at the plants' night limit or above.

    The limit of injury counts where they have no night limit. Without either, it is enough that the
    spot's low is known. `NO_SPOT` holds nothing.
    """
    limit = scene.lowest_limit_c
    low = at_columns(lows, spots, otherwise=np.nan)
    return np.asarray((low >= limit) | (np.isnan(limit) & np.isfinite(low)))


MOVE_ON_K = 0.5
"""Of two spots that both fall short of the limit, a plant stays at the one where it is under cover
unless the other is warmer by this [K]. Judgement: no household thermometer tells less apart."""

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
    """(cohort,) the spot to which each is carried for the night; `NO_SPOT` where there is none.

    The first of these that exists:

    1. its own shelter, if that is known to hold the limit, by a margin where it follows the
       weather, or if the plant has no limit;
    2. the coolest indoor spot that keeps a temperature of its own and holds the limit, which leaves
       the warm ones to the tender and is the same whatever the forecast (judgement);
    3. its own shelter without the margin;
    4. the warmest indoor spot that follows the weather and holds the limit;
    5. where none holds it, the spot that is warmest over the night, known or not: its own at equal
       warmth, and where its own is not known.

    There is none where that spot is known to be colder than the plant's home, and for a plant
    without a shelter of its own where nothing is warmer than its home.
    """
    limit, own = scene.lowest_limit_c, scene.shelter
    surely = holds(scene, lows, own) & ~_narrowly_holds(scene, lows, own)
    fine = (own != NO_SPOT) & (np.isnan(limit) | surely)
    seeks = np.flatnonzero(~fine)
    to = own.copy()
    if seeks.size:
        to[seeks] = _elsewhere(scene, night, lows, seeks)
    return to


def _narrowly_holds(
    scene: Scene, lows: Array, spots: Standing, margin_k: float = FORECAST_MARGIN_K
) -> np.ndarray:
    """(cohort,) whether a spot holds the limit by less than a margin, and follows the weather."""
    near = at_columns(lows, spots, otherwise=np.nan) < scene.lowest_limit_c + margin_k
    follows_weather = ~at_columns(scene.holds_itself, spots, otherwise=False)
    return np.asarray(holds(scene, lows, spots) & near & follows_weather)


def _elsewhere(scene: Scene, night: Night, lows: Array, cohorts: np.ndarray) -> Standing:
    """Return `shelter_for` of these cohorts, whose own shelter does not surely hold."""
    limit = scene.lowest_limit_c[cohorts]
    home, own = scene.home[cohorts], scene.shelter[cohorts]
    there = scene.indoors & (np.arange(lows.size) != home[:, None])
    found = first_that_holds(lows, scene.holds_itself, limit, there)
    has_own = own != NO_SPOT
    own_holds = holds(scene, lows, scene.shelter)[cohorts]
    found = np.where(
        own_holds & ~at_columns(scene.holds_itself, found, otherwise=False), own, found
    )
    if (found != NO_SPOT).all():
        return found
    warmth = _warmth(scene, night, limit)
    warmest = _best(there & np.isfinite(warmth), warmth)
    replaced = np.where(has_own, own, home)
    gain = _warmth_at(warmth, warmest) - _warmth_at(warmth, replaced)
    # A cover that does no better over the night may still spare a plant the worst of it.
    likely = lows + margins(scene, night)
    spares = at_columns(likely, warmest, otherwise=np.nan) > likely[home]
    beaten = np.where(has_own, gain > 0, (gain > 0) | spares)
    beaten &= ~has_own | np.isfinite(at_columns(lows, own, otherwise=np.nan))
    beaten |= ~has_own & np.isnan(_warmth_at(warmth, home))
    fallback = np.where((warmest != NO_SPOT) & beaten, warmest, own)
    colder = _is_colder(scene, lows, likely, warmth, fallback, home)
    fallback = np.where(colder, NO_SPOT, fallback)
    return np.where(found != NO_SPOT, found, fallback)


def is_colder_than_home(scene: Scene, night: Night, lows: Array, spots: Standing) -> np.ndarray:
    """(cohort,) whether a spot that does not hold the plants' limit is known to be colder than
    their home: over the night, and at its coldest."""
    colder = np.zeros(spots.shape, dtype=bool)
    failing = np.flatnonzero((spots != NO_SPOT) & ~holds(scene, lows, spots))
    if failing.size:
        warmth = _warmth(scene, night, scene.lowest_limit_c[failing])
        likely = lows + margins(scene, night)
        there, home = spots[failing], scene.home[failing]
        colder[failing] = _is_colder(scene, lows, likely, warmth, there, home)
    return colder


def _is_colder(
    scene: Scene, lows: Array, likely: Array, warmth: Array, spots: Standing, homes: Standing
) -> np.ndarray:
    """(cohort,) whether a spot is colder than another, both over the night, by `MOVE_ON_K`, and at
    its coldest.

    Within that nobody can tell, nor where too little is known of the night: what is in doubt goes
    under cover.
    """
    if scene.forecast_expired:
        return np.zeros(spots.shape, dtype=bool)
    known = np.isfinite(at_columns(lows, spots, otherwise=np.nan)) & np.isfinite(lows[homes])
    over_night = _warmth_at(warmth, homes) - _warmth_at(warmth, spots) >= MOVE_ON_K
    spares = at_columns(likely, spots, otherwise=np.nan) > likely[homes]
    return np.asarray(known & over_night & ~spares)


def first_that_holds(
    lows: Array, holds_itself: np.ndarray, limit_c: Array, there: np.ndarray
) -> Standing:
    """(cohort,) the spot to go to that is known to hold a limit; `NO_SPOT` where none is.

    The coolest of those that keep a temperature of their own, else the warmest of the others; the
    warmest of all without a limit.

    lows, holds_itself (spot,) : what each holds [°C], NaN where that is not known, and whether it
    does so by itself. limit_c (cohort,) : [°C]. there (cohort, spot) : which count.
    """
    low, limit = np.nan_to_num(lows, nan=-np.inf), limit_c[:, None]
    holding = there & np.isfinite(lows) & ~(low < limit)
    coolest = holds_itself & np.isfinite(limit)
    return _best(holding, np.where(coolest, _ITSELF_C - low, low))


def _warmth_at(warmth: Array, spots: Standing) -> Array:
    """(cohort,) the warmth (cohort, spot) of a spot of each; NaN for `NO_SPOT`."""
    return np.asarray(at_columns(warmth, spots, otherwise=np.nan))


_ITSELF_C = 1000.0
"""Ranks spots that keep a temperature of their own before those that follow the weather."""


def _best(candidates: np.ndarray, worth: Array) -> Standing:
    """(cohort,) the spot of the highest worth among candidates (cohort, spot).

    The first of equals; `NO_SPOT` where there is no candidate.
    """
    best = np.argmax(np.where(candidates, worth, -np.inf), axis=1)
    return np.asarray(np.where(candidates.any(axis=1), best, NO_SPOT))


def _warmth(scene: Scene, night: Night, limit: Array) -> Array:
    """(cohort, spot) how warm each spot is over a night for plants of these limits [°C].

    limit (cohort,) : [°C]. The mean of leaf temperatures until the cold no longer counts, each no
    higher than the limit, so that it falls short of the limit by the degree-hours under it divided
    by the hours. Of hours without a forecast only the offsets of the spots count. NaN for a spot
    that keeps a temperature that is not known.

    Where no spot surely holds, one with a thermometer must not lose against one that is known from
    what was typed alone, only because its lower side counts: here it is as warm as is expected.
    """
    spots = scene.climate.spots
    # Without wind and cloud a cold offset counts in full, and a warm one only under a roof.
    adds = np.array([spot.night_offset_k or 0.0 for spot in spots])
    unknown = np.array([np.nan])
    adds = adds * night_offset_shares(spots, unknown)[0]
    adds += scene.climate.learned.bias_k[-1]
    rows = rows_from_to(scene.by_night.times, night.start, night.cold_until)
    leaf = scene.by_night.leaf_c[rows] if rows.size else np.full((1, len(spots)), np.nan)
    leaf = np.where(np.isnan(leaf), UNKNOWN_AIR_C + adds, leaf)
    leaf = np.where(scene.holds_itself, held_by_night(scene, night), leaf)
    leaf = leaf + margins(scene, night)
    first, groups = group_rows(limit)
    bounds = np.where(np.isnan(limit[first]), np.inf, limit[first])
    means = np.minimum(leaf[:, None, :], bounds[:, None]).mean(axis=0)
    return np.asarray(means[groups])


def held_by_night(scene: Scene, night: Night) -> Array:
    """(spot,) the temperature that each spot keeps in a night [°C]; NaN where it is not known.

    What was learned of it, or else what was typed. A forecast that is too old says nothing of the
    night.
    """
    spots, learned = scene.climate.spots, scene.indoor_nights
    row = _row_of(scene, night)
    typed = np.array([np.nan if spot.night_low_c is None else spot.night_low_c for spot in spots])
    return np.where(np.isnan(learned.taken_c[row]), typed, learned.taken_c[row])


def margins(scene: Scene, night: Night) -> Array:
    """(spot,) how far what is expected of a night is above what counts as held there [K]."""
    return np.asarray(scene.indoor_nights.margin_k[_row_of(scene, night)])


def _row_of(scene: Scene, night: Night) -> int:
    """Return the row of a night in what was learned of indoor spots."""
    nights = scene.indoor_nights.nights
    return nights.ends.size if scene.forecast_expired else nights.row_of(night)


def may_stay(
    scene: Scene, night: Night, lows: Array, standing: Standing, to: Standing
) -> np.ndarray:
    """(cohort,) whether plants may spend the night at a cover rather than be carried to another.

    They may if that cover holds their limit, or if the other spot brings them nothing.

    standing : the cover: where they stand, or were told to go. to : the other spot, from
    `shelter_for`.
    """
    holding, other = holds(scene, lows, standing), holds(scene, lows, to)
    margin = FORECAST_MARGIN_K - MOVE_ON_K
    goal_is_sure = other & at_columns(scene.holds_itself, to, otherwise=False)
    narrowly = _narrowly_holds(scene, lows, standing, margin) & goal_is_sure
    same = (to == NO_SPOT) | (to == standing)
    gains = other.copy()
    neither_holds = np.flatnonzero(~holding & ~same & ~other)
    if neither_holds.size:
        warmth = _warmth(scene, night, scene.lowest_limit_c[neither_holds])
        there = _warmth_at(warmth, to[neither_holds])
        here = _warmth_at(warmth, standing[neither_holds])
        gains[neither_holds] = there - here >= MOVE_ON_K
    return np.asarray((holding & ~narrowly) | same | ~gains)


def warnings(
    scene: Scene, night: Night, lows: Array, cohorts: np.ndarray, spots: Standing
) -> list[Remark]:
    """Return remarks on plants that do not spend a night in a shelter of their own that holds.

    First the spots that do not hold, the worst first; then those passed over for a better one; then
    spots chosen for plants without a shelter.

    cohorts : those that must be under cover. spots (cohort,) : where they spend the night,
    `NO_SPOT` where that is outside.
    """
    held, own = holds(scene, lows, spots), scene.shelter
    spot_is_sure = at_columns(scene.holds_itself, spots, otherwise=False)
    passed_over = _narrowly_holds(scene, lows, own) & spot_is_sure
    own_holds = holds(scene, lows, own) & ~passed_over
    fine = held & (own != NO_SPOT) & ((spots == own) | own_holds)
    meant = cohorts[~fine[cohorts]]
    if not meant.size:
        return []
    limit, likely = scene.lowest_limit_c[meant], lows + margins(scene, night)
    first, groups = group_rows(spots[meant], own[meant], limit, scene.home[meant])
    members: dict[_ShelterRemark, list[int]] = {}
    for number, index in enumerate(meant[first].tolist()):
        remark = _remark_on(scene, lows, likely, index, int(spots[index]), held=bool(held[index]))
        members.setdefault(remark, []).extend(meant[groups == number].tolist())
    remarks = [
        replace(remark, plants=scene.names(sorted(whose))) for remark, whose in members.items()
    ]
    return [*sorted(remarks, key=_urgency)]


_ShelterRemark = NoShelter | ShelterChosen | ShelterTooCold | ShelterUnknown


def _remark_on(
    scene: Scene, lows: Array, likely: Array, cohort: int, spot: int, *, held: bool
) -> _ShelterRemark:
    """Return what is to be said of a spot for the night, without the plants.

    lows, likely (spot,) : what each is taken to hold, and what is expected there [°C].
    """
    if spot == NO_SPOT:
        home, own = int(scene.home[cohort]), int(scene.shelter[cohort])
        if scene.indoors[home] and np.isfinite(lows[home]):
            return NoShelter((), scene.spot_name(home), float(lows[home]))
        if own != NO_SPOT and np.isfinite(lows[own]):
            return NoShelter((), scene.spot_name(own), float(lows[own]), is_colder_shelter=True)
        return NoShelter(())
    own, low = int(scene.shelter[cohort]), float(lows[spot])
    name, limit = scene.spot_name(spot), float(scene.lowest_limit_c[cohort])
    if held and own == NO_SPOT:
        return ShelterChosen((), name, low)
    failing, better, better_low = (own, name, low) if held else (spot, None, None)
    its_low = float(lows[failing])
    if np.isnan(its_low) or np.isnan(limit):
        return ShelterUnknown((), scene.spot_name(failing), better, better_low)
    expected = float(likely[failing]) if likely[failing] > its_low else None
    there = scene.spot_name(failing)
    return ShelterTooCold((), there, its_low, limit, better, better_low, expected)


def _urgency(remark: _ShelterRemark) -> tuple[int, float]:
    """Sort spots that do not hold first, by how far they fall short; unknown lows before all."""
    if isinstance(remark, ShelterChosen):
        return 2, 0.0
    if isinstance(remark, NoShelter):
        return 0, -np.inf
    short_k = np.inf if isinstance(remark, ShelterUnknown) else remark.limit_c - remark.low_c
    return int(remark.better_spot is not None), -short_k
