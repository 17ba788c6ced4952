"""The scene: everything the planners look at, worked out once for a moment."""

import math
from collections.abc import Callable, Iterable
from datetime import date, datetime
from functools import cached_property
from itertools import chain
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from sillward_rules.arrays import Array, group_rows
from sillward_rules.chore import CohortGroups, Grounds
from sillward_rules.memo import Memo
from sillward_rules.physics import cold_harm
from sillward_rules.planners.scene.cohorts import States, make_cohorts
from sillward_rules.planners.scene.expected_harm import Tenderness, early_firing
from sillward_rules.planners.scene.night_results import NightResults
from sillward_rules.planners.scene.surroundings import Surroundings, part_of
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Traits
from sillward_rules.plants.rule_firing import Classes, Firing, reaches_bound
from sillward_rules.plants.season_memory import SeasonMemory, more_restful
from sillward_rules.plants.state import ColdHistory, OpenOrder, PlantState, State
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import GROWS, WARMTH, Season, Warmth
from sillward_rules.weather.spot_columns import NO_SPOT, SpotColumns, at_columns
from sillward_rules.weather.sun import Night

Standing: TypeAlias = SpotColumns
"""(cohort,) the spot column at which each cohort stands, or `NO_SPOT`."""


class Scene(Surroundings):
    """Collection, climate and state at a moment.

    The arguments never change. What follows from them is computed when it is first asked for and
    kept, so that all planners share it. Decisions are taken for cohorts, in arrays (cohort,), so
    that the work does not grow with the number of plants.
    """

    def __init__(
        self,
        collection: Collection,
        weather: Weather,
        state: State,
        now: datetime,
        *,
        assume_obeyed: bool = False,
    ) -> None:
        """Prepare the scene of a moment.

        assume_obeyed: whether the plants of an overdue, unconfirmed order of this night are taken
        to stand where it sent them. Otherwise they stand where they stood: being told is not being
        done.
        """
        super().__init__(collection, weather, now)
        self._given = dict(state)  # whoever gave it may change theirs
        self._assume_obeyed = assume_obeyed
        self._fired: dict[tuple[object, ...], list[Firing]] = {}
        self._carry_firings: dict[Night, list[Firing]] = {}
        self.night_results: dict[Night, NightResults] = {}
        """A memo of the nights evaluated so far, filled by `nights.find_night_needs`."""
        self.memo = Memo(3)
        """What else has been worked out of it: by `pot_levels`, `pot_watering` and `salts`."""
        self.cohorts, kinds = make_cohorts(self, state, assume_obeyed=assume_obeyed)
        self.traits: Traits = collection.traits.take(kinds)
        self.traits = self.traits.resting(self.surely_at_rest)

    def is_of(
        self,
        collection: Collection,
        weather: Weather,
        state: State,
        now: datetime,
        *,
        assume_obeyed: bool,
    ) -> bool:
        """Return whether it is the scene of these arguments."""
        return (
            (now, assume_obeyed) == (self.now, self._assume_obeyed)
            and weather is self.weather
            and collection == self.collection
            and state == self._given
        )

    # -- the plants of each cohort

    @cached_property
    def sizes(self) -> np.ndarray:
        """(cohort,) how many plants each has."""
        return np.array([len(cohort.names) for cohort in self.cohorts], dtype=np.int64)

    @cached_property
    def names_of(self) -> list[tuple[str, ...]]:
        """The plants of each cohort."""
        return [cohort.names for cohort in self.cohorts]

    def names(self, cohorts: Iterable[int]) -> tuple[str, ...]:
        """Return the plants of these cohorts."""
        names = self.names_of
        return tuple(chain.from_iterable([names[index] for index in cohorts]))

    @cached_property
    def by_name(self) -> np.ndarray:
        """(cohort,) the cohorts in the order of names."""
        firsts = tuple([names[0] for names in self.names_of])
        return self.traits.memo.of(
            ("by name", firsts),
            lambda: np.array(sorted(range(len(firsts)), key=firsts.__getitem__), dtype=np.int64),
        )

    @cached_property
    def rank_by_name(self) -> np.ndarray:
        """(cohort,) the position of each in the order of names."""
        ranks = np.empty(self.by_name.shape, dtype=np.int64)
        ranks[self.by_name] = np.arange(ranks.size)
        return ranks

    @cached_property
    def _cohort_by_first_name(self) -> dict[str, int]:
        """The cohort whose first plant has this name."""
        return {cohort.names[0]: cohort.index for cohort in self.cohorts}

    def cohort_of(self, names: tuple[str, ...]) -> int:
        """Return the cohort that these plants are."""
        return self._cohort_by_first_name[names[0]]

    def cohorts_of(self, grounds: Grounds) -> np.ndarray:
        """Return the cohorts of an errand or a chore."""
        if isinstance(grounds.groups, CohortGroups):
            return np.array(grounds.groups.numbers, dtype=np.int64)
        of = self._cohort_by_first_name
        return np.array([of[names[0]] for names in grounds.groups], dtype=np.int64)

    # -- what plants are and want

    @cached_property
    def home(self) -> Standing:
        """(cohort,) spot column of each home."""
        return self.homes_of(self.traits)

    @cached_property
    def shelter(self) -> Standing:
        """(cohort,) spot column of each shelter; `NO_SPOT` where none is given."""
        return self.shelters_of(self.traits)

    @cached_property
    def raw_seasons(self) -> NDArray[np.object_]:
        """(cohort,) the `Season` at each home by day length and warmth alone, as of now."""
        return np.asarray(self.climate.season[self.traits.grows, self.home])

    @cached_property
    def season_known(self) -> np.ndarray:
        """(cohort,) whether there is a forecast to tell the season at each home."""
        return np.asarray(np.isfinite(self.climate.mean_c[self.home]) & (not self.forecast_expired))

    @cached_property
    def season_memories(self) -> list[SeasonMemory | None]:
        """(cohort,) the season remembered of each, with this day counted; None where none is."""
        stored = [cohort.state.care.season for cohort in self.cohorts]
        if not any(stored):
            return stored
        today = self.site.local_date(self.now)
        counted: dict[tuple[SeasonMemory, Season], SeasonMemory] = {}
        memories: list[SeasonMemory | None] = []
        for memory, raw, known in zip(stored, self.raw_seasons, self.season_known, strict=True):
            if memory is None or not known:
                memories.append(memory)
                continue
            if (memory, raw) not in counted:
                counted[memory, raw] = memory.after(today, raw)
            memories.append(counted[memory, raw])
        return memories

    @cached_property
    def seasons(self) -> NDArray[np.object_]:
        """(cohort,) the `Season` of each: as remembered, else by its home as of now."""
        return np.array(
            [
                raw if memory is None else memory.season
                for memory, raw in zip(self.season_memories, self.raw_seasons, strict=True)
            ],
            dtype=np.object_,
        )

    @cached_property
    def _remembered_seasons(self) -> NDArray[np.object_] | None:
        """(cohort,) the remembered `Season` of each, None where there is none; None without any."""
        memories = self.season_memories
        if not any(memories):
            return None
        return np.array([memory and memory.season for memory in memories], dtype=np.object_)

    @cached_property
    def surely_at_rest(self) -> np.ndarray:
        """(cohort,) whether each rests by its memory and by this day alone.

        The lower night limit of a rest holds only then: on doubt the higher one does.
        """
        return np.asarray((self.seasons == Season.REST) & (self.raw_seasons == Season.REST))

    @cached_property
    def seasons_to_feed(self) -> NDArray[np.object_]:
        """(cohort,) the `Season` by which each is fed: on doubt the one that is nearer to rest.

        What the grower saw is no doubt.
        """
        today = self.site.local_date(self.now)
        return np.array(
            [
                season if memory is None or memory.is_seen(today) else more_restful(season, raw)
                for memory, season, raw in zip(
                    self.season_memories, self.seasons, self.raw_seasons, strict=True
                )
            ],
            dtype=np.object_,
        )

    def min_warmth(self, of: Callable[[Warmth], float]) -> Array:
        """(cohort,) the least warmth for something [°C]. of : takes it from a class's `Warmth`."""
        of_class = np.array([of(WARMTH[grows]) for grows in GROWS], dtype=np.float64)
        return np.asarray(of_class[self.traits.grows])

    @cached_property
    def roots(self) -> np.ndarray:
        """(cohort,) one number for all that agree in holder, velamen and rot class."""
        traits = self.traits
        return traits.memo.of(
            "roots", lambda: group_rows(traits.holder, traits.velamen, traits.rot)[1]
        )

    @cached_property
    def lowest_limit_c(self) -> Array:
        """(cohort,) the night limit, or else that of injury [°C]; NaN without either.

        The higher of the two, should a grower have set the night limit below that of injury.
        """
        limits = self.traits.limits
        night, brief = limits["night_low"], limits["brief_low"]
        return np.asarray(np.fmax(night, brief))

    @cached_property
    def tenderest_c(self) -> Array:
        """(spot,) highest night limit of what lives there [°C]; NaN where nothing has one."""
        highest = np.full(len(self.climate.spots), np.nan)
        np.fmax.at(highest, self.home, self.traits.limits["night_low"])
        return highest

    # -- their state

    @property
    def states(self) -> States:
        """The completed state of every plant, by name."""
        return States(self.cohorts, self.states_of)

    @cached_property
    def states_of(self) -> list[PlantState]:
        """(cohort,) the completed state of the plants of each."""
        return [cohort.state for cohort in self.cohorts]

    @cached_property
    def standing(self) -> Standing:
        """(cohort,) where each stands now."""
        return self.columns_of(cohort.state.spot for cohort in self.cohorts)

    @cached_property
    def exposed_at(self) -> Standing:
        """(cohort,) where each stands, or would stand if it were let out."""
        return np.where(self.is_under_cover(self.standing), self.home, self.standing)

    @cached_property
    def _cold_histories(self) -> tuple[Array, np.ndarray, Array]:
        """(cohort,) three times: the dose carried, the last night counted, and the usual low."""
        none = ColdHistory(date.min, 0.0, math.nan)
        past = [cohort.state.cold or none for cohort in self.cohorts]
        return (
            np.array([one.carried for one in past]),
            np.array([one.night.toordinal() for one in past]),
            np.array([one.usual_low_c for one in past]),
        )

    def tenderness(self, night: Night) -> Tenderness:
        """(cohort,) how hard a night is for each, by its limits and the nights before."""
        limits = self.traits.limits
        carried, nights, usual = self._cold_histories
        since = np.maximum(night.day.toordinal() - nights - 1, 0)
        carried = cold_harm.carried_dose(carried, 0.0, since)
        usual = np.where(since > cold_harm.HARDENED_FOR_NIGHTS, np.nan, usual)
        return Tenderness(
            cold_harm.span_k(limits["night_low"], limits["brief_low"]),
            carried,
            cold_harm.hardened_share(limits["night_low"], usual),
            limits["night_low"] - limits["brief_low"],
        )

    @cached_property
    def place_unconfirmed(self) -> np.ndarray:
        """(cohort,) whether where it stands is assumed rather than confirmed."""
        return np.array([cohort.state.assumed for cohort in self.cohorts], dtype=bool)

    @cached_property
    def presumed_in(self) -> frozenset[str]:
        """Plants without history that are taken to be in because the night was too cold for them.

        That holds for this morning only and must not be stored.
        """
        carried = [
            cohort.names
            for cohort in self.cohorts
            if cohort.state.since is None and cohort.state.spot != cohort.plant.home
        ]
        return frozenset(chain.from_iterable(carried)).difference(self._given)

    @cached_property
    def misted_s(self) -> Array:
        """(cohort,) when the grower says that each was misted last [unix s]; NaN for never."""
        misted = (cohort.state.misted_at for cohort in self.cohorts)
        return np.array([np.nan if at is None else at.timestamp() for at in misted])

    def is_under_cover(self, standing: Standing) -> np.ndarray:
        """(cohort,) whether a spot is cover: the plant's shelter, or indoors, but not its home."""
        cover = (standing == self.shelter) | at_columns(self.indoors, standing, otherwise=False)
        return np.asarray((standing != NO_SPOT) & (standing != self.home) & cover)

    # -- orders that are not confirmed

    @cached_property
    def _orders(self) -> list[OpenOrder | None]:
        """The unconfirmed order to carry in of each cohort."""
        orders = [cohort.state.asked for cohort in self.cohorts]
        return [None if order is None or order.for_heat else order for order in orders]

    @cached_property
    def order_deadline(self) -> Array:
        """(cohort,) the deadline of the unconfirmed order [unix s]; NaN for none."""
        deadlines = np.full(len(self.cohorts), np.nan)
        for cohort, order in enumerate(self._orders):
            if order is not None:
                deadlines[cohort] = order.before.timestamp()
        return deadlines

    @cached_property
    def order_from(self) -> Standing:
        """(cohort,) where the plants stood when it was told; `NO_SPOT` for none."""
        return self._spots_of_orders(lambda order: order.from_spot)

    @cached_property
    def order_to(self) -> Standing:
        """(cohort,) where they were to go; `NO_SPOT` for none."""
        return self._spots_of_orders(lambda order: order.to_spot)

    def _spots_of_orders(self, of: Callable[[OpenOrder], str]) -> Standing:
        columns = np.full(len(self.cohorts), NO_SPOT, dtype=np.int64)
        for cohort, order in enumerate(self._orders):
            if order is not None:
                columns[cohort] = self.columns.get(of(order), NO_SPOT)
        return columns

    def has_order_of(self, night: Night) -> np.ndarray:
        """(cohort,) whether an order of this night, or of the day before it, is not confirmed."""
        morning = sun.day_events(self.site, night.day).sunrise.timestamp()
        at = self.order_deadline
        return np.asarray((at > morning) & (at <= night.end.timestamp()))

    # -- rules where the plants stand

    def rules_asking(
        self, asks: str, columns: np.ndarray, span: tuple[datetime, datetime] | None = None
    ) -> list[Firing]:
        """Evaluate every rule that asks for this chore at these (cohort,) spot columns.

        Cohorts at `NO_SPOT` are left out. span: the hours that matter; None for all.
        """
        key = (asks, columns.tobytes(), span)
        if key not in self._fired:
            classes = self.classes_at(asks, columns)
            self._fired[key] = self.evaluate(classes, self.climate, span)
        return self._fired[key]

    def classes_at(self, asks: str, columns: np.ndarray) -> list[Classes]:
        """Return the classes of cohorts at these (cohort,) columns for every rule that asks so."""
        return self.classes_asking(asks, self.traits, columns, self._remembered_seasons)

    def may_ask(self, asks: str, columns: np.ndarray, rows: slice) -> bool:
        """Return whether any rule that asks for this chore can fire at these (cohort,) columns.

        Seen from the highest and lowest values of its quantity in some rows of the climate, which
        is quicker than `rules_asking`.
        """
        return any(
            reaches_bound(rule, self.traits, columns, self.climate, rows)
            for rule in self.collection.rules
            if rule.asks == asks
        )

    @cached_property
    def _all_carry_firings(self) -> list[Firing]:
        """Of rules that ask for "carry in", in the fine steps of all nights."""
        classes = self.classes_at("carry in", self.exposed_at)
        return self.evaluate(classes, self.by_night)

    @cached_property
    def _all_early_carry_firings(self) -> list[Firing | None]:
        return [early_firing(self, firing) for firing in self._all_carry_firings]

    def carry_firings(self, night: Night) -> list[Firing]:
        """Return the rules that ask for "carry in" for a night and its day, in fine steps."""
        if night not in self._carry_firings:
            self._carry_firings[night] = [
                firing.part(self._rows_of(night, firing)) for firing in self._all_carry_firings
            ]
        return self._carry_firings[night]

    def early_carry_firing(self, night: Night, number: int) -> Firing | None:
        """Return one of them on the early side of the forecast; None as in `early_firing`."""
        early = self._all_early_carry_firings[number]
        if early is None:
            return None
        rows = self._rows_of(night, early)
        return early.part(rows) if self.early_k[rows].any() else None

    def _rows_of(self, night: Night, firing: Firing) -> slice:
        return part_of(self.by_night.times, self.day_and_night(night), firing.rule.lasting)
