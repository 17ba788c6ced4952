"""All addresses of the page: each module of `views` lists its own."""

from collections.abc import Sequence
from itertools import chain

from sillward.page.route import Route
from sillward.page.views import (
    ahead,
    answers,
    assets,
    away,
    damage,
    notes,
    phones,
    plants,
    readings,
    sign_in,
    spots,
    status,
    tap,
    today,
    told,
    why,
)

ROUTES: Sequence[Route] = tuple(
    chain(
        ahead.ROUTES,
        answers.ROUTES,
        assets.ROUTES,
        away.ROUTES,
        damage.ROUTES,
        notes.ROUTES,
        phones.ROUTES,
        plants.ROUTES,
        readings.ROUTES,
        sign_in.ROUTES,
        spots.ROUTES,
        status.ROUTES,
        tap.ROUTES,
        today.ROUTES,
        told.ROUTES,
        why.ROUTES,
    )
)
