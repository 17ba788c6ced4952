"""What has really been measured must be believed: records of heat and cold, with their places.

"read": seen in public text (for the WMO archive its news pages, for Qurayyat newspapers of 2018);
all others are from memory, of national weather services and of the World Meteorological
Organization's archive, rounded to a tenth; heights to some tens of metres.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.weather.doubt import Doubt, OutOfSeason
from sillward_rules.weather.plausibility import doubts_about
from sillward_rules.weather.site import Site
from tests.support.core import weather


@dataclass(frozen=True)
class Extreme:
    """The lowest and highest of some days around a record; one of the two is the record."""

    place: str
    latitude: float
    height_m: float
    day: tuple[int, int]
    low_c: float
    high_c: float
    source: str = "from memory"


HEAT = (
    Extreme("Death Valley, 1913", 36.46, -54, (7, 10), 33.0, 56.7, "WMO archive, read"),
    Extreme("Death Valley, a night of 2012", 36.46, -54, (7, 12), 41.7, 53.3),
    Extreme("Qurayyat, the warmest night", 23.3, 10, (6, 26), 42.6, 49.8, "newspapers, read"),
    Extreme("Mitribah, Kuwait", 29.8, 120, (7, 21), 35.0, 53.9),
    Extreme("Turbat, Pakistan", 26.0, 129, (5, 28), 33.0, 53.7),
    Extreme("Kebili, Tunisia", 33.7, 38, (7, 7), 30.0, 55.0),
    Extreme("Lytton, Canada", 50.2, 225, (6, 29), 23.5, 49.6),
    Extreme("Coningsby, England", 53.1, 6, (7, 19), 20.0, 40.3),
    Extreme("Floridia, Sicily", 37.1, 111, (8, 11), 24.0, 48.8, "WMO, read"),
    Extreme("Verkhoyansk, in summer", 67.55, 137, (6, 20), 14.0, 38.0, "WMO archive, read"),
    Extreme("Oodnadatta", -27.5, 117, (1, 2), 28.0, 50.7),
    Extreme("Rivadavia, Argentina", -24.2, 205, (12, 11), 28.0, 48.9),
    Extreme("Esperanza, Antarctica", -63.4, 13, (2, 6), 2.0, 18.3, "WMO archive, read"),
    Extreme("South Pole, in summer", -90.0, 2835, (12, 25), -18.0, -12.3),
    Extreme("Vicuna, Chile, in winter", -30.0, 650, (8, 2), 10.0, 37.0),
    Extreme("Mendoza, zonda in winter", -32.9, 827, (7, 20), 10.0, 35.0),
    Extreme("Los Angeles, in January", 34.05, 90, (1, 18), 16.0, 35.0),
    Extreme("Yampi Sound, in winter", -16.1, 10, (8, 26), 24.0, 41.6),
    Extreme("Matam, Senegal, in February", 15.6, 17, (2, 25), 24.0, 44.0),
    Extreme("Kinlochewe, Scotland, in January", 57.6, 25, (1, 28), 8.0, 19.6),
    Extreme("Kodiak, Alaska, in December", 57.7, 5, (12, 26), 7.0, 19.4),
    Extreme("Bilbao, in January", 43.3, 40, (1, 1), 15.0, 25.1),
    Extreme("Leh, in summer", 34.15, 3500, (7, 28), 19.0, 34.8),
    Extreme("Lhasa, in summer", 29.65, 3650, (6, 24), 15.0, 30.8),
    Extreme("Quito", -0.2, 2850, (9, 15), 13.0, 30.0),
)
COLD = (
    Extreme("Verkhoyansk, 1892", 67.55, 137, (2, 5), -67.8, -58.0, "WMO archive, read"),
    Extreme("Oymyakon, 1933", 63.25, 740, (2, 6), -67.7, -58.0),
    Extreme("Vostok, 1983", -78.46, 3488, (7, 21), -89.2, -78.0, "WMO archive, read"),
    Extreme("Klinck, Greenland, 1991", 72.3, 3105, (12, 22), -69.6, -58.0, "WMO archive, read"),
    Extreme("Snag, Canada, 1947", 62.4, 646, (2, 3), -63.0, -48.0),
    Extreme("Mohe, China, 2023", 53.5, 300, (1, 22), -53.0, -36.0),
    Extreme("Rogers Pass, 1954", 47.1, 1667, (1, 20), -56.7, -35.0),
    Extreme("Tallahassee, 1899", 30.45, 20, (2, 13), -18.9, -4.0),
    Extreme("Ifrane, Morocco, 1935", 33.5, 1635, (2, 11), -23.9, -5.0),
    Extreme("Sarmiento, Argentina, 1907", -45.6, 270, (6, 1), -32.8, -15.0),
    Extreme("Ranfurly, New Zealand", -45.1, 430, (7, 17), -25.6, -8.0),
    Extreme("Charlotte Pass, Australia", -36.4, 1755, (6, 29), -23.0, -6.0),
    Extreme("Altiplano, in winter", -20.5, 3700, (7, 1), -25.0, 10.0),
    Extreme("Madoi, Tibet", 34.9, 4272, (1, 2), -48.1, -20.0),
    Extreme("Vostok, in summer", -78.46, 3488, (12, 25), -48.0, -30.0),
    Extreme("Summit, Greenland, in July", 72.6, 3200, (7, 4), -33.0, -15.0),
    Extreme("a pass of the Alps, in July", 46.5, 2500, (7, 10), -6.0, 5.0),
    Extreme("an arctic coast, in July", 70.0, 50, (7, 1), -4.0, 3.0),
    Extreme("Lima, grey winter", -12.0, 13, (8, 10), 11.0, 16.0),
    Extreme("Havana province, 1996", 22.8, 30, (2, 18), 0.6, 18.0),
)


def site_of(extreme: Extreme) -> Site:
    return Site(extreme.place, extreme.latitude, 0.0, extreme.height_m, ZoneInfo("UTC"))


def kinds_of(doubts: Sequence[Doubt]) -> set[type[Doubt]]:
    return {type(doubt) for doubt in doubts}


def around(extreme: Extreme) -> tuple[datetime, Array]:
    """A week with the record on its fourth day, and days nearly so extreme on either side."""
    start = datetime(2026, *extreme.day, tzinfo=UTC).timestamp() - 3 * 86400
    hours = np.arange(7 * 24)
    milder = 1.5 * np.abs(hours / 24 - 3.5).round()
    middle = (extreme.low_c + extreme.high_c) / 2 + (milder if extreme in COLD else -milder)
    half = (extreme.high_c - extreme.low_c) / 2
    return datetime.fromtimestamp(start, UTC), middle + half * np.cos((hours - 15) / 12 * np.pi)


@pytest.mark.parametrize("extreme", [*HEAT, *COLD], ids=lambda extreme: extreme.place)
def test_a_forecast_of_a_record_is_believed(extreme: Extreme) -> None:
    start, temp = around(extreme)
    assert temp.max() == pytest.approx(extreme.high_c, abs=0.5) or extreme in COLD
    assert temp.min() == pytest.approx(extreme.low_c, abs=0.5) or extreme in HEAT

    assert doubts_about(site_of(extreme), weather(start, temp, dew_point_c=-95.0), now=start) == ()


@pytest.mark.parametrize("extreme", HEAT, ids=lambda extreme: extreme.place)
def test_the_same_with_the_label_of_the_other_scale_is_not(extreme: Extreme) -> None:
    start, temp = around(extreme)

    doubts = doubts_about(site_of(extreme), weather(start, 32 + 1.8 * temp), now=start)

    assert OutOfSeason in kinds_of(doubts)


OF_SUMMER = [extreme for extreme in HEAT if extreme.latitude >= 45 and extreme.day[0] in (6, 7, 8)]
"""Near the equator seasons are alike, and a foehn of winter is no heat of summer."""


@pytest.mark.parametrize("extreme", OF_SUMMER, ids=lambda extreme: extreme.place)
def test_nor_is_it_in_winter_on_the_other_half_of_the_globe(extreme: Extreme) -> None:
    start, temp = around(extreme)
    winter = replace(site_of(extreme), latitude=-extreme.latitude)

    assert kinds_of(doubts_about(winter, weather(start, temp), now=start)) == {OutOfSeason}
