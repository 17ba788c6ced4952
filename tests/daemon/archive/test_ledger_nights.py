"""A ledger as past weather: lows as they were, hours that are drawn, forecasts by day."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sillward.archive import PastWeather, read_archive
from sillward.archive.ledger_nights import DRAWN
from sillward.errors import SourceError
from sillward.forecast.parsing import NO_RAIN
from sillward.forecast.sources import open_meteo
from sillward.ledger import Ledger
from sillward_rules.weather.hourly import Weather, at_hours, moment
from sillward_rules.weather.night_summary import NightForecast, nights_of
from tests.support.past_files import SITE, body, dumped, hours

DAYS = 40
START = datetime(2021, 3, 1, tzinfo=UTC)
MADE_EVERY_H = 6
SOURCE = "Invented weather"


@cache
def truth() -> Weather:
    return open_meteo.parse(dumped(body(hours(DAYS, START))), SITE, START)


def keep_nights(ledger: Ledger, warmer_k: Callable[[float], float], site: str = SITE.name) -> None:
    """What forecasts every six hours say of the nights, warmer by so much for each lead time."""
    nights = nights_of(SITE, truth(), START)
    for hour in range(24, 24 * DAYS, MADE_EVERY_H):
        at = START + timedelta(hours=hour)
        ahead = [
            replace(night, lead_h=(night.low_at - at) / timedelta(hours=1)) for night in nights
        ]
        told = [
            replace(night, low_c=night.low_c + warmer_k(night.lead_h))
            for night in ahead
            if 0 < night.lead_h < 8 * 24
        ]
        ledger.nights.keep(site, SOURCE, at, told)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger of 39 days whose forecasts are 1 K warmer for each day ahead."""
    path = tmp_path_factory.mktemp("ledger") / "ledger.db"
    with closing(Ledger(path)) as ledger:
        keep_nights(ledger, lambda lead_h: float(lead_h // 24))
    return path


@pytest.fixture(scope="module")
def past(file: Path) -> PastWeather:
    return read_archive(file, SITE)


def nights(weather: Weather) -> dict[object, NightForecast]:
    """The nights of a weather, by date, without those at its ends."""
    found = nights_of(SITE, weather, START)
    return {night.night: night for night in found[2:-2]}


def test_every_low_is_at_its_hour(past: PastWeather) -> None:
    drawn, were = nights(past.weather), nights(truth())

    assert len(drawn) >= DAYS - 8
    for day, night in drawn.items():
        assert night.low_c == pytest.approx(were[day].low_c, abs=0.01)
        assert night.low_at == were[day].low_at
        assert night.dew_point_c == pytest.approx(were[day].dew_point_c, abs=0.01)
        assert night.wind_m_s == pytest.approx(were[day].wind_m_s, abs=0.01)
        assert night.cloud == pytest.approx(were[day].cloud, abs=0.01)


def test_hours_between_lows_fall_and_rise_as_those_that_were(past: PastWeather) -> None:
    were = at_hours(truth().times, truth().temp_c, past.weather.times)
    known = np.isfinite(past.weather.temp_c)

    assert known.sum() > 24 * (DAYS - 6)
    assert np.corrcoef(past.weather.temp_c[known], were[known])[0, 1] > 0.8


def test_forecasts_are_those_of_their_day(past: PastWeather) -> None:
    assert list(past.by_lead_day) == [1, 2, 3, 4, 5, 6, 7]
    for lead_day, lead in past.by_lead_day.items():
        drawn, were = nights(lead), nights(truth())
        off = [night.low_c - were[day].low_c for day, night in drawn.items()]
        # those of 0 to 24 hours before are not warmer, those of 24 to 48 hours by 1 K
        assert np.allclose(off, lead_day - 1, atol=0.01)


def test_it_says_what_is_drawn_and_what_is_missing(past: PastWeather) -> None:
    assert past.weather.source == f"ledger ({SOURCE})"
    assert past.remarks[0] == DRAWN
    assert NO_RAIN in past.remarks
    assert "sunlight is estimated from cloud" in past.remarks
    assert "what came is the newest forecast of each hour: nothing was measured" in past.remarks


def test_reading_changes_nothing_in_the_file(file: Path) -> None:
    before = file.read_bytes()
    beside = sorted(file.parent.iterdir())

    read_archive(file, SITE)

    assert file.read_bytes() == before
    assert sorted(file.parent.iterdir()) == beside


def test_a_night_that_was_not_followed_to_its_low_is_missing(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    gap = START + timedelta(days=20)
    with closing(Ledger(path)) as ledger:
        keep_nights(ledger, lambda _: 0.0)
        ledger.database.execute(
            "DELETE FROM night WHERE fetched_at BETWEEN ? AND ?",
            int(gap.timestamp()),
            int((gap + timedelta(hours=18)).timestamp()),
        )

    weather = read_archive(path, SITE).weather

    unknown = weather.times[np.isnan(weather.temp_c)]
    inner = unknown[(unknown > weather.times[48]) & (unknown < weather.times[-48])]
    assert moment(inner[0]).date() == gap.date() - timedelta(days=1)
    assert 24 < inner.size < 48


def said(path: Path) -> str:
    with pytest.raises(SourceError) as caught:
        read_archive(path, SITE)
    text = str(caught.value)
    assert text.isprintable()
    return text.partition(": the file ")[2]


def test_a_ledger_of_another_site_is_refused_with_the_sites_that_it_knows(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    with closing(Ledger(path)) as ledger:
        keep_nights(ledger, lambda _: 0.0, site="Patio")

    assert said(path) == 'is a ledger without nights of "Testyard"; it knows "Patio"'


def test_the_database_of_another_program_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE night (archive, night, low_at)")

    assert said(path) == "is the database of another program"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE night SET night = night + 3000000",
        "UPDATE night SET low_at = 1 << 60",
        "UPDATE night SET low = 1 << 40",
        "DROP TABLE night",
    ],
)
def test_a_ledger_with_other_content_is_refused(file: Path, tmp_path: Path, statement: str) -> None:
    path = tmp_path / "ledger.db"
    path.write_bytes(file.read_bytes())
    with closing(sqlite3.connect(path)) as db:
        db.execute(statement)
        db.commit()

    assert said(path).startswith(("is a ledger ", "has no temperatures"))


@pytest.mark.parametrize("kept", [100, 5000, 0.5, 0.99])
def test_a_ledger_that_is_cut_off_is_refused(file: Path, tmp_path: Path, kept: float) -> None:
    content = file.read_bytes()
    path = tmp_path / "ledger.db"
    path.write_bytes(content[: int(kept if kept > 1 else kept * len(content))])

    assert said(path).startswith("is ")
