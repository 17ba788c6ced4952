"""Forecasts: sources that know one provider each, and what is made of them all.

A source says what to ask and reads what comes back; it opens no connection (`fetch` does), keeps
nothing (the ledger does) and decides nothing (`updater` does).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from pydantic import SecretStr

from sillward.net.http import Answer, Query
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site


@dataclass(frozen=True, slots=True)
class SourceOptions:
    """What the grower's settings say to a source.

    base_url: another server that speaks the same API. contact: a mail address or web page by
    which a provider can reach whoever runs this.
    """

    base_url: str | None = None
    api_key: SecretStr | None = None
    contact: str | None = None


class Source(Protocol):
    """A provider of forecasts."""

    @property
    def name(self) -> str:
        """What the grower reads; also the key under which bodies are kept."""

    @property
    def attribution(self) -> str:
        """The credit that the provider's licence asks for."""

    @property
    def interval(self) -> timedelta:
        """How often it is asked while all is well."""

    @property
    def max_sites(self) -> int:
        """For how many sites one call can ask."""

    def query(self, sites: Sequence[Site]) -> Query:
        """What to ask for these sites, at most `max_sites` of them."""

    def accept(self, answer: Answer, now: datetime) -> None:
        """Raise SourceError unless the answer's status means that it holds a forecast."""

    def split(self, body: bytes, sites: Sequence[Site]) -> list[bytes]:
        """A body for each of the sites that were asked for together, in their order.

        Raise SourceError if it holds something else.
        """

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Read and validate the body of one site. Raise SourceError if it cannot be used.

        A value that is missing or impossible is unknown in the weather and named in its remarks.
        """
