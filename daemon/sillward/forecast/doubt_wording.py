"""Doubts about a forecast in words, in SI units; `Voice.retold` converts them for the grower."""

from collections.abc import Sequence

from sillward_rules.weather.doubt import (
    DewPointAbove,
    Doubt,
    HumidityMisfit,
    Jump,
    Leap,
    NoDayAndNight,
    OutOfSeason,
    WarmerThanAnother,
)

_MEASURES = {"hours": "", "nights": "nights no cooler than ", "days": "a daily mean of "}


def reason(doubts: Sequence[Doubt]) -> str:
    """Return why a forecast is not believed: the first doubt, for one is enough."""
    return in_words(doubts[0])


def in_words(doubt: Doubt) -> str:
    """Return a doubt in words."""
    match doubt:
        case Jump(warmer_k):
            return f"it is {_warmer(warmer_k)} than the one before for the same hours"
        case WarmerThanAnother(source, warmer_k):
            return f"it is {_warmer(warmer_k)} than {source}'s for the same hours"
        case OutOfSeason(what, value_c, bound_c):
            most = "at most" if value_c > bound_c else "at least"
            value = f"{_MEASURES[what]}{value_c:.1f} °C"
            return f"it says {value}, but here this season brings {most} {bound_c:.0f} °C"
        case NoDayAndNight(temp_c, hours, 1):
            return f"it says {temp_c:.1f} °C for {hours} hours on end"
        case NoDayAndNight(_, hours, period_h):
            return f"it repeats the same {period_h} hours over {hours} hours"
        case Leap(change_k):
            return f"it changes by {change_k:.0f} K within an hour"
        case DewPointAbove(hours):
            return f"its dew point is above the temperature in {hours} hours"
        case HumidityMisfit(given_pct, computed_pct):
            return (
                f"its humidity is {given_pct:.0f} % where its temperature and dew point make"
                f" {computed_pct:.0f} %"
            )
    return type(doubt).__name__


def _warmer(kelvins: float) -> str:
    return f"{abs(kelvins):.0f} K {'warmer' if kelvins > 0 else 'colder'}"
