"""What a plant went through in past nights: where it stood, what was told, what was read there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial

from sillward.ledger import Ledger, StoredChore
from sillward.readings.spot_lesson import lows_read
from sillward.service.whereabouts import ChoresOfPlants, whereabouts
from sillward_rules.chore import ChoreKind, Reason
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

NIGHTS = 14
"""Nights that are shown. Judgement: harm of cold shows within two weeks."""

KNOWN_NIGHTS = 59
"""Nights that are looked at for the coldest of a year: chores are kept for 60 days, which say where
a plant stood."""

_NIGHTLY = frozenset({ChoreKind.CARRY_IN, ChoreKind.STAY_IN, ChoreKind.COVER})
"""Chores of an evening that are about its night."""

_COLD = frozenset({"temperature", "leaf temperature"})


@dataclass(frozen=True, slots=True)
class PlantNight:
    """A night of one plant.

    Args:
        day: the date of its evening.
        spots: where it stood at sunrise: one spot, or, where nobody confirmed a move that was told,
            the one to which it was to go and the one that it was to leave.
        is_known: whether anybody has ever said or told where it is. Otherwise it is taken to have
            been at its home.
        orders: what was told about it for this night.
        told_c: the low that was expected where it stood when that was told [°C]; None if nothing
            was said of it.
        limit_c: its limit in this night [°C]; None if it has none.
        read_c: the lowest temperature that a thermometer showed at these spots [°C]; None for none.
    """

    day: date
    spots: tuple[str, ...]
    is_known: bool
    orders: tuple[StoredChore, ...]
    told_c: float | None
    limit_c: float | None
    read_c: float | None

    @property
    def is_under(self) -> bool:
        """Whether the thermometer went below the limit, as far as both are known."""
        if self.read_c is None or self.limit_c is None:
            return False
        return self.read_c < self.limit_c


class SiteNights:
    """What was told and read at a site from a moment on, each looked up once for all plants."""

    def __init__(self, ledger: Ledger, site: Site, since: datetime) -> None:
        self._ledger, self._site, self._since = ledger, site, since
        self._found: dict[str, dict[date, float]] = {}
        self.chores = ChoresOfPlants(ledger, site, since - timedelta(days=1))

    def at(self, spot: str) -> Mapping[date, float]:
        """Return the low of each night that was read at a spot [°C]."""
        if spot not in self._found:
            lows = lows_read(self._ledger, self._site, spot, self._since)
            self._found[spot] = {low.night: low.low_c for low in lows}
        return self._found[spot]


def nights_of(
    ledger: Ledger,
    site: Site,
    plant: Plant,
    state: PlantState | None,
    now: datetime,
    nights: int = NIGHTS,
    of_site: SiteNights | None = None,
) -> list[PlantNight]:
    """Return the past nights of a plant of which anything is known, the last one first.

    state: what is known of it now. nights: how many are looked at. of_site: what was told and read
    since then, if several plants are looked at.
    """
    current = sun.night_at_or_after(site, now).day
    days = [current - timedelta(days=back) for back in range(1, nights + 1)]
    since = sun.night_of(site, days[-1]).start
    about = partial(ledger.chores.about, site.name) if of_site is None else of_site.chores.about
    chores = about(plant.name, since - timedelta(days=1))
    places = whereabouts(ledger, site, plant, chores, state, since)
    stood = {day: places.at(sun.night_of(site, day).end) for day in days}
    spots = {day: known or (plant.home,) for day, known in stood.items()}
    read = of_site or SiteNights(ledger, site, since)
    orders_of: dict[str, list[StoredChore]] = {}
    for chore in chores:
        if chore.kind in _NIGHTLY:
            orders_of.setdefault(chore.day, []).append(chore)
    found = []
    for day in days:
        orders = tuple(orders_of.get(str(day), ()))
        at_spots = [read.at(spot)[day] for spot in spots[day] if day in read.at(spot)]
        if orders or at_spots:
            told_c, limit_c = _told(plant, orders)
            low_c = min(at_spots, default=None)
            known = bool(stood[day])
            found.append(PlantNight(day, spots[day], known, orders, told_c, limit_c, low_c))
    return found


def coldest_told(reason: Reason) -> Reason | None:
    """Return the coldest value of a reason and those beside it that a plant is held against; None
    if it is about something else than cold."""
    cold = [
        (each.value, number, each)
        for number, each in enumerate((reason, *reason.also))
        if each.value is not None and each.quantity in _COLD and not each.above
    ]
    return min(cold)[2] if cold else None


def _told(plant: Plant, orders: Sequence[StoredChore]) -> tuple[float | None, float | None]:
    """Return the low that was told for a night, and the limit that it was held against [°C]."""
    reasons = [
        told
        for order in orders
        for reason in order.chore.because
        if reason.plant == plant.name and (told := coldest_told(reason)) is not None
    ]
    if reasons:
        coldest = min(reasons, key=lambda reason: reason.value or 0.0)
        return coldest.value, coldest.limit
    own = plant.limits.night_low
    return None, None if own is None else own.value
