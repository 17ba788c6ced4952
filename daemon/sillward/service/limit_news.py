"""What the nights of a plant have taught about its limits of cold, and what is proposed."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from sillward.config.build_collection import OWN_LIMIT
from sillward.ledger import Ledger
from sillward.ledger.tables.diary import EntryKind
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.service.accepted_limits import COLD_LIMITS, LimitChange, plant_as_given
from sillward_rules.dose_response import fit
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.learned_limit import (
    STEP_K,
    Belief,
    Outcome,
    combined,
    counted,
    learned,
    prior_of,
    shift_proposed,
)
from sillward_rules.plants.limits import Limits
from sillward_rules.plants.plant import Plant

LEAST_OF_OTHERS = 6
"""From so many nights of other plants of its group on, these say something about a plant.
Judgement: a fit has two parameters."""

AMONG_PLANTS_K = 1.5
"""Standard deviation of the limits of plants of one group around their own middle [K]. Judgement:
as for a limit that the grower has set."""


@dataclass(frozen=True, slots=True)
class LimitNews:
    """What was learned about the limit of injury of a plant.

    Args:
        prior: what is believed by its group, or by what the grower has set. others: from how many
            nights of other plants of its group that was corrected.
        after: what is believed after its own nights.
        damaged, unharmed: how many of these there are; counted: how many of them count.
        changes: what is proposed; nothing where its limits are as they should be.
        because: in a few words, why.
    """

    prior: Belief
    after: Belief
    damaged: int
    unharmed: int
    counted: int
    others: int
    changes: tuple[LimitChange, ...]
    because: str

    @property
    def raises(self) -> bool:
        """Whether higher limits are proposed."""
        return any(change.value > change.was for change in self.changes)


def news_of(ledger: Ledger, collection: Collection, plant: Plant) -> LimitNews | None:
    """Return what was learned about a plant; None if it has no limit of cold."""
    given = plant_as_given(plant)
    prior = prior_of(given.limits, own=_is_own(given.limits))
    if prior is None:
        return None
    site = collection.site.name
    answered = ledger.harmful_nights.answered(site)
    prior, others = _with_others(prior, collection, given, answered)
    nights = _own(ledger, site, plant.name, answered)
    outcomes = [Outcome(night.low_c, bool(night.damaged), night.sd_k) for night in nights]
    counting = counted(outcomes)
    after = learned(prior, counting)
    damaged = [night for night in nights if night.damaged]
    unharmed = len(nights) - len(damaged)
    shift_k = shift_proposed(prior, after, len(damaged), unharmed)
    return LimitNews(
        prior,
        after,
        len(damaged),
        unharmed,
        len(counting),
        others,
        _changes(plant.limits, given.limits, shift_k),
        _because(damaged, unharmed),
    )


def _is_own(limits: Limits) -> bool:
    decides = limits.brief_low or limits.night_low
    return decides is not None and decides.origin == OWN_LIMIT


def _own(
    ledger: Ledger, site: str, plant: str, answered: Sequence[HarmfulNight]
) -> list[HarmfulNight]:
    """Return the nights of a plant that are answered. Damage counts as long as the diary has it."""
    seen = {
        entry.entered_at
        for entry in ledger.diary.of_plant(site, plant)
        if entry.kind is EntryKind.DAMAGE
    }
    nights = [night for night in answered if night.plant == plant and night.damaged is not None]
    return [night for night in nights if not night.damaged or night.answered_at in seen]


def _with_others(
    prior: Belief, collection: Collection, plant: Plant, answered: Sequence[HarmfulNight]
) -> tuple[Belief, int]:
    """Return what is believed with the nights of other plants of its group, and their number."""
    alike = {
        other.name
        for other in collection.plants
        if plant.groups and other.groups == plant.groups and other.name != plant.name
    }
    nights = [night for night in answered if night.plant in alike and night.damaged is not None]
    if len(nights) < LEAST_OF_OTHERS:
        return prior, 0
    # Cold is the dose: the colder, the more of it.
    cold = [-night.low_c for night in nights]
    found = fit(cold, [float(bool(night.damaged)) for night in nights], 1.0)
    if found is None or found.slope <= 0:
        return prior, 0
    dose, error = found.dose_for(0.5)
    return combined(prior, Belief(-dose, hypot(error, AMONG_PLANTS_K))), len(nights)


def _changes(now: Limits, given: Limits, shift_k: float) -> tuple[LimitChange, ...]:
    """Return the limits that would change from what they are now."""
    changes = []
    for name in COLD_LIMITS:
        was, current = getattr(given, name), getattr(now, name)
        if was is None:
            continue
        value = round(was.value + shift_k, 1)
        if abs(value - current.value) >= STEP_K:
            changes.append(LimitChange(name, was.value, value))
    return tuple(changes)


def _because(damaged: Sequence[HarmfulNight], unharmed: int) -> str:
    if damaged:
        last = max(night.night for night in damaged)
        return f"after damage in the night of {last}"
    return f"after {unharmed} cold nights without damage"
