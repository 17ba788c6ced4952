"""What a file of past weather holds, however it was written, and the weather that it makes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from sillward.archive.columns import Column
from sillward.forecast import doubt_wording, parsing
from sillward.forecast.parsing import Reading
from sillward.forecast.sources import open_meteo
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.remark import Plain
from sillward_rules.weather import radiation, sun
from sillward_rules.weather.doubt import OutOfSeason
from sillward_rules.weather.hourly import (
    MAX_BRIDGE_H,
    SERIES,
    Gap,
    Weather,
    bridge_gaps,
    gaps,
    moment,
)
from sillward_rules.weather.plausibility import doubts_about
from sillward_rules.weather.site import Site

FIRST_SECOND = -946_771_200
"""1 January 1940, from which on reanalyses reach back [unix s]."""

MAX_HOURS = 100 * 366 * 24
"""The longest time that a file may cover [h]. Judgement: as far as reanalyses reach, and memory
stays below 100 MB."""

YEAR_H = 366 * 24
"""Weather is checked year by year, so that memory stays modest."""

OTHER_HEIGHT_M = 100.0
"""A file for another height than the site's is named from here on [m]. Judgement: 0.65 K."""

LATE_SUN_H = 2.0
"""Sunlight whose middle is this far from noon is named [h]. Judgement: a shaded place may see the
sun for half a day only, which moves the middle by less."""

DRY_H = 300 * 24
"""A file without a drop of rain for so long is named [h]. Judgement: rain was not recorded."""

SHOWN = 3
"""Gaps and doubts that are told one by one; the others are counted. Judgement."""

_WORDS = {
    "temp_c": "temperature",
    "dew_point_c": "humidity",
    "wind_m_s": "wind",
    "gust_m_s": "gusts",
    "cloud": "cloud",
    "rain_mm": "rain",
}
"""Series in plain words. Hail and cloud by height are given by few, and not missed."""


@dataclass(frozen=True, slots=True, eq=False)
class PastWeather:
    """The weather of a span of the past.

    Args:
        weather: what came, hour by hour.
        by_lead_day: what had been forecast so many days before, at the hours of `weather`; empty
            unless the file has it.
        remarks: what a grower must know of it, a line each.
    """

    weather: Weather
    by_lead_day: Mapping[int, Weather] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """The columns of a file at its times.

    Args:
        source: what the file is, in words.
        given: its times (given,) [unix s], as it has them.
        columns: its columns, each with its values (given,) in the unit of its variable; NaN is
            unknown.
        elevation_m: the height that it is for; None if it does not say.
        remarks: what its reader has found.
    """

    source: str
    given: np.ndarray
    columns: Sequence[tuple[Column, Array]]
    elevation_m: float | None = None
    remarks: Sequence[str] = ()


def past_weather(table: Table, site: Site, reader: Reading) -> PastWeather:
    """Return the weather that a file holds.

    What had been forecast is taken as it came where the file does not give it by day. Raise
    SourceError for times that cannot be used, or without a night that is wholly known.
    """
    times, rows = hours(table.given, reader)
    remarks = list(table.remarks)
    by_day: dict[int, dict[str, Array | None]] = {0: {}}
    for column, values in table.columns:
        variable = open_meteo.READ[column.name]
        full = np.full(times.shape, np.nan)
        full[rows] = parsing.plausible(values, column.shown, variable, table.given, remarks)
        if np.isfinite(full).any():
            by_day.setdefault(column.lead_day, {})[column.name] = full
    weather, said = _weather_of(by_day.pop(0), times, table.source, reader)
    weather, lacking = _with_light(site, weather)
    remarks += [*said, *lacking, *_about(table, site), *_dry(weather)]
    remarks += [*_doubts(site, weather, reader), *_gaps(site, weather)]
    remarks += _nights(site, weather, reader)
    leads: dict[int, Weather] = {}
    given: set[str] = set()
    for day, series in sorted(by_day.items()):
        if "temperature_2m" not in series:
            remarks.append(f"{_forecasts(day)} have no temperature: not used")
            continue
        lead, said = _weather_of(series, times, table.source, reader)
        remarks += [f"{_forecasts(day)}: {text}" for text in (*said, *_unknown_share(lead))]
        leads[day] = _completed(lead, weather)
        given.update(words for name, words in _WORDS.items() if _is_known(lead, name))
    if leads:
        remarks.append("what came is the newest forecast of each hour: nothing was measured")
        listed = ", ".join(words for words in _WORDS.values() if words in given)
        remarks.append(f"forecasts by day give {listed}; all else counts as it came")
    return PastWeather(weather, leads, tuple(remarks))


def hours(given: np.ndarray, reader: Reading) -> tuple[np.ndarray, np.ndarray]:
    """Return all full hours from the first to the last given time, and the row of each in them.

    Raise SourceError for times that are not full hours, come twice or are out of order.
    """
    if not given.size:
        reader.refuse("has no times")
    if given.min() < FIRST_SECOND or given.max() >= parsing.LAST_SECOND:
        reader.refuse("has times before 1940, or impossible ones")
    rest = given % HOUR_S
    if rest.any():
        first = parsing.at(given[np.flatnonzero(rest)[0]])
        if rest[0] and np.all(rest == rest[0]):
            reader.refuse(f"has no full hours of UTC: its first is {first}; ask for hours in UTC")
        reader.refuse(f"has times that are not full hours, such as {first}")
    steps = np.diff(given)
    if np.any(steps == 0) or np.unique(given).size < given.size:
        found, count = np.unique(given, return_counts=True)
        twice = found[count > 1]
        more = f", and {twice.size - 1} more" if twice.size > 1 else ""
        reader.refuse(f"has an hour more than once: {parsing.at(twice[0])}{more}")
    if np.any(steps < 0):
        row = int(np.flatnonzero(steps < 0)[0])
        late, early = parsing.at(given[row]), parsing.at(given[row + 1])
        reader.refuse(f"has times out of order: {early} comes after {late}")
    if given.size > 1 and steps.min() >= 24 * HOUR_S:
        reader.refuse("has one value a day; only hourly values can be replayed")
    if (given[-1] - given[0]) // HOUR_S >= MAX_HOURS:
        reader.refuse("covers an impossible length of time")
    times = np.arange(given[0], given[-1] + HOUR_S, HOUR_S, dtype=np.int64)
    return times, (given - given[0]) // HOUR_S


# -- what was found


def _weather_of(
    series: Mapping[str, Array | None], times: np.ndarray, source: str, reader: Reading
) -> tuple[Weather, list[str]]:
    """Return the weather of some variables, and what was found about it."""
    weather = open_meteo.weather_of(series, times, (), reader, source, moment(times[-1]))
    said = [remark.text for remark in weather.remarks if isinstance(remark, Plain)]
    said += [f"cannot be right: {doubt_wording.in_words(doubt)}" for doubt in weather.doubts]
    return replace(weather, remarks=(), doubts=()), said


def _with_light(site: Site, weather: Weather) -> tuple[Weather, list[str]]:
    """Return the weather with sunlight, estimated if need be, and what the file lacks."""
    missing = [words for name, words in _WORDS.items() if not _is_known(weather, name)]
    said = [f"the file has no {', '.join(missing)}"] if missing else []
    if not _is_known(weather, "rain_mm"):
        said.append(parsing.NO_RAIN)
    if _is_known(weather, "direct_w_m2") or _is_known(weather, "diffuse_w_m2"):
        return weather, [*said, *_noon(site, weather)]
    if not _is_known(weather, "cloud"):
        return weather, [*said, "nothing is known of sunlight: without cloud it is not estimated"]
    parts = [radiation.estimate(site, part.times, part.cloud) for part in _years(weather)]
    direct, diffuse = (np.concatenate(light) for light in zip(*parts, strict=True))
    lit = replace(weather, direct_w_m2=direct, diffuse_w_m2=diffuse)
    return lit, [*said, "sunlight is estimated from cloud"]


def _noon(site: Site, weather: Weather) -> Iterator[str]:
    """Yield a remark if the sun is not highest at noon, as in a file whose zone is wrong."""
    light = weather.direct_w_m2 + weather.diffuse_w_m2
    lit = np.flatnonzero(light > 0)
    if lit.size:
        solar_h = (weather.times[lit] / HOUR_S - 0.5 + site.longitude / 15) % 24
        late_h = float(np.average(solar_h - 12.0, weights=light[lit]))
        if abs(late_h) > LATE_SUN_H:
            way = "after" if late_h > 0 else "before"
            yield (
                f"its sunlight has its middle {abs(late_h):.1f} hours {way} the sun's noon here:"
                " is its zone right?"
            )


def _is_known(weather: Weather, name: str) -> bool:
    return bool(np.isfinite(getattr(weather, name)).any())


def _years(weather: Weather) -> Iterator[Weather]:
    """Yield the weather in parts of a year."""
    for first in range(0, weather.times.size, YEAR_H):
        part = slice(first, first + YEAR_H)
        series = {name: getattr(weather, name)[part] for name in SERIES}
        yield replace(weather, times=weather.times[part], **series)


def _about(table: Table, site: Site) -> Iterator[str]:
    """Yield remarks on a file for another height, or with values hours apart."""
    height = table.elevation_m
    if height is not None and abs(height - site.elevation_m) > OTHER_HEIGHT_M:
        yield (
            f"the file is for a height of {height:.0f} m, the site is at {site.elevation_m:.0f} m:"
            " nothing is corrected for that"
        )
    step_h = int(np.median(np.diff(table.given))) // HOUR_S if table.given.size > 1 else 1
    if step_h > 1:
        yield f"the file has a value every {step_h} hours only: the lows in between are missed"


def _dry(weather: Weather) -> Iterator[str]:
    """Yield a remark if there is no rain at all."""
    known = weather.rain_mm[np.isfinite(weather.rain_mm)]
    if known.size >= DRY_H and not known.any():
        yield "there is no rain in the whole file: perhaps it was not recorded"


def _gaps(site: Site, weather: Weather) -> Iterator[str]:
    """Yield remarks on the hours that are missing: gaps of the temperature one by one."""
    found: dict[str, list[Gap]] = {}
    for gap in gaps(weather, moment(weather.times[0]), moment(weather.times[-1])):
        if gap.hours < weather.times.size:
            found.setdefault(gap.series, []).append(gap)
    temperature = found.pop("temperature", [])
    spans = {(gap.first, gap.last) for gap in temperature}
    bridged = [gap for gap in temperature if gap.hours <= MAX_BRIDGE_H]
    long = [gap for gap in temperature if gap.hours > MAX_BRIDGE_H]
    for gap in long[:SHOWN]:
        yield _gap_in_words(site, gap)
    if len(long) > SHOWN:
        rest = sum(gap.hours for gap in long[SHOWN:])
        yield f"temperature is missing in {len(long) - SHOWN} more gaps, {rest} hours in all"
    if bridged:
        times = "once" if len(bridged) == 1 else f"{len(bridged)} times"
        yield f"temperature is missing for at most {MAX_BRIDGE_H} hours {times}: filled in between"
    for series, missing in found.items():
        alone = [gap for gap in missing if (gap.first, gap.last) not in spans]
        if alone:
            longest = max(alone, key=lambda gap: gap.hours)
            total = sum(gap.hours for gap in alone)
            since = parsing.at(int(longest.first.timestamp()))
            yield (
                f"{series} is missing in {total} more hours, for longest ({longest.hours}) from"
                f" {since}"
            )


def _gap_in_words(site: Site, gap: Gap) -> str:
    """Return a gap of the temperature in words."""
    middle = site.local_date(gap.first + (gap.last - gap.first) / 2)
    if gap.hours == 24 and (middle.month, middle.day) == (2, 29):
        return f"29 February {middle.year} is missing: the file leaves out the leap day"
    since = parsing.at(int(gap.first.timestamp()))
    return f"temperature is missing for {gap.hours} hours from {since}"


def _nights(site: Site, weather: Weather, reader: Reading) -> Iterator[str]:
    """Yield a remark on nights that are not wholly known. Raise SourceError if none is known."""
    times, first = weather.times, weather.times[0]
    unknown = np.concatenate([[0], np.cumsum(np.isnan(bridge_gaps(weather.temp_c)))])
    total = missing = 0
    for night in sun.nights_from(site, moment(first)):
        start, end = night.start.timestamp(), night.cold_until.timestamp()
        if end > times[-1]:
            break
        if start >= first:
            total += 1
            rows = np.searchsorted(times, [start, end])
            missing += bool(unknown[rows[1]] > unknown[rows[0]])
    if missing == total:
        reader.refuse("has no night that is wholly known")
    if missing:
        yield f"{missing} of {total} nights are not wholly known, and are not judged"


def _doubts(site: Site, weather: Weather, reader: Reading) -> Iterator[str]:
    """Yield what cannot be true. Raise SourceError if half of it or more is out of season."""
    years = [
        (part, doubts)
        for part in _years(weather)
        if (doubts := doubts_about(site, part, now=moment(part.times[-1])))
    ]
    wrong = [
        doubt
        for _, doubts in years
        for doubt in doubts[:1]
        if isinstance(doubt, OutOfSeason) and doubt.what != "hours"
    ]
    if 2 * len(wrong) * YEAR_H > weather.times.size:
        reader.refuse(
            f"does not fit this place: {doubt_wording.in_words(wrong[0])}; is its unit right, is "
            "it of this half of the world, and are its dates?"
        )
    for part, doubts in years[:SHOWN]:
        span = f"{moment(part.times[0]):%Y-%m-%d} to {moment(part.times[-1]):%Y-%m-%d}"
        yield f"{span} cannot be right: {doubt_wording.reason(doubts)}"
    if len(years) > SHOWN:
        yield f"{len(years) - SHOWN} more years cannot be right"


# -- what had been forecast


def _completed(lead: Weather, weather: Weather) -> Weather:
    """Return a forecast with what it lacks altogether as it came. The dew point stays below the
    temperature.
    """
    series = {name: getattr(lead if _is_known(lead, name) else weather, name) for name in SERIES}
    series["dew_point_c"] = np.minimum(series["dew_point_c"], series["temp_c"])
    return replace(lead, **series)


def _unknown_share(lead: Weather) -> Iterator[str]:
    share = float(np.isnan(lead.temp_c).mean())
    if share > 0:
        yield f"temperature is missing in {max(1, round(100 * share))} % of the hours"


def _forecasts(day: int) -> str:
    return "forecasts of the day before" if day == 1 else f"forecasts of {day} days before"
