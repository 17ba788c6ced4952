"""What a night, or the day before it, drives under cover: which plants, why, and by when."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial

import numpy as np

from sillward_rules.arrays import Array, finite_or_none
from sillward_rules.chore import Reason, Weighing
from sillward_rules.planners import shelter
from sillward_rules.planners.scene.crossings import find_crossings
from sillward_rules.planners.scene.expected_harm import expected_harm, is_comfort_rule
from sillward_rules.planners.scene.night_results import NightResults, RuleResult
from sillward_rules.planners.scene.night_risk import chance_of, exposure_of, is_alone, start_of_rest
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.planners.walks import NEGLIGIBLE_GAIN, Walks, choose
from sillward_rules.plants.collection import DEFAULT_CAUTION
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import covers_hours, hours_within, moment
from sillward_rules.weather.spot_columns import NO_SPOT, at_columns
from sillward_rules.weather.sun import DayEvents, Night


@dataclass(frozen=True, slots=True, eq=False)
class NightNeeds:
    """What a night asks for. Arrays are (cohort,).

    - must_be_in: whether the plants must be under cover.
    - bears_dip: whether they may stay out although the night dips below their limit, because the
      dip is short.
    - deadline: by when they must be in [unix s]; for those that bear a dip, by when they would.
    - overdue: whether that deadline is the one of an unconfirmed order, and over
      (`open_orders.with_open_orders`).
    - fully_known: whether every hour that counts is known.
    - for_leaf_warmth: whether what asks for cover is the temperature of the leaf.
    - asked_by_rule: whether a rule asks for it, by the forecast itself or by what that leaves open.
    - harm: expected harm that plants are spared under cover (0..1); NaN where it is not known, and
      for plants without a comfort limit.
    - gain, price: what carrying one plant gains by that, and what it costs, in trips
      (`planners.walks`).
    - reason: returns the reason of a cohort that must be in or bears a dip. The reason has no value
      where no known hour asks for cover and it is given for caution.
    - goals: the spot columns of the covers to which they would go (`shelter.shelter_for`).
    - declined: whether they would have to be in, but stay out by the grower's decision
      (`planners.grower_decisions`).
    """

    must_be_in: np.ndarray
    bears_dip: np.ndarray
    deadline: Array
    overdue: np.ndarray
    fully_known: np.ndarray
    for_leaf_warmth: np.ndarray
    asked_by_rule: np.ndarray
    harm: Array
    gain: Array
    price: Array
    reason: Callable[[int], Reason]
    goals: Standing
    declined: np.ndarray

    @property
    def usual_gain(self) -> Array:
        """The gain at the usual caution at least, in trips.

        What was told is not taken back for less, and a night that has turned cold is told, however
        relaxed the grower is.
        """
        return np.maximum(self.gain, self.harm * DEFAULT_CAUTION)

    @property
    def cohorts(self) -> np.ndarray:
        """The cohorts that must be under cover."""
        return np.flatnonzero(self.must_be_in)


def find_night_needs(scene: Scene, night: Night, outside: np.ndarray | None = None) -> NightNeeds:
    """Return what a night, and what is left of the day before it, asks for where plants stand.

    Hours before now and before that day's sunrise do not count. A plant must go in if a rule that
    asks for it fires. For caution it must also go in if an hour of such a rule is not known: there
    is a gap of more than two hours (shorter ones have been bridged), or the forecast does not reach
    so far or is too old. What an indoor spot holds does not depend on the weather;
    `Spot.open_questions` asks for it. A short dip under the night limit is borne if the nights
    around it are mild and the limit of injury is kept.

    A plant that no rule sends in must go in all the same if the harm that may come is worth it.

    outside (cohort,) : which plants are outside when the time comes, so that carrying them in is a
    walk; None for those that are now.
    """
    if night not in scene.night_results:
        scene.night_results[night] = _evaluate_rules(scene, night)
    results = scene.night_results[night]
    asked, dips = results.must_be_in.asked, results.dips
    gain = results.harm * scene.habits.caution * scene.traits.worth
    walks = _choose_walks(scene, night, results, gain, outside)
    chosen = walks.chosen
    for_warmth = [one.firing.rule.quantity == "leaf temperature" for one in results.rules]
    deadline = np.where(asked, results.must_be_in.due, dips.due)
    return NightNeeds(
        must_be_in=asked | chosen,
        bears_dip=dips.asked & ~asked & ~chosen,
        deadline=np.where(chosen, results.doubt.due, deadline),
        overdue=np.zeros(asked.shape, dtype=bool),
        fully_known=results.fully_known,
        for_leaf_warmth=np.array(for_warmth or [False], dtype=bool)[results.must_be_in.source]
        | chosen,
        asked_by_rule=asked,
        harm=results.harm,
        gain=gain,
        price=walks.price,
        reason=partial(_reason_of, scene, night, results, gain, walks),
        goals=results.goals,
        declined=np.zeros(asked.shape, dtype=bool),
    )


def _harm_left(scene: Scene, night: Night, results: NightResults) -> Array:
    """(cohort,) expected harm of a night under the cover to which plants would go (0..1).

    results : with the harm outside.

    One that keeps a temperature of its own is judged by whether it holds: it spares all of the
    harm, unless it is known to be colder than outside.
    """
    left, goals = np.zeros(results.harm.shape), results.goals
    colder = (results.harm > 0) & _colder_than_outside(scene, night, goals)
    left[colder] = results.harm[colder]
    follows_weather = ~at_columns(scene.holds_itself, goals, otherwise=True)
    endangered = follows_weather & (results.harm > 0)
    if not endangered.any():
        return left
    columns = np.where(endangered, goals, NO_SPOT)
    comfort = [
        classes
        for classes in scene.classes_at("carry in", columns)
        if is_comfort_rule(classes.rule)
    ]

    def firings_in(other: Night) -> list[Firing]:
        return scene.evaluate(comfort, scene.by_night, scene.day_and_night(other))

    for number, firing in enumerate(firings_in(night)):

        def firing_in(other: Night, number: int = number) -> Firing:
            return firings_in(other)[number]

        alone = is_alone(scene, firing, night, firing_in)
        left = np.fmax(left, expected_harm(scene, firing, night, scene.tenderness(night), alone))
    return np.asarray(np.fmin(left, results.harm))


def _colder_than_outside(scene: Scene, night: Night, goals: Standing) -> np.ndarray:
    """(cohort,) whether a room is expected to be colder than outside, by its readings.

    Not by its lower side: where an odd night has made that a low one, plants must not be left
    outside for it. What was typed of a room is for the coldest nights, and says nothing of a mild
    one.
    """
    learned = np.array([spot.response is not None for spot in scene.climate.spots], dtype=bool)
    if not (learned & scene.holds_itself).any():
        return np.zeros(goals.shape, dtype=bool)
    held = shelter.held_by_night(scene, night) + shelter.margins(scene, night)
    held = np.where(learned & scene.holds_itself, held, np.nan)
    rows = scene.steps(night.start, night.cold_until)
    if not rows.size:
        return np.zeros(goals.shape, dtype=bool)
    outside = scene.by_night.leaf_c[rows].min(axis=0)
    return np.asarray(
        at_columns(held, goals, otherwise=np.nan)
        < at_columns(outside, scene.exposed_at, otherwise=np.nan)
    )


def _choose_walks(
    scene: Scene,
    night: Night,
    results: NightResults,
    gain: Array,
    outside: np.ndarray | None,
) -> Walks:
    """Return which plants are worth a walk that no rule asks for."""
    if outside is None:
        outside = ~scene.is_under_cover(scene.standing)
    sheltered = results.goals != NO_SPOT
    doubtful = results.doubt.asked & results.fully_known & sheltered
    walked = np.where(outside & sheltered, scene.exposed_at, NO_SPOT)
    return choose(
        np.where(doubtful, gain, 0.0),
        scene.sizes,
        walked,
        results.must_be_in.asked,
        scene.has_order_of(night),
    )


def tail_ends(scene: Scene, events: DayEvents) -> Array:
    """(cohort,) when a need for cover that exists at sunrise ends [unix s].

    -inf where there is none at sunrise; infinite for one that does not end before sunset.
    """
    ends = np.full(len(scene.cohorts), -np.inf)
    for firing in scene.carry_firings(sun.night_of(scene.site, events.day)):
        rows = firing.rows(events.sunrise, events.sunset)
        if not rows.size:
            continue
        times = np.append(firing.times[rows], np.inf)
        fires = firing.fires[rows]
        over = np.where(fires.all(axis=0), rows.size, np.argmin(fires, axis=0))
        until = np.where(over > 0, times[over], -np.inf)
        applies = firing.member >= 0
        ends[applies] = np.maximum(ends[applies], until[firing.member[applies]])
    return ends


def is_harmless(scene: Scene, night: Night, needs: NightNeeds, room_k: float) -> np.ndarray:
    """(cohort,) whether an order for a night does no good any more.

    Carrying the plants in gains next to nothing (`NEGLIGIBLE_GAIN`), and the night stays this far
    above bounds that no harm is worked out for [K]. What is not known counts for nothing.
    """
    gains = needs.usual_gain > NEGLIGIBLE_GAIN
    return np.asarray(~gains & ~(_room_above_bounds_k(scene, night, needs.harm) < room_k))


def _room_above_bounds_k(scene: Scene, night: Night, harm: Array) -> Array:
    """(cohort,) how far what is left of a night stays above bounds that no harm is worked out for.

    In kelvins: of rules that ask for cover below a temperature, as that on injury and a grower's
    own. Infinite without such a rule; NaN where the temperature is not known. Bounds that are not
    above the comfort limit are left out where the harm by that is known.

    harm (cohort,) : as in `NightNeeds`.
    """
    room = np.full(len(scene.cohorts), np.inf)
    for firing in scene.carry_firings(night):
        rule = firing.rule
        if QUANTITIES[rule.quantity].unit != "°C" or rule.direction != "below" or rule.also:
            continue
        rows = firing.rows(start_of_rest(scene, night), night.cold_until)
        rows = rows[firing.counts[rows]]
        applies = firing.member >= 0
        if not rows.size or not applies.any():
            continue
        of_class = (firing.values[rows] - firing.bound[rows]).min(axis=0)
        limit = firing.limit[firing.member]
        weighed = np.isfinite(harm) & (limit <= scene.traits.limits["night_low"])
        counted = np.flatnonzero(applies & ~weighed)
        room[counted] = np.minimum(room[counted], of_class[firing.member[counted]])
    return room


# -- all rules together


def _evaluate_rules(scene: Scene, night: Night) -> NightResults:
    """Evaluate every rule that asks for carrying in."""
    morning = sun.day_events(scene.site, night.day).sunrise
    start = max(morning, scene.now - timedelta(hours=1))
    # For a plant under cover, a need that has lasted since dawn belongs to the night that it spent
    # there. On a day to come this holds for all, as the night before may have asked for cover.
    inside = scene.is_under_cover(scene.standing) | (morning > scene.now)
    goals = shelter.shelter_for(scene, night, shelter.spot_lows(scene, night))
    results, latest = NightResults.empty(goals), _latest_deadline(scene, night)
    for number, firing in enumerate(scene.carry_firings(night)):
        early = scene.early_carry_firing(night, number)
        unknown = _has_unknown_hours(scene, firing, start, night)

        def firing_in(other: Night, number: int = number) -> Firing:
            return scene.carry_firings(other)[number]

        alone = is_alone(scene, firing, night, firing_in)
        for cohorts, dawn in ((~inside, None), (inside, morning)):
            applies = np.flatnonzero((firing.member >= 0) & cohorts)
            if not applies.size:
                continue
            result = _evaluate_rule(scene, firing, early, night, start, dawn, alone)
            results.rules.append(result)
            _enter_last_rule(scene, night, (start.timestamp(), latest), results, applies, unknown)
        if is_comfort_rule(firing.rule):
            harm = expected_harm(scene, firing, night, scene.tenderness(night), alone)
            limited = firing.member >= 0
            results.harm[limited] = np.fmax(results.harm, harm)[limited]
    results.harm[:] -= _harm_left(scene, night, results)
    return results


def _enter_last_rule(
    scene: Scene,
    night: Night,
    within: tuple[float, float],
    results: NightResults,
    cohorts: np.ndarray,
    unknown: np.ndarray,
) -> None:
    """Enter the last rule of the results for these cohorts, where it is the most urgent so far.

    within : the moment from which on the night counts, and the latest deadline [unix s]. unknown
    (class,) : whether an hour that counts is not known.
    """
    result = results.rules[-1]
    firing = result.firing
    of_class, source = firing.member[cohorts], len(results.rules) - 1
    start, latest = within
    crossing = np.where(result.fired, np.maximum(result.crossing, start), night.start.timestamp())
    early = _deadlines(scene, np.maximum(result.early, start), latest)
    due = _deadlines(scene, crossing, latest)
    if is_comfort_rule(firing.rule):
        in_doubt = ~unknown[of_class]
        results.doubt.update(
            cohorts[in_doubt], early[of_class[in_doubt]], in_doubt[in_doubt], source
        )
    asks = result.fired[of_class] | unknown[of_class]
    cohorts, of_class = cohorts[asks], of_class[asks]
    due = np.minimum(due, early)[of_class]
    # A limit of injury has a rule of its own. Without one a plant does not stand the cold.
    stands_cold = np.isfinite(scene.traits.limits["brief_low"])
    brief = result.brief[of_class] & ~unknown[of_class] & stands_cold[cohorts]
    results.fully_known[cohorts] &= ~unknown[of_class]
    fired = result.fired[of_class]
    results.must_be_in.update(cohorts[~brief], due[~brief], fired[~brief], source)
    results.dips.update(cohorts[brief], due[brief], fired[brief], source)


def _latest_deadline(scene: Scene, night: Night) -> float:
    """Return by when plants must be in at the latest, whenever it gets cold [unix s].

    By the usual hour and by the latest time after sunset.
    """
    habits, noon = scene.habits, scene.site.middle_of_day(night.day)
    usual = habits.in_by.on(scene.site, night.day)
    if usual < noon:  # "00:30" is the hour after midnight of this night
        usual = habits.in_by.on(scene.site, night.day + timedelta(days=1))
    return min(night.start + habits.latest_after_sunset, usual).timestamp()


def _deadlines(scene: Scene, crossing: Array, latest: float) -> Array:
    """(class,) by when plants must be in, for each crossing of a bound [unix s].

    That is the lead time before the crossing, but no later than `_latest_deadline`. It is never in
    the past: what should have been in by now is due now.
    """
    lead, now = scene.habits.lead.total_seconds(), scene.now.timestamp()
    return np.maximum(np.minimum(crossing - lead, latest), now)


# -- one rule


def _evaluate_rule(
    scene: Scene,
    firing: Firing,
    early: Firing | None,
    night: Night,
    start: datetime,
    dawn: datetime | None,
    alone: np.ndarray,
) -> RuleResult:
    """Return what a rule finds from a moment on until the cold of a night ends.

    - early: the same rule on the early side of the forecast, as in `early_firing`.
    - dawn: if given, a need that has lasted since then belongs to the night before and is left out,
      unless it goes on until sunset.
    - alone (class,): whether the nights before and after are mild.
    """
    rows = firing.rows(start, night.cold_until)
    if rows.size == 0 or firing.limit.size == 0:
        return RuleResult.nothing(firing)
    fires = _fires_in(scene, firing, night, rows, dawn)
    if not fires.any() and not is_comfort_rule(firing.rule):
        return RuleResult.nothing(firing)
    hours, degree_hours = exposure_of(firing, night)
    return RuleResult(
        firing=firing,
        rows=rows,
        fires=fires,
        in_night=(firing.counts & _belongs_to(scene, firing, night))[rows],
        fired=np.asarray(fires.any(axis=0)),
        crossing=find_crossings(firing, rows[np.argmax(fires, axis=0)]),
        early=_early_crossings(scene, firing, early, night, rows, dawn),
        hours=hours,
        degree_hours=degree_hours,
        brief=np.asarray(hours <= scene.habits.brief_cold / timedelta(hours=1)) & alone,
    )


def _fires_in(
    scene: Scene, firing: Firing, night: Night, rows: np.ndarray, dawn: datetime | None
) -> np.ndarray:
    """(row, class) where a rule fires for this night. dawn : as in `_evaluate_rule`."""
    fires = firing.fires & _belongs_to(scene, firing, night)[:, None]
    if dawn is None:
        return np.asarray(fires[rows])
    since_dawn = firing.rows(dawn, night.cold_until)
    over = np.maximum.accumulate(~fires[since_dawn], axis=0)
    ends = over[firing.times[since_dawn] <= night.start.timestamp()].any(axis=0)
    return np.asarray(fires[rows] & (over[-rows.size :] | ~ends))


def _early_crossings(
    scene: Scene,
    firing: Firing,
    early: Firing | None,
    night: Night,
    rows: np.ndarray,
    dawn: datetime | None,
) -> Array:
    """(class,) when the bound is first crossed on the early side of the forecast [unix s].

    Infinite where it is not, and for rules on other quantities than the leaf.
    """
    if early is None:
        return np.full(firing.limit.shape, np.inf)
    fires = _fires_in(scene, early, night, rows, dawn)
    crossing = find_crossings(early, rows[np.argmax(fires, axis=0)])
    return np.where(fires.any(axis=0), crossing, np.inf)


def _belongs_to(scene: Scene, firing: Firing, night: Night) -> np.ndarray:
    """(time,) the moments of a rule without its hours that belong to the night before."""
    span = firing.rule.hours.of_night(scene.site, night)
    if span is None:
        return np.ones(firing.times.shape, dtype=bool)
    return np.asarray(firing.times >= span[0].timestamp())


def _has_unknown_hours(scene: Scene, firing: Firing, start: datetime, night: Night) -> np.ndarray:
    """(class,) whether the weather at its spot is not known in some of the rule's hours.

    From the start until the cold of the night ends. A spot with a climate of its own is known.
    """
    follows_weather = ~scene.holds_itself[firing.column]
    if scene.forecast_expired:
        return np.asarray(follows_weather)
    span = firing.rule.hours.of_night(scene.site, night)
    if span is not None:
        start = max(start, span[0])
    # A firing has all full hours from its first moment to its last. Only where these do not reach
    # over all that is left it matters which of the hours are the rule's.
    if not covers_hours(firing.times, start, night.cold_until):
        hours, times = hours_within(start, night.cold_until), firing.times
        counts = firing.rule.hours.mask(scene.site, hours, sun.is_night(scene.site, hours))
        for hour in hours[counts][[0, -1]] if counts.any() else ():
            if not (times.size and times[0] <= hour <= times[-1]):
                return np.asarray(follows_weather)
    rows = firing.rows(start, night.cold_until)
    missing = firing.counts[rows][:, None] & ~firing.known[rows]
    return np.asarray(follows_weather & missing.any(axis=0))


# -- reasons


def _reason_of(
    scene: Scene,
    night: Night,
    results: NightResults,
    gain: Array,
    walks: Walks,
    cohort: int,
) -> Reason:
    """Return the reason of a cohort that must be in or bears a dip."""
    if np.isfinite(results.must_be_in.due[cohort]):
        urgent = results.must_be_in
    else:
        urgent = results.doubt if walks.chosen[cohort] else results.dips
    result = results.rules[int(urgent.source[cohort])]
    firing = result.firing
    if not urgent.known[cohort]:
        return _reason_from(scene, night, firing, cohort, None)
    reason = _reason_from(scene, night, firing, cohort, result)
    if not night.start <= reason.at <= night.cold_until:
        return reason
    if firing not in results.chances:
        results.chances[firing] = chance_of(scene, firing, night)
    chance = results.chances[firing][firing.member[cohort]]
    weighing = None
    if is_comfort_rule(firing.rule) and np.isfinite(gain[cohort]):
        weighing = Weighing(*(float(of[cohort]) for of in (results.harm, gain, walks.price)))
    return replace(reason, chance=finite_or_none(chance, 2), weighing=weighing)


def _reason_from(
    scene: Scene, night: Night, firing: Firing, cohort: int, result: RuleResult | None
) -> Reason:
    """Return the reason for a cohort; without a result, that nothing is known."""
    of_class = int(firing.member[cohort])
    bound = float(firing.limit[of_class])
    value, at = None, max(night.start, scene.now)
    hours = degree_hours = until = crosses_at = None
    if result is not None:
        row = int(result.worst_row[of_class])
        value, at = round(float(firing.values[row, of_class]), 2), moment(firing.times[row])
        bound = float(firing.bound[row, of_class])
        if result.fired[of_class]:
            crosses_at = moment(result.crossing[of_class])
            until = moment(result.until[of_class])
        hours = finite_or_none(result.hours[of_class], 2)
        degree_hours = finite_or_none(result.degree_hours[of_class], 2)
    origin = firing.rule.origin_for(scene.traits.plants[cohort])
    raised = bound - float(firing.limit[of_class])
    return Reason(
        plant=scene.cohorts[cohort].names[0],
        quantity=firing.rule.quantity,
        value=value,
        unit=QUANTITIES[firing.rule.quantity].unit,
        limit=bound,
        at=at,
        origin=f"{origin}; {raised:g} K more while the crown is wet" if raised else origin,
        hours=hours,
        degree_hours=degree_hours,
        rule=firing.rule.name,
        above=firing.rule.direction == "above",
        until=until,
        crosses_at=crosses_at,
    )
