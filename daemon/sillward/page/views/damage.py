"""Answers about damage, and limits that are accepted or taken back, on the page of a plant."""

from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from sillward.errors import UsageError
from sillward.page.damage_facts import offer_of
from sillward.page.route import Route
from sillward.page.views.plants import name_of, plant_named, plant_page
from sillward.page.visit import Visit
from sillward.service import accepted_limits, damage
from sillward.service.limit_news import news_of
from sillward_rules.plants.plant import Plant


def no_damage(visit: Visit, key: str) -> Response:
    """Note that somebody has looked, and that no damage shows after the nights that were asked
    about."""
    it, context = _plant(visit, key), visit.context
    try:
        nights = damage.no_damage(context.ledger, context.site, it, (), visit.now, visit.person)
    except UsageError:  # pressed twice
        return visit.redirect("plant", key=key)
    over = all(night.answered_at is not None for night in nights)
    return visit.redirect("plant", key=key, said="unharmed" if over else "unharmed_so_far")


def accept(visit: Visit, key: str) -> Response:
    """Accept the limits that were shown; if others are proposed by now, those are shown first."""
    it, context = _plant(visit, key), visit.context
    news = news_of(context.ledger, context.household.collection, it)
    if news is None or not news.changes:
        return visit.redirect("plant", key=key)
    if visit.field("offer") != offer_of(news):
        return plant_page(visit, key, status=409, unaccepted="a different limit is now proposed")
    accepted_limits.accept(
        context.ledger,
        context.site.name,
        it.name,
        news.changes,
        visit.now,
        visit.person,
        news.because,
    )
    return visit.redirect("plant", key=key, said="accepted")


def take_back(visit: Visit, key: str) -> Response:
    """Let the limits of the collection count again."""
    it, context = _plant(visit, key), visit.context
    taken = accepted_limits.take_back(
        context.ledger, context.site.name, it.name, visit.now, visit.person
    )
    said = {"said": "limits"} if taken else {}
    return visit.redirect("plant", key=key, **said)


def _plant(visit: Visit, key: str) -> Plant:
    """Return a plant of the collection. Raise NotFound."""
    it = plant_named(visit, name_of(visit, key))
    if it is None:
        raise NotFound
    return it


ROUTES = (
    Route("/plants/<key>/damage/none", "no_damage", no_damage, "POST"),
    Route("/plants/<key>/limits/accept", "accept_limits", accept, "POST"),
    Route("/plants/<key>/limits/take-back", "take_back_limits", take_back, "POST"),
)
