"""Why: the numbers behind today's decisions for a plant, as `sillward why` has them."""

from werkzeug.wrappers import Response

from sillward.page.keys import key_of, named
from sillward.page.route import Route
from sillward.page.visit import Visit
from sillward.reports import why as report
from sillward.reports.why import Parts
from sillward.wording.voice import capital
from sillward_rules.explanation import explain_plant
from sillward_rules.plants.plant import Plant
from sillward_rules.sheet import Round


def why(visit: Visit, key: str) -> Response:
    """Show it for the coming night."""
    plants = {plant.name: plant for plant in visit.context.collection.plants}
    plant = plants[named(key, plants)]
    told = _parts(visit, plant)
    return visit.page(
        "why.html",
        key=key,
        called=plant.name,
        home=key_of(plant.home),
        home_name=plant.home,
        decisions=[capital(line) for line in told.decisions],
        night=[capital(line) for line in (*told.night, *told.weighing)],
        head=[capital(line) for line in told.head],
        rules=told.rules,
        heads=told.heads,
        hours=told.hours,
        legend=[*told.legend, *told.coldest],
    )


def _parts(visit: Visit, plant: Plant) -> Parts:
    """Return the explanation; within an hour the same, while nothing changes."""
    context = visit.context

    def make() -> Parts:
        collection, weather, states = context.collection, context.weather(), context.states()
        explanation = explain_plant(plant, collection, weather, states, context.clock())
        decided = [visit.desk.sheet(round_) for round_ in (Round.MORNING, Round.DUSK)]
        return report.parts(explanation, decided, visit.voice)

    return visit.desk.worked_out(("why", plant.name), make)


ROUTES = (Route("/why/<key>", "why", why),)
