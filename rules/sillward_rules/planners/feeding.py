"""Feeding: which mornings, together with which misting, and the rinse that must follow."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, finite_or_none, group_rows
from sillward_rules.chore import Chore, ChoreKind, Errand, Grounds, Reason
from sillward_rules.physics.water_film import LEAF_FILM
from sillward_rules.planners.day_films import STEP, DayFilms, SpotFilms
from sillward_rules.planners.mist import NO_PLAN, DayPlans
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
"""A feed may come this much sooner than the habit says, so that a week later at an earlier hour
counts."""


@dataclass(frozen=True, slots=True, eq=False)
class FeedWindow:
    """From when to when plants may be fed, and how soon after that they must be rinsed.

    - rinse_within: None if the film of the feed outlasts the day.
    - reason: the film that allows it; without the name of a plant.
    """

    opens: datetime
    closes: datetime
    rinse_within: timedelta | None
    reason: Reason


@dataclass(frozen=True, slots=True, eq=False)
class FeedWindows:
    """The feed windows of a day.

    - opens, closes (cohort,): when they open and close [unix s]; NaN for plants that are not fed.
    - of: the window of each cohort that may be fed.
    """

    opens: Array
    closes: Array
    of: dict[int, FeedWindow]


def find_windows(
    scene: Scene, places: Places, planned: DayPlans, films: DayFilms, fit: np.ndarray
) -> FeedWindows:
    """Return when plants may be fed with their first misting, so that the rinse follows in time.

    Only where that misting stays wet long enough to be taken up, in growing weather, while the
    plant grows, not more often than the habit says, and not beyond the plant's limit for salt.

    fit (cohort,) : the result of `ready`.
    """
    opens, closes = np.full(fit.shape, np.nan), np.full(fit.shape, np.nan)
    windows: dict[int, FeedWindow] = {}
    rinse_at = strongest(scene)
    cohorts = np.flatnonzero(fit & np.isfinite(rinse_at))
    if not cohorts.size:
        return FeedWindows(opens, closes, windows)
    velamen = scene.traits.velamen
    root_from_c = scene.min_warmth(lambda warmth: warmth.root_from_c)
    keys = (planned.which, velamen, rinse_at, scene.roots, places.until, root_from_c)
    first, groups = group_rows(*(key[cohorts] for key in keys))
    for number, index in enumerate(cohorts[first].tolist()):
        misting = planned.plans[int(planned.which[index])].mistings[0]
        at_spot, bare = films.at_spot(int(places.column[index])), bool(velamen[index])
        until = _wet_until(scene, at_spot, places, index)
        warm = at_spot.temp_c >= root_from_c[index]
        window = _window(scene, misting, at_spot, bare, float(rinse_at[index]), until, warm)
        if window is None:
            continue
        fed = cohorts[groups == number]
        opens[fed], closes[fed] = window.opens.timestamp(), window.closes.timestamp()
        windows |= dict.fromkeys(fed.tolist(), window)
    return FeedWindows(opens, closes, windows)


def feed(scene: Scene, places: Places, windows: FeedWindows) -> list[Errand]:
    """Return errands to feed plants in their windows."""

    def reason(cohort: int) -> Reason:
        return replace(windows.of[cohort].reason, plant=scene.cohorts[cohort].names[0])

    fed = np.flatnonzero(np.isfinite(windows.opens))
    here, times = (places.column, places.column), (windows.opens, windows.closes)
    return make_errands(scene, ChoreKind.FEED, fed, here, times, reason)


def ready(
    scene: Scene, places: Places, planned: DayPlans, films: DayFilms, fed: Array
) -> np.ndarray:
    """(cohort,) whether plants are due to be fed that day, whatever the strength of the feed.

    fed (cohort,) : when each was last fed, as in `last_fed`.
    """
    takes = [bool(plan.mistings) and plan.mistings[0].takes for plan in planned.plans]
    fit = (planned.which != NO_PLAN) & np.array(takes or [False], dtype=bool)[planned.which]
    return np.asarray(fit & _due(scene, films, fed) & _growing_weather(scene, films, places.column))


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


def fit_into_trips(mistings: Sequence[Chore], feeds: Sequence[Errand]) -> list[Errand]:
    """Return the feeds that fit into the trip on which their plants are first misted, cut to it."""
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


def rinse(
    scene: Scene, feeds: Sequence[Chore], windows: FeedWindows, places: Places, films: DayFilms
) -> list[Errand]:
    """Return the rinse after each feed: plain water, after the uptake time and before it burns.

    feeds : made of errands in these windows.
    """
    rinses = []
    for chore in feeds:
        at_spot, spot = films.at_spot(scene.columns[chore.from_spot]), chore.from_spot
        for names, reason in chore.grounds:
            cohort = scene.cohort_of(names)
            velamen = bool(scene.traits.velamen[cohort])
            start = (chore.not_before or chore.before) + uptake(scene, velamen=velamen)
            within = windows.of[cohort].rinse_within
            end = at_spot.events.sunset if within is None else chore.before + within
            free_until = _free_until(at_spot, chore.before)
            end = end if free_until is None else min(end, free_until)
            end = min(end, _wet_until(scene, at_spot, places, cohort))
            because = replace(reason, quantity="rinse", at=end)
            grounds = Grounds.of((names, because))
            rinses.append(Errand(ChoreKind.FLUSH, spot, spot, min(start, end), end, grounds))
    return rinses


def last_fed(scene: Scene) -> Array:
    """(cohort,) when each was last fed, as far as is known [unix s]; -inf for never."""
    fed = [cohort.state.fed_at for cohort in scene.cohorts]
    return np.array([-np.inf if at is None else at.timestamp() for at in fed])


def _due(scene: Scene, films: DayFilms, fed: Array) -> np.ndarray:
    """(cohort,) whether the last feed is long enough ago; never while growth rests.

    While growth slows down it takes twice as long.
    """
    seasons = scene.seasons_to_feed
    pause_s = np.empty(seasons.shape)
    for season in Season:
        pause_s[seasons == season] = _pause(scene, season)
    since = max(scene.now, films.events.sunrise).timestamp() - fed
    return np.asarray(since >= pause_s - SAME_HOUR.total_seconds())


def _pause(scene: Scene, season: Season) -> float:
    if season is Season.REST:
        return np.inf
    return scene.habits.feed_every.total_seconds() * (1 if season is Season.GROWING else 2)


def _growing_weather(scene: Scene, films: DayFilms, column: Standing) -> np.ndarray:
    """(cohort,) whether the 24 hours from sunrise are as warm on average as growth wants."""
    sunrise = films.events.sunrise
    rows = scene.rows(sunrise, sunrise + timedelta(hours=24) - timedelta(seconds=1))
    temp = scene.climate.temp_c[rows]
    if rows.size < 24:
        return np.zeros(column.shape, dtype=bool)
    given = scene.habits.feed_from_c
    wanted = scene.min_warmth(lambda warmth: warmth.feed_from_c) if given is None else given
    return np.asarray(temp.mean(axis=0)[column] >= wanted)  # NaN is not


def _window(
    scene: Scene,
    first: Misting,
    films: SpotFilms,
    velamen: bool,
    rinse_at: float,
    until: datetime,
    warm: np.ndarray,
) -> FeedWindow | None:
    """Return when to feed so that the feed is taken up before the rinse is due; None for never.

    - first: the misting with which plants are fed.
    - rinse_at: as in `strongest`.
    - until: when the rinse must be done, for the crowns to dry and the plants to go in.
    - warm (step,): whether it is warm enough for roots to take up anything.
    """
    share = float(share_lost_at(rinse_at))
    # The salts burn where they are taken up: in velamen where there is some, else on the leaf.
    lasts = films.velamen_lasting(share) if velamen else films.lasting(share * LEAF_FILM.depth_mm)
    wanted = uptake(scene, velamen=velamen) / timedelta(hours=1)
    fits = (lasts >= wanted) & warm
    start, end = films.index(first.opens), films.index(first.closes)
    usable = np.flatnonzero(fits[start : end + 1])
    if not usable.size:
        return None
    start += int(usable[0])
    opens, closes = max(first.opens, films.starts_at(start)), first.closes
    stops = np.flatnonzero(~fits[start : end + 1])
    if stops.size:
        closes = min(closes, films.starts_at(start + int(stops[0])))
    free_until = _free_until(films, opens)
    until = until if free_until is None else min(until, free_until)
    closes = min(closes, until - uptake(scene, velamen=velamen))  # time for the rinse too
    if opens + MIN_WINDOW > closes:
        return None
    # Whole minutes, as the grower is told them.
    minutes = np.floor(films.at(lasts, closes - STEP) * 60)
    rinse_within = timedelta(minutes=minutes) if np.isfinite(minutes) else None
    reason = Reason(
        plant="",
        quantity="film until rinse",
        value=finite_or_none(minutes, 0),
        unit="min",
        limit=None,
        at=closes,
        origin=f"rinse before the salts are {rinse_at:.2g} times as strong",
    )
    return FeedWindow(opens, closes, rinse_within, reason)


def _wet_until(scene: Scene, films: SpotFilms, places: Places, cohort: int) -> datetime:
    """Return until when a cohort may be wetted: its crowns dry by dark, and it has not gone in."""
    last = films.last_wetting(scene.traits.plants[cohort].rot) or films.events.sunrise
    return min(last, moment(places.until[cohort]))


def _free_until(films: SpotFilms, at: datetime) -> datetime | None:
    """Return until when the grower can water from this moment on; None for an open end."""
    start = films.index(at)
    ends = np.flatnonzero(~films.day_air.free[start:])
    return films.starts_at(start + int(ends[0])) if ends.size else None
