"""What damage, and its absence, say about the temperature below which a plant is harmed.

The limit L of one plant is not known; it is believed to be normal, N(mean, sd^2). A night whose
lowest leaf temperature was x did damage that is seen with the probability

    P(damage at x) = Phi((L - x) / tau)

tau says how gradual damage is: at the limit itself half of such nights show some, tau above it one
in six. Where x is not known exactly, its own error is part of tau. For one night the belief after
it has a closed form, with q = sqrt(sd^2 + tau^2), z = (mean - x) / q:

    damaged:  mean + sd^2 / q r,  sd^2 - sd^4 / q^2 r (r + z),  r = phi(z) / Phi(z)
    unharmed: mean - sd^2 / q r,  sd^2 - sd^4 / q^2 r (r - z),  r = phi(z) / Phi(-z)

One after the other these depend on the order of the nights, and are off by up to a quarter of a
kelvin for five of them, as what is believed is not normal any more. Several nights are therefore
weighed at once, by quadrature.

References
----------
The integrals of a normal density times Phi: Rasmussen and Williams 2006, Gaussian Processes for
Machine Learning, section 3.9 (from memory; checked by quadrature in the tests).
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist
from typing import TypeVar

import numpy as np

from sillward_rules.arrays import erfc
from sillward_rules.physics.cold_harm import USUAL_SPAN_K
from sillward_rules.plants.limits import Limits

T = TypeVar("T")

GROUP_SD_K = 2.0
"""Standard deviation of one plant's limit of injury around that of its group [K]. Judgement: the
temperatures at which half of a leaf is injured, 1.5 to 5.8 °C for six cultivars of Aglaonema, have
one of 1.6 K, and six others are hardly injured at all (Chen et al. 2001, UF/IFAS EP103, read in a
quotation; probit fits of ours)."""

OWN_SD_K = 1.5
"""The same where the grower has set the limit [K]. Judgement: the grower knows this plant."""

GRADED_K = 2.0
"""tau, for whether anybody sees damage [K]. Judgement: the share of a leaf that is injured changes
over 2.2 to 11 K (the same six fits, as standard deviations), but damage is seen on the first leaf
that has any, so it is the lower end that counts."""

SPELL_GAP = timedelta(days=3)
"""Nights without damage that are at most so far apart are one cold spell, and one piece of
evidence. Judgement: the weather of one is the weather of the next, and the plant is looked at once
for both."""

MAX_UNHARMED = 3
"""So many spells without damage count, the coldest ones. Judgement: nights of one plant at one spot
are not independent, so that the tenth mild spell proves no more than the third."""

GRID_SDS, GRID_POINTS = 9.0, 1201
"""The quadrature reaches over so many standard deviations to either side, with so many points: what
lies outside counts for less than 1e-18."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """A night of a plant, and whether it was followed by damage.

    - low_c: its lowest leaf temperature [°C]; sd_k: how well that is known [K].
    - damaged: whether damage was seen. Nobody having looked is no outcome.
    - night: the date of its evening; None if that is not known.
    """

    low_c: float
    damaged: bool
    sd_k: float = 0.0
    night: date | None = None


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of a limit: normal, with this mean [°C] and standard deviation [K]."""

    mean_c: float
    sd_k: float

    def chance_of(self, outcome: Outcome, tau_k: float = GRADED_K) -> float:
        """Return how probable an outcome was (0..1)."""
        _, z = self._scaled(outcome, tau_k)
        return NormalDist().cdf(z if outcome.damaged else -z)

    def after(self, outcome: Outcome, tau_k: float = GRADED_K) -> "Belief":
        """Return what is believed after one more night.

        Examples
        --------
        >>> after = Belief(10.0, 2.0).after(Outcome(8.0, damaged=True), tau_k=1.0)
        >>> round(after.mean_c, 6), round(after.sd_k, 6)
        (10.587356, 1.6478)
        """
        q, z = self._scaled(outcome, tau_k)
        sign = 1.0 if outcome.damaged else -1.0
        ratio = _mills(sign * z)
        variance = self.sd_k**2
        mean_c = self.mean_c + sign * variance / q * ratio
        left = variance - (variance / q) ** 2 * ratio * (ratio + sign * z)
        return Belief(mean_c, math.sqrt(left))

    def _scaled(self, outcome: Outcome, tau_k: float) -> tuple[float, float]:
        q = math.sqrt(self.sd_k**2 + tau_k**2 + outcome.sd_k**2)
        return q, (self.mean_c - outcome.low_c) / q


def _mills(z: float) -> float:
    """Return phi(z) / Phi(z); far below 0, where both are 0 in double precision, its asymptote."""
    if z < -30.0:
        return -z
    return NormalDist().pdf(z) / (math.erfc(-z / math.sqrt(2.0)) / 2.0)


def spells(nights: Iterable[T], day: Callable[[T], date]) -> list[list[T]]:
    """Return nights of one plant put together by cold spell, both in order of their date."""
    found: list[list[T]] = []
    for night in sorted(nights, key=day):
        if found and day(night) - day(found[-1][-1]) <= SPELL_GAP:
            found[-1].append(night)
        else:
            found.append([night])
    return found


def by_spell(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Return the outcomes of one plant: all damage, and the coldest night of each spell without."""
    dated = [each for each in outcomes if not each.damaged and each.night is not None]
    others = [each for each in outcomes if each.damaged or each.night is None]
    return others + [
        min(spell, key=lambda each: each.low_c)
        for spell in spells(dated, lambda each: each.night or date.min)
    ]


def counted(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Return the outcomes of one plant that count: all damage, and the `MAX_UNHARMED` coldest of
    the spells without."""
    spells = sorted(by_spell(outcomes), key=lambda each: each.low_c)
    unharmed = [each for each in spells if not each.damaged]
    return [*(each for each in spells if each.damaged), *unharmed[:MAX_UNHARMED]]


def learned(prior: Belief, outcomes: Sequence[Outcome], tau_k: float = GRADED_K) -> Belief:
    """Return what is believed after all of these outcomes; give it those that `counted` returns.

    Mean and standard deviation are those of the exact posterior, whatever its shape.
    """
    if not outcomes:
        return prior
    if len(outcomes) == 1:
        return prior.after(outcomes[0], tau_k)
    z = np.linspace(-GRID_SDS, GRID_SDS, GRID_POINTS)
    limit_c = prior.mean_c + prior.sd_k * z
    log_weight = -(z**2) / 2.0
    for outcome in outcomes:
        depth = (limit_c - outcome.low_c) / math.hypot(tau_k, outcome.sd_k)
        chance = erfc((-depth if outcome.damaged else depth) / math.sqrt(2.0)) / 2.0
        log_weight = log_weight + np.log(np.maximum(chance, 1e-300))
    weight = np.exp(log_weight - log_weight.max())
    mean_c = float((weight * limit_c).sum() / weight.sum())
    variance = float((weight * (limit_c - mean_c) ** 2).sum() / weight.sum())
    return Belief(mean_c, math.sqrt(variance))


def combined(one: Belief, other: Belief) -> Belief:
    """Return what two independent beliefs about one limit come to, weighted by their precisions."""
    first, second = one.sd_k**-2, other.sd_k**-2
    mean_c = (first * one.mean_c + second * other.mean_c) / (first + second)
    return Belief(mean_c, (first + second) ** -0.5)


def prior_of(limits: Limits, *, own: bool) -> Belief | None:
    """Return what is believed of a plant's limit of injury before anything was seen.

    It is `brief_low`; where that is not known, so far below `night_low` as usual. None without
    either. own: whether the limit is the grower's own.
    """
    sd_k = OWN_SD_K if own else GROUP_SD_K
    if limits.brief_low is not None:
        return Belief(limits.brief_low.value, sd_k)
    if limits.night_low is not None:
        return Belief(limits.night_low.value - USUAL_SPAN_K, sd_k)
    return None


STEP_K = 0.5
"""Limits are proposed in steps of this [K]. Judgement: nobody knows them better."""

MOST_RAISED_K, MOST_LOWERED_K = 4.0, 2.0
"""No proposal moves limits by more than this from what the collection gives [K]. Judgement: what
seems to ask for more has another cause, or needs to be seen again. Lowering is the side on which
plants are lost."""

LEAST_UNHARMED = 2
"""So many cold spells without damage are needed to propose a lower limit.
Judgement."""


def shifts_proposed(injury_c: float, after: Belief) -> tuple[float, float]:
    """Return by how much the limits of cold of a plant should move at most, up and down [K].

    They are meant from where they were while injury was taken to begin at injury_c [°C]. Comfort
    keeps its distance from injury, so all of them move alike: up as far as the mean of what is
    believed, but down only as far as its upper side, one standard deviation above the mean.
    """
    moved = after.mean_c - injury_c
    up, down = round(moved / STEP_K), math.ceil((moved + after.sd_k) / STEP_K)
    return up * STEP_K, down * STEP_K
