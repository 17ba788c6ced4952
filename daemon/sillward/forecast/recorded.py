"""A stored forecast body in place of the network, read by the source that it came from."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sillward import files
from sillward.errors import SourceError
from sillward.forecast import sources
from sillward.forecast.source import Source, SourceOptions
from sillward.forecast.sources import open_meteo
from sillward.net.http import Answer, Query
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site

MAX_BYTES = 5_000_000
"""Of a stored body: as much as one from the network may have."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """A file that holds a body of a known source: itself a source, and its own wire."""

    path: Path
    of: Source
    interval: timedelta = timedelta(hours=1)
    max_sites: int = 1

    @property
    def name(self) -> str:
        """The source's name, marked."""
        return f"{self.of.name} (recorded)"

    @property
    def attribution(self) -> str:
        """As the source asks for it."""
        return self.of.attribution

    def query(self, sites: Sequence[Site]) -> Query:
        """Nothing is asked of anybody."""
        return Query(self.path.as_uri() if self.path.is_absolute() else str(self.path), {})

    def ask(self, query: Query, **_: Any) -> Answer:
        """The file, as if it had been fetched now."""
        try:
            return Answer(200, {}, files.read(self.path, MAX_BYTES))
        except OSError as error:
            msg = f"{self.path}: cannot be read: {error.strerror or error}"
            raise SourceError(msg) from error

    def accept(self, answer: Answer, now: datetime) -> None:
        """What is in the file is taken."""

    def split(self, body: bytes, sites: Sequence[Site]) -> list[bytes]:
        """One file is for one site."""
        return [body]

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Read a body as the source would; when it was worked out is no matter any more."""
        weather = self.of.read(body, site, fetched_at)
        return replace(weather, source=self.name, issued_at=None)


def recorded(path: Path, site: Site, now: datetime) -> Recorded:
    """The file as a source: of the first known one that can read it, else of Open-Meteo."""
    # The contact is for asking, and nobody is asked.
    builds = sources.known()
    readers = [
        builds[open_meteo.KEY](SourceOptions()),
        *(build(_NOBODY) for build in builds.values()),
    ]
    for source in readers:
        try:
            source.read(files.read(path, MAX_BYTES), site, now)
        except (OSError, SourceError):
            continue
        return Recorded(path, source)
    return Recorded(path, readers[0])


_NOBODY = SourceOptions(contact="nobody@example.invalid")
