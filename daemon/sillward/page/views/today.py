"""What is to do today and tonight, in walking order, with a button for each answer."""

from werkzeug.wrappers import Response

from sillward.page.route import Route
from sillward.page.visit import Visit


def today(visit: Visit) -> Response:
    """Show it."""
    site = visit.context.site
    chores = visit.context.ledger.chores.of_day(site.name, site.local_date(visit.now))
    return visit.page("today.html", cards=[chore.id for chore in chores if chore.open])


ROUTES = (Route("/", "today", today),)
