"""Limits that the grower has accepted, laid over those that the collection gives.

The collection file is the grower's: nothing is written there. What was accepted is in the ledger,
with the value that it replaced. Where the file, or the group, gives another value by now, the
grower has decided anew: that counts, and the accepted limit is void until it is taken back.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sillward.config.build_collection import OWN_LIMIT
from sillward.config.household import Household
from sillward.errors import one_line
from sillward.ledger import Deed, Ledger
from sillward.ledger.tables.accepted_limits import AcceptedLimit
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.site import Site

COLD_LIMITS = ("night_low", "rest_low", "brief_low")
"""The limits that can be accepted."""

SAME = 0.005
"""Limits that differ by less are the same: files have two decimals at most."""


ACCEPTED, TAKEN_BACK = "limit accepted", "limit taken back"
"""The deeds, for the log."""


@dataclass(frozen=True, slots=True)
class LimitChange:
    """A limit of a plant [°C]: what it is by now, what it would become, and what its collection
    gives, which is the same as `was` unless another one was accepted before."""

    name: str
    was: float
    value: float
    given: float


def applied(household: Household, ledger: Ledger) -> Household:
    """Return a household with the limits that were accepted; the same one if they are in it."""
    collection = household.collection
    accepted = _by_plant(ledger.accepted_limits.of_site(collection.site.name))
    plants = tuple(
        _with_accepted(plant, accepted.get(plant.name, ()), collection.site)
        for plant in collection.plants
    )
    if plants == collection.plants:
        return household
    return replace(household, collection=replace(collection, plants=plants))


def as_given(household: Household) -> Household:
    """Return a household with the limits that its collection file and its groups give."""
    collection = household.collection
    plants = tuple(plant_as_given(plant) for plant in collection.plants)
    if plants == collection.plants:
        return household
    return replace(household, collection=replace(collection, plants=plants))


def plant_as_given(plant: Plant) -> Plant:
    """Return a plant with the limits that its collection file and its groups give."""
    given = {
        name: limit.was
        for name in COLD_LIMITS
        if (limit := getattr(plant.limits, name)) is not None and limit.was is not None
    }
    return _with_limits(plant, given) if given else plant


def void(household: Household, ledger: Ledger) -> list[AcceptedLimit]:
    """Return what was accepted of plants that are there, and does not count: the collection gives
    another value by now than the one that was replaced."""
    given = {plant.name: plant_as_given(plant).limits for plant in household.collection.plants}
    return [
        limit
        for limit in ledger.accepted_limits.of_site(household.collection.site.name)
        if limit.plant in given and not _counts(limit, given[limit.plant])
    ]


def accept(
    ledger: Ledger,
    site: str,
    plant: str,
    changes: Sequence[LimitChange],
    now: datetime,
    person: str | None,
    because: str,
) -> None:
    """Write down that the grower accepts these limits of a plant."""
    rows = [
        AcceptedLimit(plant, each.name, each.value, each.given, now, person, because)
        for each in changes
    ]
    told = ", ".join(f"{each.name} {each.value:g} °C" for each in changes)
    about = {"plants": [plant], "limits": told}
    with ledger.transaction():
        ledger.accepted_limits.keep(site, rows)
        ledger.deeds.insert(site, Deed(now, person, ACCEPTED, about))


def take_back(ledger: Ledger, site: str, plant: str, now: datetime, person: str | None) -> bool:
    """Let what the collection gives count again. Return whether anything was accepted."""
    with ledger.transaction():
        if not ledger.accepted_limits.remove(site, plant):
            return False
        ledger.deeds.insert(site, Deed(now, person, TAKEN_BACK, {"plants": [plant]}))
    return True


def _by_plant(limits: Sequence[AcceptedLimit]) -> Mapping[str, Sequence[AcceptedLimit]]:
    found: dict[str, list[AcceptedLimit]] = {}
    for limit in limits:
        found.setdefault(limit.plant, []).append(limit)
    return found


def _with_accepted(plant: Plant, accepted: Sequence[AcceptedLimit], site: Site) -> Plant:
    given = plant_as_given(plant)
    changed = dict(_overlaid(given.limits, accepted, site))
    return _with_limits(given, changed) if changed else given


def _with_limits(plant: Plant, changed: Mapping[str, Limit]) -> Plant:
    return replace(plant, limits=replace(plant.limits, **changed))  # type: ignore[arg-type]


def _overlaid(
    given: Limits, accepted: Sequence[AcceptedLimit], site: Site
) -> Iterator[tuple[str, Limit]]:
    for limit in accepted:
        if _counts(limit, given):
            was: Limit = getattr(given, limit.name)
            yield limit.name, Limit(limit.value, _origin(limit, site), was)


def _counts(limit: AcceptedLimit, given: Limits) -> bool:
    """Whether the collection still gives the value that was replaced."""
    if limit.name not in COLD_LIMITS:
        return False
    was: Limit | None = getattr(given, limit.name)
    return was is not None and abs(was.value - limit.replaced) < SAME


def _origin(limit: AcceptedLimit, site: Site) -> str:
    on = site.local_date(limit.accepted_at)
    why = one_line(limit.because, 80)
    return f"{OWN_LIMIT}: accepted {on} {why} (was {limit.replaced:g} °C)"
