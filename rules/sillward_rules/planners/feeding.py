"""Feeding: which mornings, together with which misting, and the rinse that must follow."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.chore import Chore, ChoreKind, Errand, Grounds, Reason
from sillward_rules.physics.water_film import LEAF_FILM
from sillward_rules.planners.day_films import STEP, DayFilms, DaySteps
from sillward_rules.planners.mist import DayPlans
from sillward_rules.planners.mist_day import Misting, uptake
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.plants.fertiliser import share_lost_at
from sillward_rules.remark import FeedTooStrong, Remark
from sillward_rules.trips import MIN_WINDOW
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.season import Season

RINSE_AT = 2.0
"""Rinse before the salts of a drying film are this many times as strong as the feed. Judgement: at
twice half the film is gone; in the last tenth of the time it is ten times as strong."""

SAME_HOUR = timedelta(hours=12)
"""A feed may come this much sooner than the habit says: a week later at an earlier hour counts."""


def feed(
    scene: Scene, places: Places, planned: DayPlans, steps: DaySteps, fit: np.ndarray
) -> list[Errand]:
    """Return errands to feed with the first misting, while the rinse can follow in time.

    Only where that misting stays wet long enough to be taken up, in growing weather, while the
    plant grows, not more often than the habit says, and not beyond the plant's limit for salt.
    fit (cohort,) : the result of `ready`.
    """
    opens, closes, reasons = windows(scene, places, planned, steps, fit)
    here = (places.column, places.column)

    def reason(cohort: int) -> Reason:
        return replace(reasons[cohort], plant=scene.cohorts[cohort].names[0])

    fed = np.flatnonzero(np.isfinite(opens))
    return make_errands(scene, ChoreKind.FEED, fed, here, (opens, closes), reason)


def windows(
    scene: Scene, places: Places, planned: DayPlans, steps: DaySteps, fit: np.ndarray
) -> tuple[Array, Array, dict[int, Reason]]:
    """(cohort,) from when to when each may be fed [unix s], NaN for never; and the reasons."""
    rinse_at = strongest(scene)
    cohorts = np.flatnonzero(fit & np.isfinite(rinse_at))
    opens, closes = np.full(fit.shape, np.nan), np.full(fit.shape, np.nan)
    reasons: dict[int, Reason] = {}
    if not cohorts.size:
        return opens, closes, reasons
    velamen = scene.traits.velamen
    cold = scene.wanted_warmth("root_from_c")
    keys = (planned.which, velamen, rinse_at, scene.roots, places.until, cold)
    first, groups = group_rows(*(key[cohorts] for key in keys))
    for number, index in enumerate(cohorts[first].tolist()):
        misting = planned.plans[int(planned.which[index])].mistings[0]
        films, bare = steps.films(int(places.column[index])), bool(velamen[index])
        until = _wet_until(scene, films, places, index)
        takes = films.temp_c >= cold[index]
        found = _window(scene, misting, films, bare, float(rinse_at[index]), until, takes)
        if found is None:
            continue
        fed = cohorts[groups == number]
        opens[fed], closes[fed] = found[0].timestamp(), found[1].timestamp()
        reasons |= dict.fromkeys(fed.tolist(), found[2])
    return opens, closes, reasons


def ready(
    scene: Scene, places: Places, planned: DayPlans, steps: DaySteps, fed: Array
) -> np.ndarray:
    """(cohort,) whether it would be fed that day, whatever the strength of the feed.

    fed (cohort,) : when each was fed last, see `last_fed`.
    """
    takes = [bool(plan.mistings) and plan.mistings[0].takes for plan in planned.plans]
    fit = (planned.which >= 0) & np.array(takes or [False], dtype=bool)[planned.which]
    return np.asarray(fit & _due(scene, steps, fed) & _growing_weather(scene, steps, places.column))


def strongest(scene: Scene) -> Array:
    """(cohort,) how many times as strong as mixed the feed may get on a root before the rinse.

    NaN where even the fresh mix is beyond the plants' limit.
    """
    limit = scene.traits.limits["salt_high"]
    ec = float(scene.collection.feed.mix.ec) if scene.collection.feed else 0.0
    if ec == 0:
        return np.full(limit.shape, RINSE_AT)
    times = np.where(np.isnan(limit), np.inf, limit) / ec
    return np.where(times < 1, np.nan, np.clip(times, 1.1, RINSE_AT))


def too_strong(scene: Scene, fit: np.ndarray) -> list[Remark]:
    """Return the plants for which the feed in use is too strong, by their limit."""
    recipe = scene.collection.feed
    if recipe is None:
        return []
    limit = scene.traits.limits["salt_high"]
    beyond = np.flatnonzero(fit & np.isnan(strongest(scene)))
    by_limit: dict[float, list[int]] = {}
    for cohort in beyond.tolist():
        by_limit.setdefault(float(limit[cohort]), []).append(cohort)
    ec = float(recipe.mix.ec)
    return [FeedTooStrong(scene.names(whose), ec, bound) for bound, whose in by_limit.items()]


def within(mistings: Sequence[Chore], feeds: Sequence[Errand]) -> list[Errand]:
    """Return feeds fitted into the trip on which their plants are first misted, where they fit."""
    first: dict[str, Chore] = {}
    for chore in sorted(mistings, key=lambda chore: chore.before):
        if chore.kind is ChoreKind.MIST:
            for names in chore.grounds.groups:
                first.setdefault(names[0], chore)
    fitted = []
    for errand in feeds:
        by_trip: dict[str, list[tuple[tuple[str, ...], Reason]]] = {}
        for names, reason in errand.grounds:
            if names[0] in first:
                by_trip.setdefault(first[names[0]].id, []).append((names, reason))
        for pairs in by_trip.values():
            trip = first[pairs[0][0][0]]
            opens = max(errand.not_before or trip.before, trip.not_before or trip.before)
            last = min(errand.before, trip.before)
            if opens + MIN_WINDOW <= last:
                grounds = Grounds.of(*pairs)
                fitted.append(replace(errand, not_before=opens, before=last, grounds=grounds))
    return fitted


def rinse(scene: Scene, feeds: Sequence[Chore], places: Places, steps: DaySteps) -> list[Errand]:
    """Return the rinse after each feed: plain water, after the uptake time and before it burns."""
    rinses = []
    for chore in feeds:
        films = steps.films(scene.columns[chore.from_spot])
        for names, reason in chore.grounds:
            cohort = scene.cohort_of[names[0]]
            velamen = bool(scene.traits.velamen[cohort])
            start = (chore.not_before or chore.before) + uptake(scene, velamen=velamen)
            end = chore.before + timedelta(minutes=reason.value or 0.0)
            if reason.value is None:  # the film outlasts the day
                end = films.events.sunset
            free_until = _free_until(films, chore.before)
            end = end if free_until is None else min(end, free_until)
            end = min(end, _wet_until(scene, films, places, cohort))
            because = replace(reason, quantity="rinse", at=end)
            spot = chore.from_spot
            rinses.append(
                Errand(
                    ChoreKind.FLUSH,
                    spot,
                    spot,
                    min(start, end),
                    end,
                    Grounds.of((names, because)),
                )
            )
    return rinses


def last_fed(scene: Scene) -> Array:
    """(cohort,) when each was fed last, as far as is known [unix s]; -inf for never."""
    fed = [cohort.state.fed_at for cohort in scene.cohorts]
    return np.array([-np.inf if at is None else at.timestamp() for at in fed])


def _due(scene: Scene, steps: DaySteps, fed: Array) -> np.ndarray:
    """(cohort,) whether the last feed is long enough ago; never while growth rests.

    While growth slows down it takes twice as long.
    """
    seasons = scene.seasons
    pause_s = np.empty(seasons.shape)
    for season in Season:
        pause_s[seasons == season] = _pause(scene, season)
    since = max(scene.now, steps.events.sunrise).timestamp() - fed
    return np.asarray(since >= pause_s - SAME_HOUR.total_seconds())


def _pause(scene: Scene, season: Season) -> float:
    if season is Season.REST:
        return np.inf
    return scene.habits.feed_every.total_seconds() * (1 if season is Season.GROWING else 2)


def _growing_weather(scene: Scene, steps: DaySteps, column: Standing) -> np.ndarray:
    """(cohort,) whether the 24 hours from sunrise are as warm on average as growth wants."""
    sunrise = steps.events.sunrise
    rows = scene.rows(sunrise, sunrise + timedelta(hours=24) - timedelta(seconds=1))
    temp = scene.climate.temp_c[rows]
    if rows.size < 24:
        return np.zeros(column.shape, dtype=bool)
    given = scene.habits.feed_from_c
    wanted = scene.wanted_warmth("feed_from_c") if given is None else given
    return np.asarray(temp.mean(axis=0)[column] >= wanted)  # NaN is not


def _window(
    scene: Scene,
    first: Misting,
    films: DayFilms,
    velamen: bool,
    rinse_at: float,
    until: datetime,
    takes: np.ndarray,
) -> tuple[datetime, datetime, Reason] | None:
    """Return from when to when to feed so that it is taken up before the rinse is due, and why.

    takes (step,) : whether it is warm enough for roots to take up anything. until : when the rinse
    must be done, for the crowns to dry and the plants to go in. None if there is no such time.
    """
    share = float(share_lost_at(rinse_at))
    # The salts burn where they are taken up: in velamen where there is some, else on the leaf.
    lasts = films.velamen_lasting(share) if velamen else films.lasting(share * LEAF_FILM.depth_mm)
    wanted = uptake(scene, velamen=velamen) / timedelta(hours=1)
    fits = (lasts >= wanted) & takes
    start, end = films.index(first.opens), films.index(first.closes)
    warm = np.flatnonzero(fits[start : end + 1])
    if not warm.size:
        return None
    start += int(warm[0])
    opens, closes = max(first.opens, films.starts_at(start)), first.closes
    stops = np.flatnonzero(~fits[start : end + 1])
    if stops.size:
        closes = min(closes, films.starts_at(start + int(stops[0])))
    free_until = _free_until(films, opens)
    until = until if free_until is None else min(until, free_until)
    closes = min(closes, until - uptake(scene, velamen=velamen))  # time for the rinse too
    if opens + MIN_WINDOW > closes:
        return None
    minutes = films.at(lasts, closes - STEP) * 60
    reason = Reason(
        plant="",
        quantity="film until rinse",
        value=float(np.floor(minutes)) if np.isfinite(minutes) else None,
        unit="min",
        limit=None,
        at=closes,
        origin=f"rinse before the salts are {rinse_at:.2g} times as strong",
    )
    return opens, closes, reason


def _wet_until(scene: Scene, films: DayFilms, places: Places, cohort: int) -> datetime:
    """Return until when a cohort may be wetted: its crowns dry by dark, and it has not gone in."""
    last = films.last_wetting(scene.traits.plants[cohort].rot) or films.events.sunrise
    return min(last, moment(places.until[cohort]))


def _free_until(films: DayFilms, at: datetime) -> datetime | None:
    """Return until when the grower can water from this moment on; None for any time."""
    start = films.index(at)
    ends = np.flatnonzero(~films.steps.free[start:])
    return films.starts_at(start + int(ends[0])) if ends.size else None
