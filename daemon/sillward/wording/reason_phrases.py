"""The reasons of chores in words: the number that matters, its limit, whose it is, the chance."""

from collections.abc import Sequence

from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.planners.walks import PLANT_PRICE
from sillward_rules.weather.uncertainty import MAX_SHOWN_CHANCE, percent

_LOW_IS_BAD = frozenset({"temperature", "leaf temperature", "humidity", "film life", "pot water"})


def number(reason: Reason, voice: Voice) -> str:
    """Return the value with its unit, with as many digits as show its side of the limit."""
    if reason.value is None:
        return voice.say("not_known")
    digits = 0 if reason.unit in ("min", "%") else 1
    if reason.limit is None:
        return voice.measure(reason.value, reason.unit, digits)
    return voice.beside(reason.value, reason.limit, reason.unit, digits)


def limit(reason: Reason, voice: Voice) -> str:
    """Return the limit with its unit, in its shortest form; empty if there is none."""
    return "" if reason.limit is None else voice.bound(reason.limit, reason.unit)


def chance(reasons: Sequence[Reason], voice: Voice) -> str:
    """Return ", 68 % chance" or ", 68 to 93 % chance"; empty if unknown or near certain.

    That is the chance of plants for which the forecast itself is beyond the limit. If it is not for
    any of them it is ", 30 % chance of less".
    """
    less = all(map(is_precaution, reasons))
    counted = [reason for reason in reasons if less or not is_precaution(reason)]
    known = [reason.chance for reason in counted if reason.chance is not None]
    if not known or min(known) >= MAX_SHOWN_CHANCE:
        return ""
    low, high = percent(min(known)), percent(max(known))
    shown = high if low == high else low.removesuffix(" %")
    return ", " + voice.say("chance", low=shown, high=high, less=less)


def precaution(reason: Reason, voice: Voice) -> str:
    """Return why a plant goes in that by the forecast itself keeps its limit.

    ", 19 % chance of less; worth taking along"
    """
    alone = reason.weighing is not None and reason.weighing.price > PLANT_PRICE
    return f"{chance([reason], voice)}; {voice.say('worth_it', walk=alone)}"


def is_precaution(reason: Reason) -> bool:
    """Return whether the forecast itself keeps the limit, and it is the risk that decides."""
    return reason.weighing is not None and margin(reason) >= 0


def whose(reason: Reason, voice: Voice) -> str:
    """Return whose limit it is, without its source: "yours", "cattleya"."""
    origin = reason.origin.split(":")[0]
    if origin.startswith("group "):
        return origin.removeprefix("group ").strip('"')
    return voice.retold(voice.say("whose", origin=origin))


def deciding_reason(chores: Sequence[Chore]) -> Reason:
    """Return the reason that lies furthest beyond its limit; an unknown value comes first."""
    return min((reason for chore in chores for reason in chore.because), key=margin)


def margin(reason: Reason) -> float:
    """Return how far a value is within its limit, negative beyond it; minus infinity if unknown."""
    if reason.value is None or reason.limit is None:
        return float("-inf")
    gap = reason.value - reason.limit
    low_is_bad = reason.quantity in _LOW_IS_BAD and not reason.above
    return gap if low_is_bad else -gap


def why(chores: Sequence[Chore], voice: Voice) -> str:
    """Return the number that matters most, whose limit it breaks, and when.

    Weather that comes before plants would have to go in for the night is said first.
    """
    night, first = _why_of_night(chores, voice), weather_first(chores)
    if first is None:
        return night
    hour = voice.hour(first.at)
    return voice.say("weather_first", quantity=first.quantity, hour=hour, why=night)


def weather_first(chores: Sequence[Chore]) -> Reason | None:
    """Return the hail, rain or gusts before which plants go in for the night; None for none."""
    others = (
        other
        for chore in chores
        if chore.kind is ChoreKind.CARRY_IN
        for reason in chore.because
        for other in reason.also
    )
    return min(others, key=lambda other: other.at, default=None)


def _why_of_night(chores: Sequence[Chore], voice: Voice) -> str:
    reason = deciding_reason(chores)
    if reason.value is None:
        return voice.say("night_not_known")
    return voice.say(
        "why",
        quantity=reason.quantity,
        value=number(reason, voice),
        hour=voice.hour(reason.at),
        limit=limit(reason, voice),
        plant=reason.plant,
        above=reason.above,
        chance=chance([reason], voice),
    )
