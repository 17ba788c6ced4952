"""A page over a desk with everything around it invented: any household, any hour, any forecast."""

from dataclasses import replace

from sillward.config.household import Household
from sillward.page.desk import PageDesk
from sillward.page.keys import key_of
from sillward.text.units import Units
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from tests.support.desks import BENCH, ROOM, World, a_household, a_world
from tests.support.pages import Visitor

BENCH_PAGE = f"/spots/{key_of('bench')}"
"""The address of the outdoor spot."""

US = Units("°F", "12 h", "mph")

SCRIPT = "<script>alert(1)</script>"


def a_garden(
    *plants: Plant,
    spots: tuple[Spot, ...] = (BENCH, ROOM),
    site: Site | None = None,
    units: Units | None = None,
) -> Household:
    """The household of the tests of the service, with other plants, spots, place or units."""
    made = a_household(plants=plants)
    collection = replace(made.collection, spots=spots, site=site or made.collection.site)
    return replace(made, collection=collection, units=units or made.units)


def a_visitor(
    household: Household | None = None,
    now: str = "17:00",
    *,
    low_c: float = 3.0,
    forecast: bool = True,
    told: bool = False,
) -> tuple[Visitor, World]:
    """A browser on the page of a world at this hour, and that world.

    forecast: whether one was fetched. told: whether a tick has told what was due.
    """
    world = a_world(now, low_c=low_c)
    world.household = household or world.household
    desk = world.desk
    if forecast:
        desk.context.updater.fetch_now()
    if told:
        desk.tick()
    return Visitor(PageDesk(desk.context, lambda: world.household)), world
