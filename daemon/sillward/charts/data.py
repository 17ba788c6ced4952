"""What a chart shows, as plain numbers: pure functions of collection, weather, state and now.

Every number is the core's own, in SI; whoever draws is told in which units to show it. None is not
known: a gap, over which nothing is drawn.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any, Literal, TypeAlias, get_args
from zoneinfo import ZoneInfo

import numpy as np

from sillward.errors import one_line
from sillward.text.units import SI, Units
from sillward.wording.voice import Voice
from sillward_rules.account import film_life_min
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.night_risk import spread_of
from sillward_rules.planners.outlook import NIGHTS
from sillward_rules.planners.scene import Scene
from sillward_rules.planners.shelter import spot_lows
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import UNITS, Plant
from sillward_rules.plants.state import State
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Freshness, Weather, moment
from sillward_rules.weather.sun import Night

Kind: TypeAlias = Literal["night", "water"]

KINDS: tuple[Kind, ...] = get_args(Kind)

SCHEMA = 1

WATER_DAYS = 3
"""Days of a water chart. Judgement: so many leave room for the hours of each misting."""

MORNING_AFTER = timedelta(hours=4)
"""A night chart goes on so long after its last night, so that its low can be read. Judgement."""

FILM_MOST_MIN = 480.0
"""A film that lasts longer is shown as this [min]. Judgement: eight hours are a whole day."""

MOST_NAME = 34
"""Signs of a spot's or plant's name in a title."""


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A limit that plants share, in the unit of the series that it is held against.

    plants: their names; where it is nobody's limit, words of what it is.
    """

    series: str
    value: float
    unit: str
    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NightSpan:
    """From sunset to sunrise, with its lowest leaf temperature [°C] and when.

    None unless every hour of the night is known; always None on a water chart.
    """

    start: datetime
    end: datetime
    low_c: float | None = None
    low_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class DaySpan:
    """The hours of a day in which one can still mist; planned: the core knows enough to plan it."""

    start: datetime
    end: datetime
    planned: bool


@dataclass(frozen=True, slots=True)
class Window:
    """One walk with the sprayer: from when, until when, and for whom."""

    opens: datetime
    closes: datetime
    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChartData:
    """Everything that a chart shows. Moments are in the site's zone, in full
    seconds.

    series: by name, a value for each of `times`, which are full hours one after the other.
    Night: leaf_c, air_c, band_low_c, band_high_c [°C]; the band is one standard deviation of the
    forecast either way. Water: vpd_kpa [kPa], film_min [min], by day only, at most
    `FILM_MOST_MIN`. band_origin: where the band is from. forecast: its source and age, and how far
    it can be trusted. units: what a picture shows it in.
    """

    kind: Kind
    site: str
    spot: str
    plant: str | None
    zone: str
    now: datetime
    start: datetime
    end: datetime
    title: str
    subtitle: str
    forecast: str
    times: tuple[datetime, ...]
    series: dict[str, tuple[float | None, ...]]
    limits: tuple[LimitLine, ...]
    nights: tuple[NightSpan, ...]
    days: tuple[DaySpan, ...] = ()
    windows: tuple[Window, ...] = ()
    band_origin: str | None = None
    units: Units = SI

    @property
    def made(self) -> str:
        """ "made Thu 14 May 17:00, times of America/Argentina/Mendoza"."""
        return f"made {self.now:%a %d %b} {self.units.hour(self.now)}, times of {self.zone}"


def of_place(
    kind: Kind,
    spot: str,
    collection: Collection,
    weather: Weather,
    state: State,
    now: datetime,
    plant: Plant | None = None,
    *,
    units: Units = SI,
) -> ChartData:
    """The chart of a kind for a spot. plant: with the limits and mistings of this one alone.

    units: what a picture of it shows. Raise KeyError if there is no such spot.
    """
    collection.spot(spot)
    make = night_chart if kind == "night" else water_chart
    return replace(make(spot, collection, weather, state, now, plant), units=units)


def night_chart(
    spot: str,
    collection: Collection,
    weather: Weather,
    state: State,
    now: datetime,
    plant: Plant | None = None,
) -> ChartData:
    """Leaf temperature at a spot through the coming nights, against what its plants stand."""
    scene, column = Scene(collection, weather, state, now), _column(collection, spot)
    first = sun.night_at_or_after(scene.site, now)
    nights = [
        sun.night_of(scene.site, first.day + timedelta(days=offset)) for offset in range(NIGHTS)
    ]
    hours = _hours(min(now, first.start), nights[-1].end + MORNING_AFTER)
    rows = _rows(scene, hours)
    leaf = _values(scene, column, scene.climate.leaf_c, rows)
    sd_k, origin = _spread(scene, column, nights)
    off = np.where(rows >= 0, sd_k[rows], np.nan) if sd_k.size else np.full(rows.shape, np.nan)
    banded = bool(np.isfinite(leaf + off).any())
    return _chart(
        scene,
        spot,
        plant,
        kind="night",
        what="Leaf temperature",
        hours=hours,
        series={
            "leaf_c": leaf,
            "air_c": _values(scene, column, scene.climate.temp_c, rows),
            "band_low_c": leaf - off,
            "band_high_c": leaf + off,
        },
        limits=_limits("leaf_c", "night_low", _who(collection, spot, plant)),
        nights=[_with_low(scene, column, night) for night in nights],
        band_origin=origin if banded else None,
    )


def water_chart(
    spot: str,
    collection: Collection,
    weather: Weather,
    state: State,
    now: datetime,
    plant: Plant | None = None,
) -> ChartData:
    """How dry the air is at a spot in the coming days, how long a wetting lasts, when to mist."""
    scene, column = Scene(collection, weather, state, now), _column(collection, spot)
    site, today = scene.site, scene.site.local_date(now)
    first = today if now < sun.day_events(site, today).sunset else today + timedelta(days=1)
    dates = [first + timedelta(days=offset) for offset in range(WATER_DAYS)]
    hours = _hours(now, site.at_clock(dates[-1] + timedelta(days=1), time(0)))
    rows = _rows(scene, hours)
    film = _film(scene, column, rows)
    days, walks = _plan(scene, state, dates, hours, film)
    return _chart(
        scene,
        spot,
        plant,
        kind="water",
        what="VPD, film life and misting",
        hours=hours,
        series={
            "vpd_kpa": _values(scene, column, scene.climate.vpd_kpa, rows),
            "film_min": film,
        },
        limits=[
            *_limits("vpd_kpa", "vpd_high", _who(collection, spot, plant)),
            LimitLine(
                "film_min", collection.habits.leaf_uptake / timedelta(minutes=1), "min", ("uptake",)
            ),
        ],
        nights=[
            NightSpan(night.start, night.end)
            for day in (dates[0] - timedelta(days=1), *dates)
            for night in [sun.night_of(site, day)]
            if night.end.timestamp() > hours[0] and night.start.timestamp() < hours[-1]
        ],
        days=days,
        windows=[
            Window(walk.not_before or now, walk.before, tuple(walk.plants))
            for walk in walks
            if walk.from_spot == spot and (plant is None or plant.name in walk.plants)
        ],
    )


def _column(collection: Collection, spot: str) -> int:
    return collection.spots.index(collection.spot(spot))


def _who(collection: Collection, spot: str, plant: Plant | None) -> list[Plant]:
    if plant is not None:
        return [plant]
    return [one for one in collection.plants if one.home == spot]


def _hours(start: datetime, end: datetime) -> np.ndarray:
    """The full hours [unix s] that hold a span."""
    first, last = start.timestamp() // HOUR_S, -(-end.timestamp() // HOUR_S)
    return HOUR_S * np.arange(int(first), int(last) + 1, dtype=np.int64)


def _rows(scene: Scene, hours: np.ndarray) -> np.ndarray:
    """(hour,) rows of the climate; -1 outside of it."""
    times = scene.climate.times
    if not times.size:
        return np.full(hours.shape, -1)
    rows = (hours - times[0]) // HOUR_S
    return np.asarray(np.where((rows >= 0) & (rows < times.size), rows, -1))


def _known(scene: Scene, column: int) -> bool:
    """Whether what is worked out for a spot can be gone by: not from a forecast too old."""
    return bool(scene.holds_itself[column]) or not scene.stale


def _values(scene: Scene, column: int, series: Array, rows: np.ndarray) -> Array:
    """A series of the climate at these rows; NaN outside of it, and where it is too old."""
    if not _known(scene, column) or not series.size:
        return np.full(rows.shape, np.nan)
    return np.where(rows >= 0, series[rows, column], np.nan)


def _spread(scene: Scene, column: int, nights: Sequence[Night]) -> tuple[Array, str | None]:
    """(time,) standard deviation of the forecast [K], and where it is from.

    An ensemble knows it by the hour. The usual errors are those of nights, and said of no other
    hours; a night that an ensemble knows in part has them, as its chance has. What holds itself
    has none.
    """
    sd_k = np.full(scene.climate.times.shape, np.nan)
    origins: dict[str, None] = {}
    if scene.holds_itself[column] or scene.stale:
        return sd_k, None
    own = scene.weather.spread
    if own is not None:
        rows = [row for row in range(sd_k.size) if own.knows(np.array([row]))]
        sd_k[rows] = own.sd_k[rows]
        origins |= {own.origin: None} if rows else {}
    for night in nights:
        known = spread_of(scene, night)
        if known is not None:
            spread, of_night = known
            sd_k[of_night] = spread.sd_k[of_night]
            origins[spread.origin] = None
    return sd_k, ", then ".join(origins) or None


def _limits(series: str, name: str, plants: Iterable[Plant]) -> list[LimitLine]:
    """The limits of a name that these plants have, highest first, each with all that share it."""
    shared: dict[float, list[str]] = {}
    for plant in plants:
        limit = getattr(plant.limits, name)
        if limit is not None:
            shared.setdefault(limit.value, []).append(plant.name)
    return [
        LimitLine(series, value, UNITS[name], tuple(names))
        for value, names in sorted(shared.items(), reverse=True)
    ]


def _with_low(scene: Scene, column: int, night: Night) -> NightSpan:
    low = float(spot_lows(scene, night)[column])
    rows = scene.steps(night.start, night.cold_until)
    if not np.isfinite(low) or not rows.size or not _known(scene, column):
        return NightSpan(night.start, night.end)
    row = rows[np.argmin(scene.by_night.leaf_c[rows, column])]
    return NightSpan(night.start, night.end, round(low, 2), moment(scene.by_night.times[row]))


def _film(scene: Scene, column: int, rows: np.ndarray) -> Array:
    """(hour,) life of a film on a leaf [min] by day; NaN by night and where it is not known."""
    film = np.full(rows.shape, np.nan)
    if not _known(scene, column):
        return film
    by_day = (rows >= 0) & ~scene.climate.night[rows] if scene.climate.times.size else rows >= 0
    film[by_day] = film_life_min(scene, column, scene.climate.times[rows[by_day]])
    return np.asarray(np.minimum(film, FILM_MOST_MIN))


def _plan(
    scene: Scene, state: State, dates: Sequence[date], hours: np.ndarray, film: Array
) -> tuple[list[DaySpan], list[Chore]]:
    """The days, and the walks with the sprayer that the rounds would tell for them."""
    site, now = scene.site, scene.now
    today = site.local_date(now)
    walks: list[Chore] = []
    planned: set[date] = set()
    if not scene.stale:
        morning, week = (
            draw_up(round_, scene.collection, scene.weather, state, now)
            for round_ in (Round.MORNING, Round.WEEK)
        )
        walks += [one for one in morning.chores if one.kind is ChoreKind.MIST]
        planned.add(today)
        for day in week.outlook.days if week.outlook else ():
            if today < day.day <= dates[-1]:
                planned.add(day.day)
                walks += day.misting
    spans = []
    for one in dates:
        events = sun.day_events(site, one)
        start = max(events.sunrise, now)
        inside = (hours >= start.timestamp()) & (hours <= events.sunset.timestamp())
        known = one in planned and bool(np.isfinite(film[inside]).all())
        spans.append(DaySpan(start, events.sunset, known))
    return spans, walks


def _chart(
    scene: Scene,
    spot: str,
    plant: Plant | None,
    *,
    kind: Kind,
    what: str,
    hours: np.ndarray,
    series: dict[str, Array],
    limits: Sequence[LimitLine],
    nights: Sequence[NightSpan],
    days: Sequence[DaySpan] = (),
    windows: Sequence[Window] = (),
    band_origin: str | None = None,
) -> ChartData:
    site = scene.site

    def local(at: datetime) -> datetime:
        return at.astimezone(site.zone).replace(microsecond=0)

    start, end = (local(moment(hours[edge])) for edge in (0, -1))
    # The last hour of a water chart is the midnight that ends its last day.
    last = end - timedelta(hours=1)
    name = one_line(spot, MOST_NAME)
    lows = [None if one.low_at is None else local(one.low_at) for one in nights]
    return ChartData(
        kind=kind,
        site=site.name,
        spot=spot,
        plant=None if plant is None else plant.name,
        zone=str(site.zone),
        now=local(scene.now),
        start=start,
        end=end,
        title=name if plant is None else f"{one_line(plant.name, MOST_NAME)}, {name}",
        subtitle=f"{what}, {_dates(start, last)}",
        forecast=_forecast(scene),
        times=tuple(local(moment(hour)) for hour in hours),
        series={
            key: tuple(None if np.isnan(one) else round(float(one), 2) for one in values)
            for key, values in series.items()
        },
        limits=tuple(limits),
        nights=tuple(
            NightSpan(local(one.start), local(one.end), one.low_c, at)
            for one, at in zip(nights, lows, strict=True)
        ),
        days=tuple(DaySpan(local(one.start), local(one.end), one.planned) for one in days),
        windows=tuple(Window(local(one.opens), local(one.closes), one.plants) for one in windows),
        band_origin=band_origin,
    )


def _dates(start: datetime, end: datetime) -> str:
    return f"{start:%a %d %b} to {end:%a %d %b %Y}"


def _forecast(scene: Scene) -> str:
    weather = scene.weather
    if not np.isfinite(weather.temp_c).any():
        return "no forecast: nothing is known"
    trust = {
        Freshness.FRESH: "",
        Freshness.OLD: ": take it with care",
        Freshness.EXPIRED: ": too old to go by",
    }[weather.freshness(scene.now)]
    age = Voice(scene.site).age(weather.age(scene.now))
    return f"{one_line(weather.source, MOST_NAME)}, {age}{trust}"


# -- as a document


def document(data: ChartData) -> dict[str, Any]:
    """The data as plain types, one JSON document; times are ISO 8601 in the site's zone.

    In SI and by 24 hours, whatever a picture shows.
    """
    plain = to_draw(data)
    forecast, _ = plain.pop("forecast"), plain.pop("units")
    return {"schema": SCHEMA, **plain, "footer": [forecast, replace(data, units=SI).made]}


def to_draw(data: ChartData) -> dict[str, Any]:
    """The data as plain types for whoever draws it, units included: what `drawn_from` takes."""
    plain: dict[str, Any] = _plain(asdict(data))
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return value


def drawn_from(told: dict[str, Any]) -> ChartData:
    """The data that `to_draw` gave. Raise KeyError, TypeError or ValueError if it is none."""
    zone = ZoneInfo(told["zone"])

    def at(text: str) -> datetime:
        return datetime.fromisoformat(text).astimezone(zone)

    rest = {
        key: told[key]
        for key in (
            "kind", "site", "spot", "plant", "zone", "title", "subtitle", "forecast", "band_origin",
        )
    }  # fmt: skip
    return ChartData(
        now=at(told["now"]),
        start=at(told["start"]),
        end=at(told["end"]),
        times=tuple(at(one) for one in told["times"]),
        series={key: tuple(values) for key, values in told["series"].items()},
        limits=tuple(LimitLine(**one | {"plants": tuple(one["plants"])}) for one in told["limits"]),
        nights=tuple(
            NightSpan(
                at(one["start"]),
                at(one["end"]),
                one["low_c"],
                None if one["low_at"] is None else at(one["low_at"]),
            )
            for one in told["nights"]
        ),
        days=tuple(
            DaySpan(at(one["start"]), at(one["end"]), one["planned"]) for one in told["days"]
        ),
        windows=tuple(
            Window(at(one["opens"]), at(one["closes"]), tuple(one["plants"]))
            for one in told["windows"]
        ),
        units=Units(**told["units"]),
        **rest,
    )
