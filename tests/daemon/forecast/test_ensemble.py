"""The members of an ensemble: what is asked for, what is read, what is refused."""

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from sillward.errors import SourceError
from sillward.forecast.ensemble import MODEL, NAME, Ensemble, parse
from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger, SavedForecast
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import MEMBER_ERROR_K, Spread
from tests.support.bodies import SITE, START, body, dumped
from tests.support.fakes import FakeClock, FakeSource

MEMBERS = 11
HOURS = 72
TIMES = int(START.timestamp()) + 3600 * np.arange(HOURS, dtype=np.int64)


def members(values: Any = None, count: int = MEMBERS) -> dict[str, Any]:
    """A body of a control run and its perturbed members, one degree apart from each other."""
    made = body(hours=HOURS)
    hourly, units = {"time": made["hourly"]["time"]}, {"time": "unixtime"}
    for number in range(count):
        name = "temperature_2m" if number == 0 else f"temperature_2m_member{number:02d}"
        hourly[name] = [float(number)] * HOURS if values is None else values(number)
        units[name] = "°C"
    return made | {"hourly": hourly, "hourly_units": units}


def refused(document: object) -> str:
    with pytest.raises(SourceError) as caught:
        parse(document if isinstance(document, bytes) else dumped(document), SITE)
    return str(caught.value)


def test_it_asks_for_one_model_in_utc() -> None:
    query = Ensemble().query([SITE])

    assert query.url == "https://ensemble-api.open-meteo.com/v1/ensemble"
    assert query.params["models"] == MODEL
    assert query.params["hourly"] == "temperature_2m"
    assert (query.params["timezone"], query.params["timeformat"]) == ("GMT", "unixtime")


def test_two_calls_a_day_are_enough() -> None:
    assert timedelta(days=1) / Ensemble().interval == 2


def test_control_run_and_members_become_the_spread() -> None:
    spread = Ensemble().read(dumped(members()), SITE, TIMES)

    # 0 to 10 in steps of one: variance (n^2 - 1) / 12 of a discrete uniform distribution.
    expected = np.sqrt((MEMBERS**2 - 1) / 12 + MEMBER_ERROR_K**2)
    assert spread.deviations.shape == (MEMBERS, HOURS)
    assert spread.sd_k == pytest.approx(expected)
    assert spread.origin == "11 members of ECMWF"


def test_hours_of_the_forecast_that_no_member_reaches_are_unknown() -> None:
    later = TIMES + 3600 * (HOURS - 10)

    spread = Ensemble().read(dumped(members()), SITE, later)

    assert np.isfinite(spread.sd_k[:10]).all()
    assert np.isnan(spread.sd_k[10:]).all()


def test_a_member_that_is_missing_leaves_the_others() -> None:
    made = members()
    made["hourly"]["temperature_2m_member03"] = [None] * HOURS

    _, values = parse(dumped(made), SITE)

    assert values.shape[0] == MEMBERS - 1


def test_impossible_values_of_a_member_are_unknown() -> None:
    _, values = parse(dumped(members(lambda number: [400.0 if number == 2 else 5.0] * HOURS)), SITE)

    assert np.isnan(values).sum() == HOURS or values.shape[0] == MEMBERS - 1
    assert float(np.nanmax(values)) == 5.0


@pytest.mark.parametrize(
    ("document", "told"),
    [
        (members(count=1), "has no members"),
        (members(count=0), "has no members"),
        (b"<html>log in</html>", "is a web page"),
        (b'{"hourly":', "is not whole JSON"),
        (b'{"error": true, "reason": "no such model"}', 'is an error: "no such model"'),
        (members() | {"latitude": 50.0}, "is for another place"),
        (members(lambda number: [1.0] * (HOURS - 1)), "another number of values"),
        (members(lambda number: ["warm"] * HOURS), "are not numbers"),
        (members() | {"hourly_units": {"time": "iso8601"}}, "times as unixtime"),
    ],
)
def test_what_is_no_ensemble_is_refused(document: object, told: str) -> None:
    said = refused(document)

    assert told in said
    assert said.startswith("Open-Meteo ensemble: ")


def test_fahrenheit_is_refused() -> None:
    made = members()
    made["hourly_units"]["temperature_2m_member01"] = "°F"

    assert 'in "°F"' in refused(made)


def test_the_members_are_read_once_for_the_same_hours_and_not_when_they_are_too_old(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    reads: list[int] = []
    real = Ensemble.read

    def counted(self: Ensemble, body: bytes, site: Site, times: np.ndarray) -> Spread:
        reads.append(times.size)
        return real(self, body, site, times)

    monkeypatch.setattr(Ensemble, "read", counted)
    clock, ledger, source = FakeClock(START), Ledger(":memory:"), FakeSource()
    store = ForecastStore([source], ledger, clock, Ensemble())
    weather = source.read(b"3.0", SITE, START)

    def keep(at: datetime) -> None:
        saved = SavedForecast(NAME, at, at, dumped(members()))
        ledger.forecasts.keep(SITE.name, saved)

    assert store.spread_over(SITE, weather).spread is None
    keep(START)
    assert store.spread_over(SITE, weather).spread is store.spread_over(SITE, weather).spread
    assert len(reads) == 1
    keep(START + timedelta(hours=12))
    assert store.spread_over(SITE, weather).spread is not None
    assert len(reads) == 2
    clock.move(hours=49)
    assert store.spread_over(SITE, weather).spread is None
