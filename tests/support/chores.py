"""Chores for the ledger."""

from collections.abc import Sequence
from datetime import datetime

from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason


def a_chore(
    chore_id: str,
    before: datetime,
    kind: ChoreKind = ChoreKind.CARRY_IN,
    plants: Sequence[str] = ("Test strap",),
    way: tuple[str, str] = ("bench", "room"),
    *,
    start: datetime | None = None,
    at: datetime | None = None,
    quantity: str = "leaf temperature",
    values: Sequence[float | None] = (3.0,),
    limit: float = 8.0,
) -> Chore:
    """A chore with a reason for each plant.

    at: the hour of the reasons, by default the deadline.
    values: the values of the first plants; the others have the last one.
    """
    of_plants = [*values, *[values[-1]] * len(plants)]
    reasons = [
        Reason(plant, quantity, value, "°C", limit, at or before, "your own limit")
        for plant, value in zip(plants, of_plants, strict=False)
    ]
    return Chore(
        id=chore_id,
        kind=kind,
        plants=tuple(plants),
        from_spot=way[0],
        to_spot=way[1],
        not_before=start,
        before=before,
        grounds=Grounds.of(*(((reason.plant,), reason) for reason in reasons)),
    )
