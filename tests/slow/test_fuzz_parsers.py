"""Bodies of real length with several things wrong at once: weather that a round can be drawn up
from, or a clear refusal, and nothing else.

Each test takes minutes, so the usual run leaves them out: `.ci/slow` runs them. They look at other
bodies every time; what fails is printed with how to see it again.
"""

import json
import math
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sillward.errors import SourceError
from sillward.forecast import ensemble, parsing
from sillward.forecast.sources import met_norway, open_meteo
from sillward.ledger.records import night_values
from sillward.wording import short_sheet
from sillward.wording.message_length import MAX_CHARACTERS
from sillward.wording.voice import Voice
from sillward_rules.arrays import HOUR_S
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.hourly import CLOUD_LAYERS, SERIES, Weather
from sillward_rules.weather.night_summary import nights_of
from tests.support.bodies import SITE, START, body, ensemble_body
from tests.support.core import collection, plant
from tests.support.fakes import remarked
from tests.support.met_bodies import HOURLY, STEPS, met_body

pytestmark = pytest.mark.slow

NOW = START + timedelta(hours=43, minutes=10)
"""The day after the first, ten past four in the afternoon at the site."""

EXAMPLES = 10_000
LEAST_OF_EACH = EXAMPLES // 5
"""A run in which fewer bodies are weather, or fewer refused, looks at one side only."""

LONGEST_TEXT = 300

GROWER = collection(
    plant("Strap"),
    plant("Mount", holder="mount", night_low=8.0, vpd_high=1.0),
    plant("Shrub", holder="pot", night_low=2.0, rot="low", velamen=False, shelter=None),
    site=SITE,
)

fuzz = settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    print_blob=True,
    suppress_health_check=list(HealthCheck),
)


# -- sound bodies, as text


def temperatures(low_c: float, hours: list[int]) -> list[float]:
    """15 K from the coldest hour, seven at the site, to the warmest."""
    return [round(low_c + 7.5 - 7.5 * math.cos((hour - 10) / 12 * math.pi), 1) for hour in hours]


def open_meteo_body(low_c: float, rain_mm: float) -> str:
    temp = temperatures(low_c, list(range(216)))
    made = body(
        temperature_2m=temp,
        dew_point_2m=[temp_c - 5.0 for temp_c in temp],
        precipitation=rain_mm,
        shortwave_radiation=150.0,
    )
    return json.dumps(made)


def met_norway_body(low_c: float, rain_mm: float) -> str:
    hours = [*range(HOURLY), *range(HOURLY, HOURLY + 6 * STEPS + 1, 6)]
    start = NOW.replace(minute=0)
    temp = temperatures(low_c, [hour + 43 for hour in hours])
    made = met_body(
        start,
        air_temperature=temp,
        dew_point_temperature=[temp_c - 5.0 for temp_c in temp],
        rain_1=rain_mm,
        rain_6=rain_mm,
        low=low_c,
        high=low_c + 15.0,
    )
    return json.dumps(made)


def members_body(low_c: float, rain_mm: float) -> str:
    return json.dumps(ensemble_body(31))


CLIMATES = ((3.0, 0.0), (14.0, 0.4), (24.0, 0.0))
"""Lows [°C] and rain by the hour [mm]: frost near, wet nights, heat."""


# -- what may be wrong with them

DEEP, LONG = "@deep@", "@long@"
"""Stand for what `json` cannot write: brackets without end, a number without end."""

numbers = st.one_of(
    st.floats(-100, 100),
    st.floats(),
    st.integers(-(10**30), 10**30),
    st.sampled_from([0, -0.0, 1e308, -1e308, 5e-324, 10**17, 10**18, 10**19, 2**53, 2**63, 1e16]),
)
texts = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["NaN", "null", "3.5", "", "\n", "a\r\nb", "\x1b[2J", "\ud800", "\u2028", "°F", "km/h", "K"]
    ),
    st.sampled_from(["unixtime", "iso8601", "undefined", "2026-05-15T06:00:00Z", "Feature"]),
    st.sampled_from([DEEP, LONG, "x" * 100_000]),
)
junk = st.one_of(
    st.none(),
    st.booleans(),
    numbers,
    texts,
    st.just([]),
    st.just({}),
    st.lists(st.none() | numbers | texts, max_size=4),
    st.dictionaries(texts, numbers, max_size=3),
)


def some_place(document: Any, dice: random.Random) -> tuple[Any, Any]:
    """A container in a document and a key or row in it: what holds much is gone into mostly."""
    holder: Any = document
    while True:
        keys = list(holder) if isinstance(holder, dict) else list(range(len(holder)))
        full = [key for key in keys if isinstance(holder[key], (dict, list)) and holder[key]]
        if full and dice.random() < 0.8:
            key = dice.choice(full)
            if dice.random() < 0.85:
                holder = holder[key]
                continue
            return holder, key
        return holder, dice.choice(keys)


def part(document: Any, *path: Any) -> Any:
    """What lies at a place in a document; None if it has no such place (any more)."""
    for key in path:
        if not isinstance(document, dict):
            return None
        document = document.get(key)
    return document


Column = list[tuple[Any, Any]]
"""The places of one variable, hour by hour: containers, and keys or rows in them."""


def some_column(document: Any, dice: random.Random) -> Column:
    """The places of a variable; none if the document has no hours (any more)."""
    hourly = part(document, "hourly")
    if isinstance(hourly, dict):
        lists = [values for values in hourly.values() if isinstance(values, list)]
        rows = dice.choice(lists) if lists else []
        return [(rows, number) for number in range(len(rows))]
    given = part(document, "properties", "timeseries")
    period = dice.choice(["instant", "instant", "next_1_hours", "next_6_hours"])
    found = [
        part(entry, "data", period, "details")
        for entry in (given if isinstance(given, list) else [])
    ]
    details = [detail for detail in found if isinstance(detail, dict) and detail]
    if not details:
        return []
    name = dice.choice(list(details[0]))
    return [(detail, name) for detail in details if name in detail]


def all_rows(document: Any) -> list[list[Any]]:
    """The lists that have one entry for each hour."""
    hourly, given = part(document, "hourly"), part(document, "properties", "timeseries")
    lists = list(hourly.values()) if isinstance(hourly, dict) else [given]
    return [values for values in lists if isinstance(values, list) and values]


Sound = Callable[[float, float], str]
Change = Callable[[Any, random.Random, Any], None]
"""Changes a document; the last argument is something to put in."""


def replaced(document: Any, dice: random.Random, new: Any) -> None:
    holder, key = some_place(document, dice)
    holder[key] = new


def removed(document: Any, dice: random.Random, new: Any) -> None:
    holder, key = some_place(document, dice)
    del holder[key]


def renamed(document: Any, dice: random.Random, new: Any) -> None:
    holder, key = some_place(document, dice)
    if isinstance(holder, dict):
        name = dice.choice([str(new), key.upper(), f"{key} ", f"{key}_member07", "time", "error"])
        holder[name] = holder.pop(key)


def retyped(document: Any, dice: random.Random, new: Any) -> None:
    holder, key = some_place(document, dice)
    old = holder[key]
    holder[key] = dice.choice([str(old)[:40], [old], {"value": old}, bool(old), not old])


def numbers_strewn(document: Any, dice: random.Random, new: Any) -> None:
    """Some hours of a variable have another number, now and then something else."""
    column = some_column(document, dice)
    other = new if type(new) in (int, float) or dice.random() < 0.1 else dice.uniform(-60, 60)
    for holder, key in dice.sample(column, min(len(column), dice.choice([1, 3, 40]))):
        holder[key] = other


def numbers_scaled(document: Any, dice: random.Random, new: Any) -> None:
    """All numbers of a variable are in another unit, or a little off."""
    scales = [(1.8, 32), (3.6, 0), (1, 273.15), (1, 0.5), (1, -9), (1000, 0), (-1, 0), (0.3, 0)]
    scale, added = dice.choice(scales)
    for holder, key in some_column(document, dice):
        if type(holder[key]) in (int, float):
            holder[key] = holder[key] * scale + added


def nothing_for_a_while(document: Any, dice: random.Random, new: Any) -> None:
    """Hours on end of a variable are null."""
    column = some_column(document, dice)
    start, length = dice.randrange(len(column) + 1), dice.choice([1, 2, 3, 8, 60])
    for holder, key in column[start : start + length]:
        holder[key] = None


def variable_gone(document: Any, dice: random.Random, new: Any) -> None:
    """A variable is null from first to last."""
    for holder, key in some_column(document, dice):
        holder[key] = None


def rows_moved(document: Any, dice: random.Random, new: Any) -> None:
    """Entries of one list doubled, dropped, exchanged or turned round."""
    lists = all_rows(document)
    if lists:
        moved(dice.choice(lists), dice)


def all_rows_moved(document: Any, dice: random.Random, new: Any) -> None:
    """The same done to all lists that belong together."""
    seed = dice.random()
    for rows in all_rows(document):
        moved(rows, random.Random(seed))


def hours_dropped(document: Any, dice: random.Random, new: Any) -> None:
    """Some hours are missing altogether."""
    seed, share = dice.random(), dice.choice([0.01, 0.1, 0.6])
    for rows in all_rows(document):
        kept = random.Random(seed)
        rows[:] = [row for row in rows if kept.random() >= share]


def moved(rows: list[Any], dice: random.Random) -> None:
    at, length = dice.randrange(len(rows)), dice.choice([1, 1, 2, 6, 24, 100])
    way = dice.randrange(8)
    if way == 0:
        rows[at:at] = rows[at : at + length]
    elif way in (1, 2):
        del rows[at : at + length]
    elif way in (3, 4):
        del rows[at + 1 :]
    elif way == 5:
        del rows[:at]
    elif way == 6:
        rows.reverse()
    else:
        rows[at], rows[-1] = rows[-1], rows[at]


def times_moved(document: Any, dice: random.Random, new: Any) -> None:
    """Unix times by some seconds, hours or days off, or in another order of size."""
    times = part(document, "hourly", "time")
    by = dice.choice([1, 1800, HOUR_S, -HOUR_S, 7200, 86_400, -86_400, 10**12, -(10**10)])
    if isinstance(times, list):
        times[:] = [time + by if type(time) is int else time for time in times]


CHANGES: tuple[Change, ...] = (
    *[replaced, removed, renamed, retyped, rows_moved, all_rows_moved, times_moved],
    *[hours_dropped, variable_gone, numbers_scaled] * 2,
    *[numbers_strewn, nothing_for_a_while] * 5,
)


def bytes_changed(text: bytes, dice: random.Random) -> bytes:
    """A cut, bytes flipped, doubled or put in."""
    at = dice.randrange(len(text) + 1)
    way = dice.randrange(6)
    if way == 0:
        return text[:at]
    if way == 1:
        return text[:at] + dice.choice([b"\xff\xfe", b"\x00", b"\xc3(", b"[" * 5_000]) + text[at:]
    if way == 2:
        return text[:at] + text[at : at + 200] + text[at:]
    if way == 3:
        return text[:at] + b"Unexpected error while streaming data: timeout"
    if way == 4:
        return dice.choice([b"\xef\xbb\xbf", b"\n <html>", b"["]) + text
    flipped = bytearray(text)
    for _ in range(dice.choice([1, 3, 30])):
        flipped[dice.randrange(len(flipped))] ^= 1 << dice.randrange(8)
    return bytes(flipped)


@st.composite
def broken(draw: st.DrawFn, sound: Sound) -> bytes:
    """A body with one to six things wrong, one time in ten in its bytes as well."""
    document = json.loads(draw(st.sampled_from(TEXTS[sound])))
    for change in draw(st.lists(st.sampled_from(CHANGES), min_size=1, max_size=6)):
        if not isinstance(document, (dict, list)) or not document:
            break
        change(document, random.Random(draw(st.integers(0, 2**32))), draw(junk))
    text = json.dumps(document).encode()
    text = text.replace(f'"{DEEP}"'.encode(), b"[" * 100_000 + b"]" * 100_000)
    text = text.replace(f'"{LONG}"'.encode(), b"9" * 5_000)
    if draw(st.integers(0, 9)) == 0:
        text = bytes_changed(text, random.Random(draw(st.integers(0, 2**32))))
    return text


TEXTS: Mapping[Sound, list[str]] = {
    sound: [sound(*climate) for climate in CLIMATES]
    for sound in (open_meteo_body, met_norway_body, members_body)
}


# -- what must hold

LOWEST_DEW_POINT_C = -140.0
"""One part in a hundred of the vapour that air of -90 °C holds; Magnus, calculated."""

RANGES = {
    "temp_c": parsing.TEMPERATURE,
    "dew_point_c": (LOWEST_DEW_POINT_C, parsing.TEMPERATURE[1]),
    "wind_m_s": parsing.WIND,
    "gust_m_s": parsing.GUST,
    "cloud": (0.0, 1.0),
    "rain_mm": parsing.RAIN,
    "direct_w_m2": (0.0, 1600.0),
    "diffuse_w_m2": (0.0, 1600.0),
    "hail_pct": (0.0, 100.0),
    **dict.fromkeys(CLOUD_LAYERS, (0.0, 1.0)),
}


@dataclass
class Seen:
    """How many bodies were weather, and how many were refused."""

    weather: int = 0
    refused: int = 0

    def check(self) -> None:
        assert self.weather >= LEAST_OF_EACH
        assert self.refused >= LEAST_OF_EACH


def check_refusal(error: SourceError, name: str) -> None:
    """One short line that any terminal, push and database takes."""
    text = str(error)
    assert text.startswith(f"{name}: ")
    assert len(text) < LONGEST_TEXT
    assert text.isprintable()
    assert error.wait is None


def check_weather(weather: Weather) -> None:
    assert np.isfinite(weather.temp_c).any()
    assert np.all(np.diff(weather.times) == HOUR_S)
    assert np.all(weather.times % HOUR_S == 0)
    for name in SERIES:
        values = getattr(weather, name)
        low, high = RANGES[name]
        known = values[~np.isnan(values)]
        assert np.all((known >= low) & (known <= high)), name
    known = ~np.isnan(weather.dew_point_c)
    assert np.all(weather.dew_point_c[known] <= weather.temp_c[known])
    for text in (*remarked(weather), *weather.notes):
        assert text.isprintable()
        assert len(text) < LONGEST_TEXT
    assert weather.issued_at is None or weather.issued_at <= weather.fetched_at


def check_rounds(weather: Weather) -> None:
    """It can be kept, drawn up and told."""
    for night in nights_of(SITE, weather, NOW):
        night_values(night, NOW)
    for round_ in (Round.DUSK, Round.MORNING):
        push = short_sheet.message(draw_up(round_, GROWER, weather, {}, NOW), Voice(SITE))
        assert len(push.title) + len(push.body) < MAX_CHARACTERS


def test_open_meteo_bodies() -> None:
    seen = Seen()

    @fuzz
    @given(broken(open_meteo_body))
    def any_body(raw: bytes) -> None:
        try:
            weather = open_meteo.parse(raw, SITE, NOW)
        except SourceError as error:
            check_refusal(error, open_meteo.NAME)
            seen.refused += 1
            return
        check_weather(weather)
        check_rounds(weather)
        seen.weather += 1

    any_body()
    seen.check()


def test_met_norway_bodies() -> None:
    seen = Seen()

    @fuzz
    @given(broken(met_norway_body))
    def any_body(raw: bytes) -> None:
        try:
            weather = met_norway.parse(raw, SITE, NOW)
        except SourceError as error:
            check_refusal(error, met_norway.NAME)
            seen.refused += 1
            return
        check_weather(weather)
        check_rounds(weather)
        seen.weather += 1

    any_body()
    seen.check()


def test_ensemble_bodies() -> None:
    sound = open_meteo.parse(TEXTS[open_meteo_body][0].encode(), SITE, NOW)
    seen = Seen()

    @fuzz
    @given(broken(members_body))
    def any_body(raw: bytes) -> None:
        try:
            spread = ensemble.Ensemble().read(raw, SITE, sound.times)
        except SourceError as error:
            check_refusal(error, ensemble.NAME)
            seen.refused += 1
            return
        assert not np.isinf(spread.deviations).any()
        known = spread.sd_k[~np.isnan(spread.sd_k)]
        assert np.all((known >= 0) & (known <= np.ptp(parsing.TEMPERATURE)))
        check_rounds(replace(sound, spread=spread))
        seen.weather += 1

    any_body()
    seen.check()
