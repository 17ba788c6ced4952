"""The spread of a forecast, from the members' hourly temperatures of Open-Meteo's ensemble API.

The members show how far a forecast may be off, night by night; what they leave out (a terrace is
not a grid cell) is added by the core. Licence and limits are those of the forecast itself.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from pydantic import SecretStr

from sillward.errors import SourceError
from sillward.forecast import parsing
from sillward.forecast.parsing import Reading, Variable
from sillward.forecast.quota import Quota
from sillward.forecast.source import SourceOptions
from sillward.forecast.sources import open_meteo
from sillward.net.http import Answer, Query
from sillward_rules.arrays import Array
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import Spread, from_members

KEY = "open-meteo-ensemble"
NAME = "Open-Meteo ensemble"

FREE = "https://ensemble-api.open-meteo.com"
WITH_KEY = "https://customer-ensemble-api.open-meteo.com"

MODEL = "ecmwf_ifs025_ensemble"
MODEL_IN_WORDS = "ECMWF"
"""51 members for 15 days, everywhere: one model, so that all nights are judged alike."""

_MEMBER = re.compile(r"temperature_2m(_member\d{2})?", re.ASCII)
_TEMPERATURE = Variable("°C", *parsing.TEMPERATURE)
_READING = Reading(NAME)


@dataclass(frozen=True, slots=True)
class Ensemble:
    """The ensemble API, or another server with the same API."""

    base_url: str | None = None
    api_key: SecretStr | None = None
    name: str = NAME
    interval: timedelta = timedelta(hours=12)
    """Twice a day: members cost much and change little."""
    max_sites: int = 10
    cell_deg: float = 0.25
    """As wide as the model's."""
    band_m: float = 1000.0
    """Only how far the members are apart is used, not how warm they are: a call costs much."""

    @property
    def quota(self) -> Quota | None:
        """The terms of the free service. A call counts as 5.1 for a site: 51 members, by tens."""
        share = 1.0 - open_meteo.FORECAST_SHARE
        return open_meteo.free_quota(self.base_url, self.api_key, of_site=5.1, share=share)

    def query(self, sites: Sequence[Site]) -> Query:
        """Return the query for the members' temperatures at all sites."""
        params = open_meteo.places_and_time(sites) | {
            "past_days": "1",
            "forecast_days": "8",
            "models": MODEL,
            "hourly": "temperature_2m",
        }
        hosts = (FREE, WITH_KEY)
        return open_meteo.with_key(self.base_url, hosts, "ensemble", params, self.api_key)

    def accept(self, answer: Answer, now: datetime) -> None:
        """Raise SourceError unless the answer holds members, as for the forecast API."""
        open_meteo.accept(answer, now, NAME, self.api_key)

    def split(self, body: bytes, sites: Sequence[Site]) -> list[bytes]:
        """Return a body for each site, as for the forecast API."""
        return open_meteo.split(body, sites, _READING)

    def read(self, body: bytes, site: Site, times: np.ndarray) -> Spread:
        """Return the spread at the hours of a forecast. Raise SourceError for an unusable body."""
        try:
            hours, members = parse(body, site)
        except SourceError as error:
            raise open_meteo.discreet(error, self.api_key) from None
        origin = f"{members.shape[0]} members of {MODEL_IN_WORDS}"
        return from_members(times, hours, members, origin)


def build(setup: SourceOptions) -> Ensemble:
    """Build the ensemble for the grower's settings."""
    return Ensemble(setup.base_url, setup.api_key)


def parse(body: bytes, site: Site) -> tuple[np.ndarray, Array]:
    """Return full hours (time,) and the members' temperatures (member, time) [°C]; NaN is unknown.

    Raise SourceError for another place, other units, torn times, or fewer than two members.
    """
    document = open_meteo.document_of(body, _READING)
    _READING.check_place(document.get("latitude"), document.get("longitude"), site)
    hourly, units, times, rows = open_meteo.hours_of(document, _READING)
    remarks: list[str] = []
    series = [
        open_meteo.series_of(hourly, units, name, _TEMPERATURE, times, rows, remarks, _READING)
        for name in sorted(filter(_MEMBER.fullmatch, hourly))
    ]
    members = [member for member in series if member is not None]
    if len(members) < 2:
        _READING.refuse("has no members")
    return times, np.stack(members)
