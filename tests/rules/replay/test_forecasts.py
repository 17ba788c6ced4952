"""The forecasts of a replay: what each issue holds, how it errs, and that each can be had alone."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.replay.forecasts import (
    AHEAD_H,
    PAST_H,
    SHARED_ERROR,
    ErringForecasts,
    LeadForecasts,
    PerfectForecasts,
)
from sillward_rules.weather.hourly import SERIES, Freshness, Weather, no_weather
from tests.support.past_weather import past_weather

FIRST = date(2024, 2, 20)
NOON = datetime(2024, 2, 28, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def truth() -> Weather:
    return past_weather(FIRST, 120)


def same(one: Weather, other: Weather) -> bool:
    return all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
        for name in ("times", *SERIES)
    )


def test_a_perfect_issue_is_the_weather_that_was(truth: Weather) -> None:
    issue = PerfectForecasts(truth).at(NOON + 5.9 * HOUR)

    assert issue.issued_at == issue.fetched_at == NOON
    assert issue.times[0] == (NOON - PAST_H * HOUR).timestamp()
    assert issue.times[-1] == (NOON + AHEAD_H * HOUR).timestamp()
    rows = np.searchsorted(truth.times, issue.times)
    for name in SERIES:
        assert np.array_equal(getattr(issue, name), getattr(truth, name)[rows], equal_nan=True)
    assert issue.freshness(NOON + 6 * HOUR) is Freshness.FRESH


def test_issues_come_at_full_steps_and_stay_the_same_object(truth: Weather) -> None:
    forecasts = PerfectForecasts(truth)

    assert [at.hour for at in forecasts.issues[:5]] == [0, 6, 12, 18, 0]
    assert forecasts.at(NOON) is forecasts.at(NOON + HOUR)
    assert forecasts.at(NOON + 6 * HOUR) is not forecasts.at(NOON)
    assert not np.isfinite(forecasts.at(datetime(2024, 2, 1, tzinfo=UTC)).temp_c).any()


def test_at_the_ends_an_issue_has_what_there_is(truth: Weather) -> None:
    forecasts = PerfectForecasts(truth)
    first, last = forecasts.issues[0], forecasts.issues[-1]

    assert forecasts.at(first).times[0] == truth.times[0]
    assert forecasts.at(last).times[-1] == truth.times[-1]
    assert forecasts.at(last + 100 * HOUR) is forecasts.at(last)


@pytest.mark.parametrize("shared", [0.0, SHARED_ERROR])
def test_errors_are_those_of_the_table(truth: Weather, shared: float) -> None:
    forecasts = ErringForecasts(truth, seed=4, shared=shared)
    errors = []
    for at in forecasts.issues[4:-16]:
        issue = forecasts.at(at)
        rows = np.searchsorted(truth.times, issue.times)
        error = issue.temp_c - truth.temp_c[rows]
        assert not error[issue.times <= at.timestamp()].any(), "the past is known"
        moved = issue.dew_point_c - truth.dew_point_c[rows]
        assert np.allclose(moved, error), "the air is as dry as it was"
        assert (issue.dew_point_c <= issue.temp_c).all()
        assert np.array_equal(issue.wind_m_s, truth.wind_m_s[rows])
        errors.append(error[issue.times > at.timestamp()])
    drawn = np.array(errors)

    # The standard error of a deviation from n independent draws is sd / sqrt(2 n): 3 % of it here.
    assert len(drawn) > 400
    assert drawn[:, 0].std() == pytest.approx(1.0, rel=0.12)
    assert drawn[:, 23].std() == pytest.approx(1.5, rel=0.12)
    assert drawn[:, 71].std() == pytest.approx(2.5, rel=0.12)
    assert np.abs(drawn.mean(axis=0)).max() < 0.5
    apart_12 = np.corrcoef(drawn[:, 30], drawn[:, 42])[0, 1]
    assert apart_12 == pytest.approx(np.exp(-1), abs=0.12)
    of_next = np.corrcoef(drawn[:-1, 40], drawn[1:, 34])[0, 1]
    assert of_next == pytest.approx(shared, abs=0.12), "what issues have in common"


def test_an_issue_depends_on_its_seed_and_time_alone(truth: Weather) -> None:
    whole, part = ErringForecasts(truth, 4), ErringForecasts(past_weather(FIRST, 120), 4)
    later = {name: getattr(truth, name)[100:] for name in ("times", *SERIES)}
    cut = ErringForecasts(replace(truth, **later), 4)

    whole.at(NOON - 6 * HOUR)
    assert same(whole.at(NOON), part.at(NOON))
    assert same(whole.at(NOON), cut.at(NOON))
    assert not same(whole.at(NOON), ErringForecasts(truth, 5).at(NOON))


def test_forecasts_by_lead_day(truth: Weather) -> None:
    by_lead = {
        day: replace(truth, temp_c=truth.temp_c + day, dew_point_c=truth.dew_point_c + day)
        for day in (1, 2)
    }
    by_lead[2].temp_c[500:] = np.nan

    issue = LeadForecasts(truth, by_lead).at(NOON)

    rows = np.searchsorted(truth.times, issue.times)
    lead_h = (issue.times - NOON.timestamp()) / 3600
    assert lead_h[-1] == 48, "as far as there are lead days"
    added = issue.temp_c - truth.temp_c[rows]
    assert np.allclose(added[lead_h <= 0], 0.0)
    assert np.allclose(added[(lead_h > 0) & (lead_h <= 24)], 1.0)
    assert np.allclose(added[lead_h > 24], 2.0)
    late = LeadForecasts(truth, by_lead).at(datetime(2024, 3, 20, tzinfo=UTC))
    assert np.isfinite(late.temp_c[:49]).all()
    assert np.isnan(late.temp_c[49:]).all(), "what is missing stays missing"


def test_what_cannot_be_is_refused(truth: Weather) -> None:
    with pytest.raises(ValueError, match="full hour"):
        PerfectForecasts(truth, every=timedelta(minutes=90))
    with pytest.raises(ValueError, match="no weather"):
        PerfectForecasts(no_weather("none", NOON, hours=-24))
    with pytest.raises(ValueError, match="lead times rise"):
        ErringForecasts(truth, 1, error_k=((0.0, 0.0), (1.0, 1.0)))
    with pytest.raises(ValueError, match="below zero"):
        ErringForecasts(truth, 1, error_k=((0.0,), (-1.0,)))
    with pytest.raises(ValueError, match="seed"):
        ErringForecasts(truth, -1)
    with pytest.raises(ValueError, match="lead day"):
        LeadForecasts(truth, {})
