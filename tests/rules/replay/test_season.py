"""The season outlook: first and last nights by chance, recounted in plain pandas."""

import math
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.plants.limits import GrowsClass, Limit
from sillward_rules.plants.plant import Plant
from sillward_rules.replay.past_nights import PastNights, past_nights
from sillward_rules.replay.season import (
    LimitOutlook,
    Safe,
    SeasonOutlook,
    Turn,
    cut_of,
    rank_of_rare,
    season_outlook,
    spots_in_question,
)
from sillward_rules.weather.site import Site
from sillward_rules.weather.year_day import YearDay
from tests.support.airport import NEWARK, hourly, in_steps
from tests.support.core import MENDOZA, OPEN_BENCH, WARM_ROOM, collection, plant, utc, weather

few = settings(deadline=None, derandomize=True, max_examples=30)

NORTH = Site("Test yard", 40.0, 16.0, 100, ZoneInfo("Europe/Rome"))


def nights_of(first: date, low_c: Array) -> PastNights:
    """Nights at the bench with these lows."""
    low = np.asarray(low_c, dtype=np.float64)[:, None]
    return PastNights(first, ("bench",), low, np.full(low.shape, np.nan))


def outlook(first: date, low_c: Array, *limits: float, site: Site = MENDOZA) -> SeasonOutlook:
    plants = [plant(f"P{limit:g}", night_low=limit) for limit in limits or (13.0,)]
    return season_outlook(collection(*plants, site=site), nights_of(first, low_c))


def waves(
    rng: np.random.Generator,
    first: date,
    years: int,
    *,
    coldest: int,
    middle: float = 13.0,
    swing: float = 8.0,
) -> Array:
    """Lows of whole years, coldest around a day of the year, each night with its own error."""
    count = (date(first.year + years, first.month, first.day) - first).days
    number = np.array([(first + timedelta(days=day)).timetuple().tm_yday for day in range(count)])
    usual = middle - swing * np.cos(2 * np.pi * (number - coldest) / 365.25)
    return np.asarray(usual + rng.normal(0.0, 2.0, count))


def only(found: SeasonOutlook) -> LimitOutlook:
    (limit,) = found.limits
    return limit


# -- against plain pandas


def recounted(first: date, low_c: Array, limit: float, cut: tuple[int, int]) -> pd.DataFrame:
    """For each whole cold season: days from the cut to the first and last night under a limit."""
    frame = pd.DataFrame({"low": low_c}, index=pd.date_range(first, periods=len(low_c)))
    begins = [date(day.year, *cut) for day in frame.index]
    frame["season"] = [
        day.year - (day.date() < begin) for day, begin in zip(frame.index, begins, strict=True)
    ]
    rows = {}
    for year, part in frame.groupby("season"):
        start, end = pd.Timestamp(year, *cut), pd.Timestamp(year + 1, *cut)
        if len(part) < (end - start).days or part.low.isna().any():
            continue
        cold = part.index[part.low < limit]
        rows[year] = {
            "first": cold.min().strftime("%m-%d") if len(cold) else None,
            "last": cold.max().strftime("%m-%d") if len(cold) else None,
        }
    return pd.DataFrame.from_dict(rows, orient="index")


@pytest.mark.parametrize(
    ("site", "first", "coldest", "cut"),
    [(NORTH, date(2001, 7, 1), 20, (7, 1)), (MENDOZA, date(2001, 1, 1), 200, (1, 1))],
    ids=["north", "south"],
)
@pytest.mark.parametrize("limit", [6.0, 10.0, 13.0])
def test_first_and_last_nights_are_those_that_pandas_finds(
    site: Site, first: date, coldest: int, cut: tuple[int, int], limit: float
) -> None:
    low = waves(np.random.default_rng(int(limit)), first, 19, coldest=coldest)

    found = only(outlook(first, low, limit, site=site))

    table = recounted(first, low, limit, cut)
    assert len(table) == len(found.seasons) == 19
    for season in found.seasons:
        expected = table.loc[season.year]
        assert expected["first"] == (season.first and season.first.strftime("%m-%d"))
        assert expected["last"] == (season.last and season.last.strftime("%m-%d"))
        assert season.first_known
        assert season.last_known


@pytest.mark.parametrize("years", [9, 19, 29])
def test_the_chances_are_those_of_weibull_where_they_fall_on_a_year(years: int) -> None:
    """NumPy's method of this name: with 9, 19 or 29 years it has to interpolate nothing."""
    first = date(2001, 1, 1)
    low = waves(np.random.default_rng(years), first, years, coldest=200)

    found = only(outlook(first, low, 11.0))

    for turn, name in ((found.first, "first"), (found.last, "last")):
        table = recounted(first, low, 11.0, (1, 1))
        days = [
            (pd.Timestamp(f"2001-{day.replace('02-29', '02-28')}") - pd.Timestamp(first)).days % 365
            for day in table[name]
        ]
        expected = np.quantile(days, (0.1, 0.5, 0.9), method="weibull")
        shown = [turn.early, turn.median, turn.late]
        assert [day.number for day in shown if day] == expected.tolist()


def test_months_are_counted_as_pandas_counts_them() -> None:
    first = date(2001, 1, 1)
    low = waves(np.random.default_rng(5), first, 12, coldest=200)

    found = only(outlook(first, low, 12.0))

    frame = pd.Series(low < 12.0, index=pd.date_range(first, periods=len(low)))
    by_month = frame.groupby([frame.index.year, frame.index.month]).sum().groupby(level=1).mean()
    assert found.by_month == pytest.approx(by_month.tolist())


@pytest.mark.parametrize("site", [NORTH, MENDOZA], ids=["north", "south"])
def test_ten_calendar_years_give_ten_first_and_ten_last_nights(site: Site) -> None:
    """In the north the cold season at each end is cut, but one end of it is there."""
    first = date(2001, 1, 1)
    coldest = 15 if site is NORTH else 197
    low = waves(np.random.default_rng(6), first, 10, coldest=coldest, swing=9.0)
    low[-1] = np.nan  # the night of New Year's Eve goes on beyond the archive

    found = only(outlook(first, low, site=site))

    assert (found.first.years, found.last.years) == (10, 10)


def test_a_real_year_has_the_first_and_last_nights_that_pandas_finds() -> None:
    """Newark, 2013; the truth is in steps of ten minutes, night told by pvlib's sun."""
    hours = hourly()
    bench = replace(OPEN_BENCH, name="bench")
    place = collection(plant(night_low=13.0), spots=(bench, WARM_ROOM), site=NEWARK)
    known = {
        "dew_point_c": hours.dew_point_2m.to_numpy(),
        "wind_m_s": hours.wind_speed_10m.clip(upper=40).to_numpy(),
    }
    begins = hours.index[0].to_pydatetime()
    past = weather(begins, hours.temperature_2m.to_numpy(), **known)

    nights = past_nights(NEWARK, spots_in_question(place), past)

    truth = in_steps()[in_steps().counts]
    low = truth.groupby("evening").temperature_2m.min()
    gaps = truth.temperature_2m.isna().groupby(truth.evening).any()
    ours = dict(zip(nights.days, nights.low_c[:, 0].tolist(), strict=True))
    inner = [day for day in ours if date(2013, 1, 2) <= day <= date(2013, 12, 28)]
    unknown = {day for day in inner if math.isnan(ours[day])}
    assert unknown == {day for day in inner if gaps[day]}
    whole = [day for day in inner if day not in unknown]
    assert len(whole) > 340
    # Between two steps of the truth it may be a hair colder; the wind leaves no leaf colder.
    assert all(abs(ours[day] - low[day]) < 0.15 for day in whole)
    found = only(season_outlook(place, nights))
    cold = low[low < 13.0].index
    assert found.last.years == found.first.years == 1
    summer = [day for day in cold if date(2013, 6, 1) <= day <= date(2013, 10, 1)]
    assert found.seasons[0].last == max(day for day in cold if day < date(2013, 7, 1))
    assert found.seasons[1].first == min(day for day in summer if day >= date(2013, 7, 1))


# -- how the years are cut


@pytest.mark.parametrize("latitude", [-60.0, -33.0, -1.0, 0.0, 10.0, 65.0])
def test_years_are_cut_in_the_warm_half_year(latitude: float) -> None:
    cut = cut_of(replace(MENDOZA, latitude=latitude))

    assert cut.month in ((4, 5, 6, 7, 8, 9) if latitude >= 0 else (10, 11, 12, 1, 2, 3))


def test_the_other_hemisphere_half_a_year_later_has_the_same_outlook() -> None:
    low = waves(np.random.default_rng(8), date(2001, 7, 1), 12, coldest=20)

    north = only(outlook(date(2001, 7, 1), low, site=NORTH))
    south = only(outlook(date(2001, 1, 1), low, site=MENDOZA))

    # 182 or 183 days apart; the leap day falls elsewhere.
    for one, other in ((north.first, south.first), (north.last, south.last)):
        for of_north, of_south in zip(_days(one), _days(other), strict=True):
            assert of_north is not None
            assert of_south is not None
            assert (of_north.number - of_south.number - 180) % 365 <= 4


def test_nights_that_are_never_under_the_limit_are_safe_all_year() -> None:
    found = only(outlook(date(2001, 1, 1), np.full(4000, 20.0)))

    assert found.safe is Safe.ALL_YEAR
    assert _days(found.first) == _days(found.last) == [None, None, None]
    assert found.first.without == found.first.years == 10
    assert set(found.by_month) == {0.0}
    assert found.is_safe_on(YearDay(7, 1))


def test_nights_that_are_always_under_the_limit_are_never_safe() -> None:
    found = only(outlook(date(2001, 1, 1), np.full(4000, 2.0)))

    assert found.safe is Safe.NEVER
    assert (found.safe_from, found.safe_until) == (None, None)
    assert found.first.early == YearDay(1, 1)
    assert found.last.late == YearDay(12, 31)
    assert not found.is_safe_on(YearDay(1, 1))
    assert found.by_month[0] == 31


def test_cold_nights_in_some_summers_only_leave_a_short_safe_part() -> None:
    """A late night in one year of ten and an early one in another do not meet."""
    first, days = date(2001, 1, 1), (date(2021, 1, 1) - date(2001, 1, 1)).days
    low = np.full(days, 20.0)
    for year in range(2001, 2021):
        for cold in (date(year, 5, 1), date(year, 9, 1)):
            low[(cold - first).days] = 5.0

    found = only(outlook(first, low))

    assert (found.safe_from, found.safe_until) == (YearDay(9, 2), YearDay(5, 1))
    assert found.is_safe_on(YearDay(9, 2))
    assert found.is_safe_on(YearDay(4, 30))
    assert not found.is_safe_on(YearDay(5, 1))
    assert not found.is_safe_on(YearDay(9, 1))


# -- missing nights, few years


def test_a_missing_night_counts_only_where_it_matters() -> None:
    first = date(2001, 1, 1)
    low = waves(np.random.default_rng(11), first, 10, coldest=200, swing=10.0)
    whole = only(outlook(first, low))
    in_winter = low.copy()
    in_winter[(date(2004, 7, 10) - first).days] = np.nan
    before_the_first = low.copy()
    before_the_first[(date(2004, 2, 20) - first).days] = np.nan

    harmless, telling = (outlook(first, given) for given in (in_winter, before_the_first))

    assert only(harmless).first == whole.first
    assert only(harmless).last == whole.last
    assert only(telling).first.years == 9
    assert only(telling).last == whole.last
    for found, day in ((harmless, date(2004, 7, 10)), (telling, date(2004, 2, 20))):
        (missing,) = found.missing
        assert (missing.year, missing.nights, missing.first, missing.last) == (2004, 1, day, day)
    assert math.isclose(only(harmless).by_month[0], whole.by_month[0])


def test_a_season_without_cold_counts_only_if_it_is_whole() -> None:
    first = date(2001, 1, 1)
    low = np.full((date(2011, 1, 1) - first).days, 20.0)
    low[(date(2003, 12, 24) - first).days] = np.nan

    found = only(outlook(first, low))

    assert found.first.years == found.last.years == found.first.without == 9


def test_few_years_are_told_and_the_extremes_stand_for_one_in_ten() -> None:
    first = date(2001, 1, 1)
    low = waves(np.random.default_rng(12), first, 4, coldest=200, swing=10.0)

    found = only(outlook(first, low))

    firsts = sorted(YearDay.of(season.first) for season in found.seasons if season.first)
    assert found.first.years == 4
    assert not found.first.enough
    assert [found.first.early, found.first.late] == [firsts[0], firsts[-1]]
    assert found.safe_until == firsts[0]


def test_weather_without_a_night_is_refused() -> None:
    with pytest.raises(ValueError, match="no night"):
        outlook(date(2001, 1, 1), np.zeros(0))


@pytest.mark.parametrize(("years", "rank"), [(1, 0), (8, 0), (9, 1), (18, 1), (19, 2), (29, 3)])
def test_one_year_of_ten_takes_nine_years(years: int, rank: int) -> None:
    assert rank_of_rare(years) == rank


# -- what must hold for any years


def _days(turn: Turn) -> list[YearDay | None]:
    return [turn.early, turn.median, turn.late]


def _offsets(turn: Turn, none: float) -> list[float]:
    return [none if day is None else day.number for day in _days(turn)]


years_of_nights = st.builds(
    lambda seed, years, middle, swing: waves(
        np.random.default_rng(seed), date(2001, 1, 1), years, coldest=200,
        middle=middle, swing=swing,
    ),
    st.integers(0, 10**6), st.integers(1, 14), st.floats(5, 22), st.floats(0, 10),
)  # fmt: skip


@few
@given(low=years_of_nights, holes=st.lists(st.integers(0, 5000), max_size=20))
def test_dates_are_in_order_and_a_warmer_limit_never_has_less_cold(
    low: Array, holes: list[int]
) -> None:
    low[[hole for hole in holes if hole < low.size]] = np.nan

    found = outlook(date(2001, 1, 1), low, 14.0, 11.0, 8.0).limits

    for limit in found:
        assert _offsets(limit.first, math.inf) == sorted(_offsets(limit.first, math.inf))
        assert _offsets(limit.last, -math.inf) == sorted(_offsets(limit.last, -math.inf))
    for warmer, colder in pairwise(found):
        assert all(
            more >= less or math.isnan(more)
            for more, less in zip(warmer.by_month, colder.by_month, strict=True)
        )
        for one, other in zip(warmer.seasons, colder.seasons, strict=True):
            if other.first is not None and other.last is not None:
                assert one.first is not None
                assert one.first <= other.first
                assert one.last is not None
                assert one.last >= other.last
        if warmer.first.years == colder.first.years:
            pairs = zip(
                _offsets(warmer.first, math.inf), _offsets(colder.first, math.inf), strict=True
            )
            assert all(first <= later for first, later in pairs)


@few
@given(low=years_of_nights)
def test_no_more_than_one_year_of_ten_breaks_what_is_called_safe(low: Array) -> None:
    """Each of the two dates by itself, over the years that it comes from."""
    first = date(2001, 1, 1)
    found = only(outlook(first, low))
    whole = [season for season in found.seasons if season.first_known and season.last_known]
    allowed = (len(whole) + 1) / 10

    if found.safe is Safe.FROM_UNTIL and found.safe_from and found.safe_until:
        start = YearDay(1, 1)
        until = (found.safe_until.number - start.number) % 365
        since = (found.safe_from.number - start.number) % 365 or 365
        early = [
            season
            for season in whole
            if season.first and (YearDay.of(season.first).number - start.number) % 365 < until
        ]
        late = [
            season
            for season in whole
            if season.last and (YearDay.of(season.last).number - start.number) % 365 >= since
        ]
        assert len(early) <= allowed
        assert len(late) <= allowed


# -- plants and spots


def test_plants_are_grouped_by_home_and_limit_and_those_indoors_left_out() -> None:
    wall = replace(OPEN_BENCH, name="wall")
    place = collection(
        plant("A", night_low=13.0), plant("B", night_low=10.0), plant("C", night_low=13.0),
        plant("D", night_low=13.0, home="wall"), plant("E", night_low=13.0, home="room"),
        plant("F", night_low=None),
        spots=(OPEN_BENCH, wall, WARM_ROOM),
    )  # fmt: skip
    low = np.full((400, 2), 15.0)
    nights = PastNights(date(2001, 1, 1), ("bench", "wall"), low, low)

    found = season_outlook(place, nights)

    assert [spot.name for spot in spots_in_question(place)] == ["bench", "wall"]
    assert [(one.limit.spot, one.limit.limit_c, one.plants) for one in found.limits] == [
        ("bench", 13.0, ("A", "C")),
        ("bench", 10.0, ("B",)),
        ("wall", 13.0, ("D",)),
    ]


def test_a_plant_that_rests_has_the_limit_of_its_rest_while_it_does() -> None:
    resting = _with_rest(plant("Rests", night_low=13.0), 6.0)
    low = np.full((366, 1), 10.0)
    mean = np.full((366, 1), 20.0)
    mean[150:250] = 5.0  # June to September: too cold to grow
    nights = PastNights(date(2001, 1, 1), ("bench",), low, mean)

    (found,) = season_outlook(collection(resting), nights).limits

    assert (found.limit.limit_c, found.limit.rest_limit_c) == (13.0, 6.0)
    assert found.by_month[2] == 31
    assert found.by_month[7] == 0


def _with_rest(of: Plant, rest_low: float) -> Plant:
    limits = replace(
        of.limits, rest_low=Limit(rest_low, "test"), grows=GrowsClass("cool all year", "test")
    )
    return replace(of, limits=limits)


# -- nights from weather


def test_nights_do_not_depend_on_how_the_weather_is_divided(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(3)
    hours = 60 * 24
    temp = 14.0 + 6.0 * np.cos(2 * np.pi * np.arange(hours) / 24) + rng.normal(0, 1, hours)
    past = weather(
        utc("2024-04-01T00:00"), temp,
        dew_point_c=temp - 3.0, rain_mm=np.where(rng.random(hours) < 0.1, 1.0, 0.0),
        wind_m_s=rng.uniform(0, 5, hours), cloud=rng.random(hours),
    )  # fmt: skip
    spots = (replace(OPEN_BENCH, sky_view=0.7, wind=0.3),)
    told: list[float] = []

    whole = past_nights(MENDOZA, spots, past, told.append)
    monkeypatch.setattr("sillward_rules.replay.past_nights.CHUNK_DAYS", 7)
    parts = past_nights(MENDOZA, spots, past)

    assert whole.days == parts.days
    assert len(whole.days) == 60
    assert np.allclose(whole.low_c, parts.low_c, atol=1e-9, equal_nan=True)
    assert np.allclose(whole.mean_c, parts.mean_c, equal_nan=True)
    assert np.isnan(whole.low_c[:, 0]).tolist() == [False] * 59 + [True]
    assert told[-1] == 1.0
