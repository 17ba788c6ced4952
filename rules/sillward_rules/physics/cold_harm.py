"""The harm that cold does to a plant: from depth and hours in one night, and across nights.

A *dose* is how much cold a plant takes in one night, a *harm* what that does to it (0..1). Both are
0 on a night that keeps the comfort limit (`night_low`) and 1 after `FULL_DOSE_H` hours at the limit
of injury (`brief_low`), where leaves are lost.

No dose-response curve for an orchid has been published that we know of. What has been is this: on
foliage plants the damage grows with depth and with hours (Qu et al. 2000, 15 Spathiphyllum at 3.3
to 11.1 °C for 2 to 10 days), with the number of cold nights (Aglaonema, nights of 10 h at 4.5 °C,
one, three or six of them), is graded rather than sudden (Chen et al. 2001, 12 Aglaonema), and is
less for plants that have been kept cool before (Wang 2007, Phalaenopsis: 10 days at 20 °C before
15 °C). All but the last were read in abstracts only. The shape here is the simplest that has these
properties; its constants are judgement.
"""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array

FULL_DOSE_H = 4.0
"""Hours at the limit of injury that make a full dose [h]. Judgement: that limit is defined as what
injures "within hours", and a clear night that just reaches it is below the comfort limit for ten
hours, which makes five such hours."""

USUAL_SPAN_K = 4.0
"""From comfort limit to limit of injury, where only the former is known [K]. Judgement: of the
standard groups half have between 3 and 5 K."""

MIN_SPAN_K = 1.5
"""The least distance of the two limits that is believed [K]. Judgement: the limits of different
sources for one group are further apart than that."""

MAX_DOSE = 1.0
"""A night brings no more than this. Judgement: what is lost cannot be lost again."""

RECOVERY_NIGHTS = 5.0
"""Nights without cold in which half of a dose is forgotten. Judgement: Phalaenopsis at 15 °C lose
three leaves in 7 days and five in 14 (Wang 2007), so a dose outlasts some days; growers see plants
recover within weeks."""

SENSITIZATION = 1.0
"""How much a full dose still carried adds to the harm of the next night. Judgement: with 1 a second
bad night in a row does twice the harm of the first."""

HARDENING = 0.4
"""Share of the harm that a plant used to cool nights is spared. Judgement; that there is such an
effect: Wang 2007 and Chen et al. 2001."""

HARDENED_WITHIN_K = 6.0
"""Nights that are on average at the comfort limit harden in full, those warmer by this not at all
[K]. Judgement: between the nights of 20 and 25 °C of Wang 2007 lie 5 K."""

HARDENING_NIGHTS = 7.0
"""The average is over about so many nights. Judgement: Wang 2007 kept plants cool for ten days."""


HARDENED_FOR_NIGHTS = 14
"""After so many nights of which nothing is known a plant does not count as hardened any more.
Judgement: as long again as it takes to be."""


def span_k(comfort_c: ArrayLike, injury_c: ArrayLike) -> Array:
    """Return the distance from comfort limit to limit of injury [K], any shape.

    comfort_c, injury_c : [°C]. `USUAL_SPAN_K` where either is NaN; at least `MIN_SPAN_K`.
    """
    span = np.asarray(comfort_c, dtype=np.float64) - np.asarray(injury_c, dtype=np.float64)
    return np.asarray(np.maximum(np.where(np.isnan(span), USUAL_SPAN_K, span), MIN_SPAN_K))


def night_dose(under_k: Array, span_k: ArrayLike, step_h: ArrayLike = 1.0) -> Array:
    """Return the dose of one night (0..`MAX_DOSE`).

    It is the area between comfort limit and leaf (degree-hours), divided by the distance of the two
    limits and by `FULL_DOSE_H`. The area is that of trapezia between the moments.

    Parameters
    ----------
    under_k : Array (time, ...)
        How far the leaf is under the comfort limit at moments [K]; negative above it.
    span_k : ArrayLike
        Distance from comfort limit to limit of injury [K]; broadcasts against (...).
    step_h : ArrayLike
        Time between the moments [h]: one number, or (time - 1,) numbers.

    Returns
    -------
    Array (...)
        NaN where a moment is not known; 0 where there are fewer than two.
    """
    depth = np.maximum(under_k, 0.0)
    steps = np.asarray(step_h, dtype=np.float64)
    if steps.ndim:
        steps = steps.reshape(-1, *([1] * (depth.ndim - 1)))
    return dose_of((0.5 * (depth[1:] + depth[:-1]) * steps).sum(axis=0), span_k)


def dose_of(degree_hours: ArrayLike, span_k: ArrayLike) -> Array:
    """Return the dose of a night (0..`MAX_DOSE`) with so many degree-hours; shapes broadcast.

    degree_hours : under the comfort limit [K h]. span_k : as in `night_dose`.
    """
    dose = np.asarray(degree_hours) / (np.asarray(span_k, dtype=np.float64) * FULL_DOSE_H)
    return np.asarray(np.minimum(dose, MAX_DOSE))


def night_harm(dose: ArrayLike, carried: ArrayLike = 0.0, hardened: ArrayLike = 0.0) -> Array:
    """Return the harm of a night (0..1); shapes broadcast.

    - dose: of this night (`night_dose`).
    - carried: the dose still carried from the nights before (`carried_dose`).
    - hardened: how used the plant is to cool nights, 0 to 1 (`hardened_share`).
    """
    spared = 1.0 - HARDENING * np.asarray(hardened, dtype=np.float64)
    harm = np.asarray(dose, dtype=np.float64) * (1.0 + SENSITIZATION * np.asarray(carried))
    return np.asarray(np.minimum(spared * harm, 1.0))


def carried_dose(carried: ArrayLike, dose: ArrayLike, nights: ArrayLike = 1.0) -> Array:
    """Return the dose carried into a night, so many nights after one with this dose.

    carried : into that earlier night. Halved every `RECOVERY_NIGHTS`.
    """
    kept = 0.5 ** (np.asarray(nights, dtype=np.float64) / RECOVERY_NIGHTS)
    return np.asarray((np.asarray(carried, dtype=np.float64) + np.asarray(dose)) * kept)


def usual_low_c(usual_c: ArrayLike, low_c: ArrayLike) -> Array:
    """Return the average low that a plant is used to, once a night with this low is over [°C].

    usual_c : before that night [°C]; NaN where nothing is known, and the night stands for all. An
    exponential average over about `HARDENING_NIGHTS`. NaN for a low that is not known.
    """
    usual, low = np.asarray(usual_c, dtype=np.float64), np.asarray(low_c, dtype=np.float64)
    known = np.where(np.isnan(usual), low, usual)
    return np.asarray(known + (low - known) / HARDENING_NIGHTS)


def hardened_share(comfort_c: ArrayLike, usual_c: ArrayLike) -> Array:
    """Return how hardened a plant is by the nights before, 0 to 1.

    usual_c : the average low that it is used to (`usual_low_c`) [°C]. 0 where it is not known.
    """
    above = np.asarray(usual_c, dtype=np.float64) - np.asarray(comfort_c, dtype=np.float64)
    share = np.clip(1.0 - above / HARDENED_WITHIN_K, 0.0, 1.0)
    return np.asarray(np.where(np.isnan(share), 0.0, share))
