"""The scene: everything the planners look at, worked out once for a moment."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import chain
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from sillward_rules.chore import ChoreKind, Errand, Grounds, Reason
from sillward_rules.physics.arrays import HOUR_S, Array
from sillward_rules.physics.exposure import exposure
from sillward_rules.planners.verdict import Verdict
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant, Traits
from sillward_rules.plants.rules import QUANTITIES, Bound, Classes, Firing, alike, classes_of, hold
from sillward_rules.plants.state import OpenOrder, PlantState, State
from sillward_rules.weather import sun
from sillward_rules.weather.climate import Climate, climate_by_night, climate_of
from sillward_rules.weather.hourly import Freshness, Weather, covers_hours, moment, rows_from_to
from sillward_rules.weather.season import GROWS, WARMTH, Season
from sillward_rules.weather.sun import Night
from sillward_rules.weather.uncertainty import Spread, chance_under

Standing: TypeAlias = np.ndarray
"""(cohort,) the spot column at which each cohort stands."""


@dataclass(frozen=True, slots=True)
class Cohort:
    """Plants that are alike in all that planners look at, history included.

    index: its place among the scene's cohorts. plant: one of them, speaks for all.
    """

    index: int
    plant: Plant
    names: tuple[str, ...]
    state: PlantState


class States(Mapping[str, PlantState]):
    """The state of every plant of some cohorts, by name: laid out when it is first read."""

    def __init__(self, cohorts: Sequence[Cohort]) -> None:
        self._cohorts = cohorts

    @cached_property
    def _by_name(self) -> dict[str, PlantState]:
        return {name: cohort.state for cohort in self._cohorts for name in cohort.names}

    def __getitem__(self, name: str) -> PlantState:
        """The state of a plant."""
        return self._by_name[name]

    def __iter__(self) -> Iterator[str]:
        """The names."""
        return iter(self._by_name)

    def __len__(self) -> int:
        """How many plants."""
        return len(self._by_name)


class Scene:
    """Collection, climate and state at a moment. Immutable; derived parts are computed once.

    What is decided is decided for cohorts, in arrays (cohort,), so that the work does not grow
    with the number of plants.
    """

    def __init__(
        self,
        collection: Collection,
        weather: Weather,
        state: State,
        now: datetime,
        *,
        followed: bool = False,
    ) -> None:
        """followed: an order of this night that is overdue and that nobody has confirmed is taken
        as followed. Else its plants stand where they stood: being told is not being done."""
        self.followed = followed
        self.collection = collection
        self.weather = weather
        self.now = now
        self._given = state
        self.site = collection.site
        self.habits = collection.habits
        self.climate: Climate = climate_of(
            collection.site, collection.spots, weather, axil_factor=self.habits.axil_factor
        )
        self.by_night: Climate = climate_by_night(collection.site, self.climate, weather)
        """The climate in the steps that nights are judged by."""
        self.columns = {spot.name: index for index, spot in enumerate(collection.spots)}
        self.spots = {spot.name: spot for spot in collection.spots}
        self._fired: dict[tuple[object, ...], list[Firing]] = {}
        self._held: dict[Night, list[Firing]] = {}
        self.judged: dict[Night, Verdict] = {}
        """Nights that have been judged, kept by `judge_night`."""
        self.cohorts, kinds = _cohorts(self, state)
        self.traits: Traits = collection.traits.take(kinds)
        self.traits = self.traits.resting(self.seasons == Season.REST)

    @cached_property
    def stale(self) -> bool:
        """Whether the forecast is too old to judge by."""
        return self.weather.freshness(self.now) is Freshness.EXPIRED

    @cached_property
    def home(self) -> np.ndarray:
        """(cohort,) spot column of each home."""
        return self.columns_of(plant.home for plant in self.traits.plants)

    @cached_property
    def shelter(self) -> np.ndarray:
        """(cohort,) spot column of each shelter; -1 where none is given."""
        return self.columns_of(plant.shelter or "" for plant in self.traits.plants)

    @cached_property
    def seasons(self) -> NDArray[np.object_]:
        """(cohort,) the `Season` of each at its home."""
        return np.asarray(self.climate.season[self.traits.grows, self.home])

    def wanted_warmth(self, name: str) -> Array:
        """(cohort,) what each wants of a warmth, by the name of a field of `Warmth` [°C]."""
        of_class = np.array([getattr(WARMTH[grows], name) for grows in GROWS], dtype=np.float64)
        return np.asarray(of_class[self.traits.grows])

    @cached_property
    def standing(self) -> Standing:
        """Where each cohort stands now."""
        return self.columns_of(cohort.state.spot for cohort in self.cohorts)

    @cached_property
    def sunrises(self) -> tuple[datetime, datetime, datetime]:
        """The last two before the coming or present night ends, and the one that ends it."""
        tonight = sun.night_at_or_after(self.site, self.now)
        last, before = (
            sun.night_of(self.site, tonight.day - timedelta(days=days)).end for days in (1, 2)
        )
        return before, last, tonight.end

    def asked_of(self, night: Night) -> np.ndarray:
        """(cohort,) whether an order of this night, or the day before it, is not confirmed."""
        morning = sun.day_events(self.site, night.day).sunrise.timestamp()
        at = self.asked_before
        return np.asarray((at > morning) & (at <= night.end.timestamp()))

    @cached_property
    def _orders(self) -> list[OpenOrder | None]:
        """The order to carry in of each cohort that nobody has confirmed."""
        asked = [cohort.state.asked for cohort in self.cohorts]
        return [None if one is None or one.for_heat else one for one in asked]

    @cached_property
    def asked_before(self) -> Array:
        """(cohort,) deadline of the order that nobody has confirmed [unix s]; NaN for none."""
        orders = self._orders
        return np.array([np.nan if one is None else one.before.timestamp() for one in orders])

    @cached_property
    def asked_from(self) -> Standing:
        """(cohort,) where they stood when it was told; -1 for none."""
        return self.columns_of("" if one is None else one.from_spot for one in self._orders)

    @cached_property
    def asked_to(self) -> Standing:
        """(cohort,) where they were to go; -1 for none."""
        return self.columns_of("" if one is None else one.to_spot for one in self._orders)

    @cached_property
    def misted_s(self) -> Array:
        """(cohort,) when the grower says that each was misted last [unix s]; NaN where never."""
        misted = (cohort.state.misted_at for cohort in self.cohorts)
        return np.array([np.nan if at is None else at.timestamp() for at in misted])

    @cached_property
    def assumed(self) -> np.ndarray:
        """(cohort,) whether nobody has said where it stands."""
        return np.array([cohort.state.assumed for cohort in self.cohorts], dtype=bool)

    @cached_property
    def presumed(self) -> frozenset[str]:
        """Plants without history that are taken to be in, as the night was too cold for them: that
        is for this morning alone, and not to be remembered."""
        return frozenset(
            name
            for cohort in self.cohorts
            if cohort.state.since is None and cohort.state.spot != cohort.plant.home
            for name in cohort.names
            if name not in self._given
        )

    @cached_property
    def sizes(self) -> np.ndarray:
        """(cohort,) how many plants each has."""
        return np.array([len(cohort.names) for cohort in self.cohorts], dtype=np.int64)

    @cached_property
    def by_name(self) -> np.ndarray:
        """(cohort,) the cohorts in the order of names."""
        firsts = [names[0] for names in self.names_of]
        return np.array(sorted(range(len(firsts)), key=firsts.__getitem__), dtype=np.int64)

    @cached_property
    def in_order(self) -> np.ndarray:
        """(cohort,) place of each in the order of names."""
        ranks = np.empty(self.by_name.shape, dtype=np.int64)
        ranks[self.by_name] = np.arange(ranks.size)
        return ranks

    @cached_property
    def names_of(self) -> list[tuple[str, ...]]:
        """The plants of each cohort."""
        return [cohort.names for cohort in self.cohorts]

    @cached_property
    def roots(self) -> np.ndarray:
        """(cohort,) a number for all that agree in holder, velamen and rot class."""
        traits = self.traits
        return alike(traits.holder, traits.velamen, traits.rot)[1]

    @cached_property
    def place_of(self) -> dict[str, int]:
        """The cohort whose first plant has this name."""
        return {cohort.names[0]: cohort.index for cohort in self.cohorts}

    @cached_property
    def holds_itself(self) -> np.ndarray:
        """(spot,) whether a spot has a climate of its own."""
        return np.array([spot.holds_itself for spot in self.climate.spots], dtype=bool)

    @cached_property
    def indoors(self) -> np.ndarray:
        """(spot,) whether a spot is indoors."""
        return np.array([spot.indoors for spot in self.climate.spots], dtype=bool)

    @cached_property
    def least_c(self) -> Array:
        """(cohort,) the night limit, or else that of injury [°C]; NaN for neither."""
        limits = self.traits.limits
        night, brief = limits["night_low"], limits["brief_low"]
        return np.where(np.isnan(night), brief, night)

    @cached_property
    def tenderest_c(self) -> Array:
        """(spot,) highest night limit of what lives there [°C]; NaN where nothing has one."""
        highest = np.full(len(self.climate.spots), np.nan)
        np.fmax.at(highest, self.home, self.traits.limits["night_low"])
        return highest

    @property
    def states(self) -> States:
        """The completed state of every plant, by name."""
        return States(self.cohorts)

    def columns_of(self, spots: Iterable[str]) -> np.ndarray:
        """Spot columns of these spots; -1 for what is none."""
        return np.array([self.columns.get(spot, -1) for spot in spots], dtype=np.int64)

    def spot_name(self, column: int) -> str:
        """The name of a spot."""
        return self.climate.spots[column].name

    def names(self, cohorts: Iterable[int]) -> tuple[str, ...]:
        """The plants of these cohorts."""
        names = self.names_of
        return tuple(chain.from_iterable([names[index] for index in cohorts]))

    def rules_asking(
        self, asks: str, columns: np.ndarray, span: tuple[datetime, datetime] | None = None
    ) -> list[Firing]:
        """Hold every rule that asks for this chore against the climate at these (cohort,) columns.

        Columns of -1 are left out. span: the hours that matter; None for all.
        """
        key = (asks, columns.tobytes(), span)
        if key not in self._fired:
            classes = _classes(self, self.traits, asks, columns)
            self._fired[key] = _held(self, classes, self.climate, span)
        return self._fired[key]

    @cached_property
    def _carried(self) -> list[Classes]:
        """Of rules asking for "carry in": where the plants stand, or would stand if let out."""
        places = np.where(self.covered(self.standing), self.home, self.standing)
        return _classes(self, self.traits, "carry in", places)

    def carry_firings(self, night: Night) -> list[Firing]:
        """Rules asking for "carry in" held against a night and the day before it, by its steps.

        From the hour before that day's sunrise until the night's cold is over.
        """
        if night not in self._held:
            self._held[night] = _held(self, self._carried, self.by_night, _with_day(self, night))
        return self._held[night]

    def covered(self, standing: Standing) -> np.ndarray:
        """(cohort,) whether a spot is cover: the plant's shelter, or indoors, but not its home."""
        cover = (standing == self.shelter) | self.indoors[standing]
        return np.asarray((standing != self.home) & cover)

    def rows(self, start: datetime, end: datetime) -> np.ndarray:
        """Rows of the hourly climate from start to end, both included."""
        return rows_from_to(self.climate.times, start, end)

    def steps(self, start: datetime, end: datetime) -> np.ndarray:
        """Rows of the climate by night from start to end, both included.

        None unless each full hour in between is there.
        """
        if not covers_hours(self.climate.times, start, end):
            return np.arange(0)
        return rows_from_to(self.by_night.times, start, end)

    def rows_of_day(self, day: date) -> np.ndarray:
        """Rows of the 24 hours around the sun's noon of a local date; fewer if they are not all
        there."""
        noon = self.site.middle_of_day(day)
        return self.rows(
            noon - timedelta(hours=12) + timedelta(seconds=1), noon + timedelta(hours=12)
        )


def errands(
    scene: Scene,
    kind: ChoreKind,
    cohorts: np.ndarray,
    places: tuple[np.ndarray, np.ndarray],
    times: tuple[Array | None, Array],
    reason: Callable[[int], Reason],
) -> list[Errand]:
    """Errands for these cohorts, one for all that go the same way at the same times.

    places : spot columns from and to, times : not before and before [unix s], each (cohort,) over
    all of the scene's cohorts. reason : of a cohort.
    """
    if not cohorts.size:
        return []
    meant = np.zeros(len(scene.cohorts), dtype=bool)
    meant[cohorts] = True
    cohorts = scene.by_name[meant[scene.by_name]]
    start, end = times
    keys = [places[0][cohorts], places[1][cohorts], end[cohorts]]
    if start is not None:
        keys.append(start[cohorts])
    made, names = [], scene.names_of
    for part in parted(cohorts, *keys):
        index, members = int(part[0]), part.tolist()
        made.append(
            Errand(
                kind,
                scene.spot_name(int(places[0][index])),
                scene.spot_name(int(places[1][index])),
                None if start is None else moment(start[index]),
                moment(end[index]),
                Grounds(
                    [names[one] for one in members],
                    lambda members=members: [reason(one) for one in members],  # type: ignore[misc]
                ),
            )
        )
    return made


def parted(cohorts: np.ndarray, *keys: np.ndarray) -> list[np.ndarray]:
    """The cohorts, those together that agree in every key (cohort,), in the order given."""
    if not cohorts.size:
        return []
    groups = alike(*keys)[1]
    small = groups.astype(np.min_scalar_type(int(groups.max())))  # sorted by radix, in one pass
    order = np.argsort(small, kind="stable")
    return np.split(cohorts[order], np.cumsum(np.bincount(groups))[:-1])


def exposure_of(firing: Firing, night: Night) -> tuple[Array, Array]:
    """(class,) hours and degree-hours under a bound on temperature from sunset on.

    Until the night's cold no longer counts. NaN for other bounds, and where it is not wholly known.
    """
    times = firing.times
    edges = np.array([night.start.timestamp(), night.cold_until.timestamp()])
    cold = firing.rule.direction == "below" and QUANTITIES[firing.rule.quantity].unit == "°C"
    if not cold or times.size < 2 or edges[0] < times[0] or edges[1] > times[-1]:
        unknown = np.full(firing.limit.shape, np.nan)
        return unknown, unknown
    rows = firing.rows(night.start, night.cold_until)
    return exposure(firing.values[rows], firing.bound[rows], np.diff(times[rows]) / HOUR_S)


def spread_of(scene: Scene, night: Night) -> tuple[Spread, np.ndarray] | None:
    """How far off what is left of a night may be, by the hour, and its rows.

    None where its hours are not all there, or the forecast is too old.
    """
    start = max(night.start, scene.now - timedelta(hours=1))
    rows = scene.rows(start, night.cold_until)
    if (
        scene.stale
        or not rows.size
        or not covers_hours(scene.climate.times, start, night.cold_until)
    ):
        return None
    return scene.weather.spread_in(rows), rows


def chance_in(scene: Scene, night: Night, columns: np.ndarray, limit: Array) -> Array:
    """(class,) chance that a leaf falls under its limit in what is left of a night; NaN: unknown.

    columns, limit (class,) : where it is, and its limit [°C].
    """
    start = max(night.start, scene.now - timedelta(hours=1))
    rows = scene.steps(start, night.cold_until)
    return _chance(
        scene, night, scene.by_night.times[rows], scene.by_night.leaf_c[rows][:, columns] - limit
    )


def _chance(scene: Scene, night: Night, at: Array, margin_k: Array) -> Array:
    known = spread_of(scene, night)
    if known is None or not at.size:
        return np.full(margin_k.shape[1], np.nan)
    spread = known[0].at(scene.climate.times, known[1], at)
    return chance_under(margin_k, spread, np.arange(at.size))


def chance_of(scene: Scene, firing: Firing, night: Night) -> Array:
    """(class,) chance that a leaf falls under the bound of a rule in what is left of a night.

    NaN for bounds of other kinds, at spots that hold themselves, and where it is not known.
    """
    rule = firing.rule
    if rule.quantity != "leaf temperature" or rule.direction != "below":
        return np.full(firing.limit.shape, np.nan)
    rows = firing.rows(max(night.start, scene.now - timedelta(hours=1)), night.cold_until)
    chances = _chance(scene, night, firing.times[rows], firing.values[rows] - firing.bound[rows])
    return np.where(scene.holds_itself[firing.column], np.nan, chances)


def borne(
    scene: Scene, firing: Firing, night: Night, hours: Array, others: Callable[[Night], Firing]
) -> np.ndarray:
    """(class,) whether a dip under the comfort limit is short, and the nights around are mild.

    others : the same rule held against another night.
    """
    brief = np.asarray(hours <= scene.habits.brief_cold / timedelta(hours=1))
    rule = firing.rule
    comfort = rule.bound == Bound(limit="night_low") and rule.hours.of_night(scene.site, night)
    if not comfort or rule.also is not None:
        return np.zeros(brief.shape, dtype=bool)
    if not brief.any():
        return brief
    for days in (-1, 1):
        other = sun.night_of(scene.site, night.day + timedelta(days=days))
        around = others(other)
        rows = around.rows(other.start, other.cold_until)
        whole = covers_hours(scene.climate.times, other.start, other.cold_until)
        mild = around.known[rows].all(axis=0) & ~around.fires[rows].any(axis=0)
        brief = brief & mild & whole
    return brief


def _classes(scene: Scene, traits: Traits, asks: str, columns: np.ndarray) -> list[Classes]:
    return [
        classes_of(rule, traits, columns, scene.climate)
        for rule in scene.collection.rules
        if rule.asks == asks
    ]


def _with_day(scene: Scene, night: Night) -> tuple[datetime, datetime]:
    """From an hour before the sunrise of the day before a night until its cold is over."""
    sunrise = sun.day_events(scene.site, night.day).sunrise
    return sunrise - timedelta(hours=1), night.cold_until


def _held(
    scene: Scene,
    classes: Sequence[Classes],
    climate: Climate,
    span: tuple[datetime, datetime] | None,
) -> list[Firing]:
    """Rules held against a climate in a span, or (None) in all of it."""
    held = []
    for one in classes:
        part = slice(None)
        if span is not None:
            # What must last is seen as far beyond as it must last.
            lasting = one.rule.lasting
            rows = rows_from_to(climate.times, span[0] - lasting, span[1] + lasting)
            part = slice(int(rows[0]), int(rows[-1]) + 1) if rows.size else slice(0, 0)
        margin = scene.habits.wet_margin_k
        held.append(hold(one, scene.site, climate, part, wet_margin_k=margin))
    return held


def _cohorts(scene: Scene, state: State) -> tuple[tuple[Cohort, ...], np.ndarray]:
    """The kinds of the collection, parted where their plants have different histories.

    A plant without history is at home, except on a morning after a night that was too cold
    for it: then it was carried in. A plant recorded at a spot that no longer exists has no
    history. The second part is the kind of each cohort.
    """
    collection = scene.collection
    now = {name: _now(scene, one) for name, one in state.items()}
    known = {name: one for name, one in now.items() if one.spot in scene.columns}
    carried = _carried_in_last_night(scene, known)
    cohorts: list[Cohort] = []
    of_kind: list[int] = []
    at = {spot: PlantState(spot) for spot in scene.columns}
    kinds = zip(collection.traits.plants, collection.names, carried.tolist(), strict=True)
    for number, (first, names, inside) in enumerate(kinds):
        unknown = at[first.shelter if inside and first.shelter else first.home]
        for one, part in _parted(names, known, unknown):
            cohorts.append(Cohort(len(cohorts), first, part, one))
            of_kind.append(number)
    return tuple(cohorts), np.array(of_kind, dtype=np.int64)


def _now(scene: Scene, state: PlantState) -> PlantState:
    """The state at the scene's moment, without an order that no longer matters."""
    # What the day plans rests on where a plant is before it goes out. What the night asks for does
    # not: told to be out, it may be.
    state = state.before_going_out(scene.now) if scene.followed else state
    now, asked = state.at(scene.now), state.asked
    if asked is None:
        return now
    if asked.out_at is not None:  # no more is made of it, and plants that it tells apart are alike
        now = replace(now, asked=replace(asked, out_of=None, out_at=None))
    before_last, last, tonight = scene.sunrises
    if not before_last < asked.before <= tonight:
        return replace(now, asked=None)
    if not scene.followed and asked.before > last:
        now = now.as_if_ignored()
    # The way that was asked for is none any more, but the plant is no further in for that: where
    # it was is known, or it has no history, and so it is told anew.
    spots_gone = not scene.columns.keys() >= {asked.from_spot, asked.to_spot}
    return replace(now, asked=None) if spots_gone else now


def _parted(
    names: tuple[str, ...], known: Mapping[str, PlantState], unknown: PlantState
) -> list[tuple[PlantState, tuple[str, ...]]]:
    if not known:
        return [(unknown, names)]
    parts: dict[PlantState, list[str]] = {}
    for name in names:
        parts.setdefault(known.get(name, unknown), []).append(name)
    return [(state, tuple(part)) for state, part in parts.items()]


def _carried_in_last_night(scene: Scene, known: Mapping[str, PlantState]) -> np.ndarray:
    """(kind,) whether plants without history were carried in: this is the morning after cold."""
    traits = scene.collection.traits
    cold = np.zeros(len(traits.plants), dtype=bool)
    today = scene.site.local_date(scene.now)
    night = sun.night_of(scene.site, today - timedelta(days=1))
    plants = scene.collection.plants
    all_known = len(known) >= len(plants) and all(plant.name in known for plant in plants)
    if all_known or not night.end <= scene.now < scene.site.middle_of_day(today):
        return cold
    home = scene.columns_of(plant.home for plant in traits.plants)
    traits = traits.resting(scene.climate.season[traits.grows, home] == Season.REST)
    stands_cold = np.isfinite(traits.limits["brief_low"])
    for classes in _classes(scene, traits, "carry in", home):

        def of(other: Night, classes: Classes = classes) -> Firing:
            return _held(scene, [classes], scene.by_night, _with_day(scene, other))[0]

        firing = of(night)
        short = borne(scene, firing, night, exposure_of(firing, night)[0], of)
        fired = firing.fires[firing.rows(night.start, night.cold_until)].any(axis=0)
        cold |= firing.by_plant(fired) & ~(firing.by_plant(short) & stands_cold)
    return cold
