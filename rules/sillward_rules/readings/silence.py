"""Since when a sensor has been quiet that used to report."""

from datetime import datetime, timedelta

import numpy as np

from sillward_rules.readings.hourly_readings import HourlyReadings
from sillward_rules.weather.hourly import moment

LOOK_BACK = timedelta(days=14)
"""How far back a sensor's habit is looked for. Judgement: long enough for every kind of weather,
and short enough for a device that was given another interval."""

LEAST_SILENCE = timedelta(hours=1)
"""A shorter silence is not told. Judgement: a battery is changed, a router is restarted."""

TIMES_USUAL = 3.0
"""A sensor is quiet when it has been silent for this many times its usual interval. Judgement: two
messages in a row are lost now and then where radio is weak."""

USUAL_SHARE = 0.99
"""No more than the rest of its intervals may have been longer than the usual one. Judgement: a
device that sends only what changes is silent for hours every night, and that is its habit; one
outage in two weeks is none."""


def usual_interval(hours: HourlyReadings) -> timedelta | None:
    """Return how long a sensor is silent between two readings, at most, as a rule.

    None if there are fewer than two readings. hours: what it has shown, an hour at least.
    """
    several = hours.count > 1
    within_s = (hours.last_at - hours.first_at)[several] / (hours.count - 1)[several]
    between_s = hours.first_at[1:] - hours.last_at[:-1]
    intervals_s = np.concatenate([within_s, between_s])
    if not intervals_s.size:
        return None
    usual_s = np.quantile(intervals_s, USUAL_SHARE, method="inverted_cdf")
    return timedelta(seconds=float(usual_s))


def quiet_since(hours: HourlyReadings, now: datetime) -> datetime | None:
    """Return when a sensor sent its last reading, if it has been silent for too long since.

    hours: what it has shown; None is returned if that is nothing, or one reading.
    """
    usual = usual_interval(hours)
    if usual is None:
        return None
    last = moment(float(hours.last_at[-1]))
    return last if now - last > max(LEAST_SILENCE, TIMES_USUAL * usual) else None
