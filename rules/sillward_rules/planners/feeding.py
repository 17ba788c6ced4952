"""Feeding: what plants are given with their first misting, when, and the rinse that must follow."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, finite_or_none, group_rows
from sillward_rules.chore import Chore, ChoreKind, Errand, Grounds, Reason
from sillward_rules.physics.water_film import LEAF_FILM
from sillward_rules.planners.day_films import STEP, DayFilms, SpotFilms
from sillward_rules.planners.mist import NO_PLAN, DayPlans
from sillward_rules.planners.mist_day import Misting
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.planners.solutions import Given, Solution, solutions_due
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.fertiliser import share_lost_at
from sillward_rules.remark import FeedWaits, Remark
from sillward_rules.trips import MIN_WINDOW
from sillward_rules.weather.hourly import moment

RINSE_AT = 2.0
"""Rinse before the salts of a drying film are this many times as strong as the feed. Judgement: at
twice half the film is gone; in the last tenth of the time it is ten times as strong."""

NOTHING = -1
"""The number of no solution."""

WAITS_TOLD_AFTER = timedelta(days=7)
"""What waits for another is told once it has been due for so long. Judgement: before that, it
is the plan at work; that two things cloud is said beside the mix of each."""

COURSE_FILM, COURSE_RINSE = "film of a course", "rinse of a course"
"""Quantities of reasons: how long the film of a course lasts until its salts are too strong, beside
how long it is to stay; and the same for the rinse that follows."""


@dataclass(frozen=True, slots=True, eq=False)
class FeedWindow:
    """From when to when plants may be fed, and how soon after that they must be rinsed.

    - hold: how long it must stay on the plant before that, to be taken up.
    - rinse_within: None if the film of the feed outlasts the day.
    - reason: the film that allows it; without the name of a plant.
    """

    opens: datetime
    closes: datetime
    hold: timedelta
    rinse_within: timedelta | None
    reason: Reason


@dataclass(frozen=True, slots=True, eq=False)
class FeedPlan:
    """What plants are given with their first misting of a day.

    - solutions: every feed and course; who is due is also known to get it in this weather, if its
      film lasts and it is not too strong.
    - which (cohort,): the number of the solution that each gets, or `NOTHING`.
    - opens, closes (cohort,): from when and until when [unix s]; NaN for plants that get none.
    - of: the window of each cohort that gets one.
    - waits: for each pair of solutions, those plants that get the first and have to wait for the
      second, which has been due for `WAITS_TOLD_AFTER`.
    """

    solutions: tuple[Solution, ...]
    which: np.ndarray
    opens: Array
    closes: Array
    of: dict[int, FeedWindow]
    waits: dict[tuple[int, int], np.ndarray]

    def followers(self, number: int) -> np.ndarray:
        """Return the cohorts that get a solution."""
        return np.flatnonzero(self.which == number)

    def counts(self, scene: Scene, kind: ChoreKind) -> list[tuple[str, int]]:
        """Return how many plants get each solution of a kind, by its name."""
        counts = [
            (solution.what, int(scene.sizes[self.followers(number)].sum()))
            for number, solution in enumerate(self.solutions)
            if solution.kind is kind
        ]
        return [(what, count) for what, count in counts if count]


def plan_feeds(
    scene: Scene,
    places: Places,
    planned: DayPlans,
    films: DayFilms,
    given: Given,
    *,
    held: np.ndarray | None = None,
) -> FeedPlan:
    """Return what plants are given with their first misting, so that the rinse follows in time.

    Only where that misting stays wet long enough to be taken up, in growing weather, while the
    plant grows, not more often than is wanted, and not beyond the plant's limit for salt. If
    several things are due and possible, a plant gets what it got longest ago, and waits for the
    others until another day.

    held (cohort,) : plants that get nothing, whatever is due.
    """
    fit = _takes_up(scene, places, planned, films)
    if held is not None:
        fit &= ~held
    solutions = tuple(
        replace(solution, due=solution.due & fit) for solution in solutions_due(scene, films, given)
    )
    windows = [find_windows(scene, places, planned, films, one) for one in solutions]
    opens = np.stack([window[0] for window in windows])
    able = np.isfinite(opens)
    # Of those that were never given, a feed comes before a course, and the first before the others.
    last = np.where(able, np.stack([solution.last for solution in solutions]), np.inf)
    first = last.argmin(axis=0)
    which = np.where(able.any(axis=0), first, NOTHING)
    rows = np.arange(which.size)
    of = {
        cohort: windows[number][2][cohort]
        for cohort, number in enumerate(which.tolist())
        if number != NOTHING
    }
    due_for = scene.now.timestamp() - np.stack([solution.since for solution in solutions])
    late = able & np.isfinite(due_for) & (due_for >= WAITS_TOLD_AFTER.total_seconds())
    waits = {
        (one, other): np.flatnonzero((which == one) & late[other])
        for one in np.unique(which[which != NOTHING]).tolist()
        for other in range(len(solutions))
        if other != one and ((which == one) & late[other]).any()
    }
    closes = np.stack([window[1] for window in windows])
    return FeedPlan(solutions, which, opens[first, rows], closes[first, rows], of, waits)


def find_windows(
    scene: Scene, places: Places, planned: DayPlans, films: DayFilms, solution: Solution
) -> tuple[Array, Array, dict[int, FeedWindow]]:
    """Return when plants may be given a solution with their first misting.

    That is when the windows open and close, (cohort,) each [unix s], NaN for plants that are not
    given it, and the window of each cohort that is.
    """
    shape = solution.due.shape
    opens, closes = np.full(shape, np.nan), np.full(shape, np.nan)
    windows: dict[int, FeedWindow] = {}
    rinse_at = strongest(scene, solution.ec)
    cohorts = np.flatnonzero(solution.due & np.isfinite(rinse_at))
    if not cohorts.size:
        return opens, closes, windows
    velamen = scene.traits.velamen
    root_from_c = scene.min_warmth(lambda warmth: warmth.root_from_c)
    keys = (planned.which, velamen, rinse_at, scene.roots, places.until, root_from_c)
    first, groups = group_rows(*(key[cohorts] for key in keys))
    for number, index in enumerate(cohorts[first].tolist()):
        misting = planned.plans[int(planned.which[index])].mistings[0]
        at_spot, bare = films.at_spot(int(places.column[index])), bool(velamen[index])
        until = _wet_until(scene, at_spot, places, index)
        warm = at_spot.temp_c >= root_from_c[index]
        hold = timedelta(seconds=float(solution.hold_s[index]))
        window = _window(misting, at_spot, bare, float(rinse_at[index]), until, warm, hold)
        if window is None:
            continue
        fed = cohorts[groups == number]
        opens[fed], closes[fed] = window.opens.timestamp(), window.closes.timestamp()
        windows |= dict.fromkeys(fed.tolist(), window)
    return opens, closes, windows


def feed(scene: Scene, places: Places, plan: FeedPlan) -> list[Errand]:
    """Return errands to give plants what is planned in their windows."""

    def reason(cohort: int) -> Reason:
        window, solution = plan.of[cohort], plan.solutions[int(plan.which[cohort])]
        told = replace(window.reason, plant=scene.cohorts[cohort].names[0])
        if solution.kind is ChoreKind.FEED:
            return told
        return replace(told, quantity=COURSE_FILM, limit=window.hold / timedelta(minutes=1))

    here, times = (places.column, places.column), (plan.opens, plan.closes)
    errands: list[Errand] = []
    for number, one in enumerate(plan.solutions):
        fed = plan.followers(number)
        errands += make_errands(scene, one.kind, fed, here, times, reason, what=one.what)
    return errands


def _takes_up(scene: Scene, places: Places, planned: DayPlans, films: DayFilms) -> np.ndarray:
    """(cohort,) whether plants can take anything up that day: by their misting and the weather."""
    takes = [bool(plan.mistings) and plan.mistings[0].takes for plan in planned.plans]
    fit = (planned.which != NO_PLAN) & np.array(takes or [False], dtype=bool)[planned.which]
    return np.asarray(fit & growing_weather(scene, films, places.column))


def strongest(scene: Scene, ec: float) -> Array:
    """(cohort,) how many times as strong as mixed it may get on a root before the rinse.

    ec : of the fresh mix [mS/cm]. NaN where even that is beyond the plants' limit.
    """
    limit = scene.traits.limits["salt_high"]
    if ec == 0:
        return np.full(limit.shape, RINSE_AT)
    times = np.where(np.isnan(limit), np.inf, limit) / ec
    return np.where(times < 1, np.nan, np.clip(times, 1.1, RINSE_AT))


def waiting(scene: Scene, plan: FeedPlan) -> list[Remark]:
    """Return the plants that wait for one thing because they are given another today."""
    return [
        FeedWaits(
            scene.names(cohorts.tolist()),
            given=plan.solutions[one].what,
            waits=plan.solutions[other].what,
            clouds=_clouds(plan.solutions[one].of, plan.solutions[other].of),
        )
        for (one, other), cohorts in plan.waits.items()
    ]


def _clouds(one: Feed | Course, other: Feed | Course) -> bool:
    """Return whether one of them is a course that precipitates with the other."""
    pairs = ((one, other), (other, one))
    return any(isinstance(course, Course) and course.clouds_with(of) for course, of in pairs)


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
    scene: Scene, feeds: Sequence[Chore], plan: FeedPlan, places: Places, films: DayFilms
) -> list[Errand]:
    """Return the rinse after each feed or course: plain water, once that is taken up.

    feeds : made of errands in these windows.
    """
    rinses = []
    for chore in feeds:
        at_spot, spot = films.at_spot(scene.columns[chore.from_spot]), chore.from_spot
        for names, reason in chore.grounds:
            cohort = scene.cohort_of(names)
            window = plan.of[cohort]
            start = (chore.not_before or chore.before) + window.hold
            within = window.rinse_within
            end = at_spot.events.sunset if within is None else chore.before + within
            free_until = _free_until(at_spot, chore.before)
            end = end if free_until is None else min(end, free_until)
            end = min(end, _wet_until(scene, at_spot, places, cohort))
            quantity = "rinse" if chore.kind is ChoreKind.FEED else COURSE_RINSE
            because = replace(reason, quantity=quantity, at=end)
            grounds = Grounds.of((names, because))
            rinses.append(Errand(ChoreKind.FLUSH, spot, spot, min(start, end), end, grounds))
    return rinses


def growing_weather(scene: Scene, films: DayFilms, column: Standing) -> np.ndarray:
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
    first: Misting,
    films: SpotFilms,
    velamen: bool,
    rinse_at: float,
    until: datetime,
    warm: np.ndarray,
    hold: timedelta,
) -> FeedWindow | None:
    """Return when to feed so that the feed is taken up before the rinse is due; None for never.

    - first: the misting with which plants are fed.
    - rinse_at: as in `strongest`.
    - until: when the rinse must be done, for the crowns to dry and the plants to go in.
    - warm (step,): whether it is warm enough for roots to take up anything.
    - hold: as in `FeedWindow`.
    """
    share = float(share_lost_at(rinse_at))
    # The salts burn where they are taken up: in velamen where there is some, else on the leaf.
    lasts = films.velamen_lasting(share) if velamen else films.lasting(share * LEAF_FILM.depth_mm)
    fits = (lasts >= hold / timedelta(hours=1)) & warm
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
    closes = min(closes, until - hold)  # time for the rinse too
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
    return FeedWindow(opens, closes, hold, rinse_within, reason)


def _wet_until(scene: Scene, films: SpotFilms, places: Places, cohort: int) -> datetime:
    """Return until when a cohort may be wetted: its crowns dry by dark, and it has not gone in."""
    last = films.last_wetting(scene.traits.plants[cohort].rot) or films.events.sunrise
    return min(last, moment(places.until[cohort]))


def _free_until(films: SpotFilms, at: datetime) -> datetime | None:
    """Return until when the grower can water from this moment on; None for an open end."""
    start = films.index(at)
    ends = np.flatnonzero(~films.day_air.free[start:])
    return films.starts_at(start + int(ends[0])) if ends.size else None
