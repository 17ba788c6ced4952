"""Cells in which sites share a forecast, and what they cost of a quota."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import SecretStr

from sillward.forecast.cells import BAND_M, cell_named, cell_of, cells_of, next_dusk
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.quota import DUSK_AHEAD, USED_SHARE, Quota, pace, stretched
from sillward.forecast.sources.met_norway import MetNorway
from sillward.forecast.sources.open_meteo import VARIABLES, OpenMeteo
from sillward_rules.weather.site import Site
from tests.support.desks import SITE, ZONE, local
from tests.support.fakes import FakeSource

SOURCE = FakeSource()
FREE = Quota(a_minute=600, a_day=10_000, of_site=1.5)
EVERY = timedelta(minutes=75)
MIDNIGHT = local("21:00")  # of UTC


def cells_in_a_row(count: int) -> list[Site]:
    """Return cells over 16 degrees of longitude, the most western first."""
    return [
        cell_of(replace(SOURCE, cell_deg=0.001), replace(SITE, longitude=-72 + 16 * n / count))
        for n in range(count)
    ]


@given(
    st.floats(-90, 90), st.floats(-180, 180), st.floats(-420, 5500),
    st.sampled_from([0.05, 0.1, 0.25]),
)  # fmt: skip
def test_a_cell_is_around_its_sites_and_is_its_own(
    latitude: float, longitude: float, height_m: float, deg: float
) -> None:
    source = replace(SOURCE, cell_deg=deg)
    cell = cell_of(source, Site("a", latitude, longitude, height_m, ZONE))

    assert abs(cell.latitude - latitude) <= deg / 2 + 1e-4 or abs(latitude) > 90 - deg
    east = (cell.longitude - longitude + 180) % 360 - 180
    assert abs(east) <= deg / 2 + 1e-4
    assert abs(cell.elevation_m - height_m) <= BAND_M / 2
    assert -90 <= cell.latitude <= 90
    assert cell_of(source, cell) == cell


def test_neighbours_share_a_cell_whatever_they_are_called_and_whatever_their_zone() -> None:
    near = replace(SITE, name="other", latitude=SITE.latitude + 0.005, elevation_m=720.0)
    above, away = replace(SITE, elevation_m=820.0), replace(SITE, longitude=SITE.longitude + 0.05)

    assert list(cells_of(SOURCE, [SITE, near])) == ["cell -32.8750 -68.8250 700 m"]
    assert len(cells_of(SOURCE, [SITE, near, above, away])) == 3


def test_a_cell_is_known_by_its_key() -> None:
    for place in (SITE, replace(SITE, latitude=0.01, longitude=0.01, elevation_m=-150.0)):
        cell = cell_of(SOURCE, place)
        assert cell_named(cell.name) == cell
    assert cell_named("Terrace") is None


def test_dusk_is_nearest_in_the_east() -> None:
    now = local("09:00")  # noon in Greenwich
    places = [replace(SITE, longitude=degrees) for degrees in (-68.85, 0.0, 15.0, 120.0)]

    hours = [(next_dusk(site, now) - now) / timedelta(hours=1) for site in places]

    assert hours == pytest.approx([9.7, 5.1, 4.1, 21.1], abs=0.1)  # ten minutes past five
    chosen = pace(None, EVERY, places, {}, 0, now).chosen(places, 3, now)
    assert [site.longitude for site in chosen] == [15.0, 0.0, -68.85]


def test_dusk_is_by_the_season_and_comes_at_all_latitudes() -> None:
    noon = datetime(2026, 12, 21, 12, tzinfo=UTC)
    at = [next_dusk(replace(SITE, latitude=n, longitude=0.0), noon) for n in (55.0, -55.0, 85.0)]

    assert [round((dusk - noon) / timedelta(hours=1), 1) for dusk in at] == [3.5, 8.7, 3.0]


def test_few_cells_keep_their_interval() -> None:
    few, many = cells_in_a_row(100), cells_in_a_row(10_000)

    assert pace(FREE, EVERY, few, {}, 0, MIDNIGHT).every == EVERY
    assert pace(None, EVERY, many, {}, 0, MIDNIGHT).every == EVERY
    assert pace(replace(FREE, a_day=None), EVERY, many, {}, 0, MIDNIGHT).every == EVERY


@pytest.mark.parametrize("cells", [400, 2000])
def test_many_cells_use_up_what_is_allowed_and_no_more(cells: int) -> None:
    interval = stretched(FREE, EVERY, cells, 0, MIDNIGHT)
    calls = cells * (timedelta(days=1) / interval)

    assert calls * FREE.of_site == pytest.approx(USED_SHARE * 10_000)


def test_the_less_is_left_of_a_day_the_rarer_the_calls_and_they_never_end() -> None:
    noon = local("09:00")
    intervals = [stretched(FREE, EVERY, 300, spent, noon) for spent in (0, 6000, 8000, 8990, 9500)]

    assert intervals == sorted(intervals)
    assert intervals[0] == EVERY
    assert EVERY < intervals[1] < intervals[2] < intervals[3] <= intervals[4] == timedelta(days=1)


def test_the_first_call_before_each_dusk_is_set_aside_and_the_rest_spread_evenly() -> None:
    cells, quota = cells_in_a_row(250), replace(FREE, a_day=1_000)
    fetched_at = dict.fromkeys((cell.name for cell in cells), MIDNIGHT - timedelta(hours=2))

    found = pace(quota, EVERY, cells, fetched_at, 0, MIDNIGHT)

    opens = {cell.name: next_dusk(cell, MIDNIGHT) - DUSK_AHEAD for cell in cells}
    assert found.first == opens
    assert found.spare == 600 - 250
    usual = 250 * (timedelta(days=1) / EVERY)
    assert found.every == EVERY * ((usual - 250) / found.spare)


def test_what_is_set_aside_goes_to_nobody_else() -> None:
    cells = cells_in_a_row(100)
    at = local("17:30")  # from half an hour to one and a half before their dusk
    quota = Quota(a_minute=600, a_day=200, of_site=1.0)
    fetched_at = {cell.name: at - timedelta(hours=8) for cell in cells}
    fetched_at |= {cell.name: at - timedelta(minutes=80) for cell in cells[:40]}
    fetched_at |= {cell.name: at - timedelta(minutes=20) for cell in cells[40:50]}

    found = pace(quota, EVERY, cells, fetched_at, 0.9 * 200 - 60, at)

    is_first = {cell.name for cell in cells if found.is_first(cell, at)}
    assert is_first == {cell.name for cell in cells[50:]}
    assert (
        found.chosen(cells[:50], 100, at)
        == sorted(cells[:50], key=lambda cell: next_dusk(cell, at))[: int(found.spare)]
    )
    assert set(found.chosen(cells, 50, at)) == set(cells[50:])


def test_if_there_are_more_than_calls_those_who_had_none_the_day_before_come_first() -> None:
    cells = cells_in_a_row(100)
    at = local("10:00")
    yesterday = local("15:00") - timedelta(days=1)
    fetched_at = dict.fromkeys((cell.name for cell in cells), yesterday)
    fetched_at |= dict.fromkeys((cell.name for cell in cells[:30]), yesterday - timedelta(days=1))
    quota = Quota(a_minute=600, a_day=100, of_site=1.0)

    found = pace(quota, EVERY, cells, fetched_at, 50, at)

    assert len(found.first) == 40
    assert found.first.keys() >= {cell.name for cell in cells[:30]}
    assert found.spare == 0


def test_who_is_new_is_asked_for_whatever_is_left() -> None:
    cells = cells_in_a_row(100)
    quota = Quota(a_minute=600, a_day=100, of_site=1.0)

    found = pace(quota, EVERY, cells, {}, 99, MIDNIGHT)

    assert (
        found.chosen(cells, 30, MIDNIGHT)
        == sorted(cells, key=lambda cell: next_dusk(cell, MIDNIGHT))[:30]
    )


@pytest.mark.parametrize("cells", [60, 120, 190])
def test_each_cell_has_a_fresh_forecast_at_its_dusk(cells: int) -> None:
    places = cells_in_a_row(cells)
    quota = Quota(a_minute=60, a_day=250, of_site=1.0)
    now, end, step = MIDNIGHT, MIDNIGHT + timedelta(days=3), timedelta(minutes=20)
    asked: dict[str, list[datetime]] = {cell.name: [] for cell in places}
    spent = 0
    while now < end:
        if now.astimezone(UTC).hour == now.astimezone(UTC).minute == 0:
            assert spent <= 250
            spent = 0
        fetched_at = {name: moments[-1] for name, moments in asked.items() if moments}
        paced = pace(quota, EVERY, places, fetched_at, spent, now)
        due = [
            cell
            for cell in places
            if cell.name not in fetched_at
            or now - fetched_at[cell.name] >= paced.interval(cell, EVERY, now)
        ]
        for cell in paced.chosen(due, 60, now):
            asked[cell.name].append(now)
            spent += 1
        now += step

    for cell in places:
        for day in (1, 2):
            told = next_dusk(cell, MIDNIGHT + timedelta(days=day)) - timedelta(minutes=90)
            ages = [told - at for at in asked[cell.name] if at <= told]
            assert min(ages) <= timedelta(hours=2)


def test_a_provider_is_asked_for_the_middle_of_a_cell_at_the_middle_of_its_band() -> None:
    place = {"latitude": "-32.8750", "longitude": "-68.8250", "elevation": "700"}
    for many in (OpenMeteo(), replace(Ensemble(), cell_deg=0.05, band_m=BAND_M)):
        params = many.query([cell_of(many, SITE)]).params
        assert place.items() <= dict(params).items()

    one = MetNorway("grower@example.invalid")
    params = dict(one.query([cell_of(one, SITE)]).params)
    assert params == {"lat": "-32.8750", "lon": "-68.8250", "altitude": "700"}


def test_only_the_free_service_has_a_quota_of_its_own() -> None:
    """1.5 calls for a site: 14 variables over 15 days; 5.1 for 51 members of one."""
    days = 7 + 8
    weight = max(1, len(VARIABLES) / 10, len(VARIABLES) / 10 * days / 14)
    free, members = OpenMeteo().quota, Ensemble().quota

    assert free is not None
    assert members is not None
    assert free.of_site == pytest.approx(weight)
    assert members.of_site == 5.1
    assert OpenMeteo(api_key=SecretStr("key")).quota is None
    assert OpenMeteo("https://weather.invalid").quota is None


def test_in_an_hour_there_are_no_more_than_are_allowed_in_one() -> None:
    hourly = replace(FREE, an_hour=5_000)

    assert hourly.sites_left(0, 0, 0) == 360
    assert hourly.sites_left(359, 2_900, 0) == 1
    assert hourly.sites_left(0, 2_999, 0) == 1
    assert hourly.sites_left(0, 3_000, 0) == 0
    assert hourly.sites_left(0, 0, 9_997) == 2
