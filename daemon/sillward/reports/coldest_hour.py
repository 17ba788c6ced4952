"""How the coldest leaf of a night comes about, with every number that goes into it."""

from collections.abc import Iterator

from sillward.wording.voice import Voice
from sillward_rules.explanation import ExplainedHour, Explanation

_MIN_DIFFERENCE = 0.005
"""Shares are shown in full percent: less than half a percent apart they look the same."""


def coldest_hour(explanation: Explanation, voice: Voice) -> Iterator[str]:
    """Yield a sentence on the coldest hour, if there is one and the spot follows the forecast."""
    hour = next((hour for hour in explanation.hours if hour.deciding), None)
    if hour is None or explanation.spot.holds_itself:
        return
    steps = [
        f"forecast {voice.degrees(hour.forecast['temp_c'])}",
        *_offset(explanation, hour, voice),
        *_tonight(explanation, hour, voice),
        *_sky(hour),
        f"leaf {voice.degrees(hour.leaf_c)}{_wet(hour)}",
    ]
    yield f"coldest at {voice.hour(hour.at)}: {'; '.join(steps)}"


def _offset(explanation: Explanation, hour: ExplainedHour, voice: Voice) -> Iterator[str]:
    """Yield what is added to the forecast, and which share of the night offset that is."""
    whole, day = explanation.spot.night_offset_k or 0.0, explanation.spot.day_offset_k or 0.0
    learned = hour.learned_k or 0.0
    if hour.offset_k is None or hour.temp_c is None or not (whole or day or learned):
        return
    departure = _departure_k(explanation, hour)
    offset, temp = hour.offset_k - departure, hour.temp_c - departure
    left = whole * (hour.offset_share or 0.0) + learned
    night = 1.0 if left == day else (offset - day) / (left - day)
    taught = round(learned * night, 1)
    here = f"{voice.offset(round(offset, 1))} makes {voice.degrees(temp)} here"
    if taught:
        said = round(offset - learned * night, 1)
        both = f"{voice.offset(said)} and {voice.offset(taught)} learned from readings make"
        one = f"{voice.offset(taught)} learned from readings makes"
        here = f"{both if said else one} {voice.degrees(temp)} here"
    if not whole or hour.offset_share is None:
        yield here
        return
    share = f"{_percent(hour.offset_share)} of the night offset of {voice.offset(whole)}"
    if not explanation.spot.indoors:
        share += f" ({_wind(hour, voice)}, {_cloud(hour)})"
    if night < 1.0 - _MIN_DIFFERENCE:
        sun = "sunset" if hour.night else "sunrise"
        share += f", {_percent(night)} of the way from day to night so soon after {sun}"
    yield f"{here}: {share}"


def _departure_k(explanation: Explanation, hour: ExplainedHour) -> float:
    """Return what a thermometer there takes from the air of that hour [K]."""
    course = explanation.spot.tonight
    return 0.0 if course is None else float(course.departures_k([hour.at.timestamp()])[0])


def _tonight(explanation: Explanation, hour: ExplainedHour, voice: Voice) -> Iterator[str]:
    """Yield what a thermometer has shown tonight, and what is left of that at that hour."""
    course, departure = explanation.spot.tonight, _departure_k(explanation, hour)
    if course is None or not departure:
        return
    read, told = voice.degrees(course.read_c), voice.degrees(course.told_c)
    yield (
        f"the thermometer there showed {read} at {voice.hour(course.read_at)}, told {told}:"
        f" {voice.kelvins(-departure)} of that left by then makes {voice.degrees(hour.temp_c)}"
    )


def _wind(hour: ExplainedHour, voice: Voice) -> str:
    wind = hour.forecast["wind_m_s"]
    return "wind not known" if wind is None else f"wind {voice.measure(wind, 'm/s')} at 10 m"


def _cloud(hour: ExplainedHour) -> str:
    cloud = hour.forecast["cloud"]
    return "cloud not known" if cloud is None else f"cloud {_percent(cloud)}"


def _sky(hour: ExplainedHour) -> Iterator[str]:
    """Yield what cloud counts for, where its heights are known and some of it counts for less."""
    cloud, warming = hour.forecast["cloud"], hour.warming_cloud
    if cloud is not None and warming is not None and cloud - warming >= _MIN_DIFFERENCE:
        yield (
            f"cloud {_percent(cloud)} holds warmth like {_percent(warming)} of low cloud, for some "
            "or all of it is high"
        )


def _wet(hour: ExplainedHour) -> str:
    return ", wet with rain: evaporation cools it" if hour.leaf_wet else ""


def _percent(share: float) -> str:
    return f"{round(100 * share)} %"
