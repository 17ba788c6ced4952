"""All addresses of the page: each module of `views` lists its own."""

from collections.abc import Sequence
from itertools import chain

from sillward.page.route import Route
from sillward.page.views import answers, assets, notes, plants, tap, today

ROUTES: Sequence[Route] = tuple(
    chain(
        answers.ROUTES,
        assets.ROUTES,
        notes.ROUTES,
        plants.ROUTES,
        tap.ROUTES,
        today.ROUTES,
    )
)
