"""Forecast sources: one protocol, one file for each source.

A source asks its provider once and gives a `Forecast`: the body as it came and the weather read
from it, already validated. What cannot be used is a SourceError that says why.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from sillward_rules.site import Site
from sillward_rules.weather import Weather


@dataclass(frozen=True, slots=True)
class Forecast:
    """A forecast body and what was read from it."""

    body: bytes
    weather: Weather


class Source(Protocol):
    """Where forecasts come from."""

    @property
    def name(self) -> str:
        """What the grower reads; also the key under which bodies are kept."""

    @property
    def attribution(self) -> str:
        """The credit that the provider's licence asks for."""

    def fetch(self, site: Site, now: datetime) -> Forecast:
        """Ask the provider. Raise SourceError if nothing that can be used comes back."""

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Read a stored body of this source. Raise SourceError if it cannot be used."""
