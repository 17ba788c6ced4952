"""The replay itself: the clock, rounds and forecasts in their order, and a grower who obeys.

    for record in nights(plan): ...      night by night, as far as one likes
    replay(plan)                         all of them at once

A night runs from the middle of its local date to the middle of the next. The morning round is told
at `habits.morning_at`, the dusk round at `habits.told_at`, and each new forecast is compared with
the round in force. At one moment, what is due is done first, then a round is told, then a forecast
is compared. With `Plan.sensors` thermometers at spots are read every full hour of a night, and what
they show is compared too.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import Enum

import numpy as np

from sillward_rules.chore import WETTINGS, Chore, ChoreKind
from sillward_rules.planners.scene.night_risk import chance_in
from sillward_rules.planners.scene.surroundings import Surroundings
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.pot_water import PotLook, PotWord
from sillward_rules.remark import CloseCall, ColdBorne, NoShelter, Remark
from sillward_rules.replay.desk import Desk, has_content
from sillward_rules.replay.forecasts import PAST_H, Forecasts
from sillward_rules.replay.grower import Places
from sillward_rules.replay.outcome import Heard, Judge
from sillward_rules.replay.records import NightRecord, ReplayResult, Warned
from sillward_rules.replay.thermometers import Thermometers
from sillward_rules.replay.truth import Truth
from sillward_rules.revision import hour_of, watched_spots
from sillward_rules.round import MAX_MESSAGES, MOVED_BY, Round
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather, moment, same_forecast
from sillward_rules.weather.season import Season

WARM_UP = timedelta(days=21)
"""A replay begins so long before its first night, as far as there is weather, so that it does not
begin with all plants at home in winter, and plants are as used to cool nights as they were. Plants
that stay in are in within a day, a week decides on light after a long stay inside
(`state.LONG_STAY`), and of the nights that a plant was used to before 4 % are left
(`cold_harm.HARDENING_NIGHTS`). A dose of cold before is not known; 5 % of it would be left
(`cold_harm.RECOVERY_NIGHTS`)."""

_MOVES = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT, ChoreKind.STAY_IN, ChoreKind.MOVE})
"""Chores after which plants stand where they say; to stay in is to be brought in if need be."""

_DONE = frozenset(
    {
        ChoreKind.CARRY_IN,
        ChoreKind.CARRY_OUT,
        ChoreKind.MOVE,
        ChoreKind.COVER,
        ChoreKind.SECURE,
        *(WETTINGS - {ChoreKind.MIST}),
    }
)
"""Chores that are done and confirmed at their hour. Misting and shade need no word: the tool plans
as if they were done. But a pot is filled, and salts are washed out, only once somebody says so."""

FIRST_LOOK: PotWord = "moist"
"""What the grower finds in every pot after the first round of a replay. Judgement: the middle, as
nothing is known of the days before. By no look at all a pot would be unknown all year."""

_WARNED = {warned: number for number, warned in enumerate(Warned)}


class _News(Enum):
    """What there may be between rounds: a forecast, or readings."""

    FORECAST = "forecast"
    READINGS = "readings"


_ORDER: tuple[type, ...] = (Round, _News)
"""At one moment rounds come first."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """What is replayed.

    - truth: the weather that was; it begins a day or more before the first night.
    - first, last: the nights.
    - away: the dates on which the grower does and confirms nothing, nor in the night after them.
    - moved_by, max_messages: as in the daemon's `NoticePolicy`.
    - sensors: the spots at which a thermometer is read every hour of the night. It shows the air
      there by the weather that was.
    - judged_by: the same collection with other limits, if the nights are judged by these and not by
      those that the tool goes by (`yardstick`).
    """

    collection: Collection
    truth: Weather
    forecasts: Forecasts
    first: date
    last: date
    away: frozenset[date] = frozenset()
    moved_by: timedelta = MOVED_BY
    max_messages: int = MAX_MESSAGES
    judged_by: Collection | None = None
    sensors: frozenset[str] = frozenset()


def nights(plan: Plan) -> Iterator[NightRecord]:
    """Yield the record of each night, in order, as soon as it is over."""
    run = Run(plan)
    day = first_day(plan)
    while day <= plan.last:
        record = run.night(day)
        if day >= plan.first:
            yield record
        day += timedelta(days=1)


def first_day(plan: Plan) -> date:
    """Return the night with which a replay of this plan begins: `WARM_UP` before the first, or as
    early as there is a day of weather before it."""
    site, times = plan.collection.site, plan.truth.times
    day = plan.first - WARM_UP
    if times.size:
        known_from = site.local_date(moment(times[0]) + timedelta(hours=PAST_H))
        day = max(day, known_from)
    return min(day, plan.first)


def replay(plan: Plan, on_night: Callable[[NightRecord], None] = lambda _: None) -> ReplayResult:
    """Replay a plan. on_night : told each record as soon as its night is over."""
    records = []
    for record in nights(plan):
        on_night(record)
        records.append(record)
    return result_of(plan, records)


def result_of(plan: Plan, records: Sequence[NightRecord]) -> ReplayResult:
    """Return the result that these records of a plan make; they may be fewer than asked for."""
    collection = plan.collection
    return ReplayResult(
        site=collection.site.label,
        plants=len(collection.plants),
        kinds=len(collection.kinds),
        forecasts=plan.forecasts.description,
        seed=plan.forecasts.seed,
        first=plan.first,
        last=plan.last,
        nights=tuple(records),
        sensors=tuple(sorted(plan.sensors)),
    )


class Run:
    """A replay under way: what is told and believed, where plants stand, and what has been heard.

    Its nights must be asked for one after the other.
    """

    def __init__(self, plan: Plan) -> None:
        """Begin with all plants at home and nothing told."""
        collection = plan.collection
        self.plan = plan
        self.desk = Desk(collection, plan.moved_by, plan.max_messages)
        self.places = Places.at_home(collection)
        self._judged = plan.judged_by or collection
        self._judge = Judge.of(self._judged)
        self._truth = Truth(
            collection.site, collection.spots, plan.truth, collection.habits.axil_factor
        )
        self._thermometers = Thermometers(collection, plan.sensors)
        self._heard = Heard.nothing(self._judged, self._judged.traits)
        self._clock: datetime | None = None
        self._resting: np.ndarray | None = None
        self._cold_until: datetime
        self._for_next: list[tuple[np.ndarray, float]] = []
        self._issues = plan.forecasts.issues
        self._seen: Weather | None = None
        self._column = {spot.name: number for number, spot in enumerate(collection.spots)}

    def night(self, day: date) -> NightRecord:
        """Replay a night, from noon to noon."""
        site = self.plan.collection.site
        start, end = site.middle_of_day(day), site.middle_of_day(day + timedelta(days=1))
        self._begin(day, start)
        if self.plan.sensors:
            self._thermometers.begin_night(day, self._truth.climate_around(day))
        for at, event in self._events(day, start, end):
            self._do_chores(at)
            self._clock = at
            if self.plan.sensors:
                self.desk.watch(self._thermometers.spots_at(self.plan.forecasts.at(at), at))
            if isinstance(event, Round):
                self._tell(event, at)
            else:
                self._compare(at, event)
        self._do_chores(end - timedelta.resolution)
        if self.plan.sensors:
            sunset = sun.night_of(site, day).start
            self._thermometers.end_night(day, self.plan.forecasts.at(sunset))
        climate = self._truth.climate_around(day)
        return self._judge.judge(day, climate, self.places, self._heard)

    def _begin(self, day: date, start: datetime) -> None:
        collection, before = self.plan.collection, self._heard
        self._heard = Heard.nothing(self._judged, before.traits)
        self._heard.away = day in self.plan.away
        for moved, deadline in self._for_next:
            self._heard.walks_in.append(moved)
            self._heard.deadline[moved] = deadline
        self._for_next = []
        self._cold_until = sun.night_of(collection.site, day).cold_until
        self._clock = self._clock or start
        self.places.begin_night()
        for chore in self.desk.orders.chores:
            self._note_order(chore)

    def _events(
        self, day: date, start: datetime, end: datetime
    ) -> list[tuple[datetime, "Round | _News"]]:
        """Return the rounds of a night, and the moments at which there are news, in order."""
        site, habits = self.plan.collection.site, self.plan.collection.habits
        rounds = [
            (moment.on(site, day + timedelta(days=offset)), round_)
            for round_, moment in ((Round.DUSK, habits.told_at), (Round.MORNING, habits.morning_at))
            for offset in (-1, 0, 1, 2)
        ]
        first, last = (bisect_left(self._issues, at) for at in (start, end))
        issues: list[tuple[datetime, Round | _News]] = [
            (at, _News.FORECAST) for at in self._issues[first:last]
        ]
        read = [(moment(at), _News.READINGS) for at in self._thermometers.hours_of(day).tolist()]
        events = [event for event in (*rounds, *issues, *read) if start <= event[0] < end]
        return sorted(events, key=lambda event: (event[0], _ORDER.index(type(event[1]))))

    # -- what the tool says

    def _tell(self, round_: Round, at: datetime) -> None:
        """Tell a round; the grower does at once what is overdue, or was done and not confirmed."""
        weather = self.plan.forecasts.at(at)
        site = self.plan.collection.site
        self._finish_watering(at)
        is_first = not self.desk.told
        sheet = self.desk.tell(round_, site.local_date(at), weather, at)
        if is_first:
            self.desk.look(PotLook(FIRST_LOOK, at, at))
        self._seen = weather
        self._heard.pushes += has_content(sheet)
        if round_ is Round.DUSK:
            self._note_warnings(sheet.warnings)
            self._note_chances(weather, at)
        for chore in sheet.chores:
            if chore.id in self.desk.orders.open:
                self._note_order(chore)
            if chore.overdue_since is not None or chore.kind is ChoreKind.STAY_IN:
                self._do(chore, at)

    def _compare(self, at: datetime, news: "_News") -> None:
        """Compare the round in force with the forecast of this moment, if that is another one, and
        with what thermometers show."""
        seen, weather = self._seen, self.plan.forecasts.at(at)
        self._seen = weather
        newer = seen is None or (weather is not seen and not same_forecast(seen, weather, at))
        if not newer and not (news is _News.READINGS and watched_spots(self.desk.collection.spots)):
            return
        correction = self.desk.compare(weather, at, newer=newer)
        if correction is None:
            return
        revision, heard = correction.revision, self._heard
        heard.corrections += correction.told
        if correction.alarmed:
            names = [name for chore in correction.alarmed for name in chore.plants]
            heard.alarms.append((at.timestamp(), self.places.rows(names)))
        heard.added += sum(len(chore.plants) for chore in revision.added)
        heard.moved += sum(len(moved.chore.plants) for moved in revision.moved)
        heard.called_off += sum(len(order.plants) for order in revision.called_off)
        for order in revision.called_off:
            if order.kind is ChoreKind.CARRY_IN:
                heard.deadline[self.places.rows(order.plants)] = np.nan
        for chore in (*revision.added, *(moved.chore for moved in revision.moved)):
            self._note_order(chore)

    def _note_order(self, chore: Chore) -> None:
        """Note the deadline of an order to carry in for this night."""
        deadline = chore.before.timestamp()
        if chore.kind is ChoreKind.CARRY_IN and chore.before <= self._cold_until:
            self._heard.deadline[self.places.rows(chore.plants)] = deadline

    def _note_warnings(self, warnings: Sequence[Remark]) -> None:
        """Note which plants the dusk round named besides its orders."""
        heard, rows = self._heard, self.places.rows
        for warning in warnings:
            if isinstance(warning, NoShelter):
                heard.without_cover[rows(warning.plants)] = True
            elif isinstance(warning, ColdBorne):
                heard.warned[rows(warning.plants)] = _WARNED[Warned.DIP_BORNE]
            elif isinstance(warning, CloseCall):
                for threat in warning.threats:
                    heard.warned[rows(threat.plants)] = _WARNED[Warned.CLOSE_CALL]

    def _note_chances(self, weather: Weather, at: datetime) -> None:
        """Note which limits hold by the forecast of dusk, and the chance to fall under each."""
        collection, heard, home = self._judged, self._heard, self._judge.home
        around = Surroundings(collection, weather, at)
        traits = collection.traits
        resting = around.climate.season[traits.grows, home] == Season.REST
        resting &= np.array([self._may_rest(names[0]) for names in collection.names], dtype=bool)
        if self._resting is None or not np.array_equal(resting, self._resting):
            self._resting, heard.traits = resting, traits.resting(resting)
        limit = heard.traits.limits["night_low"]
        night = sun.night_at_or_after(collection.site, at)
        asked = np.flatnonzero(np.isfinite(limit) & ~around.holds_itself[home])
        heard.chance[asked] = chance_in(around, night, home[asked], limit[asked])
        heard.chance_from = at

    def _may_rest(self, plant: str) -> bool:
        """Return whether a plant is not remembered to do anything but rest."""
        state = self.desk.states.get(plant)
        memory = None if state is None else state.care.season
        return memory is None or memory.season is Season.REST

    # -- what the grower does

    def _do_chores(self, until: datetime) -> None:
        """Do the chores that are due by a moment, each at its hour, or as soon as it was told."""
        orders = self.desk.orders
        due = [
            (max(hour_of(chore), self._clock or until), chore.id, chore)
            for chore in orders.chores
            if chore.kind in _DONE and chore.id not in orders.ignored and hour_of(chore) <= until
        ]
        for at, _, chore in sorted(due, key=lambda one: one[:2]):
            self._do(chore, at)

    def _finish_watering(self, at: datetime) -> None:
        """Do what is still to be watered before a round, whose orders take the place of these."""
        orders = self.desk.orders
        for chore in orders.chores:
            waits = chore.not_before is not None and chore.not_before > at
            if chore.kind in WETTINGS & _DONE and not waits and chore.id not in orders.ignored:
                self._do(chore, at)

    def _do(self, chore: Chore, at: datetime) -> None:
        """Do a chore and confirm it, unless the grower is away."""
        if self._is_away(at):
            self.desk.orders.ignored.add(chore.id)
            return
        names: Sequence[str] = chore.plants
        if chore.kind is ChoreKind.STAY_IN:
            names = [name for name in names if self._is_doubtful(name, chore.to_spot)]
        elif chore.kind is ChoreKind.MOVE:
            # Plants that come back the same day are where they were by night.
            names = [name for name in names if self.desk.states[name].spot == chore.to_spot]
        if not names:
            return
        if chore.kind in _MOVES:
            column = self._column[chore.to_spot]
            moved = self.places.carry(names, column, at)
            self._count_walk(chore, moved, at)
        self.desk.confirm(chore, names, at)

    def _is_away(self, at: datetime) -> bool:
        """Return whether the grower is away: on the dates given, and until the morning round of the
        next."""
        collection, away = self.plan.collection, self.plan.away
        if not away:
            return False
        today = collection.site.local_date(at)
        back = collection.habits.morning_at.on(collection.site, today)
        return today in away or (today - timedelta(days=1) in away and at < back)

    def _is_doubtful(self, name: str, spot: str) -> bool:
        """Return whether a plant is elsewhere, or is not confirmed to be at a spot."""
        elsewhere = self.places.column[self.places.index[name]] != self._column[spot]
        state = self.desk.states.get(name)
        return bool(elsewhere or state is None or state.assumed or state.asked is not None)

    def _count_walk(self, chore: Chore, moved: np.ndarray, at: datetime) -> None:
        """Count a walk on which plants were carried; a move out of the heat counts as none.

        What is carried in once the cold of the night is over is carried in for the next night.
        """
        if not moved.size or chore.kind is ChoreKind.MOVE:
            return
        self._heard.walks += 1
        if chore.kind is ChoreKind.CARRY_OUT:
            self._heard.carried_out += int(moved.size)
        elif at <= self._cold_until:
            self._heard.walks_in.append(moved)
        else:
            self._for_next.append((moved, chore.before.timestamp()))
