"""Once a day, when a night is over: which plants it may have harmed, and what damage has taught."""

import logging
from dataclasses import dataclass
from datetime import date, timedelta

from sillward.ledger import Ledger
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.readings.spot_lesson import lows_read
from sillward.service.context import ServiceContext
from sillward.service.damage import learn_from_diary
from sillward.service.inquest import as_harmful_night, nights_of_plants
from sillward.service.limit_news import news_of
from sillward.service.whereabouts import MOVES_SINCE, ChoresOfPlants, is_unmoved
from sillward_rules.inquest import LIKELY, ColdNight
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.learned_limit import Outcome
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState, State
from sillward_rules.weather import sun

LOOK_AFTER = timedelta(hours=6)
"""So long after sunrise a night is looked at: the morning round has been told by then, and what
sensors send late has come."""

LATE_NIGHTS = 3
"""So many nights are looked at each day: what was read in them may come late, from a logger or by
hand, or while no daemon ran. Nobody is asked before the third day. Judgement."""

ANSWERS_WITHIN = timedelta(days=14)
"""Where nobody has confirmed an order for so long, one that is not confirmed says nothing of where
the plant is, and no question follows from it. Judgement."""

ASKED_FROM = 0.15
"""Chance of damage that shows, by what is believed of the plant, from which on a night is asked
about. Judgement: one question in seven finds something; a night in cool comfort is none."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class DamageWatch:
    """Notes the harmful nights of one household. They are facts: to note one twice changes
    nothing."""

    context: ServiceContext
    _noted: date | None = None

    def look(self) -> None:
        """Look at the last nights, if that has not been done since the last one was over."""
        context, now = self.context, self.context.clock()
        last = sun.night_at_or_after(context.site, now - LOOK_AFTER).day - timedelta(days=1)
        if last == self._noted:
            return
        ledger, states, collection = context.ledger, context.states(), context.taught_collection
        first = sun.night_of(context.site, last - timedelta(days=LATE_NIGHTS - 1))
        chores = ChoresOfPlants(ledger, context.site, first.end - MOVES_SINCE)
        nights = [
            night
            for back in range(LATE_NIGHTS)
            for night in self._harmful(last - timedelta(days=back), states, collection, chores)
        ]
        ledger.harmful_nights.note(context.site.name, nights)
        sources = [source.name for source in context.forecasts.sources]
        taught = learn_from_diary(ledger, collection, sources, states, now)
        self._noted = last  # not before: if it fails, the next tick looks again
        if nights or taught:
            log.info(
                "damage.looked site=%s nights=%d taught=%d", context.site.name, len(nights), taught
            )

    def _harmful(
        self, day: date, states: State, collection: Collection, chores: ChoresOfPlants
    ) -> list[HarmfulNight]:
        """Return what the plants went through that a night may have harmed."""
        context, now = self.context, self.context.clock()
        ledger, site = context.ledger, context.site
        since = site.local_date(now - ANSWERS_WITHIN)
        confirms = ledger.chores.any_answered_since(site.name, since)
        plants = {
            plant.name: plant
            for plant in _perhaps_cold(ledger, collection, states, day)
            if _may_be_out(states[plant.name], confirms=confirms)
            or is_unmoved(chores.about, plant, states[plant.name], sun.night_of(site, day).end)
        }
        those = [(plant, states[name]) for name, plant in plants.items()]
        return [
            as_harmful_night(plants[name], night, now)
            for name, night in nights_of_plants(
                ledger, collection, those, day, chores.about
            ).items()
            if (night.is_placed or confirms)
            and is_worth_asking(ledger, collection, plants[name], night)
        ]


def is_worth_asking(ledger: Ledger, collection: Collection, plant: Plant, night: ColdNight) -> bool:
    """Whether a night may well have done damage that shows.

    What a room is said to hold is no measurement: it says nothing new of any of its nights.
    """
    if night.harm < LIKELY or (collection.spot(night.spot).holds_itself and not night.is_read):
        return False
    news = news_of(ledger, collection, plant)
    damage = Outcome(night.low_c, damaged=True, sd_k=night.sd_k)
    return news is not None and news.after.chance_of(damage) >= ASKED_FROM


def _perhaps_cold(ledger: Ledger, collection: Collection, states: State, day: date) -> list[Plant]:
    """Return the plants that the night may have harmed: by the morning round, which has counted its
    dose, or by a reading under their limit where they stand."""
    site = collection.site
    start = sun.night_of(site, day).start
    lowest = {
        spot.name: low.low_c
        for spot in collection.spots
        for low in lows_read(ledger, site, spot.name, start)
        if low.night == day
    }
    found = []
    for plant in collection.plants:
        state, limit = states.get(plant.name), plant.limits.night_low
        if state is None or limit is None:
            continue
        dosed = state.cold is not None and state.cold.night == day and state.cold.carried > 0
        # Where it stood then is found out later: by now it may be somewhere else.
        lows = [lowest[spot] for spot in (state.spot, plant.home) if spot in lowest]
        if dosed or any(low_c < limit.value for low_c in lows):
            found.append(plant)
    return found


def _may_be_out(state: PlantState, *, confirms: bool) -> bool:
    """Whether somebody has said where a plant is, or has left an order open as they seldom do."""
    return not state.assumed or (confirms and state.asked is not None)
