"""The dusk round: what goes in tonight and by when, and when it may go out again tomorrow."""

from datetime import date, timedelta

import numpy as np

from sillward_rules.chore import Chore
from sillward_rules.planners import (
    carry,
    grower_decisions,
    heat,
    notes,
    open_orders,
    shelter,
)
from sillward_rules.planners.failing_shelters import failing_shelters
from sillward_rules.planners.nights import find_night_needs
from sillward_rules.planners.protect import AT_NIGHT, in_before_weather, plan_protection
from sillward_rules.planners.scene.places import Places, places_of_day
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.remark import Remark
from sillward_rules.trips import make_chores, sort_chores
from sillward_rules.weather import sun


def plan_dusk(scene: Scene, *, orders_only: bool = False) -> tuple[tuple[Chore, ...], list[Remark]]:
    """Return the chores of the coming or present night, and what to beware of.

    orders_only: plan nothing but what a newer forecast may correct (`revision.CORRECTED`).
    """
    night = sun.night_at_or_after(scene.site, scene.now)
    needs = open_orders.with_open_orders(scene, night, find_night_needs(scene, night))
    needs = in_before_weather(scene, night, grower_decisions.respected(scene, night, needs))
    lows = shelter.spot_lows(scene, night)
    tonight = carry.carry_in(
        scene, night, needs, lows, scene.standing, with_stay_in=not orders_only
    )
    tomorrow = night.day + timedelta(days=1)
    places = Places(
        column=tonight.standing,
        since=np.full(scene.home.shape, scene.now.timestamp()),
        until=np.full(scene.home.shape, np.inf),
    )
    guards = plan_protection(scene, places, night.end, AT_NIGHT)
    chores = make_chores(tonight.errands, scene.site, night.day, scene.now)
    chores += make_chores(guards, scene.site, night.day, scene.now)
    if orders_only and _tells_of_going_out(scene, tomorrow):
        return sort_chores(chores), []
    # Only plants that this round wants inside tonight are told when to go out again.
    sheltered = np.where(needs.must_be_in, tonight.standing, scene.home)
    kept_in = grower_decisions.stays_in(scene, tomorrow)
    again = carry.carry_out(scene, tomorrow, sheltered, kept_in=kept_in)
    chores += make_chores(again.errands, scene.site, tomorrow, scene.now)
    if orders_only:
        return sort_chores(chores), []
    return sort_chores(chores), [
        *carry.night_warnings(scene, night, lows, needs, tonight.standing),
        *grower_decisions.not_needed(scene, night, needs),
        *carry.borne_cold(scene, needs, tonight.standing),
        *carry.close_calls(scene, night, needs, tonight.standing),
        *failing_shelters(scene, tomorrow),
        *_heat_ahead(scene, tomorrow, again.standing),
        *heat.warm_nights(scene, [(night, tonight.standing)]),
        *notes.find_notes(scene, scene.now, night.end),
    ]


def _tells_of_going_out(scene: Scene, day: date) -> bool:
    """Return whether the morning round of a day comes before anything goes out."""
    first = sun.day_events(scene.site, day).sunrise + scene.habits.out_after
    return scene.habits.morning_at.on(scene.site, day) < first


def _heat_ahead(scene: Scene, day: date, standing: Standing) -> list[Remark]:
    """Return what must be ready for a day's heat before its morning round."""
    morning = scene.habits.morning_at.on(scene.site, day)
    places = places_of_day(scene, day, standing, ())
    _, errands = heat.plan_guards(scene, places, sun.day_events(scene.site, day).sunset)
    return heat.ahead(make_chores(errands, scene.site, day, scene.now), morning)
