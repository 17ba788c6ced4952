"""The water of a pot in words and as plain types."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from sillward.reports.json_encoding import iso
from sillward.wording.chore_phrases import litres
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore
from sillward_rules.planners.pot_days import PotExplained
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot_water import AVAILABLE
from sillward_rules.plants.water_use import water_use_of
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import percent


def to_water(chores: Sequence[Chore], voice: Voice, now: datetime) -> Iterator[str]:
    """Yield which pots are to be watered by when, one line for each hour."""
    for chore in sorted(chores, key=lambda chore: chore.before):
        pots = [
            f"{reason.plant} {litres([reason], voice)}"
            for reason in sorted(chore.because, key=lambda reason: -(reason.litres or 0.0))
        ]
        starts = chore.not_before is not None and chore.not_before > now
        since = f"{voice.since(chore.not_before, now)}, " if starts and chore.not_before else ""
        given = f" with {chore.what}" if chore.what else ""
        yield f"water{given} {since}{voice.by(chore.before, now)}: {', '.join(pots)}"


def water_document(chores: Sequence[Chore], site: Site) -> list[dict[str, Any]]:
    """Return the same as plain types."""
    return [
        {
            "plant": reason.plant,
            "litres": reason.litres,
            "what": chore.what,
            "not_before": None if chore.not_before is None else iso(chore.not_before, site),
            "before": iso(chore.before, site),
        }
        for chore in chores
        for reason in chore.because
    ]


def classed(plant: Plant) -> str:
    """Return what its pot holds, and as what its plant counts; empty without a pot."""
    if plant.pot is None:
        return ""
    use = water_use_of(plant)
    holds = plant.pot.litres * AVAILABLE[plant.pot.medium]
    return (
        f"Its pot holds {holds:.2g} L for the roots and is kept above {percent(1 - use.depletion)}"
        f" of that; its water use is that of {use.title} (judgement; {use.factor:g} of grass)"
    )


def class_document(plant: Plant) -> dict[str, Any]:
    """Return the same as plain types; nothing without a pot."""
    if plant.pot is None:
        return {}
    use = water_use_of(plant)
    holds = plant.pot.litres * AVAILABLE[plant.pot.medium]
    return {
        "water_use": {
            "class": use.name,
            "title": use.title,
            "factor": use.factor,
            "kept_above": round(1 - use.depletion, 2),
            "holds_litres": round(holds, 3),
        }
    }


def left(pot: PotExplained) -> str:
    """Return how much is left: "54 % of its water left (1.5 L), give or take 19 %"."""
    if pot.share is None or pot.sd is None:
        return "not known how wet it is: lift or feel it, and say so"
    of = f"{percent(pot.share)} of its water left ({pot.capacity_l:g} L when full)"
    return f"{of}, give or take {percent(pot.sd)}"


def wanted(pot: PotExplained, voice: Voice) -> str:
    """Return by when it wants water: "wants water by about Tue 12:00"; empty if it is not known."""
    if pot.lowest is None:
        return "rests dry: no water until it grows"
    if pot.share is None:
        return ""
    kept = f"kept above {percent(pot.lowest)}"
    if pot.low_at is None:
        return f"wants none in the days ahead ({kept})"
    return f"wants water by about {voice.date_and_hour(pot.low_at)} ({kept})"


def lines(pot: PotExplained, voice: Voice) -> list[str]:
    """Return what is left, by when it wants water, and what that is worked out from."""
    own = "as much" if pot.factor == 1 else f"{pot.factor:g} times that, by what was seen"
    loss = (
        f"pot loss: {pot.loss_l:g} L in the next 24 h once watered; the air asks for"
        f" {pot.reference_mm:g} mm, of which {pot.use} take {pot.use_factor:g}; this plant"
        f" {own}, give or take {percent(pot.factor_sd)}"
    )
    parts = [left(pot), wanted(pot, voice)]
    return [f"pot: {'; '.join(filter(None, parts))}", loss]


def document(pot: PotExplained, site: Site) -> dict[str, Any]:
    """Return it as plain types; shares are 0 to 1."""
    return {
        "share_left": pot.share,
        "share_left_sd": pot.sd,
        "holds_litres": pot.capacity_l,
        "kept_above": pot.lowest,
        "low_at": None if pot.low_at is None else iso(pot.low_at, site),
        "loss_litres_24h": pot.loss_l,
        "reference_mm_24h": pot.reference_mm,
        "water_use": pot.use,
        "water_use_factor": pot.use_factor,
        "own_factor": pot.factor,
        "own_factor_sd": pot.factor_sd,
    }
