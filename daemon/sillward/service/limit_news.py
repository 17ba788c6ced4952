"""What the nights of a plant have taught about its limits of cold, and what is proposed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot

from sillward.config.build_collection import OWN_LIMIT
from sillward.ledger import Ledger
from sillward.ledger.tables.diary import EntryKind
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.service.accepted_limits import COLD_LIMITS, SAME, LimitChange, plant_as_given
from sillward_rules.dose_response import fit
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.learned_limit import (
    LEAST_UNHARMED,
    MOST_LOWERED_K,
    MOST_RAISED_K,
    STEP_K,
    Belief,
    Outcome,
    by_spell,
    combined,
    counted,
    learned,
    prior_of,
    shifts_proposed,
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
    answered = ledger.harmful_nights.answered(collection.site.name)
    own = _of_plant(ledger, collection.site.name, plant.name, answered)
    before = _limits_before(given.limits, own)
    first = prior_of(before, own=_is_own(given.limits))
    if first is None:
        return None
    prior, others = _with_others(ledger, first, collection, given, answered)
    nights = by_spell([_outcome(night) for night in own])
    counting = counted(nights)
    after = learned(prior, counting)
    damaged = sum(night.damaged for night in nights)
    unharmed = len(nights) - damaged
    proposal = _Proposal(*shifts_proposed(first.mean_c, after), damaged, unharmed, others)
    changes = proposal.changes(plant.limits, given.limits, before)
    return LimitNews(
        prior,
        after,
        damaged,
        unharmed,
        len(counting),
        others,
        changes,
        _because(nights, raises=any(change.value > change.was for change in changes)),
    )


def _limits_before(given: Limits, nights: Sequence[HarmfulNight]) -> Limits:
    """Return the limits that a plant had before it was known what came of its nights.

    Where the collection gives others by now, the grower may have changed them because of these
    nights. Then they must not move twice: after damage the lowest count, and without any the
    highest.
    """
    harmful = [night for night in nights if night.damaged]
    pick = min if harmful else max
    changed = {
        name: replace(limit, value=pick([limit.value, *then]))
        for name in COLD_LIMITS
        if (limit := getattr(given, name)) is not None
        and (then := [night.given[name] for night in harmful or nights if name in night.given])
    }
    return replace(given, **changed)


def _is_own(limits: Limits) -> bool:
    decides = limits.brief_low or limits.night_low
    return decides is not None and decides.origin == OWN_LIMIT


def _of_plant(
    ledger: Ledger, site: str, plant: str, answered: Sequence[HarmfulNight]
) -> list[HarmfulNight]:
    """Return the nights of a plant of which is known what came of them.

    Damage counts as long as the diary has it, and its absence where the plant is known to have
    stood in the cold.
    """
    seen = {
        entry.entered_at
        for entry in ledger.diary.of_plant(site, plant)
        if entry.kind is EntryKind.DAMAGE
    }
    return [
        night
        for night in answered
        if night.plant == plant
        and night.damaged is not None
        and (night.answered_at in seen if night.damaged else night.is_known)
    ]


def _outcome(night: HarmfulNight) -> Outcome:
    return Outcome(night.low_c, bool(night.damaged), night.sd_k, night.night)


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
        for night in by_spell(
            [_outcome(each) for each in _of_plant(ledger, collection.site.name, name, answered)]
        )
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


@dataclass(frozen=True, slots=True)
class _Proposal:
    """What speaks for other limits: how far they should move up and down [K], and from what."""

    up_k: float
    down_k: float
    damaged: int
    unharmed: int
    others: int

    def changes(self, now: Limits, given: Limits, before: Limits) -> tuple[LimitChange, ...]:
        """Return the limits that would change from what they are now."""
        changes = []
        for name in COLD_LIMITS:
            file, current, start = (getattr(each, name) for each in (given, now, before))
            if file is None:
                continue
            value = self._value(current.value, file.value, start.value)
            if abs(value - current.value) >= STEP_K - SAME:
                changes.append(LimitChange(name, current.value, value, file.value))
        return tuple(changes)

    def _value(self, now: float, given: float, before: float) -> float:
        up = min(before + self.up_k, given + MOST_RAISED_K)
        down = max(before + self.down_k, given - MOST_LOWERED_K)
        if self.damaged:
            up, down = max(up, given), max(down, given)
        if (self.damaged or self.others) and up > now:
            return round(up, 1)
        if self.unharmed >= LEAST_UNHARMED and down < now:
            return round(down, 1)
        return now


def _because(nights: Sequence[Outcome], *, raises: bool) -> str:
    """Return it in a few words, for the origin of an accepted limit."""
    harmful = [night.night for night in nights if night.damaged and night.night is not None]
    if raises:
        return (
            f"after damage in the night of {max(harmful)}"
            if harmful
            else "after damage to plants of its kind"
        )
    return f"after {sum(not night.damaged for night in nights)} cold spells without damage"
