"""Feeding: which mornings, together with which misting, and the rinse that must follow."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np

from sillward_rules.chore import LEAST_WINDOW, Chore, ChoreKind, Errand, Reason
from sillward_rules.feed import share_lost_at
from sillward_rules.film import LEAF_FILM
from sillward_rules.planners.mist import DayPlace, Plan, uptake
from sillward_rules.planners.wetting import STEP, DayFilms, DaySteps
from sillward_rules.plant import Limit
from sillward_rules.scene import Scene
from sillward_rules.season import Season

RINSE_AT = 2.0
"""Rinse before the salts of a drying film are so many times as strong as the feed. Judgement:
twice is half the film gone; the last tenth of the time carries ten times the salt."""

COLD_MORNING_C = 12.0
"""No feed while the air at the plants is colder than this: roots take up little. Judgement."""

SAME_HOUR = timedelta(hours=12)
"""A week later, but at an earlier hour, is a week later."""


def feed(
    scene: Scene, places: Sequence[DayPlace], plans: Sequence[Plan], steps: DaySteps
) -> list[Errand]:
    """Feed with the first misting, for as long as the rinse can follow before the salt bites.

    Only where that misting stays wet long enough to be taken up, in growing weather, while the
    plant grows, not more often than the habit says, and not beyond the plant's limit for salt.
    """
    errands = []
    for place, plan in zip(places, plans, strict=True):
        if not plan.mistings or not plan.mistings[0].takes:
            continue
        if not _due(scene, place) or not _growing_weather(scene, place, steps):
            continue
        rinse_at = strongest(scene, place.cohort.plant.limits.salt_high)
        if rinse_at is not None:
            errands += _feed(scene, place, plan, steps.films(place.column), rinse_at)
    return errands


def strongest(scene: Scene, limit: Limit | None) -> float | None:
    """How many times as strong as mixed the feed may get on a root before the rinse.

    None: even as mixed it is beyond the plant's limit.
    """
    mix = scene.collection.feed.mix if scene.collection.feed else None
    if mix is None or limit is None or float(mix.ec) == 0:
        return RINSE_AT
    times = limit.value / float(mix.ec)
    return None if times < 1 else max(min(RINSE_AT, times), 1.1)


def too_strong(scene: Scene) -> list[str]:
    """A line for the plants that the feed in use is too strong for."""
    recipe = scene.collection.feed
    if recipe is None:
        return []
    ec = float(recipe.mix.ec)
    names: dict[float, list[str]] = {}
    for cohort in scene.cohorts:
        limit = cohort.plant.limits.salt_high
        if limit is not None and cohort.plant.holder != "pot" and strongest(scene, limit) is None:
            names.setdefault(limit.value, []).extend(cohort.names)
    return [
        f"{', '.join(plants)}: not fed, the feed has {ec:.1f} mS/cm, limit {limit:g} mS/cm"
        for limit, plants in names.items()
    ]


def within(mistings: Sequence[Chore], feeds: Sequence[Errand]) -> list[Errand]:
    """Feeds fitted into the walk in which their plants are misted first; without room, none."""
    first: dict[str, Chore] = {}
    for chore in sorted(mistings, key=lambda one: one.before):
        if chore.kind is ChoreKind.MIST:
            for names, _ in chore.grounds:
                first.setdefault(names[0], chore)
    fitted = []
    for errand in feeds:
        walk = first.get(errand.plants[0])
        if walk is None or walk.not_before is None:
            continue
        last = min(errand.before, walk.before)
        if walk.not_before + LEAST_WINDOW <= last:
            fitted.append(replace(errand, not_before=walk.not_before, before=last))
    return fitted


def rinse(scene: Scene, feeds: Sequence[Chore], steps: DaySteps) -> list[Errand]:
    """The rinse after each feed: plain water, not before the uptake time, before the salt bites."""
    errands = []
    for chore in feeds:
        films = steps.films(scene.columns[chore.from_spot])
        for names, reason in chore.grounds:
            start = (chore.not_before or chore.before) + scene.habits.velamen_uptake
            end = chore.before + timedelta(minutes=reason.value or 0.0)
            if reason.value is None:  # the film outlasts the day
                end = films.events.sunset
            because = replace(reason, quantity="rinse", at=end)
            spot = chore.from_spot
            errands.append(
                Errand(ChoreKind.FLUSH, names, spot, spot, min(start, end), end, because)
            )
    return errands


def _due(scene: Scene, place: DayPlace) -> bool:
    """Whether it is long enough since the last feed; twice as long while growth slows."""
    home = scene.columns[place.cohort.plant.home]
    season = scene.climate.season[home]
    if season is Season.REST:
        return False
    pause = scene.habits.feed_every * (1 if season is Season.GROWING else 2)
    fed_at = place.cohort.state.fed_at
    return fed_at is None or scene.now - fed_at >= pause - SAME_HOUR


def _growing_weather(scene: Scene, place: DayPlace, steps: DaySteps) -> bool:
    """Whether the 24 hours from sunrise are warm on average, as far as the growers' bound."""
    rows = scene.rows(steps.events.sunrise, steps.events.sunrise + timedelta(hours=23))
    temp = scene.climate.temp_c[rows, place.column]
    known = bool(temp.size) and bool(np.isfinite(temp).all())
    return known and float(temp.mean()) >= scene.habits.feed_from_c


def _feed(
    scene: Scene, place: DayPlace, plan: Plan, films: DayFilms, rinse_at: float
) -> list[Errand]:
    """Feed for as long as what is taken up can be taken up before the rinse is due."""
    first = plan.mistings[0]
    velamen, share = place.cohort.plant.velamen, float(share_lost_at(rinse_at))
    # The salts burn where they are taken up: in velamen where there is some, else on the leaf.
    lasts = films.velamen_lasting(share) if velamen else films.lasting(share * LEAF_FILM.depth_mm)
    wanted = uptake(scene, velamen=velamen) / timedelta(hours=1)
    fits = (lasts >= wanted) & (films.temp_c >= COLD_MORNING_C)
    start, end = films.index(first.opens), films.index(first.closes)
    warm = np.flatnonzero(fits[start : end + 1])
    if not warm.size:
        return []
    opens = max(first.opens, films.starts_at(start + int(warm[0])))
    stops = np.flatnonzero(~fits[start + int(warm[0]) : end + 1])
    closes = first.closes
    if stops.size:
        closes = min(closes, films.starts_at(start + int(warm[0]) + int(stops[0])))
    if opens + LEAST_WINDOW > closes:
        return []
    minutes = films.at(lasts, closes - STEP) * 60
    reason = Reason(
        plant=place.cohort.names[0],
        quantity="film until rinse",
        value=float(np.floor(minutes)) if np.isfinite(minutes) else None,
        unit="min",
        limit=None,
        at=closes,
        origin=f"rinse before the salts are {rinse_at:.2g} times as strong",
    )
    names, spot = place.cohort.names, place.spot
    return [Errand(ChoreKind.FEED, names, spot, spot, opens, closes, reason)]
