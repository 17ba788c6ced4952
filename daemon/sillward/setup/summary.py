"""A few lines on what the answers come to, before the file is written. This module is pure."""

from collections import Counter
from collections.abc import Mapping, Sequence

from sillward.errors import listed
from sillward.setup.answers import IndoorAnswer, PlantAnswer, SpotAnswer

MAX_KINDS = 20
"""Groups that are named. Judgement: as many lines as a terminal shows at once, at 40 columns."""


def lines(
    plants: Sequence[PlantAnswer], spots: Sequence[SpotAnswer], named: Mapping[str, str]
) -> list[str]:
    """Return what there is of each group, and what is left without a shelter.

    named: groups of the plants of a list by what the list says of them, where that differs.
    """
    kinds = Counter(" x ".join(plant.groups) or "in no group" for plant in plants)
    most = kinds.most_common(MAX_KINDS)
    rest = len(plants) - sum(count for _, count in most)
    parts = [f"{count} {kind}" for kind, count in most] + ([f"{rest} of others"] if rest else [])
    total = f"{len(plants)} plant{'' if len(plants) == 1 else 's'}"
    found = [f"{total}: {', '.join(parts)}"]
    if named:
        taken = [f"{said} as {group}" for said, group in named.items()]
        found.append(f"Taken: {'; '.join(taken)}")
    indoors = {spot.name for spot in spots if isinstance(spot, IndoorAnswer)}
    left = [plant.name for plant in plants if plant.shelter is None and plant.home not in indoors]
    if left:
        found.append(f"Outdoors without a shelter ({len(left)}): {listed(left)}")
    return found
