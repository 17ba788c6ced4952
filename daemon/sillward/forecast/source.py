"""What a forecast source is: the protocol that every provider's module fulfils."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from pydantic import SecretStr

from sillward.forecast.quota import Quota
from sillward.net.http import Answer, Query
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site


@dataclass(frozen=True, slots=True)
class SourceOptions:
    """What the grower's settings say about a source.

    Args:
        base_url: another server with the same API.
        api_key: the key for the provider's paid service.
        contact: a mail address or web page by which a provider can reach the person who runs this
            program.
    """

    base_url: str | None = None
    api_key: SecretStr | None = None
    contact: str | None = None


class Source(Protocol):
    """A provider of forecasts."""

    @property
    def name(self) -> str:
        """The name that the grower reads, and under which the ledger keeps its forecasts."""

    @property
    def attribution(self) -> str:
        """The credit that the provider's licence asks for."""

    @property
    def interval(self) -> timedelta:
        """The time between two calls while it answers."""

    @property
    def max_sites(self) -> int:
        """The most sites that one call can ask for."""

    @property
    def cell_deg(self) -> float:
        """How wide the cells are in which sites may share a forecast [°]: see `cells`."""

    @property
    def band_m(self) -> float:
        """How much of height they cover [m]."""

    @property
    def quota(self) -> Quota | None:
        """What the provider allows; None if that is not known, or a server of the grower's own."""

    def query(self, sites: Sequence[Site]) -> Query:
        """Return what to ask for these sites, at most `max_sites` of them."""

    def accept(self, answer: Answer, now: datetime) -> None:
        """Raise SourceError unless the answer's status means that it holds a forecast."""

    def split(self, body: bytes, sites: Sequence[Site]) -> list[bytes]:
        """Return a body for each of the sites that were asked for together, in their order.

        Raise SourceError if it holds something else.
        """

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Return the forecast in the body of one site. Raise SourceError if it cannot be used.

        A value that is missing or impossible is unknown in the weather and named in the remarks.
        """
