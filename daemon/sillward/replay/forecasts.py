"""Which forecasts a replay has."""

from typing import Literal, TypeAlias, get_args

from sillward.archive import PastWeather
from sillward.errors import UsageError
from sillward_rules.replay.forecasts import (
    ErringForecasts,
    Forecasts,
    LeadForecasts,
    LearnedForecasts,
    PerfectForecasts,
)
from sillward_rules.weather.learned_error import LearnedError

Errors: TypeAlias = Literal["none", "usual", "recorded", "learned"]

ERRORS: tuple[Errors, ...] = get_args(Errors)

SEED = 1
"""The seed of errors, unless another is asked for: a replay is the same each time."""


def usual_choice(past: PastWeather) -> Errors:
    """Return the errors unless others are asked for: those that were made, where they are known."""
    return "recorded" if past.by_lead_day else "usual"


def forecasts_for(
    errors: Errors, past: PastWeather, seed: int, learned: LearnedError | None
) -> Forecasts:
    """Return the forecasts of a replay. Raise UsageError where they cannot be had.

    learned: the errors that the ledger has, for "learned".
    """
    if errors == "none":
        return PerfectForecasts(past.weather)
    if errors == "usual":
        return ErringForecasts(past.weather, seed)
    if errors == "recorded":
        if not past.by_lead_day:
            msg = (
                "--errors recorded: the file has no forecasts of past days; "
                "one of Open-Meteo's previous runs has"
            )
            raise UsageError(msg)
        return LeadForecasts(past.weather, past.by_lead_day)
    if learned is None:
        msg = "--errors learned: the ledger has too few nights so far; it takes a month of them"
        raise UsageError(msg)
    return LearnedForecasts(past.weather, learned, seed)
