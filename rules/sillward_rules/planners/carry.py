"""Carry in, carry out, stay in: errands from a night's judgement and from what the day allows."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.physics.arrays import Array
from sillward_rules.planners import asked, heat, shelter
from sillward_rules.planners.mist import Places
from sillward_rules.planners.nights import Judgement, judge_night, tail_ends
from sillward_rules.planners.scene import Scene, Standing, chance_in, errands, parted
from sillward_rules.plants.rules import alike
from sillward_rules.remark import CloseCall, ColdBorne, NightUnjudged, Remark, Threat
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment, rows_from_to
from sillward_rules.weather.sun import Night

CLOSE_CALL = 1 / 3
"""From this chance on a plant that stays out is named. Judgement: one night in three."""


GAIN = timedelta(hours=3)
"""What a day outside must bring a plant to be worth two trips: so many hours of daylight that are
warm enough for it to do anything with them."""

WARM_K = 8.0
"""An hour counts in full from this far above a plant's night limit on [K], below in proportion.
Common practice, no source: growers keep days some 8 K warmer than the nights that a plant is given.
Judgement for what is made of it: four hours that come to 4 K above the limit after a night of 4
degrees are not worth two trips, a day of seven such hours is. By 6 K the former would be, by 12 K
no clear winter's day on a mild coast. Light is left out: these are hours of daylight, and what the
shelter has of it is not known."""


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Errands, and where the cohorts stand once they are done."""

    errands: list[Errand]
    standing: Standing


def carry_in(
    scene: Scene,
    night: Night,
    judged: Judgement,
    lows: Array,
    standing: Standing,
    *,
    staying: bool = True,
) -> Moves:
    """Errands for a night: in with what stands outside, stay in for what is under cover.

    staying: whether those to stay in are wanted.

    A plant that stands under cover that does not hold its limit goes on to where that is held, its
    own shelter or another. One for which there is no shelter at all gets no errand; the warnings
    name it.
    """
    told = scene.asked_of(night)
    overdue = asked.overdue(scene, night, judged)
    to = shelter.shelter_for(scene, night, lows)
    stands = shelter.stays_told(scene, night, lows, scene.asked_to, to)
    stands |= overdue & ~shelter.holds(scene, lows, to)
    to = np.where(told & stands, scene.asked_to, to)
    well = shelter.stays_told(scene, night, lows, standing, to)
    stays = judged.needs & scene.covered(standing) & well & ~overdue
    goes = judged.needs & ~stays & (to >= 0) & (to != standing)
    end = np.full(standing.shape, night.end.timestamp())
    here, reason = (standing, standing), judged.reason
    stay = np.flatnonzero(stays & staying)
    moves = [
        *(
            replace(errand, unconfirmed=unconfirmed)
            for unconfirmed in (True, False)
            for errand in errands(
                scene,
                ChoreKind.STAY_IN,
                stay[scene.assumed[stay] == unconfirmed],
                here,
                (None, end),
                reason,
            )
        ),
        *(
            replace(errand, unconfirmed=unconfirmed, overdue=late)
            # What was told comes first, and keeps its id.
            for unconfirmed, late in ((True, True), (True, False), (False, False))
            for errand in errands(
                scene,
                ChoreKind.CARRY_IN,
                np.flatnonzero(goes & (told == unconfirmed) & (overdue == late)),
                (standing, to),
                (None, judged.deadline),
                reason,
            )
        ),
    ]
    return Moves(moves, np.where(goes, to, standing))


def night_warnings(
    scene: Scene, lows: Array, judged: Judgement, standing: Standing
) -> list[Remark]:
    """What is wrong with the night: spots that are not known, shelters that do not hold.

    standing: where the cohorts spend the night, if the advice is followed.
    """
    homes = np.unique(scene.home[judged.needs & ~judged.judged])
    unjudged = sorted(scene.spot_name(int(column)) for column in homes)
    nights_at = np.where(standing == scene.home, -1, standing)
    # Who is known to be where it holds is told nothing of other shelters any more.
    settled = ~scene.assumed & (scene.standing == nights_at) & shelter.holds(scene, lows, nights_at)
    return [
        *([NightUnjudged(tuple(unjudged))] if unjudged else []),
        *shelter.warnings(scene, lows, judged.cohorts[~settled[judged.cohorts]], nights_at),
    ]


def borne_cold(scene: Scene, judged: Judgement, standing: Standing) -> list[Remark]:
    """The plants that stay out although the night dips under their limit for a while.

    One remark for all that go through the same, the deepest dip first.
    """
    said: dict[tuple[float, datetime, float, float], list[int]] = {}
    for cohort in np.flatnonzero(judged.borne & ~scene.covered(standing)).tolist():
        reason = judged.reason(cohort)
        # What is borne is a dip that is known, and under a limit.
        assert reason.value is not None
        assert reason.limit is not None
        assert reason.hours is not None
        at = reason.at.astimezone(scene.site.zone)
        dip = (reason.value, at, reason.hours, reason.limit)
        said.setdefault(dip, []).append(cohort)
    told = [ColdBorne(scene.names(which), *dip) for dip, which in said.items()]
    told.sort(key=lambda one: one.low_c - one.limit_c)
    return [*told]


def close_calls(scene: Scene, night: Night, judged: Judgement, standing: Standing) -> list[Remark]:
    """The spots where plants stay out by a hair: likely enough it gets too cold.

    standing: where the cohorts spend the night. Who must go in, bears a dip, or is not judged is
    told of elsewhere.
    """
    limits = scene.traits.limits["night_low"]
    stays = judged.judged & ~judged.needs & ~judged.borne & np.isfinite(limits)
    stays &= ~scene.covered(standing) & ~scene.holds_itself[standing]
    cohorts = np.flatnonzero(stays)
    if not cohorts.size:
        return []
    first, groups = alike(standing[cohorts], limits[cohorts])
    column, limit = standing[cohorts][first], limits[cohorts][first]
    chances = chance_in(scene, night, column, limit)
    close = np.flatnonzero(chances >= CLOSE_CALL)
    said: dict[str, list[Threat]] = {}
    for number in close[np.argsort(-chances[close], kind="stable")].tolist():
        which = cohorts[groups == number]
        names = scene.names(which[np.argsort(scene.in_order[which])].tolist())
        threat = Threat(float(chances[number]), float(limit[number]), names)
        said.setdefault(scene.spot_name(int(column[number])), []).append(threat)
    return [CloseCall(spot, tuple(threats)) for spot, threats in said.items()]


def carry_out(
    scene: Scene,
    day: date,
    standing: Standing,
    unsure: np.ndarray | None = None,
    *,
    staying: bool = True,
) -> Moves:
    """Errands for a day: out with what is under cover, or stay in if the day is not worth it.

    standing: where the cohorts stand that morning; who is not under cover is left alone.
    unsure (cohort,): of whom nobody has said that they were taken in. staying: as in `carry_in`.
    """
    events = sun.day_events(scene.site, day)
    inside = np.flatnonzero(scene.covered(standing))
    if scene.now >= events.sunset or not inside.size:
        return Moves([], standing)
    tonight = judge_night(scene, sun.night_of(scene.site, day))
    days = _DaysOut(scene, day)
    out_from, cold_again = days.hours_of(inside)
    out_from = np.maximum(out_from, tail_ends(scene, events)[inside])
    sunset, lead = events.sunset.timestamp(), scene.habits.lead.total_seconds()
    back = np.where(tonight.needs[inside], tonight.deadline[inside], sunset)
    back = np.minimum(back, cold_again - lead)
    latest = np.full(standing.shape, np.nan)
    latest[inside] = days.latest(inside, np.minimum(back, sunset))
    start = np.full(standing.shape, events.sunrise.timestamp())
    start[inside] = out_from
    goes = inside[out_from <= latest[inside]]
    away = np.full(standing.shape, -1, dtype=np.int64)
    away[goes] = scene.home[goes]
    since = np.where(away >= 0, start, events.sunrise.timestamp())
    until = np.full(standing.shape, np.inf)
    until[inside] = back
    hot = heat.moves(scene, Places(away, since, until), events.sunset)
    goes = goes[hot.to[goes] != standing[goes]]  # it would come back before the heat
    stays = np.setdiff1d(inside, goes) if staying else inside[:0]
    day_start = np.full(standing.shape, events.sunrise.timestamp())
    day_end = np.full(standing.shape, sunset)

    def why_in(cohort: int) -> Reason:
        if hot.to[cohort] == standing[cohort]:
            return heat.reason(scene, hot, cohort)
        # A day warm enough, and another need than warmth: that is what keeps it in.
        if tonight.needs[cohort] and np.isfinite(start[cohort]):
            reason = tonight.reason(cohort)
            if reason.quantity != "leaf temperature":
                return reason
        return days.warmest(cohort)

    perhaps = np.zeros(standing.shape, dtype=bool) if unsure is None else unsure
    moves = [
        *(
            replace(errand, unconfirmed=open_)
            for open_ in (False, True)
            for errand in errands(
                scene,
                ChoreKind.CARRY_OUT,
                goes[perhaps[goes] == open_],
                (standing, scene.home),
                (start, latest),
                days.warmest,
            )
        ),
        *errands(
            scene, ChoreKind.STAY_IN, stays, (standing, standing), (day_start, day_end), why_in
        ),
    ]
    after = standing.copy()
    after[goes] = scene.home[goes]
    return Moves(moves, after)


@dataclass(frozen=True, slots=True, eq=False)
class _Hours:
    """A home from an hour before sunrise to the end of the next night, and the warmest by day.

    leaf_c: the leaf, or the air where that is colder: a leaf in the sun says little of its pot.
    """

    times: np.ndarray
    leaf_c: Array
    warmest_c: float | None
    warmest_at: datetime


class _DaysOut:
    """A day outside, worked out once for every home and every limit that plants have there."""

    def __init__(self, scene: Scene, day: date) -> None:
        self.scene = scene
        self.events = sun.day_events(scene.site, day)
        self._night_end = sun.night_of(scene.site, day).cold_until
        self._hours: dict[int, _Hours] = {}

    def latest(self, cohorts: np.ndarray, back: Array) -> Array:
        """Until when going out is worth it [unix s], if each must be back then; -infinite: never.

        back : (cohort,) [unix s].
        """
        least = self.scene.habits.worth_going_out
        if least is not None:
            return np.asarray(back - least.total_seconds())
        home, limit = self.scene.home[cohorts], self.scene.least_c[cohorts]
        first, groups = alike(home, limit, back)
        until = np.empty(first.shape)
        for numbers in parted(np.arange(first.size), home[first]):
            which = first[numbers]
            until[numbers] = _worth_until(self._at(int(home[which[0]])), limit[which], back[which])
        return np.asarray(until[groups])

    def hours_of(self, cohorts: np.ndarray) -> tuple[Array, Array]:
        """When each may go out, and when it gets too cold again [unix s]; infinite for never."""
        home, limit = self.scene.home[cohorts], self.scene.least_c[cohorts]
        first, groups = alike(home, limit)
        out, cold = np.empty(first.shape), np.empty(first.shape)
        for numbers in parted(np.arange(first.size), home[first]):
            hours, bound = self._at(int(home[first[numbers[0]]])), limit[first[numbers]]
            out[numbers] = self._out_from(hours, bound)
            cold[numbers] = _cold_again(hours, out[numbers], bound)
        return out[groups], cold[groups]

    def warmest(self, cohort: int) -> Reason:
        """How warm the day gets at a cohort's home: why it may go out, or why it may not."""
        hours = self._at(int(self.scene.home[cohort]))
        limit = self.scene.traits.plants[cohort].limits.night_low
        return Reason(
            plant=self.scene.cohorts[cohort].names[0],
            quantity="leaf temperature",
            value=hours.warmest_c,
            unit="°C",
            limit=limit.value if limit else None,
            at=hours.warmest_at,
            origin=limit.origin if limit else "",
        )

    def _at(self, column: int) -> _Hours:
        if column not in self._hours:
            self._hours[column] = self._hours_at(column)
        return self._hours[column]

    def _hours_at(self, column: int) -> _Hours:
        scene, events = self.scene, self.events
        start = events.sunrise - timedelta(hours=1)
        rows = rows_from_to(scene.by_night.times, start, self._night_end)
        times = scene.by_night.times[rows]
        leaf = np.minimum(scene.by_night.leaf_c[rows, column], scene.by_night.temp_c[rows, column])
        if scene.stale:
            leaf = np.full(leaf.shape, np.nan)
        by_day = leaf[times <= events.sunset.timestamp()]
        value, at = None, events.sunrise
        if np.isfinite(by_day).any():
            index = int(np.nanargmax(by_day))
            value, at = round(float(by_day[index]), 2), moment(times[index])
        return _Hours(times, leaf, value, at)

    def _out_from(self, hours: _Hours, limit: Array) -> Array:
        """When the leaf has been above each limit by the margin for long enough [unix s].

        By day, and not before now; infinite for never. NaN: no limit.
        """
        habits, size = self.scene.habits, hours.times.size
        if not size:
            return np.full(limit.shape, np.inf)
        bound = np.where(np.isnan(limit), -np.inf, limit + habits.out_margin_k)
        warm = hours.leaf_c >= bound[:, None]
        ends = np.searchsorted(hours.times, hours.times + habits.out_after.total_seconds())
        cold = np.where(warm, size, np.arange(size))
        next_cold = np.minimum.accumulate(cold[:, ::-1], axis=1)[:, ::-1]
        by_day = hours.times <= self.events.sunset.timestamp()
        lasts = (next_cold > ends) & (ends < size) & by_day
        since = _crossings(hours, np.argmax(lasts, axis=1), bound)
        since = np.maximum(since, self.events.sunrise.timestamp())
        out = np.maximum(since + habits.out_after.total_seconds(), self.scene.now.timestamp())
        return np.where(lasts.any(axis=1), out, np.inf)


def _worth_until(hours: _Hours, limit: Array, back: Array) -> Array:
    """The latest start [unix s] from which on `GAIN` is gathered until back [unix s].

    All (class,). limit : [°C]; NaN: every hour counts in full. An hour of which nothing is known
    counts nothing. -infinite where the whole day does not bring so much.
    """
    times, classes = hours.times.astype(np.float64), np.arange(limit.size)
    if times.size < 2:
        return np.full(limit.shape, -np.inf)
    share = np.nan_to_num(np.clip((hours.leaf_c - limit[:, None]) / WARM_K, 0.0, 1.0), nan=0.0)
    share[np.isnan(limit)] = 1.0
    gained = np.zeros(share.shape)
    gained[:, 1:] = np.cumsum((share[:, 1:] + share[:, :-1]) / 2 * np.diff(times), axis=1)

    def straight(at: Array, known: Array, sought: Array) -> Array:
        """What is sought where the known, both (class, row), has risen to a value (class,)."""
        row = np.clip(np.sum(known <= at[:, None], axis=1) - 1, 0, times.size - 2)
        here, rise = known[classes, row], sought[classes, row + 1] - sought[classes, row]
        run = known[classes, row + 1] - here
        part = np.clip((at - here) / np.where(run > 0, run, 1.0), 0.0, 1.0)
        return np.asarray(sought[classes, row] + part * rise)

    clock = np.broadcast_to(times, gained.shape)
    back = np.where(np.isfinite(back), back, times[0])
    least = straight(back, clock, gained) - GAIN.total_seconds()
    return np.where(least >= 0, straight(least, gained, clock), -np.inf)


def _cold_again(hours: _Hours, since: Array, limit: Array) -> Array:
    """When the leaf falls under each limit after these moments [unix s]; infinite: not by the
    morning."""
    if not hours.times.size:
        return np.full(limit.shape, np.inf)
    cold = (hours.leaf_c < limit[:, None]) & (hours.times > since[:, None])
    falls = _crossings(hours, np.argmax(cold, axis=1), limit)
    return np.where(cold.any(axis=1), falls, np.inf)


def _crossings(hours: _Hours, rows: np.ndarray, bound: Array) -> Array:
    """When the leaf crossed each bound on the way to its row [unix s]; the row's own moment if
    that is not known."""
    before = np.maximum(rows - 1, 0)
    at = hours.times[rows].astype(np.float64)
    step = hours.leaf_c[rows] - hours.leaf_c[before]
    known = np.isfinite(step) & (step != 0) & np.isfinite(bound)
    share = (hours.leaf_c[rows] - bound) / np.where(known, step, 1.0)
    back = np.clip(np.where(known, share, 0.0), 0.0, 1.0)
    return np.asarray(at - back * (at - hours.times[before]))
