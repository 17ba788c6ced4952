"""The answer that no damage is seen, about several plants at once, and how it is taken back."""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sillward.errors import UsageError
from sillward.ledger import Deed, Ledger
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.service import damage
from sillward_rules.inquest import LOOK_BACK_NIGHTS, ColdNight
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.site import Site

TAKEN_BACK = "no damage, taken back"
"""The deed of taking it back."""

ASKED_WITHIN = timedelta(days=2 * LOOK_BACK_NIGHTS)
"""An answer about nights before this can no longer be taken back. Judgement: a slip of the keyboard
is seen earlier."""


@dataclass(frozen=True, slots=True)
class Unharmed:
    """What was answered: the nights, and for each plant without any why it has none."""

    nights: Sequence[HarmfulNight]
    reasons: Sequence[str] = ()


def no_damage_of_each(
    ledger: Ledger,
    site: Site,
    plants: Iterable[Plant],
    nights_of: Callable[[Plant], Sequence[ColdNight]],
    now: datetime,
    person: str | None,
) -> Unharmed:
    """Write down that the grower has looked at plants and sees no damage: one answer.

    nights_of: the nights of the last weeks of a plant. Raise UsageError if there is nothing to
    learn from, of any of them.
    """
    looked, reasons = list[HarmfulNight](), list[str]()
    for plant in plants:
        try:
            looked += damage.looked_after(ledger, site, plant, nights_of(plant), now, person)
        except UsageError as reason:
            reasons.append(str(reason))
    if not looked:
        raise UsageError(reasons[0])
    damage.keep_looked(ledger, site, looked, now, person)
    return Unharmed(looked, reasons)


def take_back(
    ledger: Ledger,
    site: Site,
    plants: Collection[str],
    now: datetime,
    person: str | None,
) -> Sequence[HarmfulNight]:
    """Take the last answer that no damage was seen back, and return the nights that it was about.

    plants: of these alone; of all if it is empty. Raise UsageError if there is none.
    """
    since = site.local_date(now - ASKED_WITHIN)
    table = ledger.harmful_nights
    seen = [
        (night.looked_at, night)
        for night in (*table.unanswered(site.name, since), *table.answered(site.name))
        if night.looked_at is not None
        and night.night >= since
        and (night.plant in plants or not plants)
        and not night.damaged
    ]
    last = max((at for at, _ in seen), default=None)
    taken = [night for at, night in seen if at == last]
    if not taken:
        msg = "nobody has said lately that there is no damage"
        raise UsageError(msg)
    names = list(dict.fromkeys(night.plant for night in taken))
    with ledger.transaction():
        for night in taken:
            if night.noted_at == night.looked_at:  # it was noted by the answer
                table.remove(site.name, night)
            elif night.answered_at in (None, night.looked_at):
                table.keep(
                    site.name,
                    replace(night, looked_at=None, answered_at=None, damaged=None, person=None),
                )
        ledger.deeds.insert(site.name, Deed(now, person, TAKEN_BACK, {"plants": names}))
    return taken
