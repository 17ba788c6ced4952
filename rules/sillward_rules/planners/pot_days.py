"""The water of pots in the days ahead: when each will want some, and what explains that."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S
from sillward_rules.planners.pot_watering import WAITS_SHARE, lowest_share, may_be_low
from sillward_rules.planners.scene.pot_levels import PotLevels, levels_of
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.pot_water import Buckets
from sillward_rules.plants.water_use import water_use_of
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.spot_columns import NO_SPOT

DAY_S = 24.0 * HOUR_S

LOOKS_AHEAD = timedelta(days=7)
"""How far ahead a pot is followed to say when it wants water."""


@dataclass(frozen=True, slots=True)
class PotExplained:
    """The water of a plant's pot, and what it is worked out from.

    - share, sd: the share that is left now, and its standard deviation; None if nothing is known.
    - capacity_l: what the pot gives to roots in all [L]. lowest: the share that it is kept above;
      None in a dry rest.
    - low_at: when it may be low, if it stays where it is; None if not in the days that are known.
    - loss_l: what it loses in the next 24 hours, with the plant's own factor [L].
    - reference_mm: what the air asks for where it stands, in the same hours [mm].
    - use, use_factor: the class of the plant by the water it uses, and its factor of grass.
    - factor, factor_sd: the plant's own loss as a multiple of that of its class, as learned.
    """

    share: float | None
    sd: float | None
    capacity_l: float
    lowest: float | None
    low_at: datetime | None
    loss_l: float
    reference_mm: float
    use: str
    use_factor: float
    factor: float
    factor_sd: float


def explain_pot(scene: Scene, cohort: int) -> PotExplained | None:
    """Return the water of the pot of a cohort; None if it has no pot."""
    levels = levels_of(scene)
    found = [] if levels is None else np.flatnonzero(levels.cohorts == cohort).tolist()
    if levels is None or not found:
        return None
    pot, now = found[0], scene.now.timestamp()
    columns = scene.standing[levels.cohorts]
    columns = np.where(columns == NO_SPOT, scene.home[levels.cohorts], columns)
    lowest, buckets = lowest_share(levels), levels.now
    # A full pot in the same air loses what this one would, were it not short of water already.
    full = buckets.copy()
    full.fill(np.arange(full.share.size))
    loss = reference = 0.0
    for at, after in levels.between(columns, now, now + DAY_S, full.copy()):
        loss = float(1.0 - after.share[pot])
        reference += levels.reference_mm(at, int(columns[pot]))
    low_at = now if may_be_low(levels, buckets)[pot] else None
    if low_at is None:
        low_at = next(
            (
                at
                for at, after in levels.ahead(columns, scene.now + LOOKS_AHEAD)
                if may_be_low(levels, after)[pot]
            ),
            None,
        )
    use, known = water_use_of(scene.cohorts[cohort].plant), bool(levels.known[pot])
    capacity_l = float(levels.pots.capacity_l[pot])
    return PotExplained(
        share=round(float(buckets.share[pot]), 2) if known else None,
        sd=round(float(buckets.sd[pot]), 2) if known else None,
        capacity_l=round(capacity_l, 2),
        lowest=round(float(lowest[pot]), 2) if np.isfinite(lowest[pot]) else None,
        low_at=moment(low_at) if known and low_at is not None else None,
        loss_l=round(loss * capacity_l, 2),
        reference_mm=round(reference, 1),
        use=use.title,
        use_factor=use.factor,
        factor=round(float(buckets.factor[pot]), 2),
        factor_sd=round(float(np.sqrt(buckets.factor_variance[pot])), 2),
    )


def water_days(
    scene: Scene, standing_by_day: Sequence[tuple[date, Standing]]
) -> tuple[tuple[tuple[str, ...], tuple[date, ...]], ...]:
    """Return on which of these days pots will be watered, if each morning's advice is followed.

    Plants with the same days are together, those that are watered soonest first. Pots of which
    nothing is known have none.

    standing_by_day : each day with the spot of each cohort, (cohort,).
    """
    levels = levels_of(scene)
    if levels is None or not standing_by_day:
        return ()
    buckets = levels.now.copy()
    watered = np.zeros((len(standing_by_day), levels.cohorts.size), dtype=bool)
    at_mornings = [
        scene.habits.morning_at.on(scene.site, day).timestamp() for day, _ in standing_by_day
    ]
    ends = [*at_mornings[1:], at_mornings[-1] + DAY_S]
    here = levels.cohorts
    for _ in levels.between(scene.standing[here], scene.now.timestamp(), at_mornings[0], buckets):
        pass
    for number, ((_, standing), end) in enumerate(zip(standing_by_day, ends, strict=True)):
        columns = np.where(standing[here] == NO_SPOT, scene.home[here], standing[here])
        begin = max(at_mornings[number], scene.now.timestamp())
        both = buckets.twice()
        levels.water(both.way(1), np.arange(here.size))
        dry = _runs_low(levels, both, columns, begin, end)
        buckets = both.either(dry)
        watered[number] = dry
    days = [day for day, _ in standing_by_day]
    found: dict[tuple[date, ...], list[int]] = {}
    for pot in range(levels.cohorts.size):
        on = tuple(day for day, wet in zip(days, watered[:, pot].tolist(), strict=True) if wet)
        if on:
            found.setdefault(on, []).append(int(levels.cohorts[pot]))
    return tuple(
        (scene.names(sorted(cohorts, key=lambda one: int(scene.rank_by_name[one]))), on)
        for on, cohorts in sorted(found.items())
    )


def _runs_low(
    levels: PotLevels, both: Buckets, columns: Standing, begin: float, end: float
) -> np.ndarray:
    """(pot,) whether pots get so low between two moments [unix s] that they cannot wait longer.

    both (2, pot) : their water as it is, which is looked at, and as it is if they are watered at
    the first moment; carried to the second one.
    """
    low = may_be_low(levels, both.way(0), WAITS_SHARE)
    for _, after in levels.between(columns, begin, end, both):
        low |= may_be_low(levels, after.way(0), WAITS_SHARE)
    return low
