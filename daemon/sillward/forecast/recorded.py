"""A recorded file in place of the network, read by the source that its content is from."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sillward import files
from sillward.errors import SourceError
from sillward.forecast import sources
from sillward.forecast.cells import BAND_M
from sillward.forecast.quota import Quota
from sillward.forecast.source import Source, SourceOptions
from sillward.forecast.sources import open_meteo
from sillward.net.http import Answer, Query
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site

MAX_RECORDED_BYTES = 5_000_000
"""The most bytes of a recorded file: as many as an answer from the network may have."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """A file with a body of a known source. It is a source itself, and answers its own queries."""

    path: Path
    of: Source
    interval: timedelta = timedelta(hours=1)
    max_sites: int = 1
    cell_deg: float = 0.05
    band_m: float = BAND_M
    quota: Quota | None = None

    @property
    def name(self) -> str:
        """The name of the source, with a mark that it is recorded."""
        return f"{self.of.name} (recorded)"

    @property
    def attribution(self) -> str:
        """The credit that the source asks for."""
        return self.of.attribution

    def query(self, sites: Sequence[Site]) -> Query:
        """Return a query that names the file; nothing is sent."""
        return Query(self.path.as_uri() if self.path.is_absolute() else str(self.path), {})

    def ask(self, query: Query, **_: Any) -> Answer:
        """Return the content of the file as if it had been fetched now."""
        try:
            return Answer(200, {}, files.read(self.path, MAX_RECORDED_BYTES))
        except OSError as error:
            msg = f"{self.path}: cannot be read: {error.strerror or error}"
            raise SourceError(msg) from error

    def accept(self, answer: Answer, now: datetime) -> None:
        """Accept any content; `read` checks it."""

    def split(self, body: bytes, sites: Sequence[Site]) -> list[bytes]:
        """Return the body: a file is for one site."""
        return [body]

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Read a body as the source would, but without the time at which it was made."""
        weather = self.of.read(body, site, fetched_at)
        return replace(weather, source=self.name, issued_at=None)


def recorded(path: Path, site: Site, now: datetime) -> Recorded:
    """Return the file as a source: of the first source that can read it, else of Open-Meteo."""
    # A contact is needed for calls, and none is made.
    builds = sources.known()
    readers = [
        builds[open_meteo.KEY](SourceOptions()),
        *(build(_NOBODY) for build in builds.values()),
    ]
    for source in readers:
        try:
            source.read(files.read(path, MAX_RECORDED_BYTES), site, now)
        except (OSError, SourceError):
            continue
        return Recorded(path, source)
    return Recorded(path, readers[0])


_NOBODY = SourceOptions(contact="nobody@example.invalid")
