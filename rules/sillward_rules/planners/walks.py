"""Walks: which plants are worth carrying in although the forecast itself keeps their limit.

A plant that stays out may come to harm, and carrying it is work. Both are counted in *trips*, where
one trip is to fetch a single plant in and to take it out again. The harm that is expected of a
night (`scene.expected_harm`) times what a lost leaf is worth (`Habits.caution`) and what the plant
is worth (`Plant.worth`) is what carrying it gains. The work has two parts: the walk to a spot and
back, and each plant on it. So one more plant on a walk that is made anyway costs little, and a walk
for one doubtful plant costs much.
"""

from dataclasses import dataclass

import numpy as np

from sillward_rules.arrays import Array, filled

WALK_PRICE = 0.75
"""Going to a spot and back, in trips. Judgement: most of the work of carrying one pot is to leave
the chair, open doors and find the light."""

PLANT_PRICE = 0.25
"""Each plant on a walk, in trips, so that one plant alone comes to one trip."""


NEGLIGIBLE_GAIN = PLANT_PRICE / 5
"""An order that was told is not called off, and not dropped, before carrying the plant in gains no
more than this, in trips. A plant is sent in for five times as much, so that a forecast that hovers
between the two changes nothing. Judgement: a walk saved is worth less than the trust lost by a
message that takes back another."""


@dataclass(frozen=True, slots=True, eq=False)
class Walks:
    """The plants to carry, and what each was set against. Arrays are (cohort,).

    - chosen: whether the plants are worth carrying for what may come.
    - price: what carrying one plant of the cohort costs, in trips, with its share of a walk that is
      made for it and for others that are chosen.
    """

    chosen: np.ndarray
    price: Array


def choose(
    gain: Array,
    sizes: np.ndarray,
    spots: np.ndarray,
    must: np.ndarray,
    ordered: np.ndarray | None = None,
) -> Walks:
    """Return which plants to carry so that gain less price is highest, exactly.

    For each spot there are two cases. If the walk is made, each plant is worth carrying if its gain
    is above its own price, whatever the others do. If it is not, none is carried. So the best of
    both is found by adding up what the plants bring on the walk: if some must be carried anyway, or
    the sum is above the price of the walk, it is made.

    Parameters
    ----------
    gain : Array (cohort,)
        What carrying one plant gains, in trips; NaN counts as nothing.
    sizes : ndarray (cohort,)
        Plants in each cohort.
    spots : ndarray (cohort,)
        Where the walk starts; a negative number for plants that need none, such as those under
        cover already. These are chosen by their own price.
    must : ndarray (cohort,)
        Whether the plants are carried in any case.
    ordered : ndarray (cohort,)
        Whether an order to carry them in is open, so that the walk is made anyway; None for none.
    """
    gain = filled(gain, 0.0)
    made = must if ordered is None else must | ordered
    brings = np.where(must, 0.0, np.maximum(gain - PLANT_PRICE, 0.0) * sizes)
    price = np.full(gain.shape, PLANT_PRICE)
    chosen = ~must & (gain > PLANT_PRICE)
    for spot in np.unique(spots[spots >= 0]).tolist():
        there = spots == spot
        if (made & there).any():
            continue
        price[there] += WALK_PRICE / max(int(sizes[chosen & there].sum()), 1)
        if brings[there].sum() <= WALK_PRICE:
            chosen &= ~there
    return Walks(chosen, price)
