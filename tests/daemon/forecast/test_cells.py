"""Cells in which sites share a forecast, and what they cost of a quota."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import SecretStr

from sillward.forecast.cells import BAND_M, cell_of, cells_of, hours_to_dusk
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.quota import USED_SHARE, Quota, in_order, stretched
from sillward.forecast.sources.met_norway import MetNorway
from sillward.forecast.sources.open_meteo import VARIABLES, OpenMeteo
from sillward_rules.weather.site import Site
from tests.support.desks import SITE, ZONE, local
from tests.support.fakes import FakeSource

SOURCE = FakeSource()
FREE = Quota(a_minute=600, a_day=10_000, of_site=1.5)
EVERY = timedelta(minutes=75)
MIDNIGHT = local("21:00")  # of UTC


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


def test_dusk_is_nearest_in_the_east() -> None:
    at_noon = [replace(SITE, longitude=degrees) for degrees in (-68.85, 0.0, 15.0, 120.0)]
    now = local("09:00")  # noon in Greenwich

    assert [hours_to_dusk(site, 12.0) for site in at_noon] == pytest.approx([10.59, 6, 5, 22])
    assert [site.longitude for site in in_order(at_noon, now)] == [15.0, 0.0, -68.85, 120.0]


def test_few_cells_keep_their_interval() -> None:
    assert stretched(FREE, EVERY, 100, 0, MIDNIGHT) == EVERY
    assert stretched(None, EVERY, 10_000, 0, MIDNIGHT) == EVERY
    assert stretched(replace(FREE, a_day=None), EVERY, 10_000, 0, MIDNIGHT) == EVERY


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
