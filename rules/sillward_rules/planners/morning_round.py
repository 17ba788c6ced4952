"""The morning round: what goes out and when, water, the last wetting hour, shade and cover.

Also what must go in before the dusk round could say so, and what is still open from the night.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.chore import Chore, ChoreKind, Errand
from sillward_rules.planners import (
    carry,
    courses,
    feeding,
    grower_decisions,
    heat,
    leaching,
    light_ramp,
    mist,
    notes,
    open_orders,
    pot_feeding,
    pot_heat,
    pot_watering,
    seasons,
    shelter,
    walk_time,
    wetting,
)
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.failing_shelters import failing_shelters
from sillward_rules.planners.nights import NightNeeds, find_night_needs
from sillward_rules.planners.protect import AT_NIGHT, plan_protection
from sillward_rules.planners.scene.places import Places, places_of_day
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.solutions import last_given
from sillward_rules.planners.walks import PLANT_PRICE
from sillward_rules.remark import Remark, Undecided, WateringIncomplete, WateringUnplanned
from sillward_rules.trips import make_chores, sort_chores
from sillward_rules.weather import sun
from sillward_rules.weather.spot_columns import NO_SPOT
from sillward_rules.weather.sun import Night

MIN_UNSURE_GAIN, MAX_UNSURE_GAIN = PLANT_PRICE / 2, 8.0
"""A plant is called undecided if carrying it in would gain between so much and so much, in trips.
Judgement: with the forecast of the evening one of these in three is decided the other way."""


def plan_morning(
    scene: Scene, *, orders_only: bool = False, going_out: bool = True
) -> tuple[tuple[Chore, ...], list[Remark]]:
    """Return the chores of the present day, and what to beware of.

    orders_only: plan nothing but what a newer forecast may correct (`revision.CORRECTED`).
    going_out: plan also what goes out; otherwise plants stay where they are.
    """
    day = scene.site.local_date(scene.now)
    night = sun.night_of(scene.site, day)
    left_out = open_orders.maybe_left_out(scene, day)
    out = carry.CarryPlan([], scene.standing)
    if going_out:
        kept_in = grower_decisions.stays_in(scene, day)
        out = carry.carry_out(scene, day, scene.standing, left_out, kept_in=kept_in)
    carrying = _plan_carrying(scene, night, out, with_stay_in=not orders_only)
    overdue = open_orders.open_errands(scene, night, np.flatnonzero(carrying.overdue))
    chores = [
        *_open_from_last_night(scene, day),
        *make_chores(overdue, scene.site, day, scene.now),
        *carrying.out,
        *carrying.back,
    ]
    if orders_only:
        guards = plan_protection(scene, carrying.guarded, night.start, AT_NIGHT)
        return sort_chores([*chores, *make_chores(guards, scene.site, day, scene.now)]), []
    moves, guards = _plan_guards(scene, carrying.guarded, night)
    places = carrying.places
    pots, pot_remarks = pot_watering.water_pots(scene, places, day)
    watering, water_remarks = _plan_watering(scene, day, moves.leaving(places), places.until, pots)
    chores += [*watering, *make_chores(guards, scene.site, day, scene.now)]
    return sort_chores(chores), [
        *open_orders.ask_about_last_night(scene, day, left_out),
        *grower_decisions.left_out_last_night(scene, day),
        *carrying.remarks,
        *failing_shelters(scene, day),
        *water_remarks,
        *pot_remarks,
        *heat.unrelieved(scene, places, night.start, chores),
        *seasons.rests_turned(scene),
        *pot_heat.hot_roots(scene, places, night.start.timestamp()),
        *notes.find_notes(scene, scene.now, night.start),
        *courses.looks_due(scene, daily=True),
    ]


def _open_from_last_night(scene: Scene, day: date) -> tuple[Chore, ...]:
    """Return what was told for the night before, is not confirmed, and would help still."""
    night = sun.night_of(scene.site, day - timedelta(days=1))
    useful = np.flatnonzero(open_orders.still_useful(scene, night))
    errands = open_orders.open_errands(scene, night, useful)
    return make_chores(errands, scene.site, night.day, scene.now)


# -- carrying


@dataclass(frozen=True, slots=True, eq=False)
class _Carrying:
    """The carrying of a day, and where the cohorts spend it.

    - out: the trips out; back: the trips in for which the dusk round would be too late.
    - overdue (cohort,): whether an order for the coming night is overdue.
    - places: where the plants are by day, until a trip of this round takes them in.
    - guarded: the same until they go in for the night, by this round or at dusk.
    """

    out: tuple[Chore, ...]
    back: tuple[Chore, ...]
    overdue: np.ndarray
    places: Places
    guarded: Places
    remarks: list[Remark]


def _plan_carrying(
    scene: Scene, night: Night, going_out: carry.CarryPlan, *, with_stay_in: bool
) -> _Carrying:
    day = night.day
    out = make_chores(going_out.errands, scene.site, day, scene.now)
    outside = ~scene.is_under_cover(going_out.standing)
    needs = open_orders.with_open_orders(scene, night, find_night_needs(scene, night, outside))
    needs = grower_decisions.respected(scene, night, needs)
    # For what goes out this morning, its deadline to be back must be known.
    early = outside & _due_before_dusk(scene, night, needs, outside) & ~needs.overdue
    lows = shelter.spot_lows(scene, night)
    leaving = replace(needs, must_be_in=early, overdue=np.zeros(early.shape, dtype=bool))
    going_in = carry.carry_in(
        scene, night, leaving, lows, going_out.standing, with_stay_in=with_stay_in
    )
    back = make_chores(going_in.errands, scene.site, day, scene.now)
    until = np.where(early, needs.deadline, np.inf)
    # A plant is guarded until it goes in, by day or at dusk; one without a shelter all the time.
    has_shelter = shelter.shelter_for(scene, night, lows) != NO_SPOT
    goes_in = needs.must_be_in & outside & has_shelter
    in_by = np.where(goes_in, needs.deadline, np.inf)
    return _Carrying(
        out=out,
        back=back,
        overdue=needs.overdue,
        places=places_of_day(scene, day, going_out.standing, out, until),
        guarded=places_of_day(scene, day, going_out.standing, [*out, *back], in_by),
        remarks=[
            *carry.night_warnings(scene, night, lows, leaving, going_in.standing),
            *_undecided(scene, night, needs, outside & has_shelter & ~early & ~needs.declined),
            *grower_decisions.not_needed(scene, night, needs),
        ],
    )


def _undecided(scene: Scene, night: Night, needs: NightNeeds, waits: np.ndarray) -> list[Remark]:
    """Return the plants for which the dusk round, by a newer forecast, may decide either way.

    waits (cohort,) : those outside of which nothing need be said before it.
    """
    told_by = scene.habits.told_at.on(scene.site, night.day)
    unsure = (
        (needs.gain >= MIN_UNSURE_GAIN) & (needs.usual_gain < MAX_UNSURE_GAIN) & needs.fully_known
    )
    cohorts = np.flatnonzero(waits & unsure)
    if not cohorts.size or scene.now >= told_by:
        return []
    by_name = cohorts[np.argsort(scene.rank_by_name[cohorts])]
    return [Undecided(scene.names(by_name.tolist()), told_by)]


def _due_before_dusk(
    scene: Scene, night: Night, needs: NightNeeds, outside: np.ndarray
) -> np.ndarray:
    """(cohort,) whether it was told to go in already, or the dusk round would come too late.

    That is after its deadline, or after the hour by which to begin with the walk. Only by sizes
    that are known is a walk so long.
    """
    dusk = scene.habits.told_at.on(scene.site, night.day).timestamp()
    told = scene.has_order_of(night)
    goes = outside & needs.must_be_in & ~needs.overdue
    begins = walk_time.begins_by(scene, needs.deadline, goes)
    return np.asarray(needs.must_be_in & (told | (begins < dusk)))


# -- shade, cover and the like


def _plan_guards(scene: Scene, places: Places, night: Night) -> tuple[heat.HeatMoves, list[Errand]]:
    """Plan what guards plants until the night; the light ramp adds shade where there is none."""
    moves, guards = heat.plan_guards(scene, places, night.start)
    shaded = {
        names
        for errand in guards
        if errand.kind is ChoreKind.SHADE
        for names in errand.grounds.groups
    }
    ramp = light_ramp.shade_for_ramp(scene, places, night.start)
    guards += [errand for errand in ramp if shaded.isdisjoint(errand.grounds.groups)]
    return moves, guards


# -- water


def _plan_watering(
    scene: Scene, day: date, places: Places, in_by: Array, pots: Sequence[Errand]
) -> tuple[list[Chore], list[Remark]]:
    """Plan misting, feeding and rinsing, what pots are given, and until when crowns may be wet.

    - in_by (cohort,): when they go in for the night [unix s]; a move for the day is before that.
    - pots: those that are watered.
    """
    if scene.forecast_expired:
        return [*make_chores(pots, scene.site, day, scene.now)], [WateringUnplanned()]
    films = DayFilms(scene, day)
    planned = mist.plan_mistings(scene, places, films)
    outdoors = ~scene.holds_itself[places.column]
    rot = scene.traits.rot
    wettable = outdoors & ((rot == "high") | planned.misted) & (rot != "low")
    dry = wetting.stop_wetting(scene, films, np.flatnonzero(wettable), places.column, in_by)
    misting = mist.misting_errands(scene, places, planned)
    chores = make_chores([*misting, *dry], scene.site, day, scene.now)
    given = last_given(scene)
    plan = feeding.plan_feeds(scene, places, planned, films, given)
    in_pots = pot_feeding.plan_pot_feeds(scene, places, films, given, plan, pots)
    fed = _fed(scene, day, places, chores, plan)
    watered = make_chores(pot_feeding.with_feeds(scene, pots, in_pots), scene.site, day, scene.now)
    flush = leaching.plan_flushes(
        scene, places, films, [*chores, *fed, *(one for one in watered if one.what)]
    )
    if flush.held.any():  # what would add to the salts waits
        plan = feeding.plan_feeds(scene, places, planned, films, given, held=flush.held)
        fed = _fed(scene, day, places, chores, plan)
        in_pots = in_pots.without(flush.held)
    rinses = feeding.rinse(scene, fed, plan, places, films)
    remarks = mist.missed(scene, places, planned)
    remarks += [*feeding.waiting(scene, plan), *flush.remarks]
    columns = np.unique(places.column[outdoors]).tolist()
    if not all(films.at_spot(column).known for column in columns):
        remarks.append(WateringIncomplete())
    pots = pot_feeding.with_feeds(scene, pots, in_pots, flush.errands)
    more = make_chores([*rinses, *flush.errands, *pots], scene.site, day, scene.now)
    return [*chores, *fed, *more], remarks


def _fed(
    scene: Scene, day: date, places: Places, mistings: Sequence[Chore], plan: feeding.FeedPlan
) -> tuple[Chore, ...]:
    """Return what plants are given with their first misting, as a plan has it."""
    feeds = feeding.fit_into_trips(mistings, feeding.feed(scene, places, plan))
    return make_chores(feeds, scene.site, day, scene.now)
