"""Which pots want water once the grower has said how wet they are.

The morning round told nothing of a pot of which nobody knew that. Who has looked has the answer at
once, and what is said then is a chore as if the round had told it, so that it can be confirmed.
"""

from collections.abc import Collection as SizedCollection
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from itertools import count

from sillward.ledger import Ledger
from sillward.service.plant_states import states_at
from sillward_rules.chore import Chore, ChoreKind, only
from sillward_rules.plants.collection import Collection
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.hourly import Weather


def told_after_look(
    ledger: Ledger,
    collection: Collection,
    weather: Weather,
    plants: SizedCollection[str],
    now: datetime,
) -> list[Chore]:
    """Return the waterings of these plants that a morning round would tell now, and keep them.

    What is open already is not kept twice.
    """
    site = collection.site
    states = states_at(ledger, site, now)
    sheet = draw_up(Round.MORNING, collection, weather, states, now)
    wanted = [
        only(chore, [name for name in chore.plants if name in plants])
        for chore in sheet.chores
        if chore.kind is ChoreKind.WATER
    ]
    wanted = [chore for chore in wanted if chore.plants]
    with ledger.transaction():
        for chore in wanted:
            told = ledger.chores.of_day(site.name, date.fromisoformat(chore.day))
            open_for = {
                name
                for one in told
                if one.open and one.kind is ChoreKind.WATER and one.chore.what == chore.what
                for name in one.plants
            }
            new = only(chore, [name for name in chore.plants if name not in open_for])
            if new.plants:
                taken = {one.id for one in told}
                own_id = next(name for name in _ids(chore.id) if name not in taken)
                ledger.chores.write(site.name, Round.MORNING.value, replace(new, id=own_id))
    return wanted


def _ids(first: str) -> Iterator[str]:
    """Yield an id, and others that are like it."""
    yield first
    yield from (f"{first}-{number}" for number in count(2))
