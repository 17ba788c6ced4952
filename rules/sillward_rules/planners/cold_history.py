"""What the night that is over has done to each plant where it stood."""

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.physics import cold_harm
from sillward_rules.planners.scene.scene import Scene, Standing
from sillward_rules.planners.shelter import held_by_night
from sillward_rules.plants.state import ColdHistory, PlantState
from sillward_rules.weather import sun


def after_last_night(scene: Scene) -> list[PlantState]:
    """(cohort,) the state of the plants of each, with the night before this day counted.

    That is for a morning: its last hours may be those of the forecast still. A plant is taken to
    have spent it where it stands in this scene, but to have had the cold of where it was if nobody
    has confirmed that it was carried in. A night that is not wholly known is not counted.
    """
    today = scene.site.local_date(scene.now)
    night = sun.night_of(scene.site, today - timedelta(days=1))
    rows = scene.steps(night.start, night.cold_until)
    if rows.size < 2 or scene.forecast_expired:
        return scene.states_of
    leaf = np.where(scene.holds_itself, held_by_night(scene, night), scene.by_night.leaf_c[rows])
    limit = scene.traits.limits["night_low"]
    span = cold_harm.span_k(limit, scene.traits.limits["brief_low"])
    step_h = np.diff(scene.by_night.times[rows]) / HOUR_S

    def dose_at(columns: Standing) -> Array:
        dose = cold_harm.night_dose(limit - leaf[:, columns], span, step_h)
        return np.nan_to_num(dose, nan=0.0)

    lows, doses = leaf[:, scene.standing].min(axis=0), dose_at(scene.standing)
    unconfirmed = scene.has_order_of(night)
    left_out = np.where(unconfirmed, scene.order_from, scene.standing)
    doses = np.maximum(doses, dose_at(left_out))
    # Plants that share a state and have had the same night share the state that follows.
    after: dict[tuple[int, float, float], PlantState] = {}
    states = []
    for state, low, dose in zip(scene.states_of, lows.tolist(), doses.tolist(), strict=True):
        key = id(state), low, dose
        if key not in after:
            after[key] = _after_night(state, night.day, low, dose)
        states.append(after[key])
    return states


def _after_night(state: PlantState, night: date, low_c: float, dose: float) -> PlantState:
    """Return a state with a night counted, unless it is by now, or its low [°C] is not known."""
    past = state.cold
    if not math.isfinite(low_c) or (past is not None and past.night >= night):
        return state
    past = past or ColdHistory(night - timedelta(days=1), 0.0, low_c)
    return replace(state, cold=past.after(night, dose, low_c))
