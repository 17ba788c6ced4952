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
    by_spell,
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
        damaged, unharmed: how many of these did damage, and how many cold spells did none;
            counted: how many of them count.
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
    prior, others = _with_others(ledger, prior, collection, given, answered)
    nights = by_spell(_outcomes(ledger, site, plant.name, answered))
    counting = counted(nights)
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
        _because(nights),
    )


def _is_own(limits: Limits) -> bool:
    decides = limits.brief_low or limits.night_low
    return decides is not None and decides.origin == OWN_LIMIT


def _outcomes(
    ledger: Ledger, site: str, plant: str, answered: Sequence[HarmfulNight]
) -> list[Outcome]:
    """Return what came of the nights of a plant.

    Damage counts as long as the diary has it, and its absence where the plant is known to have
    stood in the cold.
    """
    seen = {
        entry.entered_at
        for entry in ledger.diary.of_plant(site, plant)
        if entry.kind is EntryKind.DAMAGE
    }
    return [
        Outcome(night.low_c, night.damaged, night.sd_k, night.night)
        for night in answered
        if night.plant == plant
        and night.damaged is not None
        and (night.answered_at in seen if night.damaged else night.is_known)
    ]


def _with_others(
    ledger: Ledger,
    prior: Belief,
    collection: Collection,
    plant: Plant,
    answered: Sequence[HarmfulNight],
) -> tuple[Belief, int]:
    """Return what is believed with the nights of other plants of its group, and their number."""
    alike = {
        other.name
        for other in collection.plants
        if plant.groups and other.groups == plant.groups and other.name != plant.name
    }
    nights = [
        night
        for name in sorted(alike & {night.plant for night in answered})
        for night in by_spell(_outcomes(ledger, collection.site.name, name, answered))
    ]
    if len(nights) < LEAST_OF_OTHERS:
        return prior, 0
    # Cold is the dose: the colder, the more of it.
    cold = [-night.low_c for night in nights]
    found = fit(cold, [float(night.damaged) for night in nights], 1.0)
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


def _because(nights: Sequence[Outcome]) -> str:
    """Return it in a few words, for the origin of an accepted limit."""
    harmful = [night.night for night in nights if night.damaged and night.night is not None]
    if harmful:
        return f"after damage in the night of {max(harmful)}"
    return f"after {len(nights)} cold spells without damage"
