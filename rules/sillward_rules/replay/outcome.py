"""The outcome of a night: what plants went through where they really stood, and what was needless.

Plants are judged in classes (`track`), never one by one. Arrays are (class,), (interval, class),
or (plant,) and (kind,) as in the collection.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules import scores
from sillward_rules.arrays import Array, finite_or_none
from sillward_rules.physics.cold_harm import MAX_DOSE, night_dose, span_k
from sillward_rules.physics.exposure import exposure
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Traits
from sillward_rules.plants.rule_firing import classify, evaluate
from sillward_rules.replay.grower import Places
from sillward_rules.replay.records import (
    DEEP_K,
    Cause,
    ChanceBin,
    Exposure,
    NearMiss,
    NightRecord,
    Warned,
)
from sillward_rules.replay.track import Classes, Track
from sillward_rules.weather import sun
from sillward_rules.weather.climate import Climate
from sillward_rules.weather.hourly import covers_hours, moment, rows_from_to
from sillward_rules.weather.spot_columns import NO_SPOT
from sillward_rules.weather.sun import Night

_CAUSES, _WARNED = tuple(Cause), tuple(Warned)
TRIP_S = 1200.0
"""Plants are in so long after an alarm [s], or by the hour that it tells. Judgement, as
`revision.KEPT_LEAD`."""

_DIGITS = 3
"""Numbers are recorded to a thousandth, finer than any weather is known."""


@dataclass(slots=True)
class Heard:
    """What the grower was told for a night and did about it.

    - deadline (plant,): by when each was told to go in [unix s]; NaN for no order.
    - without_cover (plant,): whether it was told that there is no cover for it.
    - warned (plant,): the position among `Warned`.
    - traits (kind,): with the limits of rest for plants that rested by the forecast of dusk.
    - chance (kind,): that the leaf at home falls under its limit, by that forecast; NaN for not
      known; chance_from: the moment of that round.
    - walks_in: the plants of each walk to carry in.
    - alarms: when thermometers at the spots called plants in [unix s], and which.
    """

    deadline: Array
    without_cover: np.ndarray
    warned: np.ndarray
    traits: Traits
    chance: Array
    chance_from: datetime | None = None
    away: bool = False
    walks: int = 0
    walks_in: list[np.ndarray] = field(default_factory=list)
    carried_out: int = 0
    pushes: int = 0
    corrections: int = 0
    added: int = 0
    moved: int = 0
    called_off: int = 0
    alarms: list[tuple[float, np.ndarray]] = field(default_factory=list)

    @classmethod
    def nothing(cls, collection: Collection, traits: Traits) -> "Heard":
        """Return that nothing was told so far. traits : those of the night before."""
        plants, kinds = len(collection.plants), len(collection.kinds)
        return cls(
            deadline=np.full(plants, np.nan),
            without_cover=np.zeros(plants, dtype=bool),
            warned=np.zeros(plants, dtype=np.int64),
            traits=traits,
            chance=np.full(kinds, np.nan),
        )


@dataclass(slots=True)
class Judge:
    """Judges the nights of one collection. Arrays are (kind,) unless said otherwise.

    - names: of the plants; kind (plant,): the kind of each.
    - home, shelter: spot columns; shelter is `NO_SPOT` where there is none.
    - indoors (spot,), homes: which spots are indoors, and the columns of the homes that follow the
      weather.
    """

    collection: Collection
    names: tuple[str, ...]
    kind: np.ndarray
    home: np.ndarray
    shelter: np.ndarray
    indoors: np.ndarray
    homes: np.ndarray

    @classmethod
    def of(cls, collection: Collection) -> "Judge":
        """Return the judge of a collection."""
        spots, kinds = collection.spots, collection.traits.plants
        columns = {spot.name: number for number, spot in enumerate(spots)}
        number_of = {
            name: number for number, names in enumerate(collection.names) for name in names
        }
        home = np.array([columns[plant.home] for plant in kinds], dtype=np.int64)
        return cls(
            collection=collection,
            names=tuple(plant.name for plant in collection.plants),
            kind=np.array([number_of[plant.name] for plant in collection.plants], dtype=np.int64),
            home=home,
            shelter=np.array(
                [columns.get(plant.shelter or "", NO_SPOT) for plant in kinds], dtype=np.int64
            ),
            indoors=np.array([spot.indoors for spot in spots], dtype=bool),
            homes=np.array(
                [column for column in np.unique(home) if not spots[column].holds_itself],
                dtype=np.int64,
            ),
        )

    def judge(self, day: date, climate: Climate, places: Places, heard: Heard) -> NightRecord:
        """Return the record of a night.

        climate : the true one, by night in fine steps, around this night. places : where the plants
        stood.
        """
        record = NightRecord(
            night=day,
            lows_c=self._lows(day, climate),
            away=heard.away,
            carried_in=int(_chosen(heard.walks_in, self.kind.size).sum()),
            carried_out=heard.carried_out,
            walks=heard.walks,
            pushes=heard.pushes,
            corrections=heard.corrections,
            added=heard.added,
            moved=heard.moved,
            called_off=heard.called_off,
        )
        night = _Night.of(self, day, climate, places, heard)
        if night is None:
            return replace(record, unjudged=self.kind.size)
        return night.with_alarms(night.judged(record))

    def is_cover(self, kind: np.ndarray, column: np.ndarray) -> np.ndarray:
        """Return whether spots are cover for plants of these kinds (`Scene.is_under_cover`)."""
        cover = (column == self.shelter[kind]) | self.indoors[column]
        return np.asarray(cover & (column != self.home[kind]))

    def _lows(self, day: date, climate: Climate) -> dict[str, float | None]:
        night = sun.night_of(self.collection.site, day)
        rows = rows_from_to(climate.times, night.start, night.cold_until)
        whole = covers_hours(climate.times, night.start, night.cold_until) and rows.size > 0
        spots = self.collection.spots
        if not whole:
            return {spots[column].name: None for column in self.homes.tolist()}
        lows = climate.leaf_c[rows].min(axis=0)
        return {
            spots[column].name: finite_or_none(lows[column], _DIGITS)
            for column in self.homes.tolist()
        }


@dataclass(frozen=True, slots=True, eq=False)
class _Night:
    """One night as it is judged.

    - rows: those of the true climate from noon to noon; night_rows: those in which comfort counts.
    - limit_c, injury_c, span_k (kind,): the limit at night, that of injury, and how far they are
      apart.
    - unknown (kind,): whether too little is known of the leaf at home.
    - kinds (class,): the kind of each class.
    - cover (interval, class): whether each stands under cover.
    - cold (interval,): whether comfort counts.
    """

    by: Judge
    heard: Heard
    climate: Climate
    night: Night
    rows: np.ndarray
    night_rows: np.ndarray
    limit_c: Array
    injury_c: Array
    span_k: Array
    unknown: np.ndarray
    classes: Classes
    kinds: np.ndarray
    track: Track
    cover: np.ndarray
    cold: np.ndarray

    @classmethod
    def of(
        cls, by: Judge, day: date, climate: Climate, places: Places, heard: Heard
    ) -> "_Night | None":
        """Lay out a night; None where the weather does not reach."""
        site = by.collection.site
        night = sun.night_of(site, day)
        noons = site.middle_of_day(day), site.middle_of_day(day + timedelta(days=1))
        if not covers_hours(climate.times, *noons):
            return None
        rows = rows_from_to(climate.times, *noons)
        night_rows = rows_from_to(climate.times, night.start, night.cold_until)
        comfort, injury = (heard.traits.limits[name] for name in ("night_low", "brief_low"))
        classes = Classes.of_plants(
            places, by.kind, heard.deadline, heard.without_cover, heard.warned
        )
        kinds = by.kind[classes.first]
        track = Track.of(classes, climate, rows)
        return cls(
            by=by,
            heard=heard,
            climate=climate,
            night=night,
            rows=rows,
            night_rows=night_rows,
            limit_c=np.where(np.isnan(comfort), injury, comfort),
            injury_c=injury,
            span_k=span_k(comfort, injury),
            unknown=np.isnan(climate.leaf_c[night_rows]).any(axis=0)[by.home],
            classes=classes,
            kinds=kinds,
            track=track,
            cover=by.is_cover(kinds, track.place),
            cold=track.within(night.start.timestamp(), night.cold_until.timestamp()),
        )

    def judged(self, record: NightRecord) -> NightRecord:
        """Return the record with what came of the night."""
        heard, kind, of = self.heard, self.by.kind, self.classes.of
        times, fired = self._fired()
        unknown: np.ndarray = self.unknown[kind]
        needed: np.ndarray = np.asarray(fired.any(axis=0))[kind]
        needs: np.ndarray = needed | unknown
        middle = (self.night.start.timestamp() + self.night.end.timestamp()) / 2
        is_in: np.ndarray = self.cover[self.track.interval_of(np.array([middle]))[0]][of]
        cover_then = self.cover[self.track.interval_of(times)]
        covered = (cover_then | ~fired[:, self.kinds]).all(axis=0)[of]
        carried_in = _chosen(heard.walks_in, kind.size)
        narrowest, saved = self._near_misses()
        return replace(
            record,
            plants_in=int(is_in.sum()),
            needless_walks=sum(not needs[walk].any() for walk in heard.walks_in),
            needed=int(needed.sum()),
            covered=int((needed & covered).sum()),
            deadlines=int((np.isfinite(heard.deadline) & carried_in & needed).sum()),
            needless=int((is_in & ~needs).sum()),
            needless_carried=int((carried_in & ~needs).sum()),
            unjudged=int(unknown.sum()),
            exposures=self._exposures(),
            chances=self._chances(),
            narrowest=narrowest,
            saved=saved,
        )

    def with_alarms(self, record: NightRecord) -> NightRecord:
        """Return the record with what would have been without the alarms of the night."""
        times, home = self.climate.times[self.night_rows], self.by.home[self.by.kind]
        for at, plants in self.heard.alarms:
            leaf = self.climate.leaf_c[np.ix_(self.night_rows, home[plants])]
            depth = self.limit_c[self.by.kind[plants]] - leaf
            deep = depth >= DEEP_K
            is_deep = deep.any(axis=0)
            heard = is_deep & (not self.heard.away)
            deep_at, low_at = times[np.argmax(deep, axis=0)], times[np.argmax(depth, axis=0)]
            is_in_at = np.maximum(self.heard.deadline[plants], at + TRIP_S)
            record = replace(
                record,
                alarms=record.alarms + 1,
                false_alarms=record.false_alarms + (not (depth > 0).any()),
                alarmed=record.alarmed + int(plants.size),
                deep_alarmed=record.deep_alarmed + int(is_deep.sum()),
                caught=record.caught + int((heard & (is_in_at <= deep_at)).sum()),
                eased=record.eased
                + int((heard & (is_in_at > deep_at) & (is_in_at <= low_at)).sum()),
            )
        return record

    def _fired(self) -> tuple[Array, np.ndarray]:
        """Return moments until the cold of the night is over, and (moment, kind) whether any rule
        asks for cover then, for plants at home in the weather that was."""
        collection, climate, start = self.by.collection, self.climate, self.rows[0]
        until = self.night_rows[-1] + 1
        times = climate.times[start:until]
        fired = np.zeros((times.size, self.by.home.size), dtype=bool)
        for rule in collection.rules:
            if rule.asks != "carry in":
                continue
            classes = classify(rule, self.heard.traits, self.by.home, climate)
            wide = rows_from_to(
                climate.times, moment(times[0]) - rule.lasting, moment(times[-1]) + rule.lasting
            )
            firing = evaluate(
                classes,
                collection.site,
                climate,
                slice(int(wide[0]), int(wide[-1]) + 1),
                wet_margin_k=collection.habits.wet_margin_k,
            )
            fires = firing.fires[start - wide[0] : until - wide[0]]
            applies = firing.member >= 0
            fired[:, applies] |= fires[:, firing.member[applies]]
        return times, fired

    # -- under the limit

    def _exposures(self) -> tuple[Exposure, ...]:
        """Return what plants went through under their limits, the worst first."""
        bound = np.where(self.cold[:, None], self.limit_c[self.kinds], self.injury_c[self.kinds])
        under = self.track.lower_c < bound
        causes = self._causes()
        found: dict[Exposure, list[int]] = {}
        for index in np.flatnonzero(under.any(axis=0)).tolist():
            cold = under[:, index]
            for number in np.unique(causes[cold, index]).tolist():
                rows = np.flatnonzero(cold & (causes[:, index] == number))
                exposure = self._exposure(index, rows, bound[rows, index], _CAUSES[number])
                found.setdefault(exposure, []).append(index)
        named = [replace(one, plants=self._names(classes)) for one, classes in found.items()]
        return tuple(sorted(named, key=lambda one: (-one.dose, -one.depth_k, one.plants)))

    def _causes(self) -> np.ndarray:
        """(interval, class) why plants would stand in the cold there: positions in `Cause`.

        Plants in the open that nothing asked to be in are missed. Each line after that speaks of
        fewer of them, and what it says counts before the lines above.
        """
        heard, first = self.heard, self.classes.first
        since = np.logical_or.accumulate(self.cover, axis=0)
        deadline = heard.deadline[first]
        causes = np.full(self.cover.shape, _CAUSES.index(Cause.MISSED))
        causes[:, heard.without_cover[first]] = _CAUSES.index(Cause.NO_COVER)
        causes[:, np.isfinite(deadline)] = _CAUSES.index(Cause.NOT_DONE)
        causes[self.track.times[:-1, None] < deadline] = _CAUSES.index(Cause.LATE)
        causes[since] = _CAUSES.index(Cause.OUT_TOO_EARLY)
        causes[self.cover] = _CAUSES.index(Cause.NO_COVER)
        return causes

    def _exposure(self, index: int, rows: np.ndarray, bound: Array, cause: Cause) -> Exposure:
        """Return what a class went through in some intervals, its plants left out.

        bound (row,) : the limit in each.
        """
        track, kind = self.track, int(self.kinds[index])
        ends = np.stack([track.before_c[rows, index], track.after_c[rows, index]])
        step_h = track.step_h[rows, 0]
        hours, degree_hours = exposure(ends, bound, 1.0)
        # Harm counts from the comfort limit on, also by day, when only injury is counted as cold.
        dose = (night_dose(self.limit_c[kind] - ends, self.span_k[kind]) * step_h).sum()
        lowest = rows[int(np.argmin(ends.min(axis=0)))]
        after = track.after_c[lowest, index] < track.before_c[lowest, index]
        first = self.classes.first[index]
        warned = _WARNED[int(self.heard.warned[first])]
        return Exposure(
            cause=cause,
            plants=(),
            spot=self.by.collection.spots[int(track.place[lowest, index])].name,
            limit_c=float(bound[int(np.argmin(ends.min(axis=0)))]),
            low_c=round(float(ends.min()), _DIGITS),
            at=moment(track.times[lowest + int(after)]),
            hours=round(float((hours * step_h).sum()), _DIGITS),
            degree_hours=round(float((degree_hours * step_h).sum()), _DIGITS),
            dose=round(min(float(dose), MAX_DOSE), _DIGITS),
            chance=finite_or_none(self.heard.chance[kind], _DIGITS),
            warned=warned if cause is Cause.MISSED else Warned.NOTHING,
        )

    def _names(self, classes: Sequence[int]) -> tuple[str, ...]:
        """Return the plants of these classes, in the order of the collection."""
        chosen = np.zeros(self.classes.first.shape, dtype=bool)
        chosen[list(classes)] = True
        return tuple(self.by.names[row] for row in np.flatnonzero(chosen[self.classes.of]).tolist())

    # -- how near it was, and what had been expected

    def _near_misses(self) -> tuple[NearMiss | None, NearMiss | None]:
        """Return the plants outside that came closest to their limit without falling under it, and
        those whose leaf at home would have fallen furthest under it, and that were under cover for
        as long as it did.

        A spot with a climate of its own, the home of a plant though it may be, is not outside.
        """
        limit, cold = self.limit_c[self.kinds], self.cold
        if not cold.any():
            return None, None
        where = self.track.place[cold][0]
        held = np.array([spot.holds_itself for spot in self.by.collection.spots], dtype=bool)
        outside = ~self.cover[cold].any(axis=0) & ~held[where]
        margin = self.track.lower_c[cold].min(axis=0) - limit
        near = np.where(outside & (margin >= 0), margin, np.inf)
        home = self.by.home[self.kinds]
        low_at_home = self.climate.leaf_c[self.night_rows].min(axis=0)[home]
        leaf = self.track.leaf_c[:, home]
        under = np.minimum(leaf[:-1], leaf[1:])[cold] < limit
        kept = under.any(axis=0) & (self.cover[cold] | ~under).all(axis=0)
        spared = np.where(kept, low_at_home - limit, np.inf)
        return self._nearest(near, where), self._nearest(spared, home)

    def _nearest(self, margin_k: Array, column: np.ndarray) -> NearMiss | None:
        """Return the classes of the least margin (class,) at their spots; None for none."""
        margin_k = np.where(np.isnan(margin_k), np.inf, margin_k)
        if not np.isfinite(margin_k).any():
            return None
        index = int(np.argmin(margin_k))
        limit = self.limit_c[self.kinds]
        alike = (column == column[index]) & (limit == limit[index]) & np.isfinite(margin_k)
        low = float(limit[index] + margin_k[index])
        spot = self.by.collection.spots[int(column[index])].name
        names = self._names(np.flatnonzero(alike).tolist())
        return NearMiss(names, spot, float(limit[index]), round(low, _DIGITS))

    def _chances(self) -> tuple[ChanceBin, ...]:
        """Return the chances at dusk by bins, and for how many plants the leaf fell then."""
        heard = self.heard
        if heard.chance_from is None:
            return ()
        start = max(self.night.start, heard.chance_from - timedelta(hours=1))
        rows = rows_from_to(self.climate.times, start, self.night.cold_until)
        low = self.climate.leaf_c[rows].min(axis=0)[self.by.home]
        known = np.isfinite(heard.chance) & np.isfinite(low)
        plants = known[self.by.kind]
        chance = heard.chance[self.by.kind[plants]]
        fell = (low < self.limit_c)[self.by.kind[plants]]
        bins = scores.bin_of(chance)
        counts = np.bincount(bins)
        told = np.bincount(bins, weights=chance)
        came = np.bincount(bins, weights=fell)
        return tuple(
            ChanceBin(one, int(counts[one]), round(float(told[one]), _DIGITS), int(came[one]))
            for one in np.flatnonzero(counts).tolist()
        )


def _chosen(walks: Sequence[np.ndarray], count: int) -> np.ndarray:
    """(plant,) whether a plant was on any of these walks."""
    chosen = np.zeros(count, dtype=bool)
    for walk in walks:
        chosen[walk] = True
    return chosen
