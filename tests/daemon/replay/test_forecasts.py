"""Which forecasts a replay has, by what is asked for and by what the past weather holds."""

from datetime import date, timedelta

import numpy as np
import pytest

from sillward.archive import PastWeather
from sillward.errors import UsageError
from sillward.replay.forecasts import ERRORS, Errors, forecasts_for, usual_choice
from sillward_rules.weather.learned_error import LearnedError
from tests.support.past_weather import past_weather

TRUTH = past_weather(date(2024, 4, 1), 10)
BARE = PastWeather(TRUTH)
WITH_RUNS = PastWeather(TRUTH, {1: TRUTH, 2: TRUTH})
LEARNED = LearnedError((6.0, 24.0), (1.2, 1.7), (64, 60))


@pytest.mark.parametrize(("past", "errors"), [(BARE, "usual"), (WITH_RUNS, "recorded")])
def test_forecasts_that_were_made_are_used_where_they_are_known(
    past: PastWeather, errors: Errors
) -> None:
    assert usual_choice(past) == errors


@pytest.mark.parametrize(
    ("errors", "description", "seed"),
    [
        ("none", "perfect forecasts", None),
        ("usual", "forecasts with invented errors: typically 1 K at once", 5),
        ("recorded", "the forecasts that were made then", None),
        ("learned", "forecasts with errors learned from 64 nights", 5),
    ],
)
def test_each_kind_says_what_it_is(errors: Errors, description: str, seed: int | None) -> None:
    found = forecasts_for(errors, WITH_RUNS, 5, LEARNED)

    assert found.description.startswith(description)
    assert found.seed == seed


def test_learned_errors_are_those_of_the_forecasts_and_of_their_chances() -> None:
    found = forecasts_for("learned", BARE, 5, LEARNED)
    now = found.issues[10]

    issue = found.at(now)

    assert issue.spread is not None
    assert issue.spread.origin == LEARNED.origin
    ahead = issue.times > now.timestamp()
    shift = (issue.times[0] - TRUTH.times[0]) // 3600
    came = TRUTH.temp_c[shift : shift + issue.times.size]
    assert np.any(issue.temp_c[ahead] != came[ahead])
    assert np.array_equal(issue.temp_c[~ahead], came[~ahead])
    assert issue.issued_at == now
    assert found.at(now + timedelta(hours=1)) is issue


@pytest.mark.parametrize(
    "errors", [errors for errors in ERRORS if errors in ("recorded", "learned")]
)
def test_what_is_not_known_cannot_be_had(errors: Errors) -> None:
    with pytest.raises(UsageError, match=f"--errors {errors}: "):
        forecasts_for(errors, BARE, 5, None)
