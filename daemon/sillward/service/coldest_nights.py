"""Once a day: what was the coldest night of each plant in this year, as far as that is known."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from sillward.ledger.tables.coldest_nights import ColdNight
from sillward.service.context import ServiceContext
from sillward.service.plant_nights import NIGHTS, PlantNight, SiteNights, nights_of
from sillward.service.plant_states import states_at
from sillward_rules.weather import sun

AFTER_SUNRISE = timedelta(hours=3)
"""So long after sunrise a night is looked at first: sensors have written by then, and the daemon
has nothing urgent to do. Judgement."""


@dataclass(slots=True)
class ColdestNights:
    """Keeps the coldest night of each year.

    The last `NIGHTS` nights are looked at anew each day, as readings may come late or be corrected.
    """

    context: ServiceContext
    _looked_at: date | None = None

    def look(self) -> None:
        """Look at the past nights, if that was not done since the last one ended."""
        context = self.context
        site, now = context.site, context.clock()
        day = sun.night_at_or_after(site, now - AFTER_SUNRISE).day
        if day == self._looked_at:
            return
        ledger, states = context.ledger, states_at(context.ledger, site, now)
        since = sun.night_of(site, day - timedelta(days=NIGHTS + 1)).start
        of_site = SiteNights(ledger, site, since)
        changed: dict[str, Iterable[ColdNight]] = {}
        for plant in context.household.collection.plants:
            nights = nights_of(ledger, site, plant, states.get(plant.name), now, of_site=of_site)
            known = ledger.coldest_nights.of_plant(site.name, plant.name)
            first = day - timedelta(days=NIGHTS)
            before = [each for each in known if each.night < first]
            coldest = coldest_by_year([*before, *cold_nights(nights)])
            if sorted(coldest.values(), key=lambda night: night.night) != known:
                changed[plant.name] = coldest.values()
            context.run.step_done()
        ledger.coldest_nights.keep(site.name, changed)
        self._looked_at = day


def cold_nights(nights: Iterable[PlantNight]) -> list[ColdNight]:
    """Return the nights of which a low was read or expected; what was read goes first."""
    found = []
    for night in nights:
        low_c = night.told_c if night.read_c is None else night.read_c
        if low_c is not None:
            low_c = round(low_c, 2)
            is_read = night.read_c is not None
            found.append(
                ColdNight(night.day, low_c, is_read, night.limit_c, night.spots, night.is_known)
            )
    return found


def coldest_by_year(nights: Iterable[ColdNight]) -> dict[int, ColdNight]:
    """Return the coldest night of each year, by the evening on which it began."""
    found: dict[int, ColdNight] = {}
    for night in nights:
        known = found.get(night.night.year)
        if known is None or night.low_c < known.low_c:
            found[night.night.year] = night
    return found
