"""The salts that stay with the roots of each cohort: as they are now, and settled each morning."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array, filled
from sillward_rules.chore import ChoreKind
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.scene.whereabouts import Whereabouts
from sillward_rules.plants import salt_balance
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.feeds import WEAK_FEED, Course, Feed
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.salt_balance import Balances, Given, Holding, Root, SaltBalance
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.spot_columns import NO_SPOT

FORGOTTEN_SHARE = 0.1
"""An assumption at the start no longer matters once the doubt is below this share of the limit; it
begins at three times as much. Judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class Salts:
    """The salts of each cohort now; arrays (cohort,).

    - ec, doubt: EC of the water that the roots hold, and how far off that may be [mS/cm].
    - limit: how strong it may get [mS/cm].
    - balances, given: what that was worked out from.
    """

    ec: Array
    doubt: Array
    limit: Array
    balances: tuple[SaltBalance, ...]
    given: tuple[tuple[Given, ...], ...]
    holdings: tuple[Holding, ...]
    plants: tuple[Plant, ...]

    def origin(self, cohort: int) -> str:
        """Return whose limit that of a cohort is."""
        return salt_balance.medium_limit(self.plants[cohort].limits).origin

    def after(self, more: Sequence[Sequence[Given]], until: datetime) -> Balances:
        """Return the balances once more has been given, up to a moment; more is (cohort,)."""
        given = [[*known, *one] for known, one in zip(self.given, more, strict=True)]
        ends = [until] * len(given)
        return salt_balance.carried_on(self.balances, given, self.holdings, ends)


def given_ec(collection: Collection, kind: ChoreKind, of: str = "") -> float:
    """Return the EC of what a watering of this kind gives [mS/cm].

    of: the name of the feed or course, as in `Chore.what`; one that is not known any more counts as
    the strongest there is. Without a table of the water it is taken as pure.
    """
    water = 0.0 if collection.water is None else collection.water.blended.ec
    if kind is ChoreKind.LEACH and of == salt_balance.SOFT_WATER:
        return 0.0
    feeds: Sequence[Feed | Course] = collection.all_feeds
    known = feeds if kind is ChoreKind.FEED else collection.courses
    if kind is ChoreKind.WATER and of:  # a pot is given either with its water
        known = [*feeds, *collection.courses]
    elif kind not in (ChoreKind.FEED, ChoreKind.COURSE):
        return water
    named = [one.ec for one in known if of in (one.name, one.name or WEAK_FEED)]
    return max(named or [one.ec for one in known], default=water)


def salts_of(scene: Scene) -> Salts | None:
    """Return the salts of all cohorts now, worked out once; None without a table of the water."""
    if scene.collection.water is None or not scene.cohorts:
        return None
    salts: Salts = scene.memo.of("salts", lambda: _salts_of(scene))
    return salts


def _salts_of(scene: Scene) -> Salts:
    limit, strengths = limits_of(scene), dict[tuple[ChoreKind, str], float]()
    holdings = tuple(salt_balance.holding_of(cohort.plant) for cohort in scene.cohorts)
    given = tuple(_given(scene.collection, cohort.state, strengths) for cohort in scene.cohorts)
    balances = tuple(
        cohort.state.care.salt or salt_balance.beginning(bound, scene.now)
        for cohort, bound in zip(scene.cohorts, limit.tolist(), strict=True)
    )
    now = [scene.now] * len(balances)
    course = salt_balance.carried_on(balances, given, holdings, now)
    plants = scene.traits.plants
    return Salts(course.ec, course.doubt, limit, balances, given, holdings, plants)


@dataclass(frozen=True, slots=True)
class SaltNow:
    """The salts at the roots of one plant.

    - ec, doubt: EC of the water that they hold, and how far off that may be [mS/cm].
    - limit: how strong it may get [mS/cm]; root: what the roots are in.
    - assumed: whether that began with an assumption that still matters.
    """

    ec: float
    doubt: float
    limit: Limit
    root: Root
    assumed: bool


def salt_now(
    plant: Plant, collection: Collection, state: PlantState | None, now: datetime
) -> SaltNow | None:
    """Return the salts at the roots of a plant; None without water of which the EC is known."""
    if collection.water is None:
        return None
    limit, root = salt_balance.medium_limit(plant.limits), salt_balance.root_of(plant)
    there = PlantState(plant.home) if state is None else state.at(now)
    balance = there.care.salt or salt_balance.beginning(limit.value, now)
    holding = salt_balance.holding_of(plant)
    course = salt_balance.carried_on([balance], [_given(collection, there, {})], [holding], [now])
    ec, doubt = float(course.ec[0]), float(course.doubt[0])
    assumed = balance.assumed and doubt > FORGOTTEN_SHARE * limit.value
    return SaltNow(ec, doubt, limit, root, assumed)


def limits_of(scene: Scene) -> Array:
    """(cohort,) how strong the water that the roots hold may get [mS/cm]."""
    plants = scene.traits.plants
    return np.array([salt_balance.medium_limit(plant.limits).value for plant in plants])


def after_last_day(scene: Scene, states: Sequence[PlantState]) -> list[PlantState]:
    """(cohort,) these states with the salts settled, and the rain of the day before noted."""
    salts = salts_of(scene)
    if salts is None:
        return list(states)
    now = salt_balance.settled(
        salts.balances, salts.given, salts.holdings, scene.now, _rain_of_last_day(scene)
    )
    after = []
    for state, balance in zip(states, now, strict=True):
        care = state.care.with_salt(balance)
        after.append(state if care is state.care else replace(state, care=care))
    return after


def _given(
    collection: Collection, state: PlantState, strengths: dict[tuple[ChoreKind, str], float]
) -> tuple[Given, ...]:
    """Return what a plant was given. strengths: those worked out so far, by kind and name."""
    given = []
    for one in state.care.wettings:
        key = one.kind, one.of
        if key not in strengths:
            strengths[key] = given_ec(collection, *key)
        given.append(Given(one.at, one.kind, strengths[key], one.confirmed))
    return tuple(given)


def _rain_of_last_day(scene: Scene) -> Array:
    """(cohort,) the rain of the hours of the last day that are known, where each stood [mm]."""
    fallen = np.zeros(len(scene.cohorts))
    stood = Whereabouts(scene, np.arange(fallen.size), [cohort.state for cohort in scene.cohorts])
    times = scene.climate.times
    for row in scene.rows(scene.now - timedelta(days=1) + timedelta(seconds=1), scene.now).tolist():
        columns = stood.at(times[row] - HOUR_S / 2)
        rain = filled(scene.climate.rain_mm[row][columns], 0.0)
        fallen += np.where(columns == NO_SPOT, 0.0, rain)
    return fallen
