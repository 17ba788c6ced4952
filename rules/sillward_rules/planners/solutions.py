"""What plants are due to be given with a misting: their feed, and the salts of their courses.

No misting gives two of them, so that nothing is mixed that must not be, and no film is stronger
than its own mix.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.mist_day import uptake
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.weather.season import Season

SAME_HOUR = timedelta(hours=12)
"""Something may be given this much sooner than its pause says, so that a week later at an earlier
hour counts."""

Given = Sequence[Array]
"""When each feed of the collection, and then each course, was last given: one array of shape
(cohort, time), the latest time first [unix s]; -inf for never. Of a feed one time is known, of a
course as many as may be given in its span."""


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """A feed or a course, and which plants are due to get it if the weather allows.

    - what: as in `Chore.what`.
    - ec: of the fresh mix [mS/cm].
    - due (cohort,): whether it is time for it.
    - since (cohort,): since when [unix s]; -inf where it was never given.
    - last (cohort,): when it was last given [unix s]; -inf for never.
    - hold_s (cohort,): how long it must stay on the plant before plain water follows [s].
    """

    of: Feed | Course
    ec: float
    due: np.ndarray
    since: Array
    last: Array
    hold_s: Array

    @property
    def kind(self) -> ChoreKind:
        """What its chore is."""
        return ChoreKind.COURSE if isinstance(self.of, Course) else ChoreKind.FEED

    @property
    def what(self) -> str:
        """Its name; empty for the feed of all other plants."""
        return self.of.name


def last_given(scene: Scene) -> Given:
    """Return when everything was last given, as far as is known."""
    of = scene.collection
    fed = [cohort.state.fed_at for cohort in scene.cohorts]
    times = np.array([-np.inf if at is None else at.timestamp() for at in fed], dtype=np.float64)
    feeds = times[:, None]  # also of no cohort
    return [*(feeds for _ in of.all_feeds), *(_doses(scene, course) for course in of.courses)]


def _doses(scene: Scene, course: Course) -> Array:
    times = np.full((len(scene.cohorts), course.times), -np.inf)
    for cohort in scene.cohorts:
        known = cohort.state.care.course(course.name)
        if known is not None and known.doses:
            latest = [dose.at.timestamp() for dose in known.doses[: -course.times - 1 : -1]]
            times[cohort.index, : len(latest)] = latest
    return times


def with_given(scene: Scene, given: Given, which: np.ndarray, at: Array) -> Given:
    """Return the times with those of one more day.

    - which (cohort,): the number of what each was given, in the order of `given`; below 0 for none.
    - at (cohort,): when [unix s].
    """
    feeds = len(scene.collection.all_feeds)
    after = []
    for number, times in enumerate(given):
        now = np.isin(which, range(feeds)) if number < feeds else which == number
        shifted = np.concatenate([at[:, None], times[:, :-1]], axis=1)
        after.append(np.where(now[:, None], shifted, times))
    return after


def solutions_due(scene: Scene, films: DayFilms, given: Given) -> list[Solution]:
    """Return every feed and course, with who is due to get it on a day, at any weather."""
    now_s = max(scene.now, films.events.sunrise).timestamp()
    leaf, bare = (uptake(scene, velamen=velamen).total_seconds() for velamen in (False, True))
    uptake_s = np.where(scene.traits.velamen, bare, leaf)
    of, slack_s = scene.collection, SAME_HOUR.total_seconds()
    solutions: list[Solution] = []
    day = scene.site.local_date(films.events.sunrise)
    others = np.ones(len(scene.cohorts), dtype=bool)
    for feed, times in zip(of.all_feeds, given, strict=False):
        chosen = feed.plants.among(scene.traits)
        if feed in of.feeds:
            others &= ~chosen
        chosen &= others if feed not in of.feeds else feed.runs_on(day)
        pauses = _pauses(scene, feed)
        since = np.where(np.isfinite(pauses), times[:, 0] + np.nan_to_num(pauses), np.inf)
        due = chosen & (now_s >= since - slack_s)
        solutions.append(Solution(feed, feed.ec, due, since, times[:, 0], uptake_s))
    for course, times in zip(of.courses, given[len(of.all_feeds) :], strict=True):
        runs = [course.runs_on(day, ended_on(scene, course.name, c.index)) for c in scene.cohorts]
        chosen = np.array(runs, dtype=bool) & course.plants.among(scene.traits)
        apart, room = course.gap.total_seconds(), course.within.total_seconds()
        since = np.maximum(times[:, 0] + apart, times[:, -1] + room)
        due = chosen & (now_s >= since - slack_s) & (scene.seasons_to_feed != Season.REST)
        after = course.rinse_after
        hold_s = uptake_s if after is None else np.full(due.shape, after.total_seconds())
        solutions.append(Solution(course, course.ec, due, since, times[:, 0], hold_s))
    return solutions


def ended_on(scene: Scene, course: str, cohort: int) -> date | None:
    """Return the day on which the grower ended a course for a cohort; None if it goes on."""
    known = scene.cohorts[cohort].state.care.course(course)
    if known is None or known.ended_at is None:
        return None
    return scene.site.local_date(known.ended_at)


def _pauses(scene: Scene, feed: Feed) -> Array:
    """(cohort,) the least time between two feeds in the present season [s]; infinite for never."""
    pauses = np.empty(len(scene.cohorts))
    for season in Season:
        pause = feed.pause(season, scene.habits.feed_every)
        pauses[scene.seasons_to_feed == season] = np.inf if pause is None else pause.total_seconds()
    return pauses
