"""A second opinion: two forecasts compared night by night, of which the colder counts."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from itertools import takewhile

import numpy as np

from sillward_rules.remark import ForecastsDisagree
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import (
    Freshness,
    Weather,
    at_hours,
    bridge_gaps,
    moment,
    rows_within,
)
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Night

MAX_APART_K = 2.0
"""Lows further apart than this are a disagreement [K]. Judgement: 86.5 % of a national service's
lows of the first night are right to within 2 K (Met Office, 119 sites over 36 months)."""


def second_opinion(
    site: Site,
    weather: Weather,
    other: Weather,
    now: datetime,
    more_than_k: float = MAX_APART_K,
) -> Weather:
    """Return the weather with the colder of two forecasts on nights on which they are far apart.

    A night is its full hours until its cold no longer counts; of the one that goes on, those from
    `now` on. The two are compared only if both know the temperature at all of these, gaps that may
    be bridged included. Their lows decide, each at its own hour: a forecast that is an hour or two
    late does not disagree. Where the lows are more than `more_than_k` [K] apart and the other's is
    lower, each hour takes the lower temperature, with the dew point no higher. All else, days
    included, stays as in this weather.

    If they disagree on the coming night, a remark says so, with both temperatures at the hour of
    the colder low. An `other` that is too old to judge by is ignored. Return the weather itself
    where nothing changes.
    """
    if not weather.times.size or other.freshness(now) is Freshness.EXPIRED:
        return weather
    own = bridge_gaps(weather.temp_c)
    others = at_hours(other.times, bridge_gaps(other.temp_c), weather.times)
    coming = sun.night_at_or_after(site, now)
    colder = np.zeros(weather.times.shape, dtype=bool)
    said: tuple[ForecastsDisagree, ...] = ()
    for night in _nights(site, weather):
        rows = _rows_of(weather, night, now)
        if not rows.size or not np.isfinite(own[rows] + others[rows]).all():
            continue
        # Sources round to tenths: lows exactly that far apart must not go either way.
        apart = round(float(own[rows].min() - others[rows].min()), 6)
        if abs(apart) <= more_than_k:
            continue
        colder[rows] = apart > 0
        if night == coming:
            lower = others if apart > 0 else own
            row = rows[np.argmin(lower[rows])]
            said = (
                ForecastsDisagree(
                    source=weather.source,
                    temp_c=float(own[row]),
                    other_source=other.source,
                    other_temp_c=float(others[row]),
                    at=moment(weather.times[row]).astimezone(site.zone),
                ),
            )
    if not colder.any() and not said:
        return weather
    temp = np.where(colder, np.minimum(own, others), weather.temp_c)
    dew_point = np.where(colder, np.minimum(weather.dew_point_c, temp), weather.dew_point_c)
    return replace(weather, temp_c=temp, dew_point_c=dew_point, remarks=(*weather.remarks, *said))


def unjudged_where_colder(site: Site, weather: Weather, doubted: Weather, now: datetime) -> Weather:
    """Return the weather without the nights that a doubted forecast has much colder.

    The doubted numbers are not to be told, but a night that may be so cold must not be called safe:
    unknown, it counts as cold. The lows decide as in `second_opinion`, here of all hours that are
    known. Return the weather itself where nothing changes.
    """
    own = bridge_gaps(weather.temp_c)
    others = at_hours(doubted.times, bridge_gaps(doubted.temp_c), weather.times)
    unknown = np.zeros(weather.times.shape, dtype=bool)
    for night in _nights(site, weather):
        rows = _rows_of(weather, night, now)
        lows = [
            np.min(temp[rows], initial=np.inf, where=np.isfinite(temp[rows]))
            for temp in (own, others)
        ]
        unknown[rows] = lows[1] < lows[0] - MAX_APART_K
    if not unknown.any():
        return weather
    temp, dew_point = (
        np.where(unknown, np.nan, series) for series in (weather.temp_c, weather.dew_point_c)
    )
    return replace(weather, temp_c=temp, dew_point_c=dew_point)


def _rows_of(weather: Weather, night: Night, now: datetime) -> np.ndarray:
    """Return the rows in which a night's cold counts; of the present night, what is left."""
    goes_on = night.start < now < night.end
    return rows_within(weather.times, now if goes_on else night.start, night.cold_until)


def _nights(site: Site, weather: Weather) -> Iterator[Night]:
    """Yield the nights that begin before this weather ends."""
    last = moment(weather.times[-1])
    return takewhile(
        lambda night: night.start <= last, sun.nights_from(site, moment(weather.times[0]))
    )
