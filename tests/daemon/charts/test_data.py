"""The numbers of a chart: those of the core, gaps where nothing is known, and nothing invented."""

import json
import math
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward.assembly import read_only
from sillward.assembly.examples import DEMOS, demo
from sillward.charts.data import (
    KINDS,
    MAX_FILM_MIN,
    WATER_DAYS,
    ChartData,
    Kind,
    chart_of,
    document,
    from_plain,
    to_plain,
)
from sillward_rules.chore import ChoreKind
from sillward_rules.explanation import explain_plant
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather import sun
from sillward_rules.weather.climate import climate_of
from sillward_rules.weather.hourly import SERIES, no_weather
from sillward_rules.weather.lows import tonight
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import USUAL_ORIGIN, from_sd, usual_error_k
from tests.support.chart_examples import (
    EXAMPLES,
    HOURS,
    NOW,
    US,
    bench_weather,
    example,
    on_bench,
    row,
)
from tests.support.core import MENDOZA, collection, daily_curve, fetched, plant, utc


def series(data: ChartData, name: str) -> np.ndarray:
    return np.array([np.nan if value is None else value for value in data.series[name]])


# -- the nights


def test_a_cold_hour_is_the_low_of_its_night_and_of_no_other() -> None:
    temp = np.full(HOURS, 10.0)
    temp[row("2026-05-16T08:00")] = 4.0  # 05:00 at the bench, in the night of the 15th

    data = on_bench("night", bench_weather(temp))

    lows = {night.start.day: (night.low_c, night.low_at) for night in data.nights}
    assert list(lows) == [14, 15, 16, 17, 18, 19, 20]
    assert lows.pop(15) == (4.0, utc("2026-05-16T08:00"))
    assert {low for low, _ in lows.values()} == {10.0}


def test_leaf_and_air_are_those_of_the_climate_at_every_hour() -> None:
    app = demo("cold-snap")
    held, now = app.household.collection, app.clock()
    forecast = read_only.fetched_weather(app, now)
    climate = climate_of(held.site, held.spots, forecast)
    column = climate.column("pergola")

    data = chart_of("night", "pergola", held, forecast, {}, now)

    rows = np.searchsorted(climate.times, [at.timestamp() for at in data.times])
    assert len(rows) > 6 * 24
    assert series(data, "leaf_c") == pytest.approx(climate.leaf_c[rows, column], abs=0.0051)
    assert series(data, "air_c") == pytest.approx(climate.temp_c[rows, column], abs=0.0051)
    (low,) = [
        low for low in tonight(held.site, held.spots, forecast, now).lows if low.spot == "pergola"
    ]
    assert data.nights[0].low_c == pytest.approx(low.leaf_c, abs=0.0051)
    assert data.nights[0].low_at == low.at


def test_the_nights_are_those_of_the_site_and_the_chart_holds_them_all() -> None:
    data = on_bench("night", bench_weather())

    for night in data.nights:
        there = sun.night_of(MENDOZA, night.start.date())
        for shown, core in ((night.start, there.start), (night.end, there.end)):
            assert timedelta(0) <= core - shown < timedelta(seconds=1)
    assert data.start <= NOW < data.nights[0].start
    assert data.nights[-1].end < data.end <= data.nights[-1].end + timedelta(hours=5)
    assert data.times[0] == data.start
    assert data.times[-1] == data.end
    assert {later - at for at, later in zip(data.times, data.times[1:], strict=False)} == {
        timedelta(hours=1)
    }


def test_in_the_night_the_chart_begins_with_its_sunset() -> None:
    now = utc("2026-05-15T05:00")

    data = on_bench("night", bench_weather(), now=now)

    assert data.nights[0].start <= now <= data.nights[0].end
    assert data.nights[0].start - timedelta(hours=1) < data.start <= data.nights[0].start


def test_plants_with_one_limit_share_its_line_and_the_highest_comes_first() -> None:
    data = on_bench(
        "night",
        bench_weather(),
        plant("Last", night_low=8.0),
        plant("First", night_low=14.0),
        plant("Also", night_low=14.0),
        plant("No limit", night_low=None),
        plant("Elsewhere", night_low=17.0, home="room", shelter=None),
    )

    assert [(limit.value, limit.unit, limit.plants) for limit in data.limits] == [
        (14.0, "°C", ("First", "Also")),
        (8.0, "°C", ("Last",)),
    ]


def test_the_band_is_the_usual_error_of_each_night_and_there_is_none_by_day() -> None:
    data = on_bench("night", bench_weather(daily_curve(5.0, 20.0, HOURS)))

    seconds = np.array([at.timestamp() for at in data.times])
    by_night = sun.is_night(MENDOZA, seconds, after=sun.COLD_MORNING)
    error = usual_error_k((seconds - NOW.timestamp()) / 3600)
    leaf = series(data, "leaf_c")
    assert data.band_origin == USUAL_ORIGIN
    assert by_night.any()
    assert series(data, "band_low_c")[by_night] == pytest.approx(
        (leaf - error)[by_night], abs=0.011
    )
    assert series(data, "band_high_c")[by_night] == pytest.approx(
        (leaf + error)[by_night], abs=0.011
    )
    assert np.isnan(series(data, "band_low_c")[~by_night]).all()


def test_an_ensemble_has_its_band_by_day_too_and_only_where_it_reaches() -> None:
    forecast = bench_weather()
    sd = np.full(HOURS, 1.5)
    sd[row("2026-05-17T00:00") :] = np.nan
    forecast = replace(forecast, spread=from_sd(forecast.times, sd, "some members"))

    data = on_bench("night", forecast)

    assert data.band_origin == f"some members, then {USUAL_ORIGIN}"
    seconds = np.array([at.timestamp() for at in data.times])
    by_night = sun.is_night(MENDOZA, seconds, after=sun.COLD_MORNING)
    reached = seconds < sun.night_of(MENDOZA, date(2026, 5, 16)).start.timestamp()
    high = series(data, "band_high_c")
    assert reached.sum() > 48
    assert high[reached] == pytest.approx(11.5, abs=0.011)
    # A night that is not wholly known to the members has the usual errors, as its chance has.
    usual = 10.0 + usual_error_k((seconds - NOW.timestamp()) / 3600)
    assert high[~reached & by_night] == pytest.approx(usual[~reached & by_night], abs=0.011)
    later_by_day = ~reached & ~by_night & (seconds >= utc("2026-05-17T00:00").timestamp())
    assert later_by_day.any()
    assert np.isnan(high[later_by_day]).all()


def test_what_a_room_holds_has_no_band_and_is_known_whatever_the_forecast() -> None:
    old = fetched(bench_weather(), NOW - timedelta(hours=30))

    data = on_bench("night", old, plant(home="room", shelter=None), spot="room")

    assert data.band_origin is None
    assert {night.low_c for night in data.nights} == {16.0}
    assert set(data.series["leaf_c"]) == {16.0, 20.0}


# -- gaps


def test_a_long_gap_is_a_gap_and_its_night_has_no_low() -> None:
    temp = np.full(HOURS, 10.0)
    gone = slice(row("2026-05-16T02:00"), row("2026-05-16T07:00"))
    temp[gone] = np.nan
    temp[row("2026-05-18T03:00")] = np.nan  # one hour: the core bridges it

    data = on_bench("night", bench_weather(temp))

    missing = [
        at for at, value in zip(data.times, data.series["leaf_c"], strict=True) if value is None
    ]
    assert missing == [utc("2026-05-16T02:00") + timedelta(hours=n) for n in range(5)]
    assert [night.low_c for night in data.nights] == [10.0, None, *[10.0] * 5]
    assert data.nights[1].low_at is None


def test_where_the_forecast_ends_so_does_the_line_but_not_the_week() -> None:
    forecast = bench_weather()
    keep = slice(0, row("2026-05-16T00:00"))
    short = replace(
        forecast,
        times=forecast.times[keep],
        **{name: getattr(forecast, name)[keep] for name in SERIES},
    )

    data = on_bench("night", short)

    assert len(data.nights) == 7
    leaf = series(data, "leaf_c")
    known = np.array([at < utc("2026-05-16T00:00") for at in data.times])
    assert np.isfinite(leaf[known]).all()
    assert np.isnan(leaf[~known]).all()
    assert [night.low_c is None for night in data.nights] == [False, *[True] * 6]


@pytest.mark.parametrize("kind", KINDS)
def test_a_forecast_that_is_too_old_shows_nothing_and_says_why(kind: Kind) -> None:
    data = on_bench(kind, fetched(bench_weather(25.0), NOW - timedelta(hours=30)))

    assert {value for values in data.series.values() for value in values} == {None}
    assert {night.low_c for night in data.nights} == {None}
    assert not data.windows
    assert not any(day.planned for day in data.days)
    assert data.band_origin is None
    assert data.forecast == "test, 30 h old: too old to go by"


def test_an_old_forecast_is_shown_and_named_as_old() -> None:
    data = on_bench("night", fetched(bench_weather(), NOW - timedelta(hours=8)))

    assert data.forecast == "test, 8 h old: use it with care"
    assert data.nights[0].low_c == 10.0


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("hours", [48, -24])
def test_without_any_forecast_there_is_a_chart_that_says_so(kind: Kind, hours: int) -> None:
    data = on_bench(kind, no_weather("test", NOW, hours))

    assert {value for values in data.series.values() for value in values} == {None}
    assert data.forecast == "no forecast: nothing is known"
    assert data.band_origin is None
    assert not any(day.planned for day in data.days)


# -- the water


def test_vpd_is_that_of_fao_56() -> None:
    data = on_bench("water", bench_weather(20.0, dew_point_c=10.0))

    # FAO-56 eq. 11: 2.338 kPa at 20 °C (its table 2.3 has 2.338), 1.228 at 10 °C.
    saturated, there = (0.6108 * math.exp(17.27 * t / (t + 237.3)) for t in (20.0, 10.0))
    assert saturated - there == pytest.approx(2.338 - 1.228, abs=0.001)
    assert series(data, "vpd_kpa") == pytest.approx(saturated - there, abs=0.0051)


def test_film_life_is_that_of_why_by_day_and_unknown_by_night() -> None:
    app = demo("dry-summer")
    held = app.household.collection
    now = app.household.rounds.morning.on(app.site, DEMOS["dry-summer"] + timedelta(days=1))
    forecast = fetched(read_only.fetched_weather(app, app.clock()), now)
    chosen = next(pot for pot in held.plants if pot.home == "pergola")

    data = chart_of("water", "pergola", held, forecast, {}, now)

    told = {hour.at: hour for hour in explain_plant(chosen, held, forecast, {}, now).hours}
    by_day = 0
    for at, life in zip(data.times, data.series["film_min"], strict=True):
        if at not in told:
            continue
        if told[at].night:
            assert life is None
        else:
            by_day += 1
            expected = told[at].film_min
            assert expected is not None
            assert life == pytest.approx(min(expected, MAX_FILM_MIN), abs=0.0051)
    assert by_day >= 12


def test_a_film_that_outlasts_the_day_is_shown_at_its_maximum() -> None:
    data = on_bench("water", bench_weather(10.0, dew_point_c=10.0))

    lives = {value for value in data.series["film_min"] if value is not None}
    assert lives == {MAX_FILM_MIN}


def test_the_windows_are_those_of_the_morning_round_and_of_the_week() -> None:
    app = demo("dry-summer")
    held = app.household.collection
    now = app.household.rounds.morning.on(app.site, DEMOS["dry-summer"] + timedelta(days=1))
    forecast = fetched(read_only.fetched_weather(app, app.clock()), now)

    data = chart_of("water", "pergola", held, forecast, {}, now)

    morning = draw_up(Round.MORNING, held, forecast, {}, now)
    today = [
        (chore.not_before, chore.before, chore.plants)
        for chore in morning.chores
        if chore.kind is ChoreKind.MIST and chore.from_spot == "pergola"
    ]
    assert len(today) >= 2
    shown = [(window.opens, window.closes, window.plants) for window in data.windows]
    assert shown[: len(today)] == today
    week = draw_up(Round.WEEK, held, forecast, {}, now).outlook
    assert week is not None
    dates = {data.start.date() + timedelta(days=number) for number in range(1, WATER_DAYS)}
    later = [walk for day in week.days if day.day in dates for walk in day.misting]
    assert shown[len(today) :] == [
        (window.not_before, window.before, window.plants)
        for window in later
        if window.from_spot == "pergola"
    ]
    assert {window.before.date() for window in later} == dates
    names = [pot.name for pot in held.plants]
    for day in week.days:
        counts = [sum(name in walk.plants for walk in day.misting) for name in names]
        assert max(counts) == day.mistings
        assert sum(count > 0 for count in counts) == day.misted_plants


def test_a_plant_has_its_own_limit_and_its_own_mistings() -> None:
    app = demo("dry-summer")
    held = app.household.collection
    now = app.household.rounds.morning.on(app.site, DEMOS["dry-summer"] + timedelta(days=1))
    forecast = fetched(read_only.fetched_weather(app, app.clock()), now)
    chosen = next(pot for pot in held.plants if pot.name == "Cork-slab laelia")

    all_ = chart_of("water", "pergola", held, forecast, {}, now)
    own = chart_of("water", "pergola", held, forecast, {}, now, chosen)

    limit = chosen.limits.vpd_high
    assert limit is not None
    assert [limit.value for limit in own.limits if limit.series == "vpd_kpa"] == [limit.value]
    assert own.windows == tuple(window for window in all_.windows if chosen.name in window.plants)
    assert 0 < len(own.windows) < len(all_.windows)
    assert own.title == "Cork-slab laelia, pergola"


def test_a_confirmed_misting_is_not_planned_any_more() -> None:
    app = demo("dry-summer")
    held = app.household.collection
    now = app.household.rounds.morning.on(app.site, DEMOS["dry-summer"] + timedelta(days=1))
    now += timedelta(hours=1)
    forecast = fetched(read_only.fetched_weather(app, app.clock()), now)
    done = {
        pot.name: PlantState(pot.home, assumed=False, misted_at=now - timedelta(minutes=5))
        for pot in held.plants
    }

    before = chart_of("water", "pergola", held, forecast, {}, now)
    after = chart_of("water", "pergola", held, forecast, done, now)

    assert len(after.windows) < len(before.windows)


def test_days_without_misting_are_known_to_have_none_or_not_known() -> None:
    temp = np.full(HOURS, 10.0)
    temp[row("2026-05-16T12:00") : row("2026-05-16T20:00")] = np.nan

    data = on_bench("water", bench_weather(temp))

    assert data.windows == ()
    # A film that is put on earlier would last into the hours that are not known.
    assert [day.planned for day in data.days][::2] == [True, False]
    assert [day.start.day for day in data.days] == [14, 15, 16]
    assert data.days[0].start == NOW


def test_after_sunset_the_water_chart_begins_with_tomorrow() -> None:
    now = utc("2026-05-15T01:00")  # 22:00 of the 14th

    data = on_bench("water", bench_weather(), now=now)

    assert [day.start.day for day in data.days] == [15, 16, 17]
    assert data.end == datetime(2026, 5, 18, tzinfo=MENDOZA.zone)


# -- words, zones, and the document


def test_the_titles_say_where_when_and_from_what_forecast() -> None:
    data = on_bench("night", bench_weather())

    assert data.title == "bench"
    assert data.subtitle == "Leaf temperature, Thu 14 May to Thu 21 May 2026"
    assert data.forecast == "test, 0 min old"
    assert data.made == "made Thu 14 May 17:00, times of America/Argentina/Mendoza"


@pytest.mark.parametrize(
    ("zone", "latitude", "longitude"),
    [("Europe/Berlin", 52.5, 13.4), ("Asia/Kolkata", 22.6, 88.4), ("America/Havana", 23.1, -82.4)],
)
@pytest.mark.parametrize("kind", KINDS)
def test_clocks_that_change_or_are_half_an_hour_off_change_no_number(
    zone: str, latitude: float, longitude: float, kind: Kind
) -> None:
    site = Site("Elsewhere", latitude, longitude, 50.0, ZoneInfo(zone))
    start = utc("2026-10-22T00:00")  # Berlin's clocks go back on the 25th, Havana's on 1 November
    forecast = replace(
        bench_weather(daily_curve(5.0, 20.0, HOURS)),
        times=int(start.timestamp()) + 3600 * np.arange(HOURS, dtype=np.int64),
    )
    now = utc("2026-10-24T12:00")
    forecast = fetched(forecast, now)

    data = chart_of(kind, "bench", collection(site=site), forecast, {}, now)

    steps = np.diff([at.timestamp() for at in data.times])
    assert (steps == 3600).all()
    assert all(str(at.tzinfo) == zone for at in data.times)
    name = "leaf_c" if kind == "night" else "vpd_kpa"
    assert np.isfinite(series(data, name)).any()
    assert from_plain(json.loads(json.dumps(to_plain(data)))) == data


@pytest.mark.parametrize(("kind", "name", "spot"), EXAMPLES)
def test_chart_data_survives_a_round_trip_through_json(kind: Kind, name: str, spot: str) -> None:
    data = replace(example(kind, name, spot), units=US)

    told = json.dumps(to_plain(data), allow_nan=False)

    assert from_plain(json.loads(told)) == data


@pytest.mark.parametrize(("kind", "name", "spot"), EXAMPLES)
def test_the_document_is_in_si_whatever_the_units_of_the_drawing(
    kind: Kind, name: str, spot: str
) -> None:
    data = example(kind, name, spot)

    told = json.dumps(document(data), allow_nan=False)

    assert json.dumps(document(replace(data, units=US))) == told
    plain = json.loads(told)
    assert plain["schema"] == 1
    assert plain["times"][0] == data.start.isoformat()
    assert plain["series"] == {key: list(values) for key, values in data.series.items()}
    assert plain["limits"][0]["unit"] == data.limits[0].unit
    assert plain["footer"] == [data.forecast, data.made]
    assert f" {data.now:%H:%M}, times of " in plain["footer"][1]
    assert "units" not in plain


def test_there_is_a_chart_under_the_midnight_sun() -> None:
    site = Site("Far north", 69.6, 18.9, 10.0, ZoneInfo("Europe/Oslo"))
    forecast = replace(bench_weather(), times=bench_weather().times + 40 * 86400)
    now = NOW + timedelta(days=40)

    data = chart_of("night", "bench", collection(site=site), fetched(forecast, now), {}, now)

    assert [night.low_c for night in data.nights] == [10.0] * 7


def test_an_unknown_spot_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        on_bench("night", bench_weather(), spot="attic")


def test_start_is_at_a_full_hour() -> None:
    assert on_bench("night", bench_weather(), now=NOW + timedelta(minutes=40)).start == NOW
